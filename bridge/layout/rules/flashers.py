"""Lights that flash at an even rate, each by its own word, with the rate that is prescribed for it.

Rates are flashes a minute of each lamp; a group of strobe flashes counts as one. `lit` is hundredths of each time.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from bridge.layout.effects.families import Shape, Turns
from bridge.layout.rules.book import Evidence
from bridge.layout.rules.crossings import Figure

ANY_RATE: Final = range(1, 601)
"""Rates that can be shown at all: at 600 a minute a frame lies in each half at 20 frames a second."""

ANY_PART: Final = range(5, 96)
"""Hundredths of a flash for which it may be lit where nothing else is said."""

_COMMON: Final = "common practice, no source"
_HALF: Final = Figure(50, ANY_PART[0], ANY_PART[-1], _COMMON, Evidence.MEMORY)
_OPEN: Final = Figure(60, None, None, _COMMON, Evidence.MEMORY)


@dataclass(frozen=True, slots=True)
class FlasherRules:
    """One kind of flashing light.

    Attributes:
        name: its word in the layout file.
        title: what it is.
        shape: how one flash comes and goes.
        turns: how the lamps of one light go with each other.
        rate: how often a minute.
        lit: for how many hundredths of each time, where it blinks.
        flashes: the most flashes that it may have each time, where it is a strobe.
        in_step: all of them that are switched on together flash together.
    """

    name: str
    title: str
    shape: Shape
    turns: Turns
    rate: Figure
    lit: Figure = _HALF
    flashes: int = 1
    in_step: bool = False


def _seen(usual: int, least: int, most: int, source: str) -> Figure:
    return Figure(usual, least, most, source, Evidence.SEEN)


_OBSTRUCTION: Final = "FAA AC 70/7460-1"

FLASHERS: Final = {
    each.name: each
    for each in (
        FlasherRules("flash", "any light that flashes", Shape.BLINK, Turns.TOGETHER, _OPEN),
        FlasherRules("alternate", "lamps that flash by turns", Shape.BLINK, Turns.HALVES, _OPEN),
        FlasherRules(
            "strobe",
            "a strobe on a locomotive or a machine",
            Shape.STROBE,
            Turns.TOGETHER,
            _seen(60, 40, 180, "49 CFR 229.133(b)(1)"),
            flashes=4,
        ),
        FlasherRules(
            "anti-collision",
            "the anti-collision light of an aircraft",
            Shape.STROBE,
            Turns.TOGETHER,
            _seen(50, 40, 100, "14 CFR 25.1401(c)"),
            flashes=2,
        ),
        FlasherRules(
            "rotating-beacon",
            "a lamp in a turning mirror on a vehicle; several lamps stand in a ring",
            Shape.SWEEP,
            Turns.RING,
            _seen(120, 60, 240, "SAE J845"),
        ),
        FlasherRules(
            "emergency-lights",
            "the warning lights of an emergency vehicle, left and right by turns",
            Shape.STROBE,
            Turns.HALVES,
            _seen(100, 75, 125, "KKK-A-1822E 3.8.2.2"),
            flashes=4,
        ),
        FlasherRules(
            "hazard-lights",
            "the indicators of a vehicle",
            Shape.BLINK,
            Turns.TOGETHER,
            Figure(90, 60, 120, "SAE J945", Evidence.SECOND_HAND),
            Figure(50, 30, 75, _COMMON, Evidence.MEMORY),
        ),
        FlasherRules(
            "school-bus-lamps",
            "the red lamps of a school bus, by turns",
            Shape.BLINK,
            Turns.HALVES,
            Figure(90, 60, 120, "SAE J887", Evidence.SECOND_HAND),
        ),
        FlasherRules(
            "ditch-lights",
            "the auxiliary lights of a locomotive at a crossing, by turns",
            Shape.BLINK,
            Turns.HALVES,
            _seen(60, 40, 180, "49 CFR 229.125(e)"),
        ),
        FlasherRules(
            "rear-marker",
            "the flashing marker at the rear of a train",
            Shape.BLINK,
            Turns.TOGETHER,
            # Not less often than every 1.3 s, not more often than every 0.7 s: 46.2 to 85.7 a minute.
            _seen(60, 47, 85, "49 CFR 221.14(a)(4)"),
        ),
        FlasherRules(
            "cycle-lamp",
            "the flashing lamp of a bicycle",
            Shape.BLINK,
            Turns.TOGETHER,
            Figure(90, 60, 240, "RVLR 1989 as amended", Evidence.SECOND_HAND),
            Figure(50, 50, 50, "RVLR 1989 as amended", Evidence.SECOND_HAND),
        ),
        FlasherRules(
            "traffic-beacon",
            "a flashing beacon, or a traffic signal that flashes at night",
            Shape.BLINK,
            Turns.TOGETHER,
            _seen(55, 50, 60, "MUTCD 11th edition 4G.01"),
            _seen(50, 50, 66, "MUTCD 11th edition 4G.01"),
        ),
        FlasherRules(
            "obstruction-red",
            "a red obstruction light on a mast, in step with all others",
            Shape.BLINK,
            Turns.TOGETHER,
            Figure(30, 20, 40, _OBSTRUCTION, Evidence.SECOND_HAND),
            in_step=True,
        ),
        FlasherRules(
            "obstruction-white",
            "a white obstruction light on a mast, in step with all others",
            Shape.STROBE,
            Turns.TOGETHER,
            Figure(40, 40, 40, _OBSTRUCTION, Evidence.MEMORY),
            in_step=True,
        ),
        FlasherRules(
            "identification-beacon",
            "a beacon that marks a place on land",
            Shape.BLINK,
            Turns.TOGETHER,
            # "About 40": a tenth more or less is taken for that.
            Figure(40, 36, 44, "US Navy aviation training manual", Evidence.SECOND_HAND),
        ),
        FlasherRules(
            "runway-end-lights",
            "the pair of flashers at the threshold of a runway, in step",
            Shape.STROBE,
            Turns.TOGETHER,
            Figure(90, 60, 120, "US Navy aviation training manual", Evidence.SECOND_HAND),
            in_step=True,
        ),
        FlasherRules(
            "approach-flashers",
            "the flashers before a runway, one after the other towards it, the farthest first",
            Shape.STROBE,
            Turns.RUN,
            Figure(120, 120, 120, "FAA AIM 2-1-1", Evidence.MEMORY),
            in_step=True,
        ),
    )
}
"""Every kind of flashing light by its word."""
