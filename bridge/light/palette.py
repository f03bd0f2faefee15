"""How a lamp is found by a word, and what each of its channels does then.

A word is first the name of a lamp, then the colour of a separate LED, then a colour that the head's full-colour
lamp can mix; so asking for yellow lights the yellow LED alone where there is one.
"""

from __future__ import annotations

from collections.abc import Collection

from bridge.layout.chips import DIE_COLOURS
from bridge.layout.findings import Finding, Mark, choice, either, error, said
from bridge.layout.model import ON, Build, Fixture, Head, Lamp, LampKind, Layout, Shown
from bridge.layout.rules import RULE_WORDS
from bridge.layout.units import FULL_LEVEL, volts
from bridge.light.colours import COLOURS, DIES, LED_COLOURS, Colour, led_colour


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


def look_at_lamps(build: Build, palette: Palette) -> None:
    """Note every lamp of a build whose colour its LEDs, or its supply, cannot give."""
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


def not_dimmable(lamp: str, fixture: Fixture) -> str:
    """Return the warning about a lamp that shall be lit in part and cannot."""
    return f"the lamp {lamp} of {fixture.name} is not dimmable: it is fully lit whenever it is on"


def find(head: Head, item: Shown, palette: Palette) -> list[tuple[int, int]] | str:
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
        return [(wire.offset, part(wire.share, item.level)) for wire in lamp.wires]
    members = {other.name: other for other in head.lamps}
    return [
        (wire.offset, part(part(wire.share, level), item.level))
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
        (wire.offset, part(share, level))
        for wire, share in zip(lamp.wires, mixture.levels(dies), strict=True)
    ]


def part(share: int, level: int) -> int:
    """Return `share` of `level`, both of 65535, rounded once, halves up."""
    return (share * level * 2 + FULL_LEVEL) // (2 * FULL_LEVEL)


def light_lamp(lamp: Lamp, shows: Shown, head: Head, palette: Palette) -> list[tuple[int, int]] | str:
    """Return the channels of a lamp of a light when it is on, or why it cannot be so."""
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
