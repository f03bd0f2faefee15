"""The colours by name, judged by the published limits of signal lights.

The light of a mixture is worked out anew here, by `colour-science` and the CIE 1931 standard observer, from the
bytes that are sent. Its primaries are those of a WS2812B-V5 (data sheet of 2019-03-23, page 3).
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from typing import Final

import numpy as np
import pytest

from bridge.chain.frames import byte_of_level
from bridge.light.colours import COLOURS

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it tells of optional parts that are not installed
    import colour

PRIMARIES: Final = ((621, 310), (520, 780), (471, 215))
"""Dominant wavelength, nm, and full light, mcd, of R, G and B; taken as lying on the spectral locus."""

Limit = Callable[[float, float], bool]

EASA: Final[dict[str, Limit]] = {
    # EASA CS ADR-DSN.U.930 (a), the CIE 1983 colours of aviation ground lights.
    "red": lambda x, y: y >= 0.980 - x and y <= 0.335,
    "yellow": lambda x, y: y >= 0.382 and y >= 0.790 - 0.667 * x and y <= x - 0.120,
    "green": lambda x, y: x <= 0.360 - 0.080 * y and x <= 0.650 * y and y >= 0.390 - 0.171 * x,
    "blue": lambda x, y: y <= 0.805 * x + 0.065 and y <= 0.400 - x and x <= 0.600 * y + 0.133,
    "white": lambda x, y: (
        0.285 <= x <= 0.500 and y <= min(0.440, 0.150 + 0.640 * x) and y >= min(0.050 + 0.750 * x, 0.382)
    ),
}

CIE_107: Final[dict[str, Limit]] = {
    # CIE 107-1994, as compared by the Lighting Research Center. Its red (y from 0.290 to 0.300) cannot be
    # reached with a die of 621 nm.
    "yellow": lambda x, y: x - 0.206 <= y <= x - 0.151 and y >= 0.980 - x,
    "green": lambda x, y: y <= 0.726 - 0.726 * x and x <= 0.625 * y - 0.041 and y >= 0.500 - 0.500 * x,
}

EN_12368: Final[dict[str, Limit]] = {
    # Draft EN 12368 of January 1998, from the same comparison.
    "red": lambda x, y: 0.290 <= y <= 0.320 and y >= 0.980 - x,
    "yellow": lambda x, y: y >= 0.387 and y >= 0.980 - x and y <= 0.727 * x + 0.054,
    "green": lambda x, y: y <= 0.726 - 0.726 * x and x <= 0.625 * y - 0.041 and y >= 0.400,
}


def chromaticity(name: str) -> tuple[float, float]:
    """Return x and y of a colour as it is sent, one byte a die."""
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    total = np.zeros(3, dtype=np.float64)
    for (wavelength, light), level in zip(PRIMARIES, COLOURS[name].plain, strict=True):
        tristimulus = np.asarray(observer[wavelength], dtype=np.float64)
        total += tristimulus / tristimulus[1] * light * byte_of_level(level) / 255
    return float(total[0] / total.sum()), float(total[1] / total.sum())


@pytest.mark.parametrize("name", EASA)
def test_a_colour_is_that_of_aviation_ground_lights(name: str) -> None:
    """Red, yellow, green, blue and white are what EASA CS ADR-DSN.U.930 calls so."""
    assert EASA[name](*chromaticity(name))


def test_green_is_surely_told_from_white() -> None:
    """Green keeps the narrower limits of EASA CS ADR-DSN.U.930 (b)."""
    x, y = chromaticity("green")
    assert y <= 0.726 - 0.726 * x
    assert x <= 0.625 * y - 0.041
    assert y >= 0.390 - 0.171 * x


@pytest.mark.parametrize("name", CIE_107)
def test_a_colour_is_that_of_cie_107(name: str) -> None:
    """Yellow and green are what CIE 107-1994 calls so."""
    assert CIE_107[name](*chromaticity(name))


@pytest.mark.parametrize("name", EN_12368)
def test_a_colour_is_that_of_road_signals(name: str) -> None:
    """Red, yellow and green are what the draft of EN 12368 calls so."""
    assert EN_12368[name](*chromaticity(name))


def test_the_limits_tell_the_colours_apart() -> None:
    """Each colour lies within its own limits alone, so none of these tests passes for any colour."""
    for name, inside in EASA.items():
        assert [name] == [other for other in EASA if inside(*chromaticity(other))]


def test_lunar_is_a_white_bluer_than_white() -> None:
    """Lunar lies in the white of EASA CS ADR-DSN.U.930 (a)(5), on the blue side of D65. No railway limit is known."""
    x, y = chromaticity("lunar")
    assert EASA["white"](x, y)
    assert x < chromaticity("white")[0]


def test_white_is_daylight() -> None:
    """White is D65 (ISO/CIE 11664-2: x 0.3127, y 0.3290), as near as a byte a die allows."""
    assert (0.3127, 0.3290) == pytest.approx(chromaticity("white"), abs=0.002)


def test_warm_white_is_a_lamp_of_2700_kelvin() -> None:
    """Warm white lies on the Planckian locus at 2700 K, by the method of Ohno (2013)."""
    kelvin, off = colour.temperature.uv_to_CCT(
        colour.UCS_to_uv(
            colour.XYZ_to_UCS(colour.xy_to_XYZ(np.array(chromaticity("warm-white"), dtype=np.float64)))
        ),
        method="Ohno 2013",
    )
    assert 2700 == pytest.approx(kelvin, abs=40)
    assert 0 == pytest.approx(off, abs=0.002)


def test_amber_is_a_sodium_lamp() -> None:
    """Amber has the hue of 594 nm, seen from equal energy (common practice for amber LEDs, no source)."""
    assert 594 == _dominant_wavelength("amber")


def _dominant_wavelength(name: str) -> int:
    """Return the wavelength, nm, on the line from equal energy (x = y = 1/3) through a colour."""
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    direction = np.array(chromaticity(name), dtype=np.float64) - 1 / 3
    wavelengths = range(480, 660)
    angles = []
    for wavelength in wavelengths:
        tristimulus = np.asarray(observer[wavelength], dtype=np.float64)
        locus = tristimulus[:2] / tristimulus.sum() - 1 / 3
        angles.append(float(locus @ direction / np.hypot(*locus) / np.hypot(*direction)))
    return wavelengths[int(np.argmax(angles))]
