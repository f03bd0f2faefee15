"""Light that goes along lamps: one after the other, at its pace, and back where it shall."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.light.tapes import UNIT
from tests.support.playing import light, scores_of

MS = 1_000_000


def lit(text: str, lamps: int, step: int, number: int) -> list[str]:
    """Return which lamps have light, step by step: `#` all of it, `+` some, `.` none."""
    scores = scores_of(text, lamps)
    shown = []
    for turn in range(number):
        levels = [light(score, turn * step + step // 2) for score in scores]
        shown.append("".join("#" if level == UNIT else "+" if level else "." for level in levels))
    return shown


def test_a_chase_lights_every_third_lamp() -> None:
    """Lamps that are three apart are lit together, and the light goes on by one lamp with each step."""
    assert ["#..#..", ".#..#.", "..#..#", "#..#.."] == lit("chase", 6, 125 * MS, 4)
    assert ["..#..#", ".#..#.", "#..#.."] == lit("{kind: chase, direction: backward}", 6, 125 * MS, 3)


def test_running_light_has_a_tail() -> None:
    """One spot runs along all lamps with a tail behind it, and begins anew at the other end."""
    assert ["#..++", "+#..+", "++#..", ".++#.", "..++#", "#..++"] == lit("running-light", 5, 125 * MS, 6)


@pytest.mark.parametrize("lamps", [2, 5, 9])
def test_light_goes_to_and_fro(lamps: int) -> None:
    """The spot turns round at both ends, so that no lamp there is lit twice in a row."""
    text = "{kind: running-light, direction: to-and-fro, tail: 0, step: 100 ms}"
    heads = [each.index("#") for each in lit(text, lamps, 100 * MS, 2 * (lamps - 1) + 1)]
    assert [*range(lamps), *range(lamps - 2, -1, -1)] == heads


@given(st.integers(2, 40), st.integers(2, 9), st.integers(0, 3), st.sampled_from(["forward", "backward"]))
def test_a_spot_moves_by_one_lamp_a_step(lamps: int, every: int, tail: int, direction: str) -> None:
    """Whatever its length and its tail, the picture of one step is that of the step before, one lamp further."""
    if 1 + tail > every:
        return
    text = f"{{kind: chase, step: 50 ms, every: {every}, tail: {tail}, direction: {direction}}}"
    pictures = lit(text, lamps, 50 * MS, 12)
    for before, after in pairwise(pictures):
        assert before[:-1] == after[1:] if direction == "forward" else before[1:] == after[:-1]


def test_the_flashers_before_a_runway_run_towards_it() -> None:
    """Each flashes after the one before it, twice a second (FAA AIM 2-1-1), and then there is a pause."""
    scores = scores_of("approach-flashers", 8)
    begins = [score.shift for score in scores]
    assert sorted(begins) == begins
    assert 0 == begins[0]
    assert begins[-1] < 500 * MS * 2 // 3
    assert {500 * MS} == {score.tape.period for score in scores}


def test_a_pair_flashes_by_turns() -> None:
    """When one half of the lamps is lit the other is dark, and the other way round."""
    for kind in ("alternate", "ditch-lights", "school-bus-lamps"):
        left, right = scores_of(kind, 2)
        for at in range(0, 10_000 * MS, 50 * MS):
            assert UNIT == light(left, at + MS) + light(right, at + MS)


def test_beams_follow_each_other_round_a_ring() -> None:
    """Four lamps of a turning beacon are a quarter of a turn apart."""
    scores = scores_of("rotating-beacon", 4)
    assert [0, 125 * MS, 250 * MS, 375 * MS] == [score.shift - scores[0].shift for score in scores]


def test_a_programme_that_does_not_loop_ends_with_its_last_step() -> None:
    """It goes through its steps once and stays there."""
    steps = "[{lit: 1, time: 2 s}, {lit: [2, 1], time: 1 s}, {lit: 2, time: 1 s}]"
    text = f"{{kind: programme, loops: false, steps: {steps}}}"
    assert ["#.", "#.", "##", ".#", ".#", ".#"] == lit(text, 2, 1000 * MS, 6)
