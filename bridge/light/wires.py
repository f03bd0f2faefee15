"""The channels of a fixture as one device sees them: in order, each once, with its lamp and its lens."""

from __future__ import annotations

from collections.abc import Collection

from bridge.layout.model import Fixture, Lamp, Wire
from bridge.layout.units import FULL_LEVEL


def wires_of(fixture: Fixture, lamps: Collection[tuple[str, str]] | None = None) -> list[tuple[Wire, Lamp]]:
    """Return the channels of the lamps of a fixture, or of some of them; those of a mix are its members'."""
    found: dict[int, tuple[Wire, Lamp]] = {}
    for head in fixture.heads:
        members = {lamp.name: lamp for lamp in head.lamps}
        for lamp in head.lamps:
            if lamps is not None and (head.name, lamp.name) not in lamps:
                continue
            lit = (lamp, *(members[name] for name, _level in lamp.mix))
            found |= {wire.offset: (wire, each) for each in lit for wire in each.wires}
    return list(found.values())


def lenses_of(fixture: Fixture, wires: list[tuple[Wire, Lamp]]) -> tuple[int, ...]:
    """Return the number of the lens that each wire shines out of; a lamp without one has its own."""
    lenses: dict[tuple[str, str, str], int] = {}
    of_wire = {
        wire.offset: lenses.setdefault((head.name, lamp.lens, "" if lamp.lens else lamp.name), len(lenses))
        for head in fixture.heads
        for lamp in head.lamps
        for wire in lamp.wires
    }
    return tuple(of_wire[wire.offset] for wire, _lamp in wires)


def levels_of(look: dict[int, int], wires: list[tuple[Wire, Lamp]]) -> tuple[int, ...]:
    """Return the level of each wire; a lamp that may only be switched is fully lit when it is lit at all."""
    return tuple(
        FULL_LEVEL if look.get(wire.offset, 0) and not lamp.dimmable else look.get(wire.offset, 0)
        for wire, lamp in wires
    )
