"""When a chain's newest frame may go out where nobody acknowledges."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.outputs.pace import KEEP_ALIVE_AFTER, NEVER, REPEAT_AFTER, REPEATS, Counters, Pace
from bridge.events import MILLISECOND, SECOND, Instant

MS = MILLISECOND
INTERVAL = 25 * MS  # 40 a second


def sent_until(pace: Pace, until: Instant) -> list[Instant]:
    """Send whenever it is due."""
    instants = []
    while pace.due <= until:
        instants.append(pace.due)
        pace.sent(pace.due)
    return instants


def test_nothing_is_due_before_the_first_frame() -> None:
    """An empty slot is never sent."""
    assert NEVER == Pace(40).due


def test_a_frame_goes_at_once_and_is_repeated_three_times() -> None:
    """Section 6.6.2 of ANSI E1.31-2018: three packets without a change, then one each 800 to 1000 ms."""
    pace = Pace(40)
    pace.put(b"a")
    assert [0, 60 * MS, 120 * MS, 180 * MS, 1080 * MS, 1980 * MS] == sent_until(pace, 2 * SECOND)
    assert Counters(sent=6, kept_alive=5) == pace.counters
    assert 800 * MS <= KEEP_ALIVE_AFTER <= 1000 * MS
    assert 3 == REPEATS


def test_only_the_newest_frame_goes_out() -> None:
    """What is shown faster than the limit is passed over and counted, and the newest goes at the next instant."""
    pace = Pace(40)
    pace.put(b"a")
    pace.sent(0)
    for levels in (b"b", b"c", b"d"):
        pace.put(levels)
    assert INTERVAL == pace.due
    assert b"d" == pace.newest
    pace.sent(INTERVAL)
    assert Counters(sent=2, skipped=2) == pace.counters


def test_a_frame_that_is_shown_already_is_no_news() -> None:
    """Going back to what was sent last leaves a repeat, and counts what was passed over."""
    pace = Pace(40)
    pace.put(b"a")
    sent_until(pace, 0)
    pace.put(b"b")
    pace.put(b"a")
    pace.sent(pace.due)
    assert Counters(sent=2, skipped=1, kept_alive=1) == pace.counters


def test_a_new_link_gets_the_newest_frame_at_once() -> None:
    """Whatever the other side may have forgotten is sent as news."""
    pace = Pace(40)
    pace.put(b"a")
    sent_until(pace, SECOND)
    pace.refresh()
    assert 0 == pace.due
    pace.sent(2 * SECOND)
    assert 2 * SECOND + REPEAT_AFTER == pace.due


def test_a_picture_that_moves_is_not_repeated_in_between() -> None:
    """With 30 frames a second and 44 allowed, each frame goes out at its instant, and nothing else does."""
    pace = Pace(44)
    for number in range(30):
        now = number * SECOND // 30
        assert pace.due >= now or number == 0
        pace.put(bytes([number]))
        assert pace.due <= now
        pace.sent(now)
    assert Counters(sent=30) == pace.counters


def test_a_new_link_has_nothing_to_send_before_the_first_frame() -> None:
    """A slot stays empty over a lost link."""
    pace = Pace(40)
    pace.refresh()
    assert NEVER == pace.due


@pytest.mark.parametrize("refresh", [1, 2, 3, 44, 60, 1000])
@given(gaps=st.lists(st.integers(0, 50_000_000), max_size=40))
def test_the_refresh_limit_holds_whatever_is_shown(refresh: int, gaps: list[int]) -> None:
    """Two frames are never closer than the limit allows, and what was shown last is what was sent last."""
    pace = Pace(refresh)
    now, instants = 0, []
    for number, gap in enumerate(gaps):
        instants += sent_until(pace, now)
        pace.put(bytes([number % 3]))
        now += gap
    instants += sent_until(pace, now + 2 * SECOND)
    assert all((later - earlier) * refresh >= SECOND for earlier, later in pairwise(instants))
    assert not instants or 1 == len({pace.newest, bytes([(len(gaps) - 1) % 3])})
