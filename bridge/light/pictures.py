"""From aspects to channels: for every device and every aspect it can show, the level of each channel."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from functools import cache
from itertools import groupby
from math import gcd
from typing import Final, NamedTuple, TypeAlias

from bridge.layout.controls import asked
from bridge.layout.findings import Finding, Mark, choice, said, warning
from bridge.layout.model import (
    DARK,
    OFF,
    ON,
    AspectRow,
    Change,
    Fixture,
    Flash,
    Lamp,
    Layout,
    Light,
    Shown,
    Signal,
    Way,
    Wire,
)
from bridge.layout.units import FULL_LEVEL
from bridge.light.filament import Filament, filament, flashing_filament
from bridge.light.matching import weakest
from bridge.light.palette import Palette, find, light_lamp, look_at_lamps, not_dimmable
from bridge.light.tapes import UNIT, Tape

_CUT: Final = Change()


class Look(NamedTuple):
    """What one aspect is for the channels of a device, as a 16-bit linear level for each.

    A channel flashes where the first two differ.

    Attributes:
        lit: while the lamps that flash are lit; of what plays, at the full light of its tape.
        unlit: while they are not; of what plays, 0.
        plays: the channels that play something else than a flash.
        stilled: what is shown instead where nothing may flash; None if nothing does.
    """

    lit: tuple[int, ...]
    unlit: tuple[int, ...]
    plays: tuple[Play, ...] = ()
    stilled: tuple[int, ...] | None = None


class Play(NamedTuple):
    """Channels that play together.

    Attributes:
        wires: the channels, by their index within the device.
        tapes: the tape of each; all of the same length.
        shift: nanoseconds by which they begin later than the aspect.
    """

    wires: tuple[int, ...]
    tapes: tuple[Tape, ...]
    shift: int


@dataclass(frozen=True, slots=True)
class DevicePlan:
    """What one device can show.

    Attributes:
        name: the device.
        places: its channels, each as the index of its chain and the byte of that chain's frame.
        dimmable: for each of them, whether it may be lit in part.
        lenses: for each of them, the number of the lens that it shines out of, counted within the device.
        looks: for each aspect by name, the levels of each of them; a signal can always be dark.
        rest: the aspect that it shows when it knows nothing.
        change: how one aspect gives way to the next.
        flash: how its lamps flash, where they do.
        filaments: for each channel, how it warms up and cools down where it changes so; else none.
        reds: for each channel, its level where its lens is red between two colours; else none.
    """

    name: str
    places: tuple[tuple[int, int], ...]
    dimmable: tuple[bool, ...]
    lenses: tuple[int, ...]
    looks: dict[str, Look]
    rest: str
    change: Change
    flash: Tape
    filaments: tuple[Filament, ...] = ()
    reds: tuple[int, ...] = ()

    @property
    def chains(self) -> frozenset[int]:
        """The indexes of the chains that it hangs on."""
        return frozenset(chain for chain, _offset in self.places)

    @property
    def tapes(self) -> Iterator[Tape]:
        """All tapes that it may play."""
        yield self.flash
        yield from (tape for each in self.filaments for tape in each)
        yield from (tape for look in self.looks.values() for play in look.plays for tape in play.tapes)


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
    plans += [_light(light, fixtures, palette) for light in layout.lights]
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


def _wires(fixture: Fixture, lamps: Collection[tuple[str, str]] | None = None) -> list[tuple[Wire, Lamp]]:
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
            lit, unlit = (_levels(levels, wires) for levels in look)
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
        lenses=_lenses(fixture, wires),
        looks=looks,
        rest=signal.aspects[0].name,
        change=signal.change,
        flash=flash_tape(signal.flash, signal.change),
        filaments=_filaments(signal.change, len(wires)),
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


def flash_tape(flash: Flash, change: Change = _CUT) -> Tape:
    """Return how lamps flash: lit first; with filaments, as these follow."""
    if change.way is Way.FILAMENT:
        return flashing_filament(flash.period, flash.lit, change.time)
    common = gcd(flash.lit, 100)
    lit, count = flash.lit // common, 100 // common
    return _square(lit, count - lit, flash.period)


@cache
def _square(lit: int, unlit: int, period: int) -> Tape:
    return Tape((UNIT,) * lit + (0,) * unlit, period)


def _filaments(change: Change, wires: int) -> tuple[Filament, ...]:
    return (filament(change.time),) * wires if change.way is Way.FILAMENT else ()


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
    return _levels(levels, wires)


def _light(light: Light, fixtures: dict[str, Fixture], palette: Palette) -> DevicePlan:
    places: list[tuple[int, int]] = []
    dimmable: list[bool] = []
    lenses: list[int] = []
    lit: list[int] = []
    for name, places_of in groupby(light.lamps, key=lambda place: place.fixture):
        fixture, lamps = fixtures[name], {(place.head, place.lamp) for place in places_of}
        wires = _wires(fixture, lamps)
        places += [(fixture.chain, wire.offset) for wire, _lamp in wires]
        dimmable += [lamp.dimmable for _wire, lamp in wires]
        lenses += [len(lenses) + lens for lens in _lenses(fixture, wires)]
        lit += _levels(_shining(light, fixture, lamps, palette), wires)
    dark = (0,) * len(places)
    return DevicePlan(
        name=light.name,
        places=tuple(places),
        dimmable=tuple(dimmable),
        lenses=tuple(lenses),
        looks={OFF: Look(dark, dark), ON: Look(tuple(lit), tuple(lit))},
        rest=OFF,
        change=light.change,
        flash=flash_tape(Flash()),
        filaments=_filaments(light.change, len(places)),
    )


def _shining(
    light: Light, fixture: Fixture, lamps: Collection[tuple[str, str]], palette: Palette
) -> dict[int, int]:
    """Return the levels by channel of those lamps of a fixture that are a light's, when it is on."""
    levels: dict[int, int] = {}
    for head in fixture.heads:
        for lamp in head.lamps:
            if (head.name, lamp.name) not in lamps:
                continue
            found = light_lamp(lamp, light.shows, head, palette)
            if isinstance(found, str):
                palette.error(light.shows.mark, f"{light.name} cannot be lit so: {found}")
                continue
            for offset, level in found:
                levels[offset] = max(level, levels.get(offset, 0))
            if light.shows.level < FULL_LEVEL and not lamp.dimmable:
                palette.findings.append(warning(light.shows.mark, not_dimmable(lamp.name, fixture)))
    return levels
