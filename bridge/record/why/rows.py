"""Where the layout file says what a thing shows: the row that was used."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from bridge.layout import controls
from bridge.layout.controls import Needs
from bridge.layout.findings import Mark
from bridge.layout.model import Layout, Light, Signal
from bridge.logic.asked import Asked
from bridge.logic.known import BUTTON, NUMBER, ORDERED, PROVED, SIGNAL, Key
from bridge.record.why.answer import Written


def rows_of(layout: Layout, asked: Asked, name: str, aspect: str) -> tuple[Written, ...]:
    """Return the rows that say why a thing shows an aspect, as things stand now; a light and a zone have one place."""
    found: list[Written] = []
    for signal in layout.signals:
        if signal.name == name:
            for control in signal.controls:
                found += [Written(mark.line, text) for mark, text in _of_control(control, asked, aspect)]
    for light in layout.lights:
        if light.name == name:
            found.append(Written(light.mark.line, "what it goes by"))
    for zone in layout.zones:
        if zone.name == name:
            found.append(Written(zone.mark.line, "the levels of this zone"))
    return tuple(dict.fromkeys(found))


def _of_control(control: controls.Control, asked: Asked, aspect: str) -> Iterator[tuple[Mark, str]]:
    match control:
        case controls.LastCommand(rows):
            yield from _ordered(rows, asked, aspect)
        case controls.PositionTable(lines):
            fitting = [line for line in lines if line.aspect == aspect and _fits(line.needs, asked)]
            yield from ((line.mark, f"{_needs(line.needs)}: {line.aspect}") for line in fitting[:1])
        case controls.AspectNumbers(accessory, aspects, mark):
            value = asked.rest((NUMBER, accessory)).value
            if value.isdigit() and aspects.get(int(value)) == aspect:
                yield mark, f"aspect {value} of accessory {accessory}: {aspect}"
        case controls.Ahead(ways):
            fitted = [way for way in ways if _fits(way.turnouts, asked, proved=True)]
            for way in fitted[:1]:
                yield way.mark, f"the way ahead{f' with {_needs(way.turnouts)}' if way.turnouts else ''}"
        case controls.Following(signal, shows, mark):
            value = asked.rest((SIGNAL, signal)).value
            if shows.get(value) == aspect:
                yield mark, f"while {signal} shows {value}: {aspect}"
        case _:
            return


def _ordered(rows: Sequence[controls.CommandRow], asked: Asked, aspect: str) -> Iterator[tuple[Mark, str]]:
    """Yield the place of the last order, if that is for this aspect."""
    told = [(asked.rest((ORDERED, row.accessory)), row) for row in rows]
    for rest, row in sorted(told, key=lambda each: -each[0].event):
        for position, shows in row.aspects.items():
            if rest.event and position == rest.value and shows == aspect:
                yield row.marks[position], f"{row.accessory} {position.value}: {shows}"
                return


def _fits(needs: Needs, asked: Asked, *, proved: bool = False) -> bool:
    for number, position in needs:
        values = {asked.rest((ORDERED, number)).value}
        if proved:
            stands = asked.rest((PROVED, number))
            values = {stands.value} if stands.event else values
        if position.value not in values:
            return False
    return True


def _needs(needs: Needs) -> str:
    return ", ".join(f"{number} {position.value}" for number, position in needs)


def devices_of(layout: Layout) -> tuple[Signal | Light, ...]:
    """Return all devices in the order of the file, signals first."""
    return (*layout.signals, *layout.lights)


def obeyed_by(layout: Layout, name: str) -> Iterator[Key]:
    """Yield what a signal does as it is told last."""
    for signal in layout.signals:
        for control in signal.controls if signal.name == name else ():
            match control:
                case controls.LastCommand(rows):
                    yield from ((ORDERED, row.accessory) for row in rows)
                case controls.AspectNumbers(accessory):
                    yield NUMBER, accessory
                case controls.LatchedButtons(aspects):
                    yield from ((BUTTON, button) for button in aspects)
                case controls.SteppedButton(button):
                    yield BUTTON, button
                case _:
                    pass
