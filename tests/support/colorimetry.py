"""Colours worked out by `colour-science`, to judge those that are worked out here."""

from __future__ import annotations

import warnings
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from bridge.layout.dies import Die, Dies

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it tells of optional parts that are not installed
    import colour

Vector = NDArray[np.float64]

SCIENCE: Final[Any] = colour
"""The library itself."""

OBSERVER: Final[Any] = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]


def tristimulus(wavelength: float) -> Vector:
    """Return X, Y and Z of light of one wavelength, nm."""
    low = int(wavelength)
    first, second = (
        np.asarray(OBSERVER[low], dtype=np.float64),
        np.asarray(OBSERVER[low + 1], dtype=np.float64),
    )
    return np.asarray(first + (second - first) * (wavelength - low), dtype=np.float64)


def planckian(kelvin: float) -> tuple[float, float]:
    """Return x and y of a black body, by the method of Ohno (2013)."""
    x, y = colour.UCS_uv_to_xy(colour.CCT_to_uv(np.array([kelvin, 0.0]), method="Ohno 2013"))
    return float(x), float(y)


def light_of(die: Die) -> Vector:
    """Return X, Y and Z of a die at full light, Y in mcd."""
    if die.kelvin:
        return np.asarray(colour.xy_to_XYZ(np.array(planckian(die.kelvin))) * die.mcd, dtype=np.float64)
    found = tristimulus(die.wavelength / 10)
    return np.asarray(found / found[1] * die.mcd, dtype=np.float64)


def added(dies: Dies, levels: dict[str, float]) -> Vector:
    """Return X, Y and Z of several dies at their levels, 0 to 1."""
    total = np.zeros(3, dtype=np.float64)
    for letter, level in levels.items():
        total += light_of(dies[letter]) * level
    return total


def place_of(light: Vector) -> tuple[float, float]:
    """Return x and y of X, Y and Z."""
    x, y = colour.XYZ_to_xy(light)
    return float(x), float(y)


def shares_of(dies: Dies, x: float, y: float) -> Vector:
    """Return how much of R, G and B makes a colour, the most of them 1, by solving the matrix of their light."""
    matrix = np.array([light_of(dies[letter]) for letter in "RGB"]).T
    shares = np.linalg.solve(matrix, colour.xy_to_XYZ(np.array([x, y])))
    return np.asarray(shares / shares.max(), dtype=np.float64)
