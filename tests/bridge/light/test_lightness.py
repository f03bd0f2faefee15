from __future__ import annotations

import warnings
from itertools import pairwise

import numpy as np
import pytest

from bridge.chain.frames import byte_of_level
from bridge.layout.units import FULL_LEVEL
from bridge.light.lightness import STEPS, linear_of_step, linear_table, step_of_linear

with warnings.catch_warnings():
    warnings.simplefilter(
        "ignore"
    )  # it warns when it is imported without SciPy, which lightness does not need
    import colour

PUBLISHED = [
    # L* and its Y as a 16-bit level: ISO/CIE 11664-4, CIE e-ILV 17-23-076, worked out and rounded once
    (1, 73),
    (5, 363),
    (8, 580),
    (10, 738),
    (20, 1959),
    (25, 2894),
    (50, 12071),
    (75, 31639),
    (90, 50005),
    (100, 65535),
]


@pytest.mark.parametrize(("lightness", "level"), PUBLISHED)
def test_published_values(lightness: int, level: int) -> None:
    """The level of a lightness is the published one.

    Most whole lightnesses fall between two steps of the table: then the level lies within those of the two
    steps around it, and where it falls on a step it is met exactly.
    """
    below, rest = divmod(lightness * STEPS, 100)
    above = below + (rest > 0)

    assert linear_of_step(below) <= level <= linear_of_step(above)
    assert rest or level == linear_of_step(below)


def test_ends_are_dark_and_full() -> None:
    """Lightness 0 is no light, and lightness 100 is full light (ISO/CIE 11664-4: L* of the white is 100)."""
    assert (0, FULL_LEVEL) == (linear_table()[0], linear_table()[-1])
    assert STEPS + 1 == len(linear_table())


def test_whole_table_against_another_implementation() -> None:
    """Over the whole table the levels agree within one count with `colour-science`, method CIE 1976."""
    lightness = np.arange(STEPS + 1) * 100 / STEPS
    judged = np.asarray(colour.luminance(lightness, method="CIE 1976")) / 100 * FULL_LEVEL

    assert np.abs(judged - np.array(linear_table())).max() <= 1


def test_both_branches_meet() -> None:
    """Where the straight line and the cube meet, at L* 8, Y is 216/24389 (CIE e-ILV 17-23-076)."""
    joint = 8 * STEPS // 100

    assert 216 * FULL_LEVEL // 24_389 == linear_of_step(joint)
    assert linear_of_step(joint + 1) - linear_of_step(joint) in {0, 1}


def test_table_never_falls_and_never_leaps() -> None:
    """From step to step the light never falls, and rises by 2 counts of 65535 on average at full light: 3 at most."""
    leaps = {after - before for before, after in pairwise(linear_table())}

    assert {0, 1, 2, 3} == leaps


def test_levels_come_back() -> None:
    """The step of a level is the highest whose light is not above it, for every level."""
    table = linear_table()
    for level in range(FULL_LEVEL + 1):
        step = step_of_linear(level)
        assert table[step] <= level
        assert step == STEPS or level < table[step + 1]


def test_an_even_scale_of_lightness_has_so_many_bytes() -> None:
    """Of 256 even steps of lightness 174 give different bytes, and the first five are dark.

    Worked out from ISO/CIE 11664-4; a pure gamma of 2.2 would have 184 and 15, one of 2.8 only 163 and 28.
    """
    codes = [byte_of_level(linear_of_step(STEPS * code // 255)) for code in range(256)]
    assert (174, 5) == (len(set(codes)), codes.count(0))
    for gamma, distinct, dark in ((2.2, 184, 15), (2.8, 163, 28)):
        powers = [round(255 * (code / 255) ** gamma) for code in range(256)]
        assert (distinct, dark) == (
            len(set(powers)),
            powers.count(0),
        )


@pytest.mark.parametrize(("gamma", "outputs"), [(2.2, (12.18, 55.98, 136.59)), (2.8, (5.32, 37.02, 115.20))])
def test_lightness_lies_near_the_gammas_that_strips_are_given(
    gamma: float, outputs: tuple[float, ...]
) -> None:
    """At 64, 128 and 192 of 255 a pure gamma gives these outputs, and the curve of lightness lies near that of 2.2.

    2.2 to 2.8 is common practice for strips of LEDs, no source.
    """
    for code, output in zip((64, 128, 192), outputs, strict=True):
        assert abs(output - 255 * (code / 255) ** gamma) < 0.006
        if gamma == 2.2:
            assert abs(output - 255 * linear_of_step(STEPS * code // 255) / FULL_LEVEL) < 13
