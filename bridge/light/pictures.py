"""From aspects to channels: for every device and every aspect it can show, the level of each channel."""

from __future__ import annotations

from typing import TypeAlias

from bridge.layout.controls import asked
from bridge.layout.findings import Finding, Mark, choice, said, warning
from bridge.layout.model import DARK, AspectRow, Fixture, Lamp, Layout, Shown, Signal, Way, Wire
from bridge.layout.units import FULL_LEVEL
from bridge.light.matching import weakest
from bridge.light.palette import Palette, find, look_at_lamps, not_dimmable
from bridge.light.plans import DevicePlan, Look, filaments, flash_tape
from bridge.light.shining import plan_light
from bridge.light.wires import lenses_of, levels_of, wires_of


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
    plans += [plan_light(light, fixtures, palette) for light in layout.lights]
    marks = [*(signal.mark for signal in layout.signals), *(light.mark for light in layout.lights)]
    _one_owner(plans, marks, palette)
    return tuple(plans), tuple(palette.findings)


def _one_owner(plans: list[DevicePlan], marks: list[Mark], palette: Palette) -> None:
    owners: dict[tuple[int, int], int] = {}
    for index, plan in enumerate(plans):
        others = {owners.setdefault(place, index) for place in plan.places} - {index}
        for other in sorted(others):
            palette.error(
                marks[index],
                f"{plan.name} would light lamps of {plans[other].name} (line {marks[other].line}), and "
                "a lamp obeys one device: give each light its own `lamps`, or each device its own fixture",
            )


_Levels: TypeAlias = tuple[dict[int, int], dict[int, int]]


def _signal(signal: Signal, fixture: Fixture, palette: Palette) -> DevicePlan:
    wires = wires_of(fixture)
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
            lit, unlit = (levels_of(levels, wires) for levels in look)
            looks[row.name] = Look(lit, unlit)
            if needed:
                shown.append(row)
    _still(looks)
    # Whatever its aspects are, a signal may have to be dark.
    looks.setdefault(DARK, Look((0,) * len(wires), (0,) * len(wires)))
    _alike(shown, looks, palette)
    return DevicePlan(
        name=signal.name,
        places=tuple((fixture.chain, wire.offset) for wire, _lamp in wires),
        dimmable=tuple(lamp.dimmable for _wire, lamp in wires),
        lenses=lenses_of(fixture, wires),
        looks=looks,
        rest=signal.aspects[0].name,
        change=signal.change,
        flash=flash_tape(signal.flash, signal.change),
        filaments=filaments(signal.change, len(wires)),
        reds=_reds(signal, fixture, wires, palette, measure),
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
    rigid = {wire.offset: lamp.name for wire, lamp in wires_of(fixture) if not lamp.dimmable}
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


def _still(looks: dict[str, Look]) -> None:
    """Work out what looks that flash show where nothing may flash; the most restrictive look comes first.

    All their lamps are lit, unless that is what something better looks like: then what is next more restrictive.
    """
    names = list(looks)
    for rank, name in enumerate(names):
        look = looks[name]
        if look.lit == look.unlit:
            continue
        steady = _both(look)
        if rank and any(steady == _both(looks[better]) for better in names[rank + 1 :]):
            below = looks[names[rank - 1]]
            steady = below.lit if below.stilled is None else below.stilled
        looks[name] = look._replace(stilled=steady)


def _both(look: Look) -> tuple[int, ...]:
    return tuple(max(both) for both in zip(look.lit, look.unlit, strict=True))


def _reds(
    signal: Signal, fixture: Fixture, wires: list[tuple[Wire, Lamp]], palette: Palette, measure: int
) -> tuple[int, ...]:
    """Return the levels of each channel while its head is red between two other colours."""
    if signal.change.way is not Way.RED:
        return ()
    levels: dict[int, int] = {}
    for head in fixture.heads:
        found = find(head, Shown("red", FULL_LEVEL, signal.mark), palette, measure)
        if isinstance(found, str):
            palette.error(signal.mark, f"{signal.name} cannot change through red: {found}")
        else:
            levels |= dict(found)
    return levels_of(levels, wires)
