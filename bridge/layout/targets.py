"""What colour a lamp shall have, in the ways in which it can be said: where it lies, or how it is mixed.

None of them says how bright it is. A level does that.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, TypeAlias

KELVIN: Final = range(1000, 20_001)
"""Colour temperatures that can be asked for."""

WAVELENGTHS: Final = range(4000, 7001)
"""Wavelengths that can be asked for, tenths of a nanometre: beyond them the hue hardly changes any more."""


@dataclass(frozen=True, slots=True)
class Shares:
    """So much of each die, as 16-bit linear levels: whatever the dies are, nothing is worked out."""

    red: int
    green: int
    blue: int
    white: int


@dataclass(frozen=True, slots=True)
class Point:
    """A point of the CIE 1931 diagram: x and y in millionths."""

    x: int
    y: int


@dataclass(frozen=True, slots=True)
class Temperature:
    """The colour of a black body, kelvin."""

    kelvin: int


@dataclass(frozen=True, slots=True)
class Wavelength:
    """Light of one wavelength, tenths of a nanometre."""

    tenths: int


@dataclass(frozen=True, slots=True)
class Screen:
    """The colour of a screen, IEC 61966-2-1 (sRGB): 0 to 255 each. Of its brightness nothing is taken."""

    red: int
    green: int
    blue: int


@dataclass(frozen=True, slots=True)
class OneDie:
    """One die by itself, by its letter, and where there is none of this letter the mixture that it stands for."""

    die: str
    otherwise: Point | None = None


Target: TypeAlias = Shares | Point | Temperature | Wavelength | Screen | OneDie
