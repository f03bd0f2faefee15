"""What is known of effects that are no flashing at an even rate: beacons of airports, traffic lights, fires, lamps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from bridge.events import MILLISECOND, SECOND
from bridge.layout.rules.book import Evidence
from bridge.layout.rules.crossings import Figure

MINUTE: Final = 60 * SECOND
_COMMON: Final = "common practice, no source"
_AIM: Final = "FAA AIM 2-1"

AIRPORT_BEACON: Final = Figure(24, 24, 30, _AIM, Evidence.SECOND_HAND)
HELIPORT_BEACON: Final = Figure(36, 30, 45, _AIM, Evidence.SECOND_HAND)
"""Flashes a minute, all colours counted; two quick white ones of a military airport count as one."""

BEACON_COLOURS: Final[dict[str, tuple[str, ...]]] = {
    "land": ("white", "green"),
    "water": ("white", "yellow"),
    "heliport": ("green", "yellow", "white"),
    "military": ("white", "green"),
}
"""What the beacon of each kind of place flashes, in turn."""

CODE_BEACON: Final = Figure(6, 6, 8, "FAA AIM 2-2-2", Evidence.SEEN)
"""How often a minute a code beacon gives its letters."""

CODE_COLOURS: Final = {"land": "green", "water": "yellow"}

ARROW_RATE: Final = Figure(30, 25, 40, "MUTCD 2009 6F.61", Evidence.SECOND_HAND)
ARROW_LIT: Final = Figure(50, 50, 75, "MUTCD 2009 6F.61", Evidence.SECOND_HAND)
"""Flashes a minute of an arrow board, and the hundredths of each for which it is lit."""

CANDLE_PUFFS: Final = Figure(12, 10, 15, "papers on fire plumes, quoted", Evidence.MEMORY)
"""How often a second a small flame flickers."""

FIRE_SIZES: Final = range(50, 5001)
"""Millimetres across that a fire on open ground may have. It puffs 1.5 / sqrt(metres across) times a second: papers
on fire plumes, from memory."""

SODIUM_TIME: Final = Figure(4 * MINUTE, 3 * MINUTE, 5 * MINUTE, _COMMON, Evidence.MEMORY)
MERCURY_TIME: Final = Figure(330 * SECOND, 4 * MINUTE, 7 * MINUTE, _COMMON, Evidence.MEMORY)

GIVES_UP: Final = Figure(
    2 * MINUTE, MINUTE, 3 * MINUTE, "a lighting-design handbook, quoted", Evidence.SECOND_HAND
)
"""When a safety starter stops trying."""


@dataclass(frozen=True, slots=True)
class RoadRules:
    """The traffic lights of one region; times in nanoseconds.

    Attributes:
        name: what they are called in a layout file.
        yellow: the light between green and red, for its usual speed.
        red_yellow: red and yellow together before green, or None where that is not shown.
        all_red: all approaches red between two greens.
    """

    name: str
    yellow: Figure
    red_yellow: Figure | None
    all_red: Figure


ROAD_RULES: Final = {
    each.name: each
    for each in (
        RoadRules(
            "north-america",
            Figure(3_500 * MILLISECOND, 3 * SECOND, 6 * SECOND, "MUTCD, as a state has it", Evidence.SEEN),
            None,
            Figure(1_500 * MILLISECOND, 0, 6 * SECOND, "MUTCD, as a state has it", Evidence.SEEN),
        ),
        RoadRules(
            "great-britain",
            Figure(3 * SECOND, 3 * SECOND, 3 * SECOND, _COMMON, Evidence.MEMORY),
            Figure(2 * SECOND, 2 * SECOND, 2 * SECOND, _COMMON, Evidence.MEMORY),
            Figure(2 * SECOND, 0, 12 * SECOND, _COMMON, Evidence.MEMORY),
        ),
        RoadRules(
            "germany",
            Figure(3 * SECOND, 3 * SECOND, 5 * SECOND, "RiLSA", Evidence.MEMORY),
            Figure(SECOND, SECOND, SECOND, "RiLSA", Evidence.MEMORY),
            Figure(2 * SECOND, 0, 12 * SECOND, _COMMON, Evidence.MEMORY),
        ),
    )
}
"""The traffic lights of each region by the name that a layout file calls them by."""

GERMAN_YELLOWS: Final = {50: 3 * SECOND, 60: 4 * SECOND, 70: 5 * SECOND}
"""Yellow by the speed that is allowed, km/h: RiLSA, from memory."""

MILES_AN_HOUR: Final = range(15, 71)
KILOMETRES_AN_HOUR: Final = range(20, 71)


def yellow_for_miles(speed: int) -> int:
    """Return the yellow time for a speed in miles an hour, level road: Y = 1.0 + 0.733 S / D, D = 10 ft/s2.

    Rounded up to half a second and kept within 3 to 6 s: COMAR 11.04.14.03.
    """
    halves = -(-2 * (10_000 + 733 * speed) // 10_000)
    return max(6, min(12, halves)) * SECOND // 2


def yellow_for_kilometres(speed: int) -> int:
    """Return the yellow time for a speed in km/h: that of the next higher speed that the rules name."""
    return next(time for named, time in GERMAN_YELLOWS.items() if speed <= named)
