"""Where a colour lies: CIE 1931 x and y of a wavelength, of a temperature, of a colour on a screen.

All of it is worked out with `decimal`, whose `exp` and `ln` are rounded correctly, so it is the same on every
processor.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Context, Decimal, localcontext
from functools import cache
from typing import Final, NamedTuple

from bridge.light.observer import FIRST_NM, Weights, observer, weights

DIGITS: Final = Context(prec=28)
"""How all of this is computed, whatever the program around it has set."""

SECOND_RADIATION: Final = Decimal("14387768.77")
"""Planck's second radiation constant in nanometres times kelvin: h c / k with the exact values of the SI (2019)."""

_SCREEN: Final = tuple(
    tuple(Decimal(part) for part in row.split())
    for row in ("0.4124 0.3576 0.1805", "0.2126 0.7152 0.0722", "0.0193 0.1192 0.9505")
)
"""X, Y and Z of the linear red, green and blue of a screen: IEC 61966-2-1."""


class Chromaticity(NamedTuple):
    """A point of the CIE 1931 diagram."""

    x: Decimal
    y: Decimal

    def of_light(self, light: Decimal | int) -> Weights:
        """Return X, Y and Z of so much light (Y) of this colour."""
        with localcontext(DIGITS):
            scale = light / self.y
            return self.x * scale, Decimal(light), (1 - self.x - self.y) * scale

    def uniform(self) -> tuple[Decimal, Decimal]:
        """Return u' and v' of the CIE 1976 diagram (ISO/CIE 11664-5), on which distances look alike."""
        with localcontext(DIGITS):
            below = 12 * self.y - 2 * self.x + 3
            return 4 * self.x / below, 9 * self.y / below


def chromaticity(tristimulus: Weights) -> Chromaticity:
    """Return where a colour lies, from its X, Y and Z."""
    with localcontext(DIGITS):
        total = sum(tristimulus)
        return Chromaticity(tristimulus[0] / total, tristimulus[1] / total)


def apart(one: Chromaticity, other: Chromaticity) -> Decimal:
    """Return how far two colours are from each other on the CIE 1976 diagram."""
    with localcontext(DIGITS):
        squares = [(a - b) * (a - b) for a, b in zip(one.uniform(), other.uniform(), strict=True)]
        return sum(squares, Decimal(0)).sqrt()


@cache
def of_wavelength(tenths: int) -> Chromaticity:
    """Return where light of one wavelength (tenths of a nanometre) lies: on the spectral locus."""
    return chromaticity(weights(tenths))


@cache
def of_temperature(kelvin: int) -> Chromaticity:
    """Return where a black body lies: its spectrum by Planck's law, seen by the standard observer."""
    with localcontext(DIGITS):
        lit: list[Decimal] = []
        for step in range(len(observer())):
            wavelength = Decimal(FIRST_NM + step)
            exponent = SECOND_RADIATION / (wavelength * kelvin)
            # In units of its own, since only the shape counts: a micrometre to the fifth.
            lit.append((1000 / wavelength) ** 5 / (exponent.exp() - 1))
        return chromaticity(_seen(lit))


def _seen(spectrum: Iterable[Decimal]) -> Weights:
    sums = [Decimal(0)] * 3
    for light, row in zip(spectrum, observer(), strict=True):
        sums = [total + light * part for total, part in zip(sums, row, strict=True)]
    return sums[0], sums[1], sums[2]


def of_screen(red: int, green: int, blue: int) -> Chromaticity:
    """Return where a colour of a screen lies; each part is 0 to 255, and one of them is not 0."""
    with localcontext(DIGITS):
        linear = [screen_light(code) for code in (red, green, blue)]
        x, y, z = (
            sum((part * light for part, light in zip(row, linear, strict=True)), Decimal(0))
            for row in _SCREEN
        )
        return chromaticity((x, y, z))


@cache
def screen_light(code: int) -> Decimal:
    """Return the linear light, 0 to 1, of a code of a screen, 0 to 255: IEC 61966-2-1."""
    with localcontext(DIGITS):
        value = Decimal(code) / 255
        if value <= Decimal("0.04045"):
            return value / Decimal("12.92")
        # To the power of 2.4, by functions that are rounded correctly.
        return (((value + Decimal("0.055")) / Decimal("1.055")).ln() * Decimal("2.4")).exp()
