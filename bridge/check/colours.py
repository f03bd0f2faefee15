"""What the owner should know of colours: which a lamp cannot mix, and which a signal should not show."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Final

from bridge.layout.chips import CHIP_TYPES
from bridge.layout.findings import Finding, Mark, either, warning
from bridge.layout.model import ON, Fixture, Lamp, LampKind, Layout, Light, Place, Signal
from bridge.layout.targets import Temperature
from bridge.light.chromaticity import Chromaticity
from bridge.light.colours import COLOURS
from bridge.light.limits import LIMITS
from bridge.light.palette import Chosen, Palette, choose

SEEN: Final = Decimal("0.01")
"""Distance on the CIE 1976 diagram from which on it is worth a word that another colour is shown than was asked for:
nine of the steps by which LEDs are sorted (0.0011 each; common practice, no source)."""

MEANT: Final = {"lunar": "white", "warm-white": "white", **{limit.colour: limit.colour for limit in LIMITS}}
"""What the standards call the colours that signals have by name."""


def advice_on_colours(layout: Layout) -> Iterator[Finding]:
    """Return what to look at in the colours that full-colour lamps are asked for."""
    palette = Palette(layout)
    fixtures = layout.fixtures()
    for signal in layout.signals:
        for chosen, mark in _by_signal(signal, fixtures[signal.fixture], palette):
            yield from _beyond_the_dies(chosen, mark, palette, layout)
            yield from _beyond_the_limits(chosen, mark, palette, layout)
    for light in layout.lights:
        for chosen, mark in _by_light(light, fixtures):
            yield from _beyond_the_dies(chosen, mark, palette, layout)


def _by_signal(signal: Signal, fixture: Fixture, palette: Palette) -> Iterator[tuple[Chosen, Mark]]:
    """Return what a signal asks of full-colour lamps, with the place; of aspects for which it has the lamps."""
    heads = fixture.only(signal.heads).heads
    for row in signal.aspects:
        shown = zip(heads, row.heads, strict=True)
        found = [(choose(head, item, palette), item.mark) for head, (_name, items) in shown for item in items]
        sound = [(chosen, mark) for chosen, mark in found if isinstance(chosen, Chosen)]
        if len(sound) == len(found):
            yield from ((chosen, mark) for chosen, mark in sound if chosen.colour)


def _by_light(light: Light, fixtures: dict[str, Fixture]) -> Iterator[tuple[Chosen, Mark]]:
    """Return what a light asks of full-colour lamps, with the place."""
    for name in dict.fromkeys(place.fixture for place in light.lamps):
        for head in fixtures[name].heads:
            for lamp in head.lamps:
                if lamp.kind is LampKind.FULL_COLOUR and Place(name, head.name, lamp.name) in light.lamps:
                    own = light.shows.word == ON
                    word = (lamp.colour or "white") if own else light.shows.word
                    yield Chosen(lamp, word), lamp.colour_mark if own else light.shows.mark


def _beyond_the_dies(chosen: Chosen, mark: Mark, palette: Palette, layout: Layout) -> Iterator[Finding]:
    lamp, colour = chosen
    mixture = palette.mixture(colour, lamp)
    if mixture is None or mixture.shown is None or mixture.wanted is None or mixture.off <= SEEN:
        return
    yield warning(
        layout.colour_marks.get(colour, mark),
        f"{_chip(lamp)} cannot mix {colour} ({_at(mixture.wanted)}) and shows {_at(mixture.shown)} instead: "
        "ask for a paler colour, or for one between those of its dies",
    )


def _beyond_the_limits(chosen: Chosen, mark: Mark, palette: Palette, layout: Layout) -> Iterator[Finding]:
    lamp, colour = chosen
    mixture = palette.mixture(colour, lamp)
    if mixture is None or mixture.shown is None:
        return
    meant = "white" if isinstance(palette.target(colour), Temperature) else MEANT.get(colour, "")
    limits = [limit for limit in LIMITS if meant in ("", limit.colour)]
    if any(limit.holds(mixture.shown) for limit in limits):
        return
    standards = either(dict.fromkeys(limit.standard for limit in limits))
    colours = either(dict.fromkeys(limit.colour for limit in limits))
    yield warning(
        layout.colour_marks.get(colour, mark),
        f"as {_chip(lamp)} shows it, {colour} ({_at(mixture.shown)}) lies outside what a signal may show as {colours} "
        f"by {standards}: {_help(lamp, colour, palette, layout)}",
    )


def _help(lamp: Lamp, colour: str, palette: Palette, layout: Layout) -> str:
    """Return what would bring a colour inside its limits."""
    kind = lamp.wires[0].kind
    if colour in layout.colours and colour in COLOURS:
        return f"leave it out, and {colour} is worked out for each lamp"
    if colour in COLOURS and colour in MEANT and kind in layout.dies:
        return f"look again at what `chips` says of {kind}"
    if isinstance(palette.target(colour), Temperature):
        return "white is about 2500 K to 9000 K"
    return f"use {either(dict.fromkeys(limit.colour for limit in LIMITS))}"


def _chip(lamp: Lamp) -> str:
    return CHIP_TYPES[lamp.wires[0].kind].called


def _at(place: Chromaticity) -> str:
    return f"x {place.x:.3f}, y {place.y:.3f}"
