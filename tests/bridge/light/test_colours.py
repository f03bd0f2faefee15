"""The colours by name as each kind of pixel shows them, judged by the published limits of signal lights.

The light is worked out anew here, by `colour-science` and the CIE 1931 standard observer, from the bytes that are sent
and from what the data sheet of the chip says of its dies.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pytest

from bridge.chain.frames import byte_of_level
from bridge.layout.chips import CHIP_TYPES
from bridge.layout.dies import Dies
from bridge.light.colours import COLOURS, temperature
from bridge.light.solving import mix
from tests.support.colorimetry import SCIENCE, added, light_of, place_of, planckian, tristimulus
from tests.support.signal_colours import CIE_107, EASA, ITE, LIMITS

PIXELS: Final = [chip.name for chip in CHIP_TYPES.values() if not chip.driver]

UNREACHABLE: Final = {
    # y from 0.290 to 0.300 needs a red die of some 625 nm or more.
    (CIE_107, "red", "ws2812b-v5"),
    (CIE_107, "red", "sk6812"),
    # y of 0.411 or more with y >= 0.995 - x: the line from a red die to a green one passes below that.
    *((ITE, "yellow", chip) for chip in PIXELS),
}
"""Limits that no mixture of a pixel's dies can reach, whatever it is."""

REACHABLE: Final = [
    (standard, colour, chip)
    for standard, colour in LIMITS
    for chip in PIXELS
    if (standard, colour, chip) not in UNREACHABLE
]


def dies_of(chip: str) -> Dies:
    """Return what shines in a pixel."""
    return CHIP_TYPES[chip].dies


def chromaticity(colour: str, chip: str, light: float = 1.0) -> tuple[float, float]:
    """Return x and y of a colour as it is sent, one byte a die, with so much of its light."""
    mixture = mix(COLOURS[colour], dies_of(chip))
    levels = {die: byte_of_level(int(mixture.level(die) * light)) / 255 for die in "RGBW"}
    return place_of(added(dies_of(chip), {die: level for die, level in levels.items() if level}))


@pytest.mark.parametrize(("standard", "colour", "chip"), REACHABLE)
def test_a_colour_is_what_the_standard_calls_so(standard: str, colour: str, chip: str) -> None:
    """Each signal colour of each pixel lies inside the limit, as its bytes show it, also in a third of the light."""
    assert LIMITS[standard, colour](*chromaticity(colour, chip))
    assert LIMITS[standard, colour](*chromaticity(colour, chip, 1 / 3))


@pytest.mark.parametrize(("standard", "colour", "chip"), sorted(UNREACHABLE))
def test_no_mixture_reaches_the_limit(standard: str, colour: str, chip: str) -> None:
    """Not one of the mixtures of the dies in steps of a hundredth lies inside, so nothing better could be shown."""
    light = [light_of(dies_of(chip)[die]) for die in "RGB"]
    step = np.linspace(0, 1, 101)
    green, blue = np.meshgrid(step, step)
    for strong in range(3):  # one of the three is full
        first, second, third = light[strong], light[strong - 2], light[strong - 1]
        total = first + green[..., None] * second + blue[..., None] * third
        x, y = (total[..., part] / total.sum(axis=-1) for part in (0, 1))
        inside = [LIMITS[standard, colour](*place) for place in zip(x.flat, y.flat, strict=True)]
        assert not any(inside)


@pytest.mark.parametrize("chip", PIXELS)
def test_green_is_surely_told_from_white(chip: str) -> None:
    """Green keeps the narrower limits of EASA CS ADR-DSN.U.930 (b), and those of GM1 (d) for solid-state lights."""
    x, y = chromaticity("green", chip)
    assert y <= 0.726 - 0.726 * x
    assert x <= 0.625 * y - 0.041
    assert y >= 0.390 - 0.171 * x
    assert y >= 0.400


@pytest.mark.parametrize("chip", PIXELS)
def test_the_limits_tell_the_colours_apart(chip: str) -> None:
    """Each colour lies within its own limits alone, so none of these tests passes for any colour."""
    names = [colour for standard, colour in LIMITS if standard == EASA]
    for name in names:
        inside = [other for other in names if LIMITS[EASA, other](*chromaticity(name, chip))]
        assert [name] == inside


