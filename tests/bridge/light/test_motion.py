from __future__ import annotations

import json
from fractions import Fraction
from itertools import pairwise
from math import floor

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.layout.units import FULL_LEVEL
from bridge.light.lightness import linear_table, step_of_linear
from bridge.light.motion import Motion
from bridge.light.reel import Reel

levels = st.integers(0, FULL_LEVEL)
times = st.integers(1, 60_000_000_000)
instants = st.integers(0, 120_000_000_000)
TABLE_STEP = max(after - before for before, after in pairwise(linear_table()))


def channels(count: int) -> Motion:
    """Return channels that are dark and still."""
    return Motion(count, Reel(()))


def fade(motion: Motion, slot: int, goal: int, at: int, time: int) -> None:
    """Send a channel to a level from where it is then."""
    motion.fade(slot, motion.levels_at([slot], at)[0], goal, at, time)


def shown(motion: Motion, at: int) -> dict[int, int]:
    """Render an instant and return the level of each slot that is on its way."""
    slots, rendered = motion.render(at)
    return dict(zip(slots.tolist(), rendered.tolist(), strict=True))


class OneFade:
    """The fade from one level to another of a channel that stood still, worked out with plain numbers."""

    def __init__(self, start: int, goal: int, time: int, began: int = 0) -> None:
        self.start, self.goal, self.time, self.began = start, goal, time, began

    def step(self, at: int) -> int:
        """Return the lightness step at an instant."""
        first, last = step_of_linear(self.start), step_of_linear(self.goal)
        return first + floor(Fraction((last - first) * min(max(at - self.began, 0), self.time), self.time))

    def shown(self, at: int) -> int:
        """Return the linear level at an instant."""
        if at - self.began >= self.time:
            return self.goal
        return sorted((self.start, linear_table()[self.step(at)], self.goal))[1]


def on_the_way(start: int, goal: int, time: int, at: int) -> int:
    """Return what a channel shows at an instant that was sent from one level to another at the instant 0."""
    motion = channels(1)
    motion.cut(0, start)
    fade(motion, 0, goal, 0, time)
    return shown(motion, at).get(0, motion.level(0))


@given(levels, levels, times, st.lists(instants, min_size=2, max_size=20))
def test_fade_goes_from_start_to_goal_and_never_back(start: int, goal: int, time: int, at: list[int]) -> None:
    """The light only rises or only falls, stays between start and goal, and ends exactly on the goal."""
    way = [on_the_way(start, goal, time, instant) for instant in (0, *sorted(at), time)]

    assert goal == on_the_way(start, goal, time, time) == on_the_way(start, goal, time, time + 1)
    assert all(min(start, goal) <= level <= max(start, goal) for level in way)
    assert abs(start - way[0]) <= TABLE_STEP
    seen = way[1:-1]
    assert sorted(seen, reverse=goal < start) == seen


def test_last_instant_before_the_end_does_not_overshoot() -> None:
    """A fade down to a level that the table leaves out shows nothing darker than its goal on the way."""
    missing = max(set(range(FULL_LEVEL + 1)) - set(linear_table()))

    assert missing == on_the_way(FULL_LEVEL, missing, 1000, 999)
    assert missing == on_the_way(missing, FULL_LEVEL, 1000, 0)
    motion = channels(2)
    motion.cut(0, FULL_LEVEL)
    fade(motion, 0, missing, 0, 1000)
    motion.cut(1, missing)
    fade(motion, 1, FULL_LEVEL, 999, 1000)
    assert {0: missing, 1: missing} == shown(motion, 999)


def test_steps_are_even_in_lightness() -> None:
    """Half of the time is half of the lightness: from dark to full, L* 50, whose Y is 0.184187 (ISO/CIE 11664-4)."""
    assert abs(12071 - on_the_way(0, FULL_LEVEL, 1000, 500)) <= TABLE_STEP


moves = st.lists(
    st.tuples(st.integers(0, 3), levels, st.integers(0, 400), st.sampled_from([0, 1, 7, 100, 1000])),
    max_size=20,
)


@given(moves)
def test_interruption_leaves_no_jump(changes: list[tuple[int, int, int, int]]) -> None:
    """Sent elsewhere at any instant, a channel goes on from where it stands, within the table's own step."""
    motion, now = channels(4), 0
    level = dict.fromkeys(range(4), 0)
    for slot, goal, later, time in changes:
        now += later
        level.update(shown(motion, now))
        before = level[slot]
        fade(motion, slot, goal, now, time or 1)
        level.update(shown(motion, now))
        assert abs(before - level[slot]) <= TABLE_STEP


