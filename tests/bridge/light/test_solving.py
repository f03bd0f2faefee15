"""How much of each die makes a colour, judged by `colour-science`; other sources stand beside their checks."""

from __future__ import annotations

from decimal import Decimal
from typing import Final

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from bridge.layout.chips import CHIP_TYPES
from bridge.layout.dies import Die, Dies
from bridge.layout.targets import OneDie, Point, Screen, Shares, Target, Temperature, Wavelength
from bridge.layout.units import FULL_LEVEL
from bridge.light.colours import COLOURS
from bridge.light.solving import mix
from tests.support.colorimetry import SCIENCE, added, light_of, place_of, shares_of

V5: Final = CHIP_TYPES["ws2812b-v5"].dies
"""WS2812B-V5, page 3, typical: 621, 520 and 471 nm, 310, 780 and 215 mcd."""

RGBW: Final = CHIP_TYPES["sk6812-rgbw"].dies


def shares(target: Target, dies: Dies) -> dict[str, float]:
    """Return the linear light of each die, 0 to 1."""
    mixture = mix(target, dies)
    return {die: mixture.level(die) / FULL_LEVEL for die in "RGBW"}


def shown(target: Target, dies: Dies) -> tuple[float, float]:
    """Return where the light lies that a colour's levels give, by colour-science."""
    return place_of(added(dies, {die: part for die, part in shares(target, dies).items() if part}))


def test_the_matrix_is_that_of_the_dies() -> None:
    """X, Y and Z of red, green and blue: worked out from ISO/CIE 11664-1 for the typical WS2812B-V5."""
    expected = [[701.72, 69.51, 417.27], [310, 780, 215], [0.15, 85.96, 2802.91]]
    assert expected == [[round(float(part), 2) for part in row] for row in
                        np.array([light_of(V5[die]) for die in "RGB"]).T]  # fmt: skip


def test_all_dies_together_are_bluish() -> None:
    """All three full are x 0.2208, y 0.2425 and 1305 mcd: worked out from the same matrix."""
    everything = mix(Shares(FULL_LEVEL, FULL_LEVEL, FULL_LEVEL, 0), V5)
    assert everything.shown is not None
    assert (0.2208, 0.2425) == tuple(round(float(part), 4) for part in everything.shown)
    assert 1305 * FULL_LEVEL == everything.light


@pytest.mark.parametrize(
    ("parts", "place"),
    [((1.0, 0.25, 0.0), (0.5772, 0.4054)), ((0.0, 1.0, 0.2), (0.0943, 0.5072))],
)
def test_a_mixture_lies_where_its_light_adds_up(
    parts: tuple[float, float, float], place: tuple[float, float]
) -> None:
    """A yellow and a green of the WS2812B-V5: worked out from the same matrix."""
    red, green, blue = (int(part * FULL_LEVEL + 0.5) for part in parts)
    found = mix(Shares(red, green, blue, 0), V5).shown
    assert found is not None
    assert place == tuple(round(float(part), 4) for part in found)


def test_daylight_is_so_much_of_each() -> None:
    """D65 (ISO/CIE 11664-2) is 1 : 0.7149 : 0.3438 on the WS2812B-V5: worked out from the same matrix."""
    expected = {"R": 1, "G": 0.7149, "B": 0.3438, "W": 0}
    assert expected == pytest.approx(shares(Point(312_700, 329_000), V5), abs=5e-5)


def test_what_lies_just_outside_loses_the_light_that_would_be_negative() -> None:
    """x 0.580, y 0.415 asks for 1 : 0.2624 : -0.0059, and blue is left out: worked out from the same matrix."""
    assert {"R": 1, "G": 0.2624, "B": 0, "W": 0} == pytest.approx(
        shares(Point(580_000, 415_000), V5), abs=5e-5
    )
    assert [1, 0.2624, -0.0059] == pytest.approx(shares_of(V5, 0.580, 0.415).tolist(), abs=5e-5)


red = st.builds(Die, st.integers(50, 3000), st.integers(6100, 6400))
green = st.builds(Die, st.integers(50, 3000), st.integers(5100, 5400))
blue = st.builds(Die, st.integers(50, 3000), st.integers(4500, 4800))
white = st.builds(lambda mcd, kelvin: Die(mcd, kelvin=kelvin), st.integers(50, 3000), st.integers(2500, 8000))
three_dies = st.builds(Dies, red, green, blue)
four_dies = st.builds(Dies, red, green, blue, white)
points = st.builds(Point, st.integers(150_000, 600_000), st.integers(100_000, 600_000)).filter(
    lambda point: point.x + point.y <= 980_000
)


@given(dies=three_dies, point=points)
def test_any_dies_make_any_colour_as_their_matrix_says(dies: Dies, point: Point) -> None:
    """The shares are those that colour-science's matrix gives, with what is negative left out."""
    solved = shares_of(dies, point.x / 1e6, point.y / 1e6)
    expected = np.clip(solved, 0, None)
    found = [shares(point, dies)[die] for die in "RGB"]
    assert (expected / expected.max()).tolist() == pytest.approx(found, abs=1e-5)


