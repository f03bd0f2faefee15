"""Flashes are counted as WCAG 2.2, 2.3.1 counts them."""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.events import SECOND
from bridge.light.care import DARKER, LEAST_CHANGE, flicker
from bridge.light.tapes import UNIT, Score, Tape
from tests.support.playing import scores_of

FULL: Final = UNIT


def square(rate: int, high: int = FULL, low: int = 0) -> Score:
    """Return a light that goes between two levels so often in a second."""
    return Score(Tape((high, low), SECOND // rate))


@pytest.mark.parametrize("rate", range(1, 11))
def test_a_square_flash_is_counted_as_often_as_it_flashes(rate: int) -> None:
    """So many flashes a second are so many, each a pair of opposing changes; more than three are too fast."""
    found = flicker(square(rate))
    assert rate == found.in_a_second
    assert (rate > 3) is found.too_fast


@pytest.mark.parametrize(
    ("high", "low", "counted"),
    [
        (FULL, 0, 5),
        (LEAST_CHANGE, 0, 5),  # just 10 % of the most
        (LEAST_CHANGE - 1, 0, 0),  # below it
        (FULL, DARKER - 1, 5),  # the darker state is just below 80 %
        (FULL, DARKER, 0),  # it is not
    ],
)
def test_small_and_bright_changes_are_no_flashes(high: int, low: int, counted: int) -> None:
    """A change below 10 % is none, and none where the darker state has 80 % or more."""
    assert counted == flicker(square(5, high, low)).in_a_second


def test_red_counts_whatever_its_darker_state() -> None:
    """A pair of changes of a saturated red is a flash even where another colour's would be none."""
    bright = square(5, FULL, DARKER)
    assert 0 == flicker(bright).in_a_second
    assert (5, True) == flicker(bright, "red")[::2]
    assert 5 == flicker(bright._replace(hues=((0, "red"),))).in_a_second
    assert 0 == flicker(bright._replace(hues=((0, "red"),)), "green").in_a_second


def test_a_slow_rise_counts_as_much_as_a_sudden_one() -> None:
    """What is followed is the light from its last turning point, so steps that are each too small add up."""
    ramp = [FULL * place // 20 for place in range(20)]
    assert 2 == flicker(Score(Tape((*ramp, *reversed(ramp)), SECOND // 2))).in_a_second


def test_light_that_only_rises_is_no_flash() -> None:
    """A lamp that comes on once, however uneven its steps, does not flash."""
    assert 0 == flicker(scores_of("sodium-lamp")[0]).of_all
    assert 0 == flicker(scores_of("steady")[0]).of_all


@pytest.mark.parametrize(
    ("text", "too_fast"),
    [
        ("flash", False),
        ("{kind: flash, rate: 180}", False),
        ("{kind: flash, rate: 181}", True),
        ("rotating-beacon", False),
        ("{kind: rotating-beacon, rate: 240}", True),
        ("chase", False),
        ("{kind: chase, step: 80 ms}", True),
        ("{kind: strobe, flashes: 2}", False),
        ("{kind: strobe, flashes: 4}", True),
        ("VQ", False),
        ("UQ", True),
        ("Fl(2+1) 15s", False),
        ("approach-flashers", False),
        ("screen", False),
        ("small-flame", False),
        ("open-fire", False),
        ("tube-start", False),
        ("welders-arc", True),
    ],
)
def test_what_is_too_fast_is_known(text: str, too_fast: bool) -> None:
    """More than three flashes in any one second are found in the tape, whatever effect made it."""
    assert too_fast is flicker(scores_of(text, 3)[0]).too_fast


@given(st.lists(st.integers(0, UNIT), min_size=1, max_size=30), st.booleans(), st.integers(1, 5))
def test_flashes_are_those_of_a_plain_count(samples: list[int], loops: bool, seconds: int) -> None:
    """Any tape has as many flashes in its worst second as a second, plain count of its turning points finds."""
    tape = Tape(tuple(samples), seconds * SECOND, loops=loops)
    assert plain(tape) == flicker(Score(tape)).in_a_second


def plain(tape: Tape) -> int:
    """Count the flashes of the worst second from the turning points of three turns and a second of the tape."""
    number = len(tape.samples)
    turns = 2 + 2 * SECOND // tape.period if tape.loops else 1
    series = [
        (place * tape.period // number, tape.samples[place % number]) for place in range(number * turns)
    ]
    found: list[int] = []
    direction, turning = 0, [series[0][1], series[0][1]]
    for at, level in series[1:]:
        turning = [min(turning[0], level), max(turning[1], level)]
        fell = direction >= 0 and turning[1] - level >= LEAST_CHANGE and level < DARKER
        rose = direction <= 0 and level - turning[0] >= LEAST_CHANGE and turning[0] < DARKER
        if fell or rose:
            direction = -1 if fell else 1
            found.append(at)
        if fell or rose or (direction > 0 and level == turning[1]) or (direction < 0 and level == turning[0]):
            turning = [level, level]
    assert all(before < after for before, after in pairwise(found))
    most = max((sum(at <= other < at + SECOND - 1000 for other in found) for at in found), default=0)
    return (most + 1) // 2 if most > 1 else 0
