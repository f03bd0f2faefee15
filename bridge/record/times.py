"""When something was, in the words of the people who run the layout.

| written as | means |
|---|---|
| `15:30`, `15:30:12` | by the clock on the wall, for the first time since the session began |
| `2026-11-28 15:30` | that, on a certain day |
| `+90`, `+12:30`, `+1:12:30` | so long after the session began: seconds, or hours, minutes and seconds |
| `#4711` | when the event of this number came |
| `model 16:45` | by the model clock, for the first time in the session; `model 16:45 day 3` for the third |
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo
from enum import Enum, auto
from pathlib import Path
from typing import Final

from bridge.errors import DecodeError
from bridge.events import SECOND, Instant
from bridge.layout.conditions import MODEL_DAY
from bridge.logic.clock import ClockTime
from bridge.record.following import NEVER, Player, open_session
from bridge.record.lines import Header, Input, Snapshot
from bridge.record.reader import read_log, read_session
from bridge.record.store import first_name
from bridge.record.words import instant_text

HOW_TO_SAY: Final = "15:30, 2026-11-28 15:30:12, +12:30 (since it began), #4711 (an event) or model 16:45"
"""Every way to say a time, for a message."""

_CLOCK: Final = re.compile(
    r"(?:(\d{4}-\d\d-\d\d)[ T])?([01]?\d|2[0-3]):([0-5]\d)(?::([0-5]\d(?:\.\d{1,3})?))?\Z", re.ASCII
)
_AFTER: Final = re.compile(r"\+(?:(?:(\d{1,4}):)?([0-5]?\d):)?(\d{1,9}(?:\.\d{1,9})?)\Z", re.ASCII)
_EVENT: Final = re.compile(r"#(\d{1,12})\Z", re.ASCII)
_MODEL: Final = re.compile(
    r"model ([01]?\d|2[0-3]):([0-5]\d)(?::([0-5]\d))?(?: day ([1-9]\d{0,3}))?\Z", re.ASCII
)


class By(Enum):
    """What a time is told by."""

    WALL = auto()
    START = auto()
    EVENT = auto()
    MODEL = auto()


@dataclass(frozen=True, slots=True)
class Moment:
    """A time that somebody wrote.

    Attributes:
        text: as it was written.
        by: what it is told by.
        value: milliseconds of the day by the wall, nanoseconds since the start, the event's number, or seconds of the
            model day.
        day: by the wall, or None.
        turn: by the model clock, for the how manieth time.
    """

    text: str
    by: By
    value: int
    day: date | None = None
    turn: int = 1


def parse_moment(text: str) -> Moment:
    """Return the time that was written.

    Raises:
        DecodeError: it is none; the message shows every way to write one.
    """
    said = " ".join(text.split())
    if match := _CLOCK.match(said):
        day, hours, minutes, seconds = match.groups()
        value = (int(hours) * 60 + int(minutes)) * 60_000 + round(float(seconds or 0) * 1000)
        try:
            return Moment(said, By.WALL, value, None if day is None else date.fromisoformat(day))
        except ValueError:
            raise _no_time(text) from None
    if match := _AFTER.match(said):
        hours, minutes, seconds = match.groups()
        whole, _dot, part = seconds.partition(".")
        value = ((int(hours or 0) * 60 + int(minutes or 0)) * 60 + int(whole)) * SECOND
        return Moment(said, By.START, value + int(part.ljust(9, "0") or 0))
    if match := _EVENT.match(said):
        return Moment(said, By.EVENT, int(match[1]))
    if match := _MODEL.match(said):
        hours, minutes, seconds, turn = match.groups()
        value = (int(hours) * 60 + int(minutes)) * 60 + int(seconds or 0)
        return Moment(said, By.MODEL, value, turn=int(turn or 1))
    raise _no_time(text)


def _no_time(text: str) -> DecodeError:
    return DecodeError(f"{text!r} is no time: write {HOW_TO_SAY}", received=text, expected=HOW_TO_SAY)


def instants(path: Path, *moments: Moment | None, zone: tzinfo | None = None) -> tuple[Instant | None, ...]:
    """Return when moments were in a session; None stays None.

    Args:
        path: the log.
        moments: what somebody wrote.
        zone: of the clock on the wall; this machine's if left out.

    Raises:
        DecodeError: the log cannot be read, or there was no such time in it; the message says what there was.
        LayoutError: the layout file within cannot be driven.
    """
    if all(each is None for each in moments):
        return tuple(None for _ in moments)
    recorded = _Recorded(path)
    return tuple(None if each is None else recorded.instant(each, zone) for each in moments)


class _Recorded:
    """What stands in a log: a whole session, or its later part where it is not the first file of one."""

    def __init__(self, path: Path) -> None:
        self._path = path
        lines = read_log(path)
        header = next(lines).line
        if not isinstance(header, Header):  # the reader gives the header first, or raises
            raise DecodeError(f"{path}:1: the log does not begin with its header")
        self._started = header.started
        self._begin: Instant = 0
        self._earlier = ""
        if header.piece > 1:
            first = next(lines, None)
            # Where that is broken too nobody knows when the part begins; it is told when it is played.
            self._begin = first.line.at if first is not None and isinstance(first.line, Snapshot) else 0
            name = first_name(header.before, header.piece)
            self._earlier = (
                f"what came before stands in earlier files of this session, the first of which is {name}"
            )

    def instant(self, moment: Moment, zone: tzinfo | None) -> Instant:
        """Return when a moment was.

        Raises:
            DecodeError: it was not in here.
        """
        match moment.by:
            case By.START:
                at = moment.value
            case By.WALL:
                at = _on_the_wall(self._started, moment, zone)
            case By.EVENT:
                at = self._of_event(moment)
            case By.MODEL:
                at = self._by_model(moment)
        if at < self._begin:
            wall = datetime.fromisoformat(self._started).astimezone(zone)
            wall += timedelta(microseconds=self._begin // 1000)
            begins = f"begins {instant_text(self._begin)} after its session did, at {wall:%Y-%m-%d %H:%M:%S}"
            raise DecodeError(
                f"{self._path}: {moment.text} is too early for this file, which {begins}: {self._earlier}"
            )
        return at

    def _of_event(self, moment: Moment) -> Instant:
        first = last = 0
        for placed in read_session(self._path):
            line = placed.line
            if isinstance(line, Input) and line.events:
                if line.number <= moment.value < line.number + len(line.events):
                    return line.at
                first = first or line.number
                last = line.number + len(line.events) - 1
        there = f"the last one has the number {last}" if last else "it has none"
        if self._earlier and last:
            there = f"from this file on they have the numbers {first} to {last}"
        earlier = f"; {self._earlier}" if self._earlier and moment.value < (first or moment.value + 1) else ""
        raise DecodeError(f"{self._path}: there is no event {moment.text}: {there}{earlier}")

    def _by_model(self, moment: Moment) -> Instant:
        player = Player(open_session(self._path), light_from=NEVER)
        for turn, at in enumerate(_shown(player, moment.value), start=1):
            if turn == moment.turn:
                return at
        said = moment.text.removeprefix("model ")
        where = f"this file; {self._earlier}" if self._earlier else "this session"
        raise DecodeError(f"{self._path}: the model clock never showed {said} in {where}")


def _on_the_wall(started: str, moment: Moment, zone: tzinfo | None) -> Instant:
    began = datetime.fromisoformat(started).astimezone(zone)
    seconds, thousandths = divmod(moment.value, 1000)
    clock = time(seconds // 3600, seconds // 60 % 60, seconds % 60, thousandths * 1000)
    at = datetime.combine(moment.day or began.date(), clock, began.tzinfo)
    if at < began and moment.day is None:
        at = datetime.combine(began.date() + timedelta(days=1), clock, began.tzinfo)
    if at < began:
        raise DecodeError(f"{moment.text} lies before this session, which began at {began:%Y-%m-%d %H:%M:%S}")
    return (at - began) // timedelta(microseconds=1) * 1000


def _shown(player: Player, wanted: int) -> Iterator[Instant]:
    """Yield each instant at which the model clock came to a time of day, right to a second of it."""
    clock: ClockTime | None = None
    since: Instant = 0
    for step in player.steps():
        ahead = None if clock is None else _ahead(clock, wanted)
        passed = ahead is not None and since + ahead < step.at
        if ahead is not None and passed:
            yield since + ahead
        before = wanted if passed else -1 if clock is None else clock.seconds
        clock, since = player.engine.clock(step.at), step.at
        if clock is not None and clock.seconds == wanted != before:
            yield step.at
    ahead = None if clock is None else _ahead(clock, wanted)
    if ahead is not None and since + ahead <= player.length:
        yield since + ahead


def _ahead(clock: ClockTime, wanted: int) -> int | None:
    """Return in how many nanoseconds it shows a time, if it goes on as it does; None if it does already, or stands."""
    if clock.seconds == wanted or not clock.running or not clock.rate_quarters:
        return None
    seconds = (wanted - clock.seconds) * (1 if clock.rate_quarters > 0 else -1) % MODEL_DAY
    return -(-seconds * 4 * SECOND // abs(clock.rate_quarters))
