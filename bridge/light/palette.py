"""How a lamp is found by a word, and what each of its channels does then.

A word is first the name of a lamp, then the colour of a separate LED, then a colour that the head's full-colour
lamp can mix; so asking for yellow lights the yellow LED alone where there is one.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Final, NamedTuple

from bridge.layout.chips import DIE_COLOURS
from bridge.layout.findings import Finding, Mark, choice, either, error, said
from bridge.layout.model import ON, Build, Fixture, Head, Lamp, LampKind, Layout, Shown
from bridge.layout.rules import RULE_WORDS
from bridge.layout.targets import Target
from bridge.layout.units import FULL_LEVEL, part, volts
from bridge.light.colours import COLOURS, DIES, LED_COLOURS, led_colour, temperature
from bridge.light.solving import Mixture, mix

UNMATCHED: Final = 0
"""Instead of the light of the weakest lamp: each lamp gives what it has."""


class Palette:
    """The colours by name, the owner's own among them, and what is found while asking for them.

    Attributes:
        findings: what was found.
        colours: each colour by its name; beside them any temperature can be asked for.
        words: all that can be asked for somewhere in this layout: colours and the names of lamps.
    """

    def __init__(self, layout: Layout) -> None:
        self.findings: list[Finding] = []
        self._layout = layout
        self._mixtures: dict[tuple[str, str], Mixture | None] = {}
        self.colours: dict[str, Target] = COLOURS | layout.colours
        self.words: frozenset[str] = layout.lamp_names | self.colours.keys() | LED_COLOURS.keys() | {ON}

    def knows(self, word: str) -> bool:
        """Return whether somewhere in this layout or in a rule book something is called so."""
        return word in self.words or word in RULE_WORDS or self.target(word) is not None

    def target(self, word: str) -> Target | None:
        """Return what a full-colour lamp shall show for a word, or None if that is no colour."""
        return self.colours.get(word) or temperature(word)

    def mixture(self, word: str, lamp: Lamp) -> Mixture | None:
        """Return how a full-colour lamp shows the colour of a word, or None if that is no colour."""
        key = word, lamp.wires[0].kind
        if key not in self._mixtures:
            target = self.target(word)
            self._mixtures[key] = None if target is None else mix(target, self._layout.dies_of(key[1]))
        return self._mixtures[key]

    def full_light(self, lamp: Lamp, colour: str, head: Head) -> int:
        """Return the light of a lamp at full level, before any trim, in millicandela times `FULL_LEVEL`.

        Args:
            lamp: the lamp.
            colour: what it shows, if it is a full-colour lamp.
            head: where the lamps are that a mix is made of.
        """
        if lamp.kind is LampKind.FULL_COLOUR:
            mixture = self.mixture(colour, lamp)
            return 0 if mixture is None else mixture.light
        if lamp.kind is LampKind.MIX:
            members = {other.name: other for other in head.lamps}
            return (
                sum(self.full_light(members[name], "", head) * level for name, level in lamp.mix)
                // FULL_LEVEL
            )
        if lamp.mcd:
            return lamp.mcd * FULL_LEVEL
        led = LED_COLOURS.get(led_colour(lamp.name, lamp.colour))
        nominal = led.mcd if led is not None else 0
        return sum(
            (self._layout.dies_of(wire.kind)[wire.die].mcd if wire.die else nominal * wire.leds) * wire.share
            for wire in lamp.wires
        )

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
            mixes = lamp.kind is not LampKind.LEDS and palette.target(lamp.colour) is not None
            if lamp.colour and lamp.colour not in known and not mixes:
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


class Chosen(NamedTuple):
    """A lamp and, if it is a full-colour one, the colour that it shows."""

    lamp: Lamp
    colour: str


def find(head: Head, item: Shown, palette: Palette, weakest: int = UNMATCHED) -> list[tuple[int, int]] | str:
    """Return the channels that a word lights, or why there are none.

    Args:
        head: where the lamp is.
        item: what is asked for.
        palette: the colours.
        weakest: the full light that no lamp shall exceed at full level, as `Palette.full_light` counts it.
    """
    chosen = choose(head, item, palette)
    if isinstance(chosen, str):
        return chosen
    return _lit(chosen, head, palette, item.level, _matched(chosen, head, palette, weakest))


def choose(head: Head, item: Shown, palette: Palette) -> Chosen | str:
    """Return the lamp that a word means, or why there is none."""
    lamps = {lamp.name: lamp for lamp in head.lamps}
    full = [lamp for lamp in head.lamps if lamp.kind is LampKind.FULL_COLOUR]
    leds = [lamp for lamp in head.lamps if lamp.kind is not LampKind.FULL_COLOUR]
    where = f"its head {head.name}" if head.name else "its head"
    named = lamps.get(item.word)
    if named is not None:
        return _chosen(named)
    if item.word == ON:
        return f"a level alone does not say what is lit; {choice(item.word, lamps)}"
    coloured = [lamp for lamp in leds if led_colour(lamp.name, lamp.colour) == item.word]
    several = coloured or (full if palette.target(item.word) is not None else [])
    if len(several) > 1:
        return f"{where} has several lamps that can show {item.word}: name {either(lamp.name for lamp in several)}"
    if coloured:
        return Chosen(coloured[0], "")
    if several:
        return Chosen(full[0], item.word)
    if full:
        known = dict.fromkeys((*lamps, *palette.colours))
        return f"{said(item.word)} is no lamp and no colour here; {choice(item.word, known)}"
    return f"{where} has no lamp {said(item.word)}; {choice(item.word, lamps)}"


def _chosen(lamp: Lamp) -> Chosen:
    """Return a lamp in its own colour."""
    return Chosen(lamp, (lamp.colour or "white") if lamp.kind is LampKind.FULL_COLOUR else "")


def _matched(chosen: Chosen, head: Head, palette: Palette, weakest: int) -> int:
    """Return the share of its light by which a lamp is as bright as the weakest; what is switched only gives all."""
    members = {lamp.name: lamp for lamp in head.lamps}
    lit = (chosen.lamp, *(members[name] for name, _level in chosen.lamp.mix))
    light = 0 if weakest == UNMATCHED else palette.full_light(*chosen, head)
    if light <= weakest or not all(lamp.dimmable for lamp in lit):
        return FULL_LEVEL
    return (2 * weakest * FULL_LEVEL + light) // (2 * light)


def _lit(
    chosen: Chosen, head: Head, palette: Palette, level: int, matched: int = FULL_LEVEL
) -> list[tuple[int, int]] | str:
    """Return the level of each channel of a lamp, rounded once, or why it cannot be lit."""
    lamp = chosen.lamp
    if lamp.kind is LampKind.LEDS:
        return [(wire.offset, part(wire.share, wire.trim, matched, level)) for wire in lamp.wires]
    if lamp.kind is LampKind.MIX:
        members = {other.name: other for other in head.lamps}
        return [
            (wire.offset, part(wire.share, wire.trim, of_mix, matched, level))
            for name, of_mix in lamp.mix
            for wire in members[name].wires
        ]
    mixture = palette.mixture(chosen.colour, lamp)
    if mixture is None:
        return f"the lamp {lamp.name} has the colour {said(chosen.colour)}, which is none here"
    dies = "".join(wire.die for wire in lamp.wires)
    if mixture.level("W") and "W" not in dies:
        return f"the colour {chosen.colour} uses a white LED, and the lamp {lamp.name} has only {', '.join(dies)}"
    return [
        (wire.offset, part(mixture.level(wire.die), wire.share, wire.trim, matched, level))
        for wire in lamp.wires
    ]


def light_lamp(lamp: Lamp, shows: Shown, head: Head, palette: Palette) -> list[tuple[int, int]] | str:
    """Return the channels of a lamp of a light when it is on, or why it cannot be so.

    Of a lamp that is made of LEDs only the level counts; asking it for the colour of another LED is a mistake.
    """
    known = dict.fromkeys((ON, *palette.colours, *LED_COLOURS))
    if shows.word not in known and palette.target(shows.word) is None:
        return f"no colour is called {said(shows.word)}; {choice(shows.word, known)}"
    if shows.word == ON:
        return _lit(_chosen(lamp), head, palette, shows.level)
    if lamp.kind is LampKind.FULL_COLOUR:
        return _lit(Chosen(lamp, shows.word), head, palette, shows.level)
    own = led_colour(lamp.name, lamp.colour)
    if own != shows.word and shows.word in LED_COLOURS:
        what = (
            f"its lamp {lamp.name} is {own}, not {shows.word}"
            if own
            else f"its lamp {lamp.name} has one colour"
        )
        return f"{what}: say which `lamps` are meant, or leave the colour out"
    return _lit(Chosen(lamp, ""), head, palette, shows.level)