@given(moves, st.lists(st.integers(0, 8000), max_size=30))
def test_rendering_in_between_changes_nothing_later(
    changes: list[tuple[int, int, int, int]], looks: list[int]
) -> None:
    """However often the way is rendered, every later instant looks the same."""
    watched, left_alone = channels(4), channels(4)
    now = 0
    pending = sorted(looks)
    for slot, goal, later, time in changes:
        now += later
        while pending and pending[0] <= now:
            watched.render(pending.pop(0))
        for motion in (watched, left_alone):
            if time:
                fade(motion, slot, goal, now, time)
            else:
                motion.cut(slot, goal)
    for instant in range(now, now + 1100, 90):
        one, two = shown(watched, instant), shown(left_alone, instant)
        assert [one.get(slot, watched.level(slot)) for slot in range(4)] == [
            two.get(slot, left_alone.level(slot)) for slot in range(4)
        ]
    assert not watched.moving
    assert not left_alone.moving


@given(st.lists(st.tuples(levels, levels, st.integers(0, 10**10), times), min_size=1, max_size=30), instants)
def test_one_pass_agrees_with_plain_numbers(fades: list[tuple[int, int, int, int]], at: int) -> None:
    """All channels rendered in one pass show what plain numbers say of each by itself."""
    motion = channels(len(fades))
    expected = {}
    for slot, (start, goal, began, time) in enumerate(fades):
        motion.cut(slot, start)
        fade(motion, slot, goal, began, time)
        if start != goal:
            expected[slot] = OneFade(start, goal, time, began).shown(at)

    assert expected == shown(motion, at)


def test_rendered_levels_have_their_types() -> None:
    """Slots come as indexes and levels as whole numbers, also where nothing moves."""
    slots, rendered = channels(3).render(0)

    assert (0, np.dtype(np.intp)) == (len(slots), slots.dtype)
    assert (0, np.dtype(np.int64)) == (len(rendered), rendered.dtype)


def test_arrived_channel_is_let_go_once_it_was_shown() -> None:
    """A channel counts as moving until its goal was rendered, even if that is late."""
    motion = channels(2)
    fade(motion, 1, 1000, 0, 10)

    told = [motion.moving, shown(motion, 500), motion.moving, shown(motion, 501)]

    assert [True, {1: 1000}, False, {}] == told


def test_cut_ends_a_fade() -> None:
    """A channel that is set at once is no longer on its way."""
    motion = channels(1)
    fade(motion, 0, 1000, 0, 10)
    motion.render(5)
    motion.cut(0, 7)

    assert not motion.moving
    assert {} == shown(motion, 6)
    assert 7 == motion.level(0)


def test_same_goal_again_does_not_start_anew() -> None:
    """A channel that is sent where it is already going keeps its pace, and one that is there does not move."""
    motion = channels(2)
    fade(motion, 0, 1000, 0, 10)
    fade(motion, 0, 1000, 5, 10)
    fade(motion, 1, 0, 5, 10)

    assert {0: 1000} == shown(motion, 10)
    assert not motion.moving


@given(moves, st.integers(0, 500))
def test_snapshot_resumes(changes: list[tuple[int, int, int, int]], later: int) -> None:
    """What takes back a snapshot through JSON renders the same from there on."""
    first, now = channels(4), 0
    for slot, goal, after, time in changes:
        now += after
        fade(first, slot, goal, now, time or 1)
    second = channels(4)
    second.restore(json.loads(json.dumps(first.snapshot())))

    for instant in (now, now + later, now + 2000):
        assert shown(first, instant) == shown(second, instant)
    assert first.snapshot() == second.snapshot()


def test_snapshot_of_other_channels_is_refused() -> None:
    """A snapshot with another number of channels is refused."""
    for other in (channels(1), channels(3)):
        with pytest.raises(ValueError, match="there are 2 channels"):
            channels(2).restore(other.snapshot())


@pytest.mark.parametrize("value", [-(2**63), 2**63 - 1, 2**70])
@pytest.mark.parametrize(
    ("part", "place"),
    [*(("moving", place) for place in range(8)), *(("voices", place) for place in range(8))],
)
def test_snapshot_beyond_all_bounds_is_refused(part: str, place: int, value: int) -> None:
    """A snapshot whose figures cannot be is refused, whichever of them it is; beyond 64 bits, too."""
    motion = channels(3)
    fade(motion, 1, 9, 5, 10)
    data = motion.snapshot()
    data[part][0][place] = value
    with pytest.raises(ValueError, match=r"moves|bounds"):
        channels(3).restore(data)