@given(dies=st.one_of(three_dies, four_dies), point=points)
def test_a_colour_between_the_dies_is_met(dies: Dies, point: Point) -> None:
    """A colour inside the triangle of the dies is shown where it lies, with or without a white die."""
    assume(shares_of(dies, point.x / 1e6, point.y / 1e6).min() > 1e-3)
    assert shown(point, dies) == pytest.approx((point.x / 1e6, point.y / 1e6), abs=6e-3)


@given(dies=st.one_of(three_dies, four_dies), point=points)
def test_the_strongest_die_is_full(dies: Dies, point: Point) -> None:
    """Nothing of what a lamp can give is left out: its strongest die is full, and none is beyond that."""
    assert FULL_LEVEL == max(mix(point, dies).levels)
    assert 0 <= min(mix(point, dies).levels)


@given(dies=four_dies, point=points)
def test_the_white_die_gives_as_much_as_it_can(dies: Dies, point: Point) -> None:
    """With more white one of the others would have to be negative: so one of them is dark."""
    assert 0 == min(mix(point, dies).levels[:3])


@given(dies=four_dies, point=points)
def test_a_white_die_adds_light_and_never_another_colour(dies: Dies, point: Point) -> None:
    """The colour is that of the same lamp without its white die, within what the levels of 16 bits can say."""
    plain = Dies(dies.red, dies.green, dies.blue)
    # A die that is twenty times as strong as the others may be lit by a handful of the 65,535 steps.
    assert shown(point, plain) == pytest.approx(shown(point, dies), abs=6e-3)


@settings(max_examples=30, deadline=None)
@given(kelvin=st.integers(2000, 9000), dies=four_dies)
def test_white_has_the_temperature_that_was_asked_for(kelvin: int, dies: Dies) -> None:
    """Any white is met within 1 % of its temperature, on any lamp with a white die, by the method of Ohno (2013)."""
    place = np.array(shown(Temperature(kelvin), dies))
    uv = SCIENCE.UCS_to_uv(SCIENCE.XYZ_to_UCS(SCIENCE.xy_to_XYZ(place)))
    found, off = SCIENCE.temperature.uv_to_CCT(uv, method="Ohno 2013")
    assert kelvin == pytest.approx(found, rel=0.01)
    assert 0 == pytest.approx(off, abs=0.001)


@pytest.mark.parametrize("kelvin", [2850, 4250, 6500])
def test_the_white_of_the_die_itself_is_the_die_alone(kelvin: int) -> None:
    """Each bin of SK6812RGBW, section 6: asked for the white of its die, a lamp lights that die and no other."""
    dies = Dies(RGBW.red, RGBW.green, RGBW.blue, Die(1500, kelvin=kelvin))
    assert (0, 0, 0, FULL_LEVEL) == mix(Temperature(kelvin), dies).levels


def test_white_by_name_is_the_white_die_or_daylight() -> None:
    """White promises no temperature: it is the white die where there is one, and D65 where there is none."""
    assert (0, 0, 0, FULL_LEVEL) == mix(COLOURS["white"], RGBW).levels
    assert (0.3127, 0.3290) == pytest.approx(shown(COLOURS["white"], V5), abs=1e-4)


def test_shares_of_the_owner_are_left_as_they_are() -> None:
    """What is said as shares of dies is no colour to be met, and is not changed."""
    mixture = mix(Shares(1000, 2000, 3000, 4000), RGBW)
    assert (1000, 2000, 3000, 4000) == mixture.levels
    assert mixture.wanted is None
    assert 0 == mixture.off
    assert 1000 * 250 + 2000 * 500 + 3000 * 120 + 4000 * 1500 == mixture.light


def test_a_colour_of_no_light_lies_nowhere() -> None:
    """No share of any die is darkness, and darkness has no place in the diagram."""
    mixture = mix(Shares(0, 0, 0, 0), V5)
    assert mixture.shown is None
    assert 0 == mixture.light
    assert Decimal(0) == mixture.off


def test_a_die_that_is_not_there_cannot_be_asked_for() -> None:
    """What a lamp without the die should show has to be said."""
    with pytest.raises(ValueError, match="is no colour that a lamp with the dies RGB can show"):
        mix(OneDie("W"), V5)
    with pytest.raises(KeyError):
        V5["W"]


def test_a_colour_of_a_screen_is_met() -> None:
    """sRGB (255, 176, 96) lies inside every pixel, and is shown where colour-science has it."""
    linear = SCIENCE.models.eotf_sRGB(np.array([255, 176, 96]) / 255)
    expected = place_of(SCIENCE.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ @ linear)
    for chip in CHIP_TYPES.values():
        assert expected == pytest.approx(shown(Screen(255, 176, 96), chip.dies), abs=2e-4)


@pytest.mark.parametrize("chip", CHIP_TYPES)
@pytest.mark.parametrize("tenths", range(4700, 6200, 50))
def test_a_pure_colour_is_shown_as_pure_as_it_can_be(chip: str, tenths: int) -> None:
    """No pixel reaches the spectral locus between its dies: one of the three is dark, and white is."""
    mixture = mix(Wavelength(tenths), CHIP_TYPES[chip].dies)
    assert 0 in mixture.levels[:3]
    assert 0 == mixture.level("W")
