"""From words to channels: for every device and every aspect it can show, the level of each channel.

This is where a lamp is found by what it is. A word is first the name of a lamp, then the colour of a
separate LED, then a colour that the head's full-colour lamp can mix; so asking for yellow lights the yellow
LED alone where there is one.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import NamedTuple, TypeAlias

from bridge.layout.chips import DIE_COLOURS
from bridge.layout.controls import asked
from bridge.layout.findings import Finding, Mark, choice, either, error, said, warning
from bridge.layout.model import (
    DARK,
    OFF,
    ON,
    AspectRow,
    Build,
    Fixture,
    Flash,
    Head,
    Lamp,
    LampKind,
    Layout,
    Light,
    Shown,
    Signal,
    Wire,
)
from bridge.layout.rules import RULE_WORDS
from bridge.layout.units import FULL_LEVEL, volts
from bridge.light.colours import COLOURS, DIES, LED_COLOURS, Colour, led_colour


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


class Palette:
    """The colours by name, the owner's own among them, and what is found while asking for them.

    Attributes:
        findings: what was found.
        colours: each colour by its name.
        words: all that can be asked for somewhere in this layout: colours and the names of lamps.
    """

    def __init__(self, layout: Layout) -> None:
        self.findings: list[Finding] = []
        self.colours: dict[str, Colour] = dict(COLOURS)
        for name, (red, green, blue, white) in layout.colours.items():
            with_white = (red, green, blue, white)
            self.colours[name] = Colour((red, green, blue), with_white, needs_white=white > 0)
        self.words: frozenset[str] = layout.lamp_names | self.colours.keys() | LED_COLOURS.keys() | {ON}

    def knows(self, word: str) -> bool:
        """Return whether somewhere in this layout or in a rule book something is called so."""
        return word in self.words or word in RULE_WORDS

    def error(self, mark: Mark, message: str) -> None:
        """Note an error at a place of the file."""
        self.findings.append(error(mark, message))


def plan_devices(layout: Layout) -> tuple[tuple[DevicePlan, ...], tuple[Finding, ...]]:
    """Work out what every device can show, signals first, in the order of the file.

    Returns:
        The plans, which are whole only where no finding is an error; and the findings.
    """
    palette = Palette(layout)
    fixtures = layout.fixtures()
    for build in layout.builds:
        _look_at_lamps(build, palette)
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


def _look_at_lamps(build: Build, palette: Palette) -> None:
    for head in build.heads:
        for lamp in head.lamps:
            known: Collection[str] = palette.colours
            if lamp.kind is LampKind.LEDS:
                known = LED_COLOURS
            elif lamp.kind is LampKind.MIX:
                known = dict.fromkeys((*LED_COLOURS, *palette.colours))
            if lamp.colour and lamp.colour not in known:
                text = (
                    f"no lamp of this kind has the colour {said(lamp.colour)}; {choice(lamp.colour, known)}"
                )
                palette.error(lamp.colour_mark, text)
            elif lamp.kind is LampKind.LEDS:
                _look_at_leds(lamp, build, palette)


def _look_at_leds(lamp: Lamp, build: Build, palette: Palette) -> None:
    colour = led_colour(lamp.name, lamp.colour)
    if not colour:
        palette.error(
            lamp.mark,
            f"the name of the lamp {lamp.name!r} does not say its colour: give it, such as `colour: red`",
        )
        return
    for wire in lamp.wires:
        if wire.die and colour not in DIES[wire.die]:
            chip = build.chips[wire.chip].called
            palette.error(
                lamp.mark,
                f"channel {wire.channel + 1} of {chip} is its {DIE_COLOURS[wire.die]} LED, which cannot be the "
                f"{colour} lamp {lamp.name!r}: use `full-colour` and ask for the colour",
            )
        least = wire.leds * LED_COLOURS[colour].least_mv
        if not wire.die and least >= wire.supply_mv:
            series = f"{wire.leds} {colour} LEDs in series need" if wire.leds > 1 else f"a {colour} LED needs"
            remedy = (
                "give a higher `supply`, or put fewer in series"
                if wire.leds > 1
                else "give a higher `supply`"
            )
            palette.error(
                lamp.mark,
                f"{series} more than {volts(least)}, and the supply gives {volts(wire.supply_mv)}: {remedy}",
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
    looks: dict[str, Look] = {}
    shown: list[AspectRow] = []
    ordered = {aspect: mark for control in signal.controls for aspect, mark in asked(control)}
    for index, row in enumerate(signal.aspects):
        needed = row.required or index == 0 or row.name in ordered
        blame = None if row.required else ordered.get(row.name, signal.mark)
        look = (
            _look(signal, row, fixture, palette, blame) if needed else _quietly(signal, row, fixture, palette)
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


def _quietly(signal: Signal, row: AspectRow, fixture: Fixture, palette: Palette) -> _Levels | None:
    """Return what an aspect that nobody orders would look like, if it is possible here at all."""
    before = len(palette.findings)
    look = _look(signal, row, fixture, palette, None)
    del palette.findings[before:]
    return look


def _look(
    signal: Signal, row: AspectRow, fixture: Fixture, palette: Palette, blame: Mark | None
) -> _Levels | None:
    """Return the levels by channel while what flashes is lit, and while it is not; None if there are none, and why."""
    lit: dict[int, int] = {}
    unlit: dict[int, int] = {}
    sound = True
    rigid = {wire.offset: lamp.name for wire, lamp in _wires(fixture) if not lamp.dimmable}
    for head, shown in zip(fixture.heads, (items for _name, items in row.heads), strict=True):
        for item in shown:
            found = _find(head, item, palette)
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
                    palette.findings.append(warning(item.mark, _not_dimmable(rigid[offset], fixture)))
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


def _not_dimmable(lamp: str, fixture: Fixture) -> str:
    return f"the lamp {lamp} of {fixture.name} is not dimmable: it is fully lit whenever it is on"


def _find(head: Head, item: Shown, palette: Palette) -> list[tuple[int, int]] | str:
    """Return the channels that a word lights, or why there are none."""
    lamps = {lamp.name: lamp for lamp in head.lamps}
    full = [lamp for lamp in head.lamps if lamp.kind is LampKind.FULL_COLOUR]
    leds = [lamp for lamp in head.lamps if lamp.kind is not LampKind.FULL_COLOUR]
    where = f"its head {head.name}" if head.name else "its head"
    named = lamps.get(item.word)
    if named is not None:
        return _lit(named, item, head, palette)
    if item.word == ON:
        return f"a level alone does not say what is lit; {choice(item.word, lamps)}"
    coloured = [lamp for lamp in leds if led_colour(lamp.name, lamp.colour) == item.word]
    several = coloured or (full if item.word in palette.colours else [])
    if len(several) > 1:
        return f"{where} has several lamps that can show {item.word}: name {either(lamp.name for lamp in several)}"
    if coloured:
        return _lit(coloured[0], item, head, palette)
    if several:
        return _mixed(full[0], item.word, item.level, palette)
    if full:
        known = dict.fromkeys((*lamps, *palette.colours))
        return f"{said(item.word)} is no lamp and no colour here; {choice(item.word, known)}"
    return f"{where} has no lamp {said(item.word)}; {choice(item.word, lamps)}"


def _lit(lamp: Lamp, item: Shown, head: Head, palette: Palette) -> list[tuple[int, int]] | str:
    if lamp.kind is LampKind.FULL_COLOUR:
        return _mixed(lamp, lamp.colour or "white", item.level, palette)
    if lamp.kind is LampKind.LEDS:
        return [(wire.offset, _part(wire.share, item.level)) for wire in lamp.wires]
    members = {other.name: other for other in head.lamps}
    return [
        (wire.offset, _part(_part(wire.share, level), item.level))
        for name, level in lamp.mix
        for wire in members[name].wires
    ]


def _mixed(lamp: Lamp, colour: str, level: int, palette: Palette) -> list[tuple[int, int]] | str:
    dies = "".join(wire.die for wire in lamp.wires)
    mixture = palette.colours.get(colour)
    if mixture is None:
        return f"the lamp {lamp.name} has the colour {said(colour)}, which is none here"
    if mixture.needs_white and "W" not in dies:
        return f"the colour {colour} uses a white LED, and the lamp {lamp.name} has only {', '.join(dies)}"
    return [
        (wire.offset, _part(share, level))
        for wire, share in zip(lamp.wires, mixture.levels(dies), strict=True)
    ]


def _part(share: int, level: int) -> int:
    """Return `share` of `level`, both of 65535, rounded once, halves up."""
    return (share * level * 2 + FULL_LEVEL) // (2 * FULL_LEVEL)


def _light(light: Light, fixture: Fixture, palette: Palette) -> DevicePlan:
    wires = _wires(fixture, light.lamps)
    levels: dict[int, int] = {}
    for head in fixture.heads:
        for lamp in head.lamps:
            if (head.name, lamp.name) not in light.lamps:
                continue
            found = _light_lamp(lamp, light.shows, head, palette)
            if isinstance(found, str):
                palette.error(light.shows.mark, f"{light.name} cannot be lit so: {found}")
                continue
            for offset, level in found:
                levels[offset] = max(level, levels.get(offset, 0))
            if light.shows.level < FULL_LEVEL and not lamp.dimmable:
                palette.findings.append(warning(light.shows.mark, _not_dimmable(lamp.name, fixture)))
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


def _light_lamp(lamp: Lamp, shows: Shown, head: Head, palette: Palette) -> list[tuple[int, int]] | str:
    known = dict.fromkeys((ON, *palette.colours, *LED_COLOURS))
    if shows.word not in known:
        return f"no colour is called {said(shows.word)}; {choice(shows.word, known)}"
    if shows.word == ON:
        return _lit(lamp, shows, head, palette)
    if lamp.kind is LampKind.FULL_COLOUR:
        if shows.word not in palette.colours:
            return f"a full-colour lamp cannot mix {shows.word}; {choice(shows.word, palette.colours)}"
        return _mixed(lamp, shows.word, shows.level, palette)
    own = led_colour(lamp.name, lamp.colour)
    if own != shows.word:
        what = (
            f"its lamp {lamp.name} is {own}, not {shows.word}"
            if own
            else f"its lamp {lamp.name} has one colour"
        )
        return f"{what}: say which `lamps` are meant, or leave the colour out"
    return _lit(lamp, shows, head, palette)
