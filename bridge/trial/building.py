"""What to look at before wiring that was planned counts as built: each of its lamps alone, one after the other.

The part that was there before shows what it is given, which is best its picture at rest. Nothing flashes here, and one
lamp at a time is lit, so a fault in the new part is met with little current.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Final, NamedTuple

from bridge.chain.frames import FULL_BYTE
from bridge.layout.chips import DIE_COLOURS
from bridge.layout.model import Chain, Fixture, LampKind, Wire

_OLD: Final = (
    "Everything new is dark now. Do the lamps that were there before show what they should, with signals at their "
    "most restrictive aspect and lights dark?"
)
_ALL_NEW: Final = "Nothing is lit on purpose now. Is all of it dark?"


class Step(NamedTuple):
    """One picture of a chain, and what its owner is asked about it; the answer has to be yes.

    Attributes:
        picture: the levels of the whole chain in wire order, as it will be once the new part is built.
        question: what to ask.
        fixture: what it is about, or empty for all of the new part.
        position: of the chip that is lit, counted from 1 next to the node; 0 for none.
    """

    picture: bytes
    question: str
    fixture: str = ""
    position: int = 0


def steps(chain: Chain, new: Collection[str], rest: bytes) -> tuple[Step, ...]:
    """Return the pictures that try out the new part of a chain: first all of it dark, then each lamp alone.

    Args:
        chain: as it will be once the new part is built.
        new: the names of the fixtures that are new.
        rest: the levels of the whole chain at rest, signals at their most restrictive aspect and lights dark.
    """
    fixtures = [fixture for fixture in chain.fixtures if fixture.name in new]
    dark = bytearray(rest)
    for fixture in fixtures:
        for wire in _wires(fixture):
            dark[wire.offset] = FULL_BYTE * wire.inverted
    old = any(fixture.name not in new and fixture.positions for fixture in chain.fixtures)
    first = Step(bytes(dark), _OLD if old else _ALL_NEW)
    return (first, *(step for fixture in fixtures for step in _of(fixture, bytes(dark))))


def _of(fixture: Fixture, dark: bytes) -> Iterator[Step]:
    for head in fixture.heads:
        for lamp in head.lamps:
            wires = [wire for wire in lamp.wires if wire.offset >= 0]
            name = f"{head.name} {lamp.name}" if head.name else lamp.name
            if lamp.kind is LampKind.FULL_COLOUR:
                for wire in wires:
                    said = f"Is the lamp {name} of {fixture.name} lit in {DIE_COLOURS[wire.die]}"
                    yield _step(fixture, [wire], said, dark)
            elif wires:  # a mix has none of its own
                yield _step(fixture, wires, f"Is the lamp {name} of {fixture.name} lit", dark)


def _step(fixture: Fixture, wires: list[Wire], said: str, dark: bytes) -> Step:
    picture = bytearray(dark)
    for wire in wires:
        picture[wire.offset] = FULL_BYTE * (not wire.inverted)
    return Step(bytes(picture), f"{said}, and nothing else that is new?", fixture.name, wires[0].chip)


def _wires(fixture: Fixture) -> Iterator[Wire]:
    for head in fixture.heads:
        for lamp in head.lamps:
            yield from (wire for wire in lamp.wires if wire.offset >= 0)
