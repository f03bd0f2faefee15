"""Where the axes of a picture have their marks."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Final

from bridge.events import SECOND, Instant
from bridge.layout.conditions import MODEL_DAY
from bridge.picture.timeline import ClockPiece

APART: Final = 80
"""Pixels between two marks, at the least."""

_SECONDS: Final = (
    1,
    2,
    5,
    10,
    15,
    30,
    60,
    120,
    300,
    600,
    900,
    1800,
    3600,
    7200,
    10_800,
    21_600,
    43_200,
    86_400,
)
_DAYS: Final = tuple(86_400 * days for days in (2, 7, 14, 30))


def wall_marks(started: str, since: Instant, until: Instant, pixels: int) -> list[tuple[Instant, str]]:
    """Return instants that are round by the clock on the wall, with the time.

    Args:
        started: wall time of instant 0, with its offset from UTC.
        since: the left edge.
        until: the right edge.
        pixels: between them.
    """
    began = datetime.fromisoformat(started)
    least = (until - since) * APART // pixels
    steps = [SECOND // 10, SECOND // 5, SECOND // 2, *(step * SECOND for step in (*_SECONDS, *_DAYS))]
    step = next((each for each in steps if each >= least), steps[-1])
    midnight = began.replace(hour=0, minute=0, second=0, microsecond=0)
    offset = (began - midnight) // timedelta(microseconds=1) * 1000
    first = -(-(since + offset) // step) * step - offset
    marks = []
    for at in range(first, until + 1, step):
        when = began + timedelta(microseconds=at // 1000)
        text = f"{when:%H:%M:%S}" if step >= SECOND else f"{when:%H:%M:%S}.{when.microsecond // 100_000}"
        marks.append((at, text))
    return marks


def clock_marks(
    pieces: Sequence[ClockPiece], since: Instant, until: Instant, pixels: int
) -> Iterator[tuple[Instant, str]]:
    """Yield instants at which the model clock shows round times, and where it was set or stopped."""
    fastest = max((abs(piece.quarters) for piece in pieces), default=0)
    if fastest:
        least = (until - since) * APART * fastest // (pixels * 4 * SECOND)
        step = next((each for each in _SECONDS if each >= least), _SECONDS[-1])
    ends = [*pieces, ClockPiece(until, None, 0)]
    for piece, following in pairwise(ends):
        begin, end = max(piece.at, since), min(following.at, until)
        if piece.seconds is None or (begin >= end and begin != until):
            continue
        if not piece.quarters:
            yield begin, f"{_clock(piece.seconds, 1)} stopped"
            continue
        # Model time in quarters of a nanosecond, as the model clock counts.
        sign = 1 if piece.quarters > 0 else -1
        passed = (begin - piece.at) * piece.quarters // (4 * SECOND)
        now = piece.seconds + passed
        mark = -(-now // step) * step if sign > 0 else now // step * step
        while True:
            at = piece.at + -(-(mark - piece.seconds) * 4 * SECOND // piece.quarters)
            if at > end:
                break
            if at >= begin:
                yield at, _clock(mark, step)
            mark += sign * step


def _clock(seconds: int, step: int) -> str:
    minutes, second = divmod(seconds % MODEL_DAY, 60)
    hour, minute = divmod(minutes, 60)
    return f"{hour:02}:{minute:02}" if step >= 60 or not second else f"{hour:02}:{minute:02}:{second:02}"
