"""Marks stand at round times, on the wall and by the model clock, and never too close."""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from bridge.events import SECOND
from bridge.picture.axes import APART, clock_marks, wall_marks
from bridge.picture.timeline import ClockPiece

STARTED = "2026-11-25T10:20:07+01:00"
DAY = 24 * 3600 * SECOND


@given(st.integers(0, 10**15), st.integers(10**8, 10**15))
def test_the_wall_is_marked_at_round_times(since: int, length: int) -> None:
    """Each mark says what the clock on the wall showed, and no two are closer than they may; there is always one."""
    marks = wall_marks(STARTED, since, since + length, 800)
    began = datetime.fromisoformat(STARTED)
    steps = {other[0] - one[0] for one, other in pairwise(marks)} or {SECOND // 10}
    (step,) = steps  # all even, and a second or more has two at least
    assert len(marks) >= (2 if length >= SECOND else 1)
    assert step * 800 >= APART * length * 0.99
    for at, text in marks:
        assert since <= at <= since + length
        shown = began + timedelta(microseconds=at // 1000)
        assert text == (f"{shown:%H:%M:%S}" if step >= SECOND else f"{shown:%H:%M:%S.%f}"[:10])
        midnight = shown.replace(hour=0, minute=0, second=0, microsecond=0)
        assert timedelta(0) == (shown - midnight) % timedelta(microseconds=min(step, DAY) // 1000)


def test_the_model_clock_is_marked_where_it_shows_round_times() -> None:
    """At six times real time from 16:45:30 on, half past ten minutes of ours, and where it stands still."""
    pieces = [ClockPiece(0, 60_330, 24), ClockPiece(600 * SECOND, 63_930, 0)]
    marks = dict(clock_marks(pieces, 0, 700 * SECOND, 800))
    assert "17:00" == marks[145 * SECOND]
    assert "17:45:30 stopped" == marks[600 * SECOND]
    assert all(int(at) <= 600 * SECOND for at in marks)


def test_a_clock_that_runs_backwards_is_marked_too() -> None:
    """Its marks come in falling order of what it shows."""
    marks = list(clock_marks([ClockPiece(0, 3600, -4)], 0, 3600 * SECOND, 800))
    assert sorted(at for at, _text in marks) == [at for at, _text in marks]
    assert sorted((text for _at, text in marks), reverse=True) == [text for _at, text in marks]
    assert (0, "01:00") == marks[0]


def test_nobody_knows_nothing_is_marked() -> None:
    """While the time is unknown there are no marks."""
    assert [] == list(clock_marks([ClockPiece(0, None, 0)], 0, 10 * SECOND, 800))
    assert [] == list(clock_marks([], 0, 10 * SECOND, 800))
