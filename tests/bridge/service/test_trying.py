"""What a message would become is said before anything runs: for each source that would hear it, and what follows."""

from __future__ import annotations

import pytest

from bridge.service.plugins import Adapters
from bridge.service.trying import Tried, try_message
from tests.support.driving import layout

LAYOUT = """\
layout: Trying
sources:
  yard:
    kind: topics
    messages:
      - {topic: 'yard/turnout/{number}/set', tells: ordered, means: {T: reverse, C: normal}, offset: 60}
      - {topic: 'yard/{name}/amps', tells: block, means: {below 2: clear, 2 to 4: nothing, above 4: occupied}}
    alive: {topic: yard/status, gone: off}
  page: {kind: http, takes: [button]}
  panel: {kind: pins, buttons: {bell: 17}}
  own: {kind: mqtt}
builds:
  searchlight: {chips: [ws2812b], lamps: {head: {full-colour: 1}}}
nodes:
  bench: {chains: [{name: one, fixtures: [{name: S1, build: searchlight}, {name: porch, build: searchlight}]}]}
blocks: {west: }
signals:
  S1: {commands: {61: {normal: stop, reverse: clear}}}
lights:
  porch: {when: {any: [{button: bell}, {block: west, is: occupied}]}}
"""

KEPT = "that changes nothing here: a kept copy is state, and never an order"
QUIET = "is understood and tells nothing of the layout, but perhaps whether yard is there"

NO_BLOCK = "no block of the layout file is called wets, so it changes nothing; there is only west; did you mean west?"
NO_DISTRICT = "no power district of the layout file is called main, so it changes nothing; there are none yet"

UNDERSTOOD = {
    ("yard/turnout/1/set", "T"): (
        "yard: accessory 61 was ordered reverse (by yard); listened to by S1",
        "yard: that makes S1 show clear, had nothing come before: accessory 61 was ordered reverse (by yard)",
        "yard: accessory 61 was ordered reverse in a kept copy (by yard); listened to by S1",
        f"yard: {KEPT}",
    ),
    ("yard/turnout/2/set", "C"): (
        "yard: accessory 62 was ordered normal (by yard); nothing in this layout listens to it",
        "yard: accessory 62 was ordered normal in a kept copy (by yard); nothing in this layout listens to it",
        f"yard: {KEPT}",
    ),
    ("yard/wets/amps", "1"): (
        f"yard: block wets was reported clear (by yard); {NO_BLOCK}",
        f"yard: block wets was reported clear in a kept copy (by yard); {NO_BLOCK}",
    ),
    ("layout/power/main", "on"): (
        f"own: power of main was reported on (by own); {NO_DISTRICT}",
        f"own: power of main was reported on in a kept copy (by own); {NO_DISTRICT}",
    ),
    ("yard/west/amps", "3.5"): (f"yard: it {QUIET}", f"yard: a kept copy of it {QUIET}"),
    ("yard/status", "off"): (f"yard: it {QUIET}", f"yard: a kept copy of it {QUIET}"),
    ("button/bell", "released"): ("page: button bell was released (by page); listened to by porch",),
    ("GPIO17", "high"): (
        "panel: button bell was released (by panel); listened to by porch",
        "panel: button bell was released in a kept copy (by panel); listened to by porch",
        f"panel: {KEPT}",
    ),
}
REFUSED = {
    ("yard/turnout/1/set", "X"): "yard: refused: `X` has no meaning here; understood would be: `T` or `C`",
    ("yard/status", ""): "yard: refused: the payload is empty, which says nothing",
    ("block/west", "clear"): (
        "page: refused: this source takes no `block`: its `takes` in the layout file does not name it;"
        " understood would be: button"
    ),
    ("elsewhere", "T"): (
        "no source of this layout would hear 'elsewhere'; its sources are yard (topics), page (http),"
        " panel (pins), own (mqtt)"
    ),
}


@pytest.mark.parametrize(("channel", "payload"), UNDERSTOOD)
def test_what_it_becomes_and_what_follows(channel: str, payload: str) -> None:
    """As it comes, and as a copy where the bus keeps copies."""
    tried = try_message(layout(LAYOUT), Adapters(), channel, payload)
    assert Tried(UNDERSTOOD[channel, payload], understood=True) == tried


@pytest.mark.parametrize(("channel", "payload"), REFUSED)
def test_why_it_is_refused(channel: str, payload: str) -> None:
    """With what would be understood."""
    tried = try_message(layout(LAYOUT), Adapters(), channel, payload)
    assert Tried((REFUSED[channel, payload],), understood=False) == tried


def test_a_kept_copy_of_a_report_is_not_excused_as_an_order() -> None:
    """A detector that says what is so already changes nothing, kept or not, and neither is told to."""
    tried = try_message(layout(LAYOUT), Adapters(), "yard/west/amps", "1")
    assert (
        "yard: block west was reported clear (by yard); listened to by porch",
        "yard: block west was reported clear in a kept copy (by yard); listened to by porch",
    ) == tried.lines


def test_every_source_that_hears_it_is_asked() -> None:
    """Two sources with the same topics each say what it is to them."""
    text = LAYOUT.replace("own: {kind: mqtt}", "own: {kind: mqtt}\n  other: {kind: mqtt}")
    tried = try_message(layout(text), Adapters(), "layout/button/bell", "pressed")
    assert {"own", "other"} == {line.split(":")[0] for line in tried.lines}
    assert any("makes porch show on" in line for line in tried.lines)
