"""From words to channels: for every device and every aspect it can show, the level of each channel.

This is where a lamp is found by what it is. A word is first the name of a lamp, then the colour of a
separate LED, then a colour that the head's full-colour lamp can mix; so asking for yellow lights the yellow
LED alone where there is one.
"""

from __future__ import annotations

from dataclasses import dataclass

from bridge.layout.findings import Finding, Mark, choice, error, warning
from bridge.layout.model import (
    OFF,
    ON,
    AspectRow,
    Fixture,
    Head,
    Lamp,
    LampKind,
    Layout,
    Light,
    Shown,
    Signal,
    Wire,
)
from bridge.layout.units import FULL_LEVEL
from bridge.light.colours import COLOURS, LED_COLOURS, Colour, led_colour


@dataclass(frozen=True, slots=True)
class DevicePlan:
    """What one device can show.

    Attributes:
        name: the device.
        chain: index of its chain.
        offsets: the bytes of the chain's frame that are its own.
        dimmable: for each of them, whether it may be lit in part.
        looks: for each aspect by name, a 16-bit linear level for each of them.
        rest: the aspect that it shows when it knows nothing.
        fade: duration of a change, nanoseconds; 0 for a cut.
    """

    name: str
    chain: int
    offsets: tuple[int, ...]
    dimmable: tuple[bool, ...]
    looks: dict[str, tuple[int, ...]]
    rest: str
    fade: int


class Palette:
    """The colours by name, the owner's own among them, and what is found while asking for them."""

    def __init__(self, layout: Layout) -> None:
        self.findings: list[Finding] = []
        self.colours: dict[str, Colour] = dict(COLOURS)
        for name, (red, green, blue, white) in layout.colours.items():
            with_white = (red, green, blue, white)
            self.colours[name] = Colour((red, green, blue), with_white, needs_white=white > 0)

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
    for fixture in fixtures.values():
        _look_at_lamps(fixture, palette)
    plans = [_signal(signal, fixtures[signal.fixture], palette) for signal in layout.signals]
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
                f"{plan.name} lights lamps that already belong to {plans[other].name} (line {marks[other].line}): "
                "a lamp obeys one device; name the `lamps` of each, or give it a fixture of its own",
            )


def _look_at_lamps(fixture: Fixture, palette: Palette) -> None:
    for head in fixture.heads:
        for lamp in head.lamps:
            known = LED_COLOURS if lamp.kind is LampKind.LEDS else palette.colours
            colour = led_colour(lamp.name, lamp.colour) if lamp.kind is LampKind.LEDS else lamp.colour
            if colour and colour not in known:
                palette.error(lamp.mark, f"no lamp has the colour {colour!r}; {choice(colour, known)}")
            elif lamp.kind is LampKind.LEDS:
                _look_at_leds(lamp, colour, palette)


def _look_at_leds(lamp: Lamp, colour: str, palette: Palette) -> None:
    if not colour:
        palette.error(
            lamp.mark,
            f"the name of the lamp {lamp.name!r} does not say its colour: give it, such as `colour: red`",
        )
        return
    for wire in lamp.wires:
        inside = {"R": "red", "G": "green", "B": "blue", "W": "white"}.get(wire.die)
        if inside is not None and inside != colour and wire.die != "W":
            palette.error(
                lamp.mark,
                f"this channel is the {inside} LED inside a pixel, and cannot be the {colour} lamp {lamp.name!r}: "
                "use `full-colour` and ask for the colour",
            )
        least = wire.leds * LED_COLOURS[colour].least_mv
        if inside is None and least >= wire.supply_mv:
            palette.error(
                lamp.mark,
                f"{wire.leds} {colour} LED{'s' * (wire.leds > 1)} in series need more than {least} mV, and the supply "
                f"gives {wire.supply_mv} mV: give a higher `supply`, or put fewer in series",
            )


def _wires(fixture: Fixture, lamps: tuple[tuple[str, str], ...] | None = None) -> list[tuple[Wire, Lamp]]:
    return [
        (wire, lamp)
        for head in fixture.heads
        for lamp in head.lamps
        if lamps is None or (head.name, lamp.name) in lamps
        for wire in lamp.wires
    ]


def _levels(look: dict[int, int], wires: list[tuple[Wire, Lamp]]) -> tuple[int, ...]:
    """Return the level of each wire; a lamp that may only be switched is fully lit when it is lit at all."""
    return tuple(
        FULL_LEVEL if look.get(wire.offset, 0) and not lamp.dimmable else look.get(wire.offset, 0)
        for wire, lamp in wires
    )


