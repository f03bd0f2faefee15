"""The model clock: what time it is on the layout, and between which hours that lies.

Whole numbers only. Model time is counted in quarters of a nanosecond, because a rate is a number of quarters: then a
nanosecond of ours is `rate_quarters` of them, whatever the rate. So the instant at which a time of day is reached is
exact, and does not depend on when anybody looks. A clock may run backwards; then an hour that it comes back out of
is over as soon as its first second is no longer reached.

Some sources tell the parts by themselves: what was told of rate and running is kept for the time that follows. A clock
of which nobody has said whether it runs stands.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping
from typing import Any, Final, NamedTuple, TypeAlias

from bridge.events import SECOND, Authority, ClockReported, Instant, Word
from bridge.layout.conditions import MODEL_DAY, Hours
from bridge.layout.units import clock_text
from bridge.logic.known import CLOCK, NO, UNKNOWN, YES, Fact, Key
from bridge.logic.selection import News, Step

QUARTERS: Final = 4 * SECOND
"""What model time is counted in, to the second of it."""

DAY: Final = MODEL_DAY * QUARTERS


class Told(Word):
    """What is known of the model clock."""

    UNKNOWN = "unknown"
    KEPT = "kept"  # by a copy, or by what was kept over a restart
    TOLD = "told"


CLOCK_TABLE: Final[Mapping[tuple[Told, News], Step]] = {
    (Told.UNKNOWN, News.COMMAND): Step.OBEY,
    (Told.UNKNOWN, News.COPY): Step.OBEY,
    (Told.UNKNOWN, News.RESTORED): Step.OBEY,
    (Told.UNKNOWN, News.LOST): Step.KEEP,
    (Told.KEPT, News.COMMAND): Step.OBEY,
    (Told.KEPT, News.COPY): Step.OBEY,
    # Our own clock begins before what was kept is told again: it says how it runs, and that says what time it is.
    (Told.KEPT, News.RESTORED): Step.OBEY,
    (Told.KEPT, News.LOST): Step.REST,
    (Told.TOLD, News.COMMAND): Step.OBEY,
    (Told.TOLD, News.COPY): Step.KEEP,
    (Told.TOLD, News.RESTORED): Step.KEEP,
    (Told.TOLD, News.LOST): Step.REST,
}
"""What the clock does with what it hears."""

_NEWS: Final = {Authority.STATE: News.COPY, Authority.RESTORED: News.RESTORED}

Facts: TypeAlias = list[tuple[Key, Fact]]


class ClockTime(NamedTuple):
    """What the model clock shows.

    Attributes:
        seconds: of its day.
        rate_quarters: its rate in quarter steps; negative when it runs backwards.
        running: or it stands.
        source: who told it last.
    """

    seconds: int
    rate_quarters: int
    running: bool
    source: str


def hours_key(hours: Hours) -> Key:
    """Return what the fact is about that the model clock is between two times."""
    return CLOCK, f"{clock_text(hours.start)} to {clock_text(hours.end)}"


class ModelClock:
    """The clock, and the hours that somebody goes by.

    Attributes:
        name: what it is called among all that has timers.
        due: when the next of these hours begin or end if nothing is told until then, or None.
        place: among all that has timers.
        source: who told it last; empty while nothing is known.
    """

    def __init__(self, hours: Iterable[Hours]) -> None:
        self.name = "model clock"
        self.due: Instant | None = None
        self.place = 0
        self.source = ""
        self._hours = {hours_key(each): each for each in hours}
        at_edge: dict[int, list[Key]] = {}
        for key, each in self._hours.items():
            at_edge.setdefault(each.start, []).append(key)
            at_edge.setdefault(each.end, []).append(key)
        self._edges = sorted(at_edge)
        self._at_edge = [at_edge[edge] for edge in self._edges]
        self._told = Told.UNKNOWN
        self._set: Instant = 0  # when it stood at `_base`
        self._base = 0  # quarters of a nanosecond since midnight
        self._rate = 0  # of them in one of ours; 0 while it stands
        self._said_rate = 4
        self._said_running = False
        self._event = 0
        self._done: Instant = 0  # the facts are those of this instant

    def time(self, at: Instant) -> ClockTime | None:
        """Return what it shows at an instant, or None while that is not known."""
        if self._told is Told.UNKNOWN:
            return None
        return ClockTime(self._reading(at) % DAY // QUARTERS, self._said_rate, self._rate != 0, self.source)

    def report(self, event: ClockReported, number: int) -> Facts:
        """Take what is said of the clock; return what is otherwise now.

        What was kept over a restart says what time it is, and not how the clock runs: it stands until that is said.
        """
        news = _NEWS.get(event.authority, News.COMMAND)
        if CLOCK_TABLE[self._told, news] is not Step.OBEY:
            return []
        before = None if self._told is Told.UNKNOWN else self._reading(self._done)
        now = None if before is None else self._reading(event.at)
        if news is not News.RESTORED:
            self._say(event.rate_quarters, event.running)
            self.source = event.source
        elif before is None:
            self._say(event.rate_quarters, running=False)
            self.source = event.source
        if event.seconds is None:
            if now is None:
                return []  # how it runs, and not what time it is
        elif now is None or not (event.to_minute and _minute(now) == event.seconds // 60):
            now = event.seconds * QUARTERS
        self._told = Told.TOLD if news is News.COMMAND else Told.KEPT
        self._set, self._base, self._event = event.at, now, number
        return self._settle(before, event.at)

    def _say(self, rate_quarters: int | None, running: bool | None) -> None:
        if rate_quarters is not None:
            self._said_rate = rate_quarters
        if running is not None:
            self._said_running = running
        self._rate = self._said_rate if self._said_running else 0

    def lose(self, source: str, number: int) -> Facts:
        """Take it that a source is no longer heard: if it told the clock, nobody knows what time it is."""
        if source != self.source:
            return []
        known = CLOCK_TABLE[self._told, News.LOST] is Step.REST
        self._told, self.source, self.due = Told.UNKNOWN, "", None
        self._say(4, running=False)
        if not known:
            return []
        lost = Fact(UNKNOWN, number, "", why=f"{source} was lost")
        return [(key, lost) for key in self._hours]

    def expire(self, due: Instant) -> Facts:
        """Let the hours begin and end that do so at this instant."""
        return self._settle(self._reading(self._done), due)

    def _reading(self, at: Instant) -> int:
        return self._base + (at - self._set) * self._rate

    def _settle(self, before: int | None, at: Instant) -> Facts:
        """Return the facts that are others than they were at a reading, and look for the next edge."""
        now = self._reading(at)
        self._done = at
        self.due = self._next_edge(now, at)
        if before is None:
            return [self._fact(key, now) for key in self._hours]
        return [
            self._fact(key, now)
            for key in self._crossed(before % DAY, now % DAY)
            if _lies(self._hours[key], now) != _lies(self._hours[key], before)
        ]

    def _crossed(self, before: int, now: int) -> list[Key]:
        """Return all hours with an edge between two readings, by the way round the day with fewer edges."""
        low, high = sorted((before, now))
        first, last = (bisect_right(self._edges, reading // QUARTERS) for reading in (low, high))
        within = self._at_edge[first:last]
        if 2 * (last - first) > len(self._edges):
            within = self._at_edge[last:] + self._at_edge[:first]
        return list(dict.fromkeys(key for keys in within for key in keys))

    def _next_edge(self, now: int, at: Instant) -> Instant | None:
        if not self._rate or not self._edges:
            return None
        today = now % DAY
        if self._rate < 0:
            place = bisect_right(self._edges, today // QUARTERS)
            edge = self._edges[place - 1] * QUARTERS - (0 if place else DAY)
            return at + (today - edge) // -self._rate + 1  # the first instant before it
        place = bisect_right(self._edges, today // QUARTERS)
        edge = self._edges[place] * QUARTERS if place < len(self._edges) else self._edges[0] * QUARTERS + DAY
        return at - (today - edge) // self._rate  # rounded up: then it is reached

    def _fact(self, key: Key, reading: int) -> tuple[Key, Fact]:
        return key, Fact(YES if _lies(self._hours[key], reading) else NO, self._event, "")

    def state(self) -> list[Any]:
        """Return everything as plain data.

        Whether it runs follows from its rate, and is there by itself only where it runs at none.
        """
        running = [1] if self._said_running and not self._rate else []
        return [
            self._told.value,
            self._set,
            self._base,
            self._rate,
            self._said_rate,
            self._event,
            self._done,
            *running,
            self.source,
        ]

    def set_state(self, data: list[Any]) -> None:
        """Take back what `state` gave.

        Raises:
            TypeError, ValueError: it is none.
        """
        told, *numbers, source = data
        self._told, self.source = Told(told), str(source)
        self._set, self._base, self._rate, self._said_rate, self._event, self._done, *running = map(
            int, numbers
        )
        self._said_running = bool(running or self._rate)
        known = self._told is not Told.UNKNOWN
        self.due = self._next_edge(self._reading(self._done), self._done) if known else None


def _minute(reading: int) -> int:
    return reading % DAY // QUARTERS // 60


def _lies(hours: Hours, reading: int) -> bool:
    """Return whether a reading lies between two times."""
    second = reading % DAY // QUARTERS
    if hours.start < hours.end:
        return hours.start <= second < hours.end
    return second >= hours.start or second < hours.end
