"""Colours by name: how much light each die of a full-colour lamp gives.

The figures are shares of full light in linear light. They are worked out for the primaries of a WS2812B-V5
(dominant wavelengths 621, 520 and 471 nm, 310, 780 and 215 mcd: its data sheet, page 3) by solving the
CIE 1931 mixing equations for the chromaticity named beside each colour, and then written down, so that what
a lamp shows rests on this table alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from bridge.layout.units import FULL_LEVEL


@dataclass(frozen=True, slots=True)
class Colour:
    """A colour as 16-bit linear levels of the dies R, G, B and, where there is one, W.

    Attributes:
        with_white: levels R, G, B, W of a lamp that has a white die, or None if it mixes the colour as others do.
        plain: levels R, G, B of a lamp without a white die.
        needs_white: it cannot be shown without a white die.
    """

    plain: tuple[int, int, int]
    with_white: tuple[int, int, int, int] | None = None
    needs_white: bool = False

    def levels(self, dies: str) -> tuple[int, ...]:
        """Return the level of each die, in the order of `dies` (letters of the data sheet)."""
        if "W" in dies and self.with_white is not None:
            table = dict(zip("RGBW", self.with_white, strict=True))
        else:
            table = dict(zip("RGBW", (*self.plain, 0), strict=True))
        return tuple(table[die] for die in dies)


def _share(per_mille: int) -> int:
    return (per_mille * FULL_LEVEL * 2 + 1000) // 2000


def _mix(red: int, green: int, blue: int, *, white_die: bool = False) -> Colour:
    plain = (_share(red), _share(green), _share(blue))
    return Colour(plain, (0, 0, 0, FULL_LEVEL) if white_die else None)


COLOURS: Final = {
    "red": _mix(1000, 0, 0),
    "yellow": _mix(1000, 250, 0),  # x 0.577, y 0.405: inside the yellow of EASA U.930, CIE 107 and EN 12368
    "green": _mix(0, 1000, 200),  # x 0.094, y 0.507: inside the green of the same three
    "blue": _mix(0, 0, 1000),
    "lunar": _mix(1000, 727, 441),  # x 0.292, y 0.303: a bluish white; no published railway limit at hand
    "white": _mix(1000, 715, 344, white_die=True),  # D65: x 0.3127, y 0.3290
    "warm-white": _mix(1000, 455, 62, white_die=True),  # 2700 K: x 0.460, y 0.411
    "amber": _mix(1000, 228, 0),  # 594 nm: a sodium lamp or a beacon
}
"""Every colour that has a name; an owner may add more in the layout file."""


@dataclass(frozen=True, slots=True)
class LedColour:
    """What is known of ordinary LEDs of one colour.

    Attributes:
        least_mv: forward voltage at about 20 mA that no LED of this colour goes below, millivolts.
    """

    least_mv: int


LED_COLOURS: Final = {
    "red": LedColour(1800),
    "orange": LedColour(1900),
    "amber": LedColour(1900),
    "yellow": LedColour(1900),
    "green": LedColour(1900),
    "blue": LedColour(2800),
    "lunar": LedColour(2800),
    "white": LedColour(2800),
    "warm-white": LedColour(2800),
}
"""Colours of separate LEDs with the lower end of their forward voltage, from a published table of indicator LEDs."""


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
