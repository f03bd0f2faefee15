"""Lightness and linear light, as whole numbers that are the same on every processor.

CIE 1976 lightness (ISO/CIE 11664-4; CIE e-ILV 17-23-076): for L* above 8, Y = ((L* + 16) / 116) cubed, and
below, Y = L* x 27 / 24389. Both sides are ratios of whole numbers, so the table is worked out exactly and
rounded once.
"""

from __future__ import annotations

from bisect import bisect_right
from functools import cache
from typing import Final

from bridge.layout.units import FULL_LEVEL

STEPS: Final = 65_535
"""Lightness 0 to 100 in so many steps."""


def linear_of_step(step: int) -> int:
    """Return the 16-bit linear level of a lightness step, 0 to `STEPS`, rounded once, halves up."""
    if 100 * step <= 8 * STEPS:
        top, bottom = 100 * step * 27, STEPS * 24_389
    else:
        top, bottom = (100 * step + 16 * STEPS) ** 3, (116 * STEPS) ** 3
    return (2 * FULL_LEVEL * top + bottom) // (2 * bottom)


@cache
def linear_table() -> tuple[int, ...]:
    """Return the linear level of every lightness step; it never falls."""
    return tuple(linear_of_step(step) for step in range(STEPS + 1))


def step_of_linear(level: int) -> int:
    """Return the highest lightness step whose linear level is not above `level` (0 to 65535)."""
    return bisect_right(linear_table(), level) - 1