@pytest.mark.parametrize("chip", PIXELS)
def test_lunar_is_a_white_bluer_than_daylight(chip: str) -> None:
    """Lunar lies in the white of EASA CS ADR-DSN.U.930 (a)(5), on the blue side of D65. No railway limit is known."""
    x, y = chromaticity("lunar", chip)
    assert LIMITS[EASA, "white"](x, y)
    assert x < 0.3127


@pytest.mark.parametrize("chip", [chip for chip in PIXELS if dies_of(chip).white is None])
def test_white_is_daylight(chip: str) -> None:
    """White is D65 (ISO/CIE 11664-2: x 0.3127, y 0.3290), as near as a byte a die allows."""
    assert (0.3127, 0.3290) == pytest.approx(chromaticity("white", chip), abs=0.002)


@pytest.mark.parametrize("chip", PIXELS)
@pytest.mark.parametrize(
    ("colour", "kelvin"),
    [("warm-white", 2700), ("house-light", 2800), ("candle", 1900), ("fire", 1700), ("oil-lamp", 2000)],
)
def test_a_warm_colour_has_its_temperature(colour: str, kelvin: int, chip: str) -> None:
    """Warm colours lie on the Planckian locus, by the method of Ohno (2013), as near as a byte a die allows."""
    assert planckian(kelvin) == pytest.approx(chromaticity(colour, chip), abs=0.004)


@pytest.mark.parametrize("chip", PIXELS)
@pytest.mark.parametrize(("colour", "illuminant"), [("sodium", "HP1"), ("tube", "FL2")])
def test_a_lamp_of_the_world_has_the_colour_of_its_illuminant(
    colour: str, illuminant: str, chip: str
) -> None:
    """Sodium is HP1 and a tube is FL2 of CIE 15, whose x and y colour-science has."""
    expected = SCIENCE.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"][illuminant]
    assert expected.tolist() == pytest.approx(chromaticity(colour, chip), abs=0.003)


@pytest.mark.parametrize("chip", PIXELS)
def test_mercury_has_the_colour_of_a_published_lamp(chip: str) -> None:
    """A clear mercury lamp (H38HT-100, a spectrum that colour-science has), as near as a byte a die allows."""
    lamp = SCIENCE.SDS_LIGHT_SOURCES["H38HT-100 (Mercury)"]
    seen = zip(lamp.wavelengths, lamp.values, strict=True)
    expected = place_of(np.sum([tristimulus(nm) * light for nm, light in seen], axis=0))
    assert expected == pytest.approx(chromaticity("mercury", chip), abs=0.003)


@pytest.mark.parametrize("chip", PIXELS)
def test_low_pressure_sodium_is_as_near_its_line_as_a_pixel_gets(chip: str) -> None:
    """Its line lies at 589 nm (D lines of sodium, 589.0 and 589.6 nm), and a pixel shows that hue a little paler."""
    assert 589 == pytest.approx(_dominant_wavelength("low-pressure-sodium", chip), abs=1)


@pytest.mark.parametrize("chip", PIXELS)
def test_amber_is_that_of_a_beacon(chip: str) -> None:
    """Amber has the hue of 594 nm, seen from equal energy (common practice for amber LEDs, no source)."""
    assert 594 == pytest.approx(_dominant_wavelength("amber", chip), abs=1)


def _dominant_wavelength(name: str, chip: str) -> int:
    """Return the wavelength, nm, on the line from equal energy (x = y = 1/3) through a colour."""
    direction = np.array(chromaticity(name, chip)) - 1 / 3
    wavelengths = range(480, 660)
    angles = []
    for wavelength in wavelengths:
        locus = np.array(place_of(tristimulus(wavelength))) - 1 / 3
        angles.append(float(locus @ direction / np.hypot(*locus) / np.hypot(*direction)))
    return wavelengths[int(np.argmax(angles))]


def test_any_temperature_is_a_colour() -> None:
    """A number and K is a colour wherever a colour may stand, with or without the space; other words are not."""
    assert temperature("2700 K") == temperature("2700K")
    assert temperature("2700 K") == COLOURS["warm-white"]
    assert [None] * 5 == [temperature(word) for word in ("999 K", "20001 K", "K", "2700", "2700 k")]
