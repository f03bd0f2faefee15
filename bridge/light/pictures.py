"""From aspects to channels: for every device and every aspect it can show, the level of each channel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple, TypeAlias

from bridge.layout.controls import asked
from bridge.layout.findings import Finding, Mark, choice, said, warning
from bridge.layout.model import (
    DARK,
    OFF,
    ON,
    AspectRow,
    Fixture,
    Flash,
    Lamp,
    Layout,
    Light,
    Shown,
    Signal,
    Wire,
)
from bridge.layout.units import FULL_LEVEL
from bridge.light.matching import weakest
from bridge.light.palette import Palette, find, light_lamp, look_at_lamps, not_dimmable


class Look(NamedTuple):
    """What one aspect is for the channels of a device, as a 16-bit linear level for each.

    A channel flashes where the two differ.

    Attributes:
        lit: while the lamps that flash are lit.
        unlit: while they are not.
    """

    lit: tuple[int, ...]
    unlit: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class DevicePlan:
    """What one device can show.

    Attributes:
        name: the device.
        chain: index of its chain.
        offsets: the bytes of the chain's frame that are its own.
        dimmable: for each of them, whether it may be lit in part.
        lenses: for each of them, the number of the lens that it shines out of, counted within the device.
        looks: for each aspect by name, the levels of each of them; a signal can always be dark.
        rest: the aspect that it shows when it knows nothing.
        fade: duration of a change, nanoseconds; 0 for a cut.
        flash: how its lamps flash, where they do.
    """

    name: str
    chain: int
    offsets: tuple[int, ...]
    dimmable: tuple[bool, ...]
    lenses: tuple[int, ...]
    looks: dict[str, Look]
    rest: str
    fade: int
    flash: Flash


def plan_devices(layout: Layout) -> tuple[tuple[DevicePlan, ...], tuple[Finding, ...]]:
    """Work out what every device can show, signals first, in the order of the file.

    Returns:
        The plans, which are whole only where no finding is an error; and the findings.
    """
    palette = Palette(layout)
    fixtures = layout.fixtures()
    for build in layout.builds:
        look_at_lamps(build, palette)
    plans = [
        _signal(signal, fixtures[signal.fixture].only(signal.heads), palette) for signal in layout.signals
    ]
    plans += [_light(light, fixtures[light.fixture], palette) for light in layout.lights]
    marks = [*(signal.mark for signal in layout.signals), *(light.mark for light in layout.lights)]
    _one_owner(plans, marks, palette)
    return tuple(plans), tuple(palette.findings)


def _one_owner(plans: list[DevicePlan], marks: list[Mark], palette: Palette) -> None:
    owners: dict[tuple[int, int], int] = {}
    for index, plan in enumerate(plans):
        others = {owners.setdefault((plan.chain, offset), index) for offset in plan.offsets} - {index}
        for other in sorted(others):
            palette.error(
                marks[index],
                f"{plan.name} would light lamps of {plans[other].name} (line {marks[other].line}), and "
                "a lamp obeys one device: give each light its own `lamps`, or each device its own fixture",
            )


def _wires(fixture: Fixture, lamps: tuple[tuple[str, str], ...] | None = None) -> list[tuple[Wire, Lamp]]:
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


def _lenses(fixture: Fixture, wires: list[tuple[Wire, Lamp]]) -> tuple[int, ...]:
    """Return the number of the lens that each wire shines out of; a lamp without one has its own."""
    lenses: dict[tuple[str, str, str], int] = {}
    of_wire = {
        wire.offset: lenses.setdefault((head.name, lamp.lens, "" if lamp.lens else lamp.name), len(lenses))
        for head in fixture.heads
        for lamp in head.lamps
        for wire in lamp.wires
    }
    return tuple(of_wire[wire.offset] for wire, _lamp in wires)


def _levels(look: dict[int, int], wires: list[tuple[Wire, Lamp]]) -> tuple[int, ...]:
    """Return the level of each wire; a lamp that may only be switched is fully lit when it is lit at all."""
    return tuple(
        FULL_LEVEL if look.get(wire.offset, 0) and not lamp.dimmable else look.get(wire.offset, 0)
        for wire, lamp in wires
    )


_Levels: TypeAlias = tuple[dict[int, int], dict[int, int]]


def _signal(signal: Signal, fixture: Fixture, palette: Palette) -> DevicePlan:
    wires = _wires(fixture)
    measure = weakest(signal, fixture, palette)
    looks: dict[str, Look] = {}
    shown: list[AspectRow] = []
    ordered = {aspect: mark for control in signal.controls for aspect, mark in asked(control)}
    for index, row in enumerate(signal.aspects):
        needed = row.required or index == 0 or row.name in ordered
        blame = None if row.required else ordered.get(row.name, signal.mark)
        look = (
            _look(signal, row, fixture, palette, blame, measure)
            if needed
            else _quietly(signal, row, fixture, palette, measure)
        )
        if look is not None:
            looks[row.name] = Look(*(_levels(levels, wires) for levels in look))
            if needed:
                shown.append(row)
    # Whatever its aspects are, a signal may have to be dark.
    looks.setdefault(DARK, Look((0,) * len(wires), (0,) * len(wires)))
    _alike(shown, looks, palette)
    return DevicePlan(
        name=signal.name,
        chain=fixture.chain,
        offsets=tuple(wire.offset for wire, _lamp in wires),
        dimmable=tuple(lamp.dimmable for _wire, lamp in wires),
        lenses=_lenses(fixture, wires),
        looks=looks,
        rest=signal.aspects[0].name,
        fade=signal.change.fade,
        flash=signal.flash,
    )


def _alike(rows: list[AspectRow], looks: dict[str, Look], palette: Palette) -> None:
    """Warn of aspects that nobody could tell apart."""
    seen: dict[Look, AspectRow] = {}
    for row in rows:
        first = seen.setdefault(looks[row.name], row)
        if first is not row:
            where = "" if first.mark == row.mark else f" (line {first.mark.line})"
            text = (
                f"{said(row.name)} looks exactly like {said(first.name)}{where}: nobody can tell them apart"
            )
            palette.findings.append(warning(row.mark, text))


def _quietly(
    signal: Signal, row: AspectRow, fixture: Fixture, palette: Palette, measure: int
) -> _Levels | None:
    """Return what an aspect that nobody orders would look like, if it is possible here at all."""
    before = len(palette.findings)
    look = _look(signal, row, fixture, palette, None, measure)
    del palette.findings[before:]
    return look


def _look(
    signal: Signal, row: AspectRow, fixture: Fixture, palette: Palette, blame: Mark | None, measure: int
) -> _Levels | None:
    """Return the levels by channel while what flashes is lit, and while it is not; None if there are none, and why."""
    lit: dict[int, int] = {}
    unlit: dict[int, int] = {}
    sound = True
    rigid = {wire.offset: lamp.name for wire, lamp in _wires(fixture) if not lamp.dimmable}
    for head, shown in zip(fixture.heads, (items for _name, items in row.heads), strict=True):
        for item in shown:
            found = find(head, item, palette, measure)
            if isinstance(found, str):
                # Where it is ordered one lamp that is missing is enough to say.
                if sound or blame is None or not palette.knows(item.word):
                    _blame(signal, row, item, found, palette, blame)
                sound = False
                continue
            for offset, level in found:
                for levels in (lit,) if item.flashing else (unlit,) if item.alternating else (lit, unlit):
                    levels[offset] = max(level, levels.get(offset, 0))
                if item.level < FULL_LEVEL and offset in rigid:
                    palette.findings.append(warning(item.mark, not_dimmable(rigid[offset], fixture)))
    return (lit, unlit) if sound else None


def _blame(
    signal: Signal, row: AspectRow, item: Shown, why: str, palette: Palette, ordered: Mark | None
) -> None:
    """Note why a signal cannot show an aspect: where it is ordered, or where a word stands that nothing has."""
    if ordered is None:
        palette.error(item.mark, f"{signal.name} cannot show {row.name}: {why}")
    elif palette.knows(item.word):
        line = "" if item.mark == signal.mark else f"; the aspect is in line {item.mark.line}"
        palette.error(ordered, f"{signal.name} cannot show {row.name}: {why}{line}")
    else:
        known = dict.fromkeys((*palette.colours, *sorted(palette.words)))
        palette.error(
            item.mark, f"no lamp and no colour is called {said(item.word)}; {choice(item.word, known)}"
        )


def _light(light: Light, fixture: Fixture, palette: Palette) -> DevicePlan:
    wires = _wires(fixture, light.lamps)
    levels: dict[int, int] = {}
    for head in fixture.heads:
        for lamp in head.lamps:
            if (head.name, lamp.name) not in light.lamps:
                continue
            found = light_lamp(lamp, light.shows, head, palette)
            if isinstance(found, str):
                palette.error(light.shows.mark, f"{light.name} cannot be lit so: {found}")
                continue
            for offset, level in found:
                levels[offset] = max(level, levels.get(offset, 0))
            if light.shows.level < FULL_LEVEL and not lamp.dimmable:
                palette.findings.append(warning(light.shows.mark, not_dimmable(lamp.name, fixture)))
    return DevicePlan(
        name=light.name,
        chain=fixture.chain,
        offsets=tuple(wire.offset for wire, _lamp in wires),
        dimmable=tuple(lamp.dimmable for _wire, lamp in wires),
        lenses=_lenses(fixture, wires),
        looks={
            OFF: Look((0,) * len(wires), (0,) * len(wires)),
            ON: Look(_levels(levels, wires), _levels(levels, wires)),
        },
        rest=OFF,
        fade=light.change.fade,
        flash=Flash(),
    )
