"""Advice about what orders signals: rows that never count, positions without a row, numbers with a catch."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product
from typing import Final

from bridge.events import Position
from bridge.layout.conditions import AccessoryStands, leaves
from bridge.layout.controls import Ahead, AspectNumbers, Needs, PositionTable
from bridge.layout.findings import Finding, Mark, warning
from bridge.layout.model import Layout, Signal

SHARED_WITH_BROADCAST: Final = range(2041, 2045)
"""Basic accessory numbers whose packets are those of the broadcast address: decoder 511 (NMRA S-9.2.1, part D)."""

OLD_ASPECTS: Final = range(32)
"""Aspect numbers of the five-bit form of the extended packet (NMRA S-9.2.1 of July 2012, part D)."""

MOST_TRIED: Final = 10
"""Accessories of one table of which all positions are tried; there are two to the power of so many."""

POSITIONS: Final = (Position.NORMAL, Position.REVERSE)


def advice_on_orders(layout: Layout) -> Iterator[Finding]:
    """Yield what the owner should look at in what signals are ordered by."""
    for signal in layout.signals:
        for control in signal.controls:
            match control:
                case PositionTable(rows, mark):
                    yield from _never_match([(row.needs, row.mark) for row in rows], "row")
                    yield from _not_covered(signal, [row.needs for row in rows], mark)
                case Ahead(ways):
                    yield from _never_match([(way.turnouts, way.mark) for way in ways], "way")
                case AspectNumbers(_, aspects, mark):
                    yield from _too_new(aspects, mark)
    yield from _broadcast(layout)
    yield from _opposite(layout)


def _accessories(all_needs: list[Needs]) -> list[int]:
    return sorted({number for needs in all_needs for number, _position in needs})


def _every(numbers: list[int]) -> Iterator[dict[int, Position]]:
    """Yield every way in which so many accessories can stand; none at all where they are too many."""
    if len(numbers) <= MOST_TRIED:
        for positions in product(POSITIONS, repeat=len(numbers)):
            yield dict(zip(numbers, positions, strict=True))


def _fits(needs: Needs, stand: dict[int, Position]) -> bool:
    return all(stand[number] is position for number, position in needs)


def _never_match(rows: list[tuple[Needs, Mark]], what: str) -> Iterator[Finding]:
    numbers = _accessories([needs for needs, _mark in rows])
    first = {
        next((place for place, (needs, _mark) in enumerate(rows) if _fits(needs, stand)), -1)
        for stand in _every(numbers)
    }
    for place, (_needs, mark) in enumerate(rows):
        if first and place not in first:
            yield warning(mark, f"this {what} never counts: wherever it fits, one above it fits as well")


def _not_covered(signal: Signal, rows: list[Needs], mark: Mark) -> Iterator[Finding]:
    missing = [
        stand for stand in _every(_accessories(rows)) if not any(_fits(needs, stand) for needs in rows)
    ]
    if missing:
        words = " and ".join(
            f"accessory {number} {position.value}" for number, position in missing[0].items()
        )
        more = f", nor {len(missing) - 1} other combinations" if len(missing) > 1 else ""
        yield warning(mark, f"no row fits {words}{more}: {signal.name} then shows {signal.rest}")


def _too_new(aspects: dict[int, str], mark: Mark) -> Iterator[Finding]:
    high = [number for number in aspects if number not in OLD_ASPECTS]
    if high:
        most = OLD_ASPECTS[-1]
        yield warning(
            mark, f"aspect {high[0]} is over {most}: a station of the older, five-bit form cannot send it"
        )


def _broadcast(layout: Layout) -> Iterator[Finding]:
    seen: set[int] = set()
    for number, mark in _numbers(layout):
        if number in SHARED_WITH_BROADCAST and number not in seen:
            seen.add(number)
            text = (
                f"accessory {number} shares its address with the broadcast to all accessories: take another"
            )
            yield warning(mark, text)


def _numbers(layout: Layout) -> Iterator[tuple[int, Mark]]:
    """Yield every number of a basic accessory with its place."""
    yield from ((turnout.accessory, turnout.mark) for turnout in layout.turnouts)
    for signal in layout.signals:
        yield from ((row.accessory, row.mark) for row in signal.commands)
        for control in signal.controls:
            rows = (
                [(row.needs, row.mark) for row in control.rows] if isinstance(control, PositionTable) else []
            )
            rows += [(way.turnouts, way.mark) for way in control.ways] if isinstance(control, Ahead) else []
            yield from ((number, mark) for needs, mark in rows for number, _position in needs)
        for route in signal.routes:
            yield from ((number, route.mark) for number, _position in (*route.turnouts, *route.flank))
    for light in layout.lights:
        stands = (leaf for leaf in leaves(light.when) if isinstance(leaf, AccessoryStands))
        yield from ((leaf.number, light.mark) for leaf in stands)


def _opposite(layout: Layout) -> Iterator[Finding]:
    """Find an accessory that stops one signal in the position in which it lets another go."""
    first: dict[int, tuple[Signal, Position]] = {}
    for signal in layout.signals:
        for row in signal.commands:
            stops = [position for position in POSITIONS if row.aspects.get(position) == signal.rest]
            if len(stops) != 1 or len(row.aspects) != len(POSITIONS):
                continue
            other, position = first.setdefault(row.accessory, (signal, stops[0]))
            if position is not stops[0]:
                yield warning(
                    row.mark,
                    f"accessory {row.accessory} {stops[0].value} puts {signal.name} to {signal.rest}, and "
                    f"{other.name} (line {other.mark.line}) to something better: is one of them the wrong way round?",
                )