def _signal(signal: Signal, fixture: Fixture, palette: Palette) -> DevicePlan:
    wires = _wires(fixture)
    looks: dict[str, tuple[int, ...]] = {}
    ordered = {
        aspect: row.marks[position] for row in signal.commands for position, aspect in row.aspects.items()
    }
    for index, row in enumerate(signal.aspects):
        needed = row.required or index == 0 or row.name in ordered
        blame = None if row.required else ordered.get(row.name, signal.mark)
        look = (
            _look(signal, row, fixture, palette, blame) if needed else _quietly(signal, row, fixture, palette)
        )
        if look is not None:
            looks[row.name] = _levels(look, wires)
    return DevicePlan(
        name=signal.name,
        chain=fixture.chain,
        offsets=tuple(wire.offset for wire, _lamp in wires),
        dimmable=tuple(lamp.dimmable for _wire, lamp in wires),
        looks=looks,
        rest=signal.aspects[0].name,
        fade=signal.change.fade,
    )


def _quietly(signal: Signal, row: AspectRow, fixture: Fixture, palette: Palette) -> dict[int, int] | None:
    """Return what an aspect that nobody orders would look like, if it is possible here at all."""
    before = len(palette.findings)
    look = _look(signal, row, fixture, palette, None)
    del palette.findings[before:]
    return look


def _look(
    signal: Signal, row: AspectRow, fixture: Fixture, palette: Palette, blame: Mark | None
) -> dict[int, int] | None:
    levels: dict[int, int] = {}
    sound = True
    for head, shown in zip(fixture.heads, (items for _name, items in row.heads), strict=True):
        for item in shown:
            found = _find(head, item, palette)
            if isinstance(found, str):
                sound = False
                why = f"{signal.name} cannot show {row.name}: {found}"
                palette.error(blame or item.mark, why)
                continue
            for offset, level in found:
                levels[offset] = max(level, levels.get(offset, 0))
    return levels if sound else None


def _find(head: Head, item: Shown, palette: Palette) -> list[tuple[int, int]] | str:
    """Return the channels that a word lights, or why there are none."""
    lamps = {lamp.name: lamp for lamp in head.lamps}
    full = [lamp for lamp in head.lamps if lamp.kind is LampKind.FULL_COLOUR]
    leds = [lamp for lamp in head.lamps if lamp.kind is not LampKind.FULL_COLOUR]
    named = lamps.get(item.word)
    if named is not None:
        return _lit(named, item, head, palette)
    coloured = [lamp for lamp in leds if led_colour(lamp.name, lamp.colour) == item.word]
    if len(coloured) == 1:
        return _lit(coloured[0], item, head, palette)
    where = f"its head {head.name}" if head.name else "its head"
    if coloured:
        return (
            f"{where} has several {item.word} lamps: name one of {', '.join(lamp.name for lamp in coloured)}"
        )
    if len(full) == 1 and item.word in palette.colours:
        return _mixed(full[0], item.word, item.level, palette)
    if full and item.word not in palette.colours:
        known = [*lamps, *palette.colours]
        return f"{item.word!r} is no lamp and no colour here; {choice(item.word, known)}"
    return f"{where} has no {item.word} lamp; {choice(item.word, lamps)}"


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
    mixture = palette.colours[colour]
    if mixture.needs_white and "W" not in dies:
        return (
            f"the colour {colour!r} uses a white die, and the lamp {lamp.name!r} has only {', '.join(dies)}"
        )
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
                break
            levels.update(found)
            if light.shows.level < FULL_LEVEL and not lamp.dimmable:
                text = f"{fixture.name} {lamp.name} is not dimmable: it will be fully lit whenever it is on"
                palette.findings.append(warning(light.shows.mark, text))
    return DevicePlan(
        name=light.name,
        chain=fixture.chain,
        offsets=tuple(wire.offset for wire, _lamp in wires),
        dimmable=tuple(lamp.dimmable for _wire, lamp in wires),
        looks={OFF: (0,) * len(wires), ON: _levels(levels, wires)},
        rest=OFF,
        fade=light.change.fade,
    )


def _light_lamp(lamp: Lamp, shows: Shown, head: Head, palette: Palette) -> list[tuple[int, int]] | str:
    if shows.word != ON and shows.word not in palette.colours:
        return f"no colour is called {shows.word!r}; {choice(shows.word, [ON, *palette.colours])}"
    if shows.word == ON or lamp.kind is not LampKind.FULL_COLOUR:
        return _lit(lamp, shows, head, palette)
    return _mixed(lamp, shows.word, shows.level, palette)
