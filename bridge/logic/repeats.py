"""Orders that a source sends again by itself, told apart from orders that somebody gives again."""

from __future__ import annotations

from enum import Enum, auto
from typing import Final, NamedTuple

from bridge.events import (
    AccessoryOrdered,
    AspectOrdered,
    Authority,
    Event,
    Instant,
    LinkState,
    Position,
    SourceReported,
    Subject,
    UseReported,
)
from bridge.layout.connections import Source

MISSED: Final = 3
"""Refreshes that may fail to arrive or be late, until an order counts as one that is no longer refreshed."""


class Novelty(Enum):
    """What an order is, by what its source said before."""

    NEW = auto()
    REPEAT = auto()  # the same again within the repeat window: it orders nothing
    REFRESH = auto()  # the same again from a source that refreshes all its orders: it orders nothing
    OLD = auto()  # the first of it from a source that refreshes, and soon enough to be one: a kept copy


class Habit(NamedTuple):
    """How a source says its orders again.

    Attributes:
        window: how long the same order is a repeat of the one before, 0 for not at all.
        quiet: how long a refreshed order may stay away, 0 for a source that refreshes none.
    """

    window: int
    quiet: int


_NONE: Final = Habit(0, 0)
_SINCE: Final = "since"


class Repeats:
    """Knows what each source said last of each accessory: positions and aspects, each for itself.

    An order is a repeat if its source said the very same of that accessory within the source's repeat
    window before. Each repeat opens the window anew: a source that goes on repeating goes on being quiet.

    A source that refreshes says each of its orders again and again, so the same again is no command until it has
    stayed away for `MISSED` refreshes. Nor is what it says of an accessory for the first time, as long as a whole round
    of refreshes may not have been heard: who begins to listen cannot know when that was ordered. That is a kept copy.

    What a source said before it was lost or taken out of use is forgotten: after that, the same order is given again,
    or is a kept copy again.
    """

    def __init__(self, sources: tuple[Source, ...]) -> None:
        habits = {each.name: Habit(each.repeat_window, each.refresh_every * MISSED) for each in sources}
        self._habits = {name: habit for name, habit in habits.items() if habit != _NONE}
        self._said: dict[tuple[str, int, bool], tuple[Position | int, Instant]] = {}
        self._since: dict[str, Instant] = {}

    def novelty(self, event: Event) -> Novelty:
        """Take an event and say what it is; what is no order is new, and so is a kept copy, which opens no window."""
        if not self._habits:
            return Novelty.NEW
        match event:
            case AccessoryOrdered(position=value) | AspectOrdered(aspect=value):
                habit = self._habits.get(event.source)
                if habit is None or event.authority is not Authority.COMMAND:
                    return Novelty.NEW
                key = (event.source, event.number, isinstance(event, AspectOrdered))
                before = self._said.get(key)
                self._said[key] = (value, event.at)
                if before is None:
                    early = event.at - self._since.get(event.source, 0) <= habit.quiet
                    return Novelty.OLD if habit.quiet and early else Novelty.NEW
                if before[0] != value:
                    return Novelty.NEW
                return _again(habit, event.at - before[1])
            case SourceReported():
                self._listen_anew(event.source, event.at, forget=event.state is LinkState.LOST)
            case UseReported(subject=Subject.SOURCE):
                self._listen_anew(event.name, event.at, forget=True)
        return Novelty.NEW

    def _listen_anew(self, source: str, at: Instant, *, forget: bool) -> None:
        if source not in self._habits:
            return
        if self._habits[source].quiet:
            self._since[source] = at
        if forget:
            self._said = {key: said for key, said in self._said.items() if key[0] != source}

    def snapshot(self) -> list[list[str | int]]:
        """Return what is known, as plain data: what was said, and since when each source that refreshes is heard."""
        said: list[list[str | int]] = [
            [source, number, value.value if isinstance(value, Position) else value, at]
            for (source, number, _), (value, at) in self._said.items()
        ]
        return said + [[source, _SINCE, at] for source, at in self._since.items()]

    def restore(self, data: list[list[str | int]]) -> None:
        """Take back what `snapshot` gave."""
        said: dict[tuple[str, int, bool], tuple[Position | int, Instant]] = {}
        since: dict[str, Instant] = {}
        for entry in data:
            match entry:
                case [str(source), str(word), int(at)] if word == _SINCE:
                    since[source] = at
                case [str(source), int(number), int(aspect), int(at)]:
                    said[source, number, True] = (aspect, at)
                case [str(source), int(number), str(position), int(at)]:
                    said[source, number, False] = (Position(position), at)
                case _:
                    raise ValueError(f"{entry} is nothing that a source said")
        self._said, self._since = said, since


def _again(habit: Habit, later: int) -> Novelty:
    """Return what the same order is, said again so much later."""
    if later <= habit.window and habit.window:
        return Novelty.REPEAT
    return Novelty.REFRESH if later <= habit.quiet and habit.quiet else Novelty.NEW
