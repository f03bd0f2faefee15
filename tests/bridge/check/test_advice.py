"""What may run and is likely not meant is told as a warning, and the layout runs."""

from __future__ import annotations

import pytest

from bridge.check import check_text
from bridge.layout.findings import Level

LAYOUT = """\
layout: Mossy Bank
builds:
  searchlight: {chips: [ws2812b], lamps: {head: {full-colour: 1}}}
nodes:
  bank:
    chains:
      - name: one
        fixtures:
          - {name: M1, build: searchlight}
signals:
  M1:
    aspects: {stop: red, clear: green}
    commands: {61: {normal: stop, reverse: clear}}
"""


def told(old: str = "", new: str = "") -> list[str]:
    """Change the layout and return its findings; none of them may keep it from running."""
    assert old in LAYOUT
    checked = check_text(LAYOUT.replace(old, new, 1))
    assert checked.layout is not None
    assert all(finding.level is Level.WARNING for finding in checked.findings)
    return [f"{finding.mark.line}:{finding.mark.column} {finding.message}" for finding in checked.findings]


def test_a_layout_without_oddities_is_told_nothing() -> None:
    """What is as it should be earns no warning."""
    assert [] == told()


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("{stop: red, clear: green}", "{clear: green, stop: red}", "12:22 while it knows nothing"),
        (
            "layout: Mossy Bank\n",
            "layout: Mossy Bank\ncolours: {red: {red: 90%}}\n",
            "2:11 red is a colour of signals",
        ),
        (
            "          - {name: M1, build: searchlight}\n",
            "          - {name: M1, build: searchlight}\n          - {name: M2, build: searchlight}\n",
            "10:20 no signal and no light uses the fixture 'M2': it stays dark",
        ),
        (
            "{stop: red, clear: green}",
            "{go: green 50%, stop: red, clear: green}",
            "12:19 while it knows nothing a signal shows the first of its aspects, and here that is 'go'",
        ),
        (
            "{stop: red, clear: green}",
            "{stop: red, danger: [red], clear: green}",
            "12:34 'danger' looks exactly like 'stop' (line 12): nobody can tell them apart",
        ),
    ],
)
def test_what_is_likely_not_meant_is_told_as_a_warning(old: str, new: str, says: str) -> None:
    """A better aspect first, a signal colour with another meaning, a fixture nobody uses: told with its place."""
    (finding,) = told(old, new)
    assert finding.startswith(says)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("{stop: red, clear: green}", "{danger: dark, stop: red, clear: green}"),
        ("{stop: red, clear: green}", "{clear: green, danger: red}"),
    ],
)
def test_another_order_of_aspects_is_the_owners_affair(old: str, new: str) -> None:
    """Something stricter than stop comes first without a word, and so does anything where there is no stop."""
    orders = LAYOUT.replace("normal: stop, ", "")
    assert () == check_text(orders.replace(old, new)).findings


def test_a_row_of_a_set_that_nobody_orders_is_not_compared() -> None:
    """A set serves many signals, and none is warned of what it never shows."""
    rows = "{stop: red, danger: red, clear: green}"
    shared = LAYOUT.replace("signals:", f"aspects:\n  home: {rows}\nsignals:").replace(
        "{stop: red, clear: green}", "home"
    )
    assert () == check_text(shared).findings
    (finding,) = check_text(shared.replace("normal: stop", "normal: danger")).findings
    assert "'danger' looks exactly like 'stop' (line 11): nobody can tell them apart" == finding.message


def test_wiring_alone_is_a_beginning() -> None:
    """A file in which nothing is used yet is not warned of fixture by fixture."""
    assert () == check_text(LAYOUT[: LAYOUT.index("signals:")]).findings


def test_warnings_wait_until_the_errors_are_mended() -> None:
    """An error may be the very reason why a fixture seems to be unused."""
    unused = "          - {name: M1, build: searchlight}\n          - {name: M2, build: searchlight}\n"
    text = LAYOUT.replace("          - {name: M1, build: searchlight}\n", unused)
    assert [Level.ERROR] == [finding.level for finding in check_text(f"{text}scale: X\n").findings]


BEACON = """
layout: Flashes
builds: {pixel: {chips: [ws2812b], lamps: {eye: {full-colour: 1}}}}
nodes: {gap: {chains: [{name: main, fixtures: [{name: mast, build: pixel}]}]}}
lights:
  mast: {effect: EFFECT, shows: SHOWS, when: {accessory: 1}}
"""


@pytest.mark.parametrize(
    ("effect", "shows", "says"),
    [
        ("{kind: flash, rate: 60}", "white", ""),
        ("UQ", "white", "more than 3 flashes a second can bring on a seizure"),
        ("UQ", "red", "and of red light, which is the most harmful"),
        ("open-fire", "amber", ""),
    ],
)
def test_what_flashes_too_fast_is_told(effect: str, shows: str, says: str) -> None:
    """A light that flashes more than three times in a second is warned of (WCAG 2.2, 2.3.1), and a red one the more."""
    found = check_text(BEACON.replace("EFFECT", effect).replace("SHOWS", shows)).findings
    assert bool(says) == bool(found)
    assert all(says in finding.message and finding.mark.line == 6 for finding in found)
