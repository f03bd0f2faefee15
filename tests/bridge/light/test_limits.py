"""The limits of signal colours, judged by points and corners worked out from their standards."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.light.chromaticity import Chromaticity, of_wavelength
from bridge.light.limits import CIE_107, EASA, EN_12368, ITE, LIMITS, Limit
from tests.support.signal_colours import LIMITS as WRITTEN

BY_NAME: Final = {(limit.standard, limit.colour): limit for limit in LIMITS}


def at(x: float, y: float) -> Chromaticity:
    """Return a point of the diagram."""
    return Chromaticity(Decimal(str(x)), Decimal(str(y)))


def test_every_limit_is_judged() -> None:
    """All limits that there are stand in these tests too, written as the standards write them."""
    assert set(WRITTEN) == set(BY_NAME)


@given(x=st.integers(0, 800), y=st.integers(1, 900))
def test_a_limit_is_what_its_standard_says(x: int, y: int) -> None:
    """Any point of the diagram is inside by the lines exactly where it is by the equations of the standard."""
    tenth = Decimal("0.0005")  # beside the lines, so that no rounding decides
    place = Chromaticity(Decimal(x) / 1000 + tenth, Decimal(y) / 1000 + tenth)
    inside: dict[tuple[str, str], Callable[[float, float], bool]] = dict(WRITTEN)
    assert {name: each(float(place.x), float(place.y)) for name, each in inside.items()} == {
        name: limit.holds(place) for name, limit in BY_NAME.items()
    }


@pytest.mark.parametrize(
    ("colour", "x", "y"),
    [
        ("red", 0.700, 0.297), ("yellow", 0.580, 0.415), ("green", 0.100, 0.550), ("blue", 0.140, 0.080),
        ("white", 0.330, 0.330), ("white", 0.4475, 0.4074),
    ],
)  # fmt: skip
def test_a_point_is_inside_its_own_limit_alone(colour: str, x: float, y: float) -> None:
    """Points well inside the colours of EASA CS ADR-DSN.U.930 (a): each in its own set and in no other."""
    assert [colour] == [limit.colour for limit in LIMITS if limit.standard == EASA and limit.holds(at(x, y))]


def around(limit: Limit, x: float, y: float, step: float = 0.002) -> set[bool]:
    """Return what holds on all four sides of a point."""
    return {limit.holds(at(x + dx, y + dy)) for dx in (-step, step) for dy in (-step, step)}


@pytest.mark.parametrize(
    ("standard", "colour", "x", "y"),
    [
        (EASA, "yellow", 0.6117, 0.3820), (EASA, "yellow", 0.5459, 0.4259),
        (CIE_107, "yellow", 0.5655, 0.4145), (CIE_107, "yellow", 0.5930, 0.3870),
        (CIE_107, "green", 0.2839, 0.5199), (CIE_107, "green", 0.2069, 0.3966),
        (ITE, "green", 0.2805, 0.4495), (ITE, "green", 0.2243, 0.3896),
        (EN_12368, "red", 0.660, 0.320), (EN_12368, "red", 0.690, 0.290),
    ],
)  # fmt: skip
def test_a_corner_is_where_two_lines_meet(standard: str, colour: str, x: float, y: float) -> None:
    """Corners worked out from the equations of each standard: close by there is inside and outside."""
    assert {True, False} == around(BY_NAME[standard, colour], x, y)


@pytest.mark.parametrize(
    ("nm", "colour", "inside", "outside"),
    [
        (592, "yellow", {EASA, CIE_107, ITE}, set[str]()),
        (588, "yellow", {EASA, ITE}, {CIE_107}),
        (590, "yellow", {EASA, ITE}, {CIE_107}),
        (605, "yellow", set[str](), {EASA, CIE_107, ITE, EN_12368}),
        (620, "red", {EASA, EN_12368}, {CIE_107}),
        (621, "red", {EASA, EN_12368, ITE}, {CIE_107}),
        (628, "red", {EASA, EN_12368, ITE, CIE_107}, set[str]()),
        (515, "green", {EASA}, {CIE_107, ITE, EN_12368}),
        (530, "green", {EASA}, {CIE_107, ITE, EN_12368}),
        (500, "green", {EASA, CIE_107, ITE, EN_12368}, set[str]()),
        (505, "green", {EASA, CIE_107, ITE, EN_12368}, set[str]()),
    ],
)
def test_a_pure_colour_is_inside_some_and_outside_others(
    nm: int, colour: str, inside: set[str], outside: set[str]
) -> None:
    """Light of one wavelength (ISO/CIE 11664-1) by the equations of each standard."""
    holds = {
        limit.standard for limit in LIMITS if limit.colour == colour and limit.holds(of_wavelength(10 * nm))
    }
    assert inside <= holds
    assert set() == outside & holds
