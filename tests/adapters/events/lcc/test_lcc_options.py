"""What an owner writes of LCC in the layout file is checked there, in his words."""

from __future__ import annotations

from dataclasses import replace
from textwrap import indent

import pytest

from adapters.events.lcc.options import LccOptions
from adapters.events.lcc.source import LccSource
from adapters.testing import SourceBench
from bridge.errors import DecodeError
from bridge.events import AccessoryOrdered, Authority, Position
from bridge.service.files import look_at_text
from bridge.service.plugins import Adapters

LAYOUT = """\
layout: Fernhollow & Tarn
builds:
  searchlight: {chips: [ws2812b], lamps: {head: {full-colour: 1}}}
nodes:
  yard: {chains: [{name: throat, fixtures: [{name: T2, build: searchlight}]}]}
districts: {main: {settle: 2 s}}
blocks: {tarn: {}, weir: {}}
signals:
  T2: {commands: {61: {normal: stop, reverse: clear}}}
sources:
  bus:
    kind: lcc
"""


def found(options: str) -> list[str]:
    """Return what is found wrong with the options of a source, each with its line of them."""
    text = LAYOUT + indent(options, "    ")
    first = LAYOUT.count("\n")
    findings = look_at_text("layout.yaml", text.encode(), Adapters()).findings
    return [f"{finding.mark.line - first}: {finding.message}" for finding in findings]


GOOD = "host: 192.168.1.20\nnode-id: 01.02.03.04.05.06\n"


def test_an_address_and_a_number_of_its_own_are_enough() -> None:
    """All else has a usual value."""
    assert [] == found(GOOD)


def test_all_keys_together_are_good() -> None:
    """Each kind of thing may be told by events."""
    keys = """\
port: 12021
offset: -4
clock: real-time
blocks: {tarn: {occupied: 01.02.03.04.05.06.00.01, clear: 01.02.03.04.05.06.00.02}, weir: {sensor: 4095}}
buttons: {gate: {pressed: 01.02.03.04.05.06.00.03, released: 01.02.03.04.05.06.00.04}}
power: {main: {off: emergency-off, on: clear-emergency-off}}
turnouts: {61: {normal: 01.02.03.04.05.06.00.06, proved-normal: 01.02.03.04.05.06.00.08}}
report: {T2: {stop: 01.02.03.04.05.06.01.00, clear: 01.02.03.04.05.06.01.01}}
"""
    assert [] == found(GOOD + keys)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ("host: gateway\n", "0: the key 'node-id' is missing here"),
        ("node-id: 01.02.03.04.05.06\n", "0: the key 'host' is missing here"),
        (
            "host: gateway\nnode-id: 5\n",
            "2: 5 is no node number: it has 6 bytes in hex with dots between. Take one",
        ),
        ("host: gateway\nnode-id: 00.02.03.04.05.06\n", "2: 00.02.03.04.05.06 begins with 00"),
        (f"{GOOD}port: 0\n", "3: 0 is not a port: write 1 to 65535"),
        (
            f"{GOOD}clock: slow\n",
            "3: slow is no clock: write fast, real-time, alternate-1, alternate-2, none, or",
        ),
        (f"{GOOD}offset: 4.5\n", "3: 4.5 is not an offset"),
        (
            f"{GOOD}blocks: {{tarn: {{occupied: 01.02.03}}}}\n",
            "3: 01.02.03 is no event number: it has 8 bytes in hex",
        ),
        (
            f"{GOOD}blocks: {{tarn: {{sensor: 4096}}}}\n",
            "3: 4096 is not the number of a sensor: write 0 to 4095",
        ),
        (
            f"{GOOD}blocks: {{tarn: {{}}}}\n",
            "3: `occupied` is missing: write the event for `occupied` and the one",
        ),
        (
            f"{GOOD}blocks: {{tarn: {{occupied: 01.02.03.04.05.06.00.01}}}}\n",
            "3: `clear` is missing: write the event for `occupied` and the one for `clear`, or a `sensor`",
        ),
        (
            f"{GOOD}buttons: {{b: {{pressed: 01.02.03.04.05.06.00.01, released: 01.02.03.04.05.06.00.01}}}}\n",
            "3: `pressed` and `released` are the same event",
        ),
        (
            f"{GOOD}buttons: {{b: {{sensor: 3, pressed: 01.02.03.04.05.06.00.01}}}}\n",
            "3: it has a `sensor` and events as well",
        ),
        (f"{GOOD}power: {{main: {{}}}}\n", "3: it has no event: write one for `on`, `off` or `shorted`"),
        (
            f"{GOOD}turnouts: {{61: {{normal: emergency-off, proved-reverse: emergency-off}}}}\n",
            "3: `normal` and `proved-reverse` are the same event",
        ),
        (
            f"{GOOD}turnouts: {{0: {{normal: emergency-off}}}}\n",
            "3: 0 is not an accessory number: write 1 to 2048",
        ),
        (
            f"{GOOD}report: {{T2: {{stop: emergency-off, clear: emergency-off}}}}\n",
            "under `report` `stop` of `T2` and `clear` of `T2` have the same event",
        ),
        (
            f"{GOOD}blocks: {{tran: {{sensor: 3}}}}\n",
            "3: no block is called 'tran'; use one of: tarn, weir; did you mean tarn?",
        ),
        (
            f"{GOOD}power: {{mane: {{off: emergency-off}}}}\n",
            "3: no district is called 'mane'; there is only main",
        ),
        (
            f"{GOOD}report: {{T3: {{stop: emergency-off}}}}\n",
            "3: no signal or light is called 'T3'; there is only T2",
        ),
        (
            f"{GOOD}report: {{T2: {{stopp: emergency-off}}}}\n",
            "3: T2 does not show 'stopp'; use one of: ",
        ),
        (f"{GOOD}blocks: {{tarn: {{ocupied: 01.02.03.04.05.06.00.01}}}}\n", "did you mean occupied?"),
    ],
)
def test_what_cannot_be_is_told_with_its_line_and_a_remedy(options: str, message: str) -> None:
    """The first sentence names the value and what to write."""
    assert message in found(options)[0]


def test_an_event_that_is_tried_by_hand() -> None:
    """By its number or its name it is what is sent, and what a node says of it; a frame is taken as it is."""
    options = LccOptions.model_validate({"host": "a", "node-id": "01.02.03.04.05.06"})
    source = LccSource("bus", options, SourceBench())
    sent, valid = source.attempt("lcc", "01.01.02.00.00.FF.00.80")
    order = AccessoryOrdered(at=5, source="bus", number=61, position=Position.REVERSE)
    assert (order,) == source.decode(sent, 5)
    assert (replace(order, authority=Authority.STATE),) == source.decode(valid, 5)
    assert (sent,) == source.attempt("bus", sent.payload.decode())
    assert 2 == len(source.attempt("bus", "emergency-off"))
    assert () == source.attempt("yard/turnout/61", "T")
    with pytest.raises(DecodeError, match="hello is no event number"):
        source.attempt("lcc", "hello")
