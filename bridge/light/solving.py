"""How much of each die makes a colour: solved in linear light, for the dies that a lamp has.

The light of several dies adds up: X, Y and Z of the mixture are the sums of theirs (Grassmann's laws, as ISO/CIE
11664-3 uses them). For red, green and blue that is three equations with three unknowns. An LED is taken to lie on the
spectral locus, at its dominant wavelength; a real one lies a little inside.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal, localcontext
from functools import cache
from typing import Final, TypeAlias

from bridge.layout.dies import Die, Dies
from bridge.layout.targets import OneDie, Point, Screen, Shares, Target, Temperature, Wavelength
from bridge.layout.units import FULL_LEVEL
from bridge.light.chromaticity import (
    DIGITS,
    Chromaticity,
    apart,
    chromaticity,
    of_screen,
    of_temperature,
    of_wavelength,
)
from bridge.light.observer import Weights

MILLION: Final = 1_000_000

_Column: TypeAlias = Weights


@dataclass(frozen=True, slots=True)
class Mixture:
    """A colour as a lamp shows it.

    Attributes:
        levels: the 16-bit linear level of each die, in the order R, G, B, W; the strongest is full.
        light: how much light that is, in millicandela times `FULL_LEVEL`.
        shown: where it lies; None if it is dark.
        wanted: where it should lie; None where that was not said.
    """

    levels: tuple[int, int, int, int]
    light: int
    shown: Chromaticity | None
    wanted: Chromaticity | None

    def level(self, die: str) -> int:
        """Return the level of a die by its letter."""
        return self.levels["RGBW".index(die)]

    @property
    def off(self) -> Decimal:
        """How far it is from where it should be, on the CIE 1976 diagram."""
        return Decimal(0) if self.shown is None or self.wanted is None else apart(self.shown, self.wanted)


def place(target: Target) -> Chromaticity | None:
    """Return where a colour lies; None where it is said by dies."""
    match target:
        case Point(x, y):
            with localcontext(DIGITS):
                return Chromaticity(Decimal(x) / MILLION, Decimal(y) / MILLION)
        case Temperature(kelvin):
            return of_temperature(kelvin)
        case Wavelength(tenths):
            return of_wavelength(tenths)
        case Screen(red, green, blue):
            return of_screen(red, green, blue)
        case OneDie(otherwise=point) if point is not None:
            return place(point)
        case _:
            return None


def shines(die: Die) -> Chromaticity:
    """Return where the light of a die lies."""
    return of_temperature(die.kelvin) if die.kelvin else of_wavelength(die.wavelength)


@cache
def mix(target: Target, dies: Dies) -> Mixture:
    """Return how a lamp with these dies shows a colour.

    What cannot be reached is shown as near as leaving out the light allows that would have to be negative. Where
    there is a white die it gives as much of the light as it can.
    """
    if isinstance(target, Shares):
        return _mixture((target.red, target.green, target.blue, target.white), dies, None)
    if isinstance(target, OneDie) and target.die in dies.letters:
        alone = [FULL_LEVEL * (die == target.die) for die in "RGBW"]
        return _mixture((alone[0], alone[1], alone[2], alone[3]), dies, None)
    wanted = place(target)
    if wanted is None:
        raise ValueError(f"{target} is no colour that a lamp with the dies {dies.letters} can show")
    with localcontext(DIGITS):
        columns = [shines(die).of_light(die.mcd) for die in (dies.red, dies.green, dies.blue)]
        parts = [max(part, Decimal(0)) for part in _solve(columns, wanted.of_light(1))]
        white = Decimal(0)
        if dies.white is not None:
            same = _solve(columns, shines(dies.white).of_light(dies.white.mcd))
            white = min(part / other for part, other in zip(parts, same, strict=True) if other > 0)
            parts = [max(part - white * other, Decimal(0)) for part, other in zip(parts, same, strict=True)]
        most = max(*parts, white)
        levels = [_level(share / most) for share in (*parts, white)]
    return _mixture((levels[0], levels[1], levels[2], levels[3]), dies, wanted)


def _level(share: Decimal) -> int:
    """Return a share as a 16-bit level, rounded once, halves up."""
    return int(share * FULL_LEVEL + Decimal("0.5"))


def _mixture(levels: tuple[int, int, int, int], dies: Dies, wanted: Chromaticity | None) -> Mixture:
    lit = [
        (dies[die], level) for die, level in zip("RGBW", levels, strict=True) if level and die in dies.letters
    ]
    light = sum(die.mcd * level for die, level in lit)
    shown = None
    if light:
        each = [shines(die).of_light(die.mcd * level) for die, level in lit]
        with localcontext(DIGITS):
            x, y, z = (sum((column[row] for column in each), Decimal(0)) for row in range(3))
        shown = chromaticity((x, y, z))
    return Mixture(levels, light, shown, wanted)


def _solve(columns: list[_Column], wanted: _Column) -> list[Decimal]:
    """Return how much of each of three columns makes a fourth: Cramer's rule."""
    whole = _determinant(columns)
    return [
        _determinant([*columns[:place], wanted, *columns[place + 1 :]]) / whole
        for place in range(len(columns))
    ]


def _determinant(columns: list[_Column]) -> Decimal:
    (a, b, c), (d, e, f), (g, h, i) = columns
    return a * (e * i - f * h) - d * (b * i - c * h) + g * (b * f - c * e)
