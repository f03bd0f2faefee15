"""What happened, in sentences for the owner: kept for the page, and handed to the log of the service."""

from __future__ import annotations

from collections import OrderedDict, deque
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import structlog

from bridge.commands import Command, Decision

KEPT: Final = 300
"""Notes that the page can still show."""

REMEMBERED: Final = 2000
"""Different complaints that are told apart; of more than that, the oldest is forgotten and may be told again."""


MOST_NAMED: Final = 12
"""Devices that are named where many change at once; of the others an owner is told how many."""


def changes_in_words(commands: Iterable[Command]) -> str:
    """Return which devices show something else by what the engine wants done; the first few by name."""
    found = [
        f"{command.device} shows {command.aspect}"
        for command in commands
        if isinstance(command, Decision) and command.before != command.aspect
    ]
    more = len(found) - MOST_NAMED
    last = f" and {more} more change" if more > 0 else ""
    return f"{', '.join(found[:MOST_NAMED])}{last}" if found else "no signal or light changes by it"


@dataclass(frozen=True, slots=True)
class Note:
    """One sentence with its number, wall time and level (`info`, `warning`, `error`)."""

    number: int
    time: str
    level: str
    text: str


class Notes:
    """Takes notes. Writing one is cheap; it is never called between a message and its frame."""

    def __init__(self) -> None:
        self._kept: deque[Note] = deque(maxlen=KEPT)
        self._number = 0
        self._told: OrderedDict[str, int] = OrderedDict()
        self._log: Any = structlog.get_logger("lamproom")
        self.changed: Callable[[], None] = lambda: None

    def say(self, text: str, level: str = "info", **facts: object) -> None:
        """Write a note down. The page shows what was `received`, if that is among the facts, behind the sentence."""
        self._number += 1
        shown = f"{text} (it was: {facts['received']})" if facts.get("received") else text
        self._kept.append(Note(self._number, f"{datetime.now().astimezone():%H:%M:%S}", level, shown))
        with suppress(
            OSError, ValueError
        ):  # nobody reads standard error, or its disk is full: the lights go on
            getattr(self._log, level)(text, **facts)
        self.changed()

    def once(self, key: str, text: str | Callable[[], str], level: str = "warning", **facts: object) -> bool:
        """Write a note down if there was none under this key; return whether there was none.

        A text that takes work to make is made only then: what is told often comes often.
        """
        told = self._told.pop(key, 0)
        self._told[key] = told + 1
        if len(self._told) > REMEMBERED:
            self._told.popitem(last=False)
        if told == 0:
            self.say(text if isinstance(text, str) else text(), level, **facts)
        return told == 0

    def after(self, number: int) -> list[dict[str, Any]]:
        """Return the notes after a number, oldest first, as plain data."""
        return [
            {"number": note.number, "time": note.time, "level": note.level, "text": note.text}
            for note in self._kept
            if note.number > number
        ]
