"""Colours by name: where each of them lies, whatever lamp shows it, and what ordinary LEDs of a colour are like.

How much light each die gives is worked out for the lamp that shows it, in `bridge.light.solving`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from bridge.layout.targets import OneDie, Point, Target, Temperature, Wavelength
from bridge.layout.units import kelvin

DAYLIGHT: Final = Point(312_700, 329_000)
"""D65: ISO/CIE 11664-2."""

COLOURS: Final[dict[str, Target]] = {
    # Signals. Red and blue are the dies themselves: no mixture is a purer one. Yellow and green lie where the limits of
    # EASA CS ADR-DSN.U.930, CIE 107-1994 and the draft of EN 12368 overlap, and where red and green dies reach.
    "red": OneDie("R"),
    "yellow": Point(580_000, 412_000),
    "green": Point(94_000, 507_000),
    "blue": OneDie("B"),
    "lunar": Point(292_000, 303_000),  # a bluish white; no published railway limit at hand
    # White that promises no temperature: the white die by itself where there is one, or else daylight.
    "white": OneDie("W", DAYLIGHT),
    "warm-white": Temperature(2700),
    "amber": Point(585_500, 398_000),  # about 594 nm: a beacon (common practice for amber LEDs, no source)
    # Two more that charts know for lights at sea; where they lie is common practice, no source.
    "orange": Wavelength(6050),
    "violet": Point(240_000, 110_000),
    # Lamps of the world.
    "house-light": Temperature(2800),  # an incandescent bulb of 60 W (common practice, no source)
    "candle": Temperature(1900),  # common practice, no source; so are the two that follow
    "fire": Temperature(1700),
    "oil-lamp": Temperature(2000),
    "tube": Point(372_100, 375_100),  # CIE 15, illuminant FL2: a cool white fluorescent tube
    "sodium": Point(533_000, 415_000),  # CIE 15, illuminant HP1: a standard high pressure sodium lamp
    "low-pressure-sodium": Wavelength(5893),  # between the two lines of sodium, 589.0 nm and 589.6 nm
    "mercury": Point(311_000, 383_000),  # a clear mercury lamp, as a published spectrum of one has it
}
"""Every colour that has a name; an owner may add more in the layout file."""


def temperature(word: str) -> Temperature | None:
    """Return what a word such as `2700 K` asks for, or None if it is none."""
    if not word.endswith("K") or not word[:1].isdigit():
        return None
    try:
        return Temperature(kelvin(word))
    except ValueError:
        return None


@dataclass(frozen=True, slots=True)
class LedColour:
    """What is known of ordinary LEDs of one colour.

    Attributes:
        least_mv: forward voltage at about 20 mA that no LED of this colour goes below, millivolts.
        mcd: full light of an ordinary small one at about 20 mA, millicandela.
    """

    least_mv: int
    mcd: int


LED_COLOURS: Final = {
    "red": LedColour(1800, 200),
    "orange": LedColour(1900, 200),
    "amber": LedColour(1900, 200),
    "yellow": LedColour(1900, 200),
    "green": LedColour(1900, 400),
    "blue": LedColour(2800, 150),
    "lunar": LedColour(2800, 500),
    "white": LedColour(2800, 500),
    "warm-white": LedColour(2800, 400),
}
"""Colours of separate LEDs: the lower end of their forward voltage, from a published table of indicator LEDs, and a
nominal intensity, which is common practice without a source: makers differ ten times and more."""


DIES: Final = {
    "R": ("red",),
    "G": ("green",),
    "B": ("blue",),
    "W": ("white", "warm-white", "lunar"),
}
"""What a lamp can be that is a single LED inside a pixel, by the letter of the data sheet."""


def led_colour(lamp: str, said: str) -> str:
    """Return the colour of a lamp made of LEDs: what its owner said, or what its name ends in, or nothing."""
    if said:
        return said
    for colour in sorted(LED_COLOURS, key=len, reverse=True):
        if lamp == colour or lamp.endswith(f"-{colour}"):
            return colour
    return ""
