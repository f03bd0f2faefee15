"""Where colours lie, judged by `colour-science`; other sources stand beside their checks."""

from __future__ import annotations

from decimal import Decimal, getcontext, localcontext

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.light.chromaticity import (
    Chromaticity,
    apart,
    chromaticity,
    of_screen,
    of_temperature,
    of_wavelength,
    screen_light,
)
from bridge.light.observer import FIRST_NM, LAST_NM, observer, weights
from tests.support.colorimetry import OBSERVER, SCIENCE, place_of, planckian, tristimulus


def test_the_observer_is_that_of_the_cie() -> None:
    """The table is the one that colour-science has of the CIE 1931 standard observer, to the last digit it prints."""
    expected = np.array([OBSERVER[nm] for nm in range(FIRST_NM, LAST_NM + 1)])
    assert [] == [row for row in observer() if len(row) != 3]
    np.testing.assert_allclose(expected, np.array(observer(), dtype=np.float64), rtol=1e-9, atol=0)


def test_a_wavelength_beyond_the_table_is_refused() -> None:
    """Before its first and behind its last row the table says nothing."""
    assert weights(10 * LAST_NM) == observer()[-1]
    for beyond in (10 * FIRST_NM - 1, 10 * LAST_NM + 1):
        with pytest.raises(IndexError):
            weights(beyond)


LOCUS = {
    # ISO/CIE 11664-1: x and y of the spectral locus, to four digits.
    465: (0.1355, 0.0399), 470: (0.1241, 0.0578), 471: (0.1215, 0.0626), 505: (0.0039, 0.6548),
    515: (0.0389, 0.8120), 520: (0.0743, 0.8338), 525: (0.1142, 0.8262), 590: (0.5752, 0.4242),
    592: (0.5867, 0.4128), 620: (0.6915, 0.3083), 621: (0.6935, 0.3064), 625: (0.7006, 0.2993),
    630: (0.7079, 0.2920),
}  # fmt: skip

PLANCKIAN = {
    # Planck's law seen by the CIE 1931 observer; 2856 K is illuminant A (ISO/CIE 11664-2: 0.4476, 0.4074).
    1900: (0.5378, 0.4112), 2200: (0.5056, 0.4152), 2700: (0.4599, 0.4106), 2856: (0.4475, 0.4074),
    3000: (0.4369, 0.4041), 3200: (0.4234, 0.3990), 4000: (0.3804, 0.3767), 5000: (0.3451, 0.3516),
    6500: (0.3135, 0.3236),
}  # fmt: skip


def digits(place: Chromaticity) -> tuple[float, float]:
    """Return x and y to four digits."""
    return round(float(place.x), 4), round(float(place.y), 4)


@pytest.mark.parametrize(("nm", "expected"), LOCUS.items())
def test_a_wavelength_lies_on_the_locus(nm: int, expected: tuple[float, float]) -> None:
    """Light of one wavelength has the x and y of the tables."""
    assert expected == digits(of_wavelength(10 * nm))


@given(tenths=st.integers(4000, 7000))
def test_every_wavelength_lies_on_the_locus(tenths: int) -> None:
    """Any tenth of a nanometre lies where colour-science's observer has it."""
    assert place_of(tristimulus(tenths / 10)) == pytest.approx(
        [float(part) for part in of_wavelength(tenths)], abs=1e-9
    )


@pytest.mark.parametrize(("kelvin", "expected"), PLANCKIAN.items())
def test_a_temperature_lies_on_the_planckian_locus(kelvin: int, expected: tuple[float, float]) -> None:
    """A black body has the x and y of the tables."""
    assert expected == digits(of_temperature(kelvin))


@settings(max_examples=25, deadline=None)
@given(kelvin=st.integers(1000, 20_000))
def test_every_temperature_lies_on_the_planckian_locus(kelvin: int) -> None:
    """Any temperature that can be asked for lies where Ohno (2013) has it, as colour-science computes it."""
    assert planckian(kelvin) == pytest.approx([float(part) for part in of_temperature(kelvin)], abs=5e-5)


@pytest.mark.parametrize(
    ("code", "expected"),
    [(1, 0.000304), (10, 0.003035), (11, 0.003347), (64, 0.051269), (128, 0.215861), (188, 0.502886),
     (192, 0.527115)],
)  # fmt: skip
def test_a_code_of_a_screen_is_so_much_light(code: int, expected: float) -> None:
    """Codes 10 and 11 lie on both sides of the bend of IEC 61966-2-1."""
    assert expected == round(float(screen_light(code)), 6)


@pytest.mark.parametrize("code", range(256))
def test_every_code_of_a_screen_is_so_much_light(code: int) -> None:
    """The light of each code is that of colour-science's sRGB."""
    assert float(SCIENCE.models.eotf_sRGB(code / 255)) == pytest.approx(float(screen_light(code)), abs=1e-12)


@given(codes=st.tuples(*[st.integers(0, 255)] * 3).filter(any))
def test_a_colour_of_a_screen_lies_where_srgb_has_it(codes: tuple[int, int, int]) -> None:
    """The matrix is that of IEC 61966-2-1, as colour-science has it."""
    linear = SCIENCE.models.eotf_sRGB(np.array(codes) / 255)
    expected = place_of(SCIENCE.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ @ linear)
    assert expected == pytest.approx([float(part) for part in of_screen(*codes)], abs=1e-9)


def test_the_white_of_a_screen_is_daylight() -> None:
    """White of a screen is D65: x 0.3127, y 0.3290 (IEC 61966-2-1)."""
    assert (0.3127, 0.3290) == digits(of_screen(255, 255, 255))


@given(
    one=st.tuples(st.integers(100, 700), st.integers(50, 700)),
    other=st.tuples(st.integers(100, 700), st.integers(50, 700)),
)
def test_colours_are_as_far_apart_as_on_the_cie_1976_diagram(
    one: tuple[int, int], other: tuple[int, int]
) -> None:
    """Distances are those between u' and v' (ISO/CIE 11664-5), as colour-science computes them."""
    places = [Chromaticity(Decimal(x) / 1000, Decimal(y) / 1000) for x, y in (one, other)]
    expected = np.linalg.norm(
        np.subtract(*(SCIENCE.xy_to_Luv_uv(np.array(place, float)) for place in places))
    )
    assert float(expected) == pytest.approx(float(apart(*places)), abs=1e-9)


def test_light_of_a_colour_lies_where_the_colour_does() -> None:
    """X, Y and Z of any amount of light have the x and y that they were made of."""
    place = of_temperature(2700)
    assert [float(part) for part in place] == pytest.approx(
        [float(p) for p in chromaticity(place.of_light(310))]
    )


def test_the_precision_around_does_not_count() -> None:
    """Whatever precision `decimal` is set to outside, a colour lies in the same place, digit by digit."""
    expected = of_temperature.__wrapped__(2345), of_screen(9, 99, 199)
    assert getcontext().prec > 5
    with localcontext(prec=5):
        assert expected[0] == of_temperature.__wrapped__(2345)
        screen_light.cache_clear()
        assert expected[1] == of_screen(9, 99, 199)
