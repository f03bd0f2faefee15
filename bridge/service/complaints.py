"""What came in and cannot be understood: told once each, and of a flood only the beginning."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from bridge.events import SECOND, Instant
from bridge.service.notes import Notes

MOST: Final = 100
"""Complaints of one source that are told within a minute. An owner reads no more, and a log has to be kept."""

MINUTE: Final = 60 * SECOND


class Complaints:
    """Tells what cannot be understood, as long as somebody could still read it."""

    def __init__(self, notes: Notes) -> None:
        self._notes = notes
        self._told: dict[str, tuple[Instant, int]] = {}  # for each source: since when, and how many

    def tell(
        self,
        source: str,
        key: str,
        text: str | Callable[[], str],
        at: Instant,
        received: str,
        level: str = "warning",
    ) -> bool:
        """Tell it if it was not told before, and return whether it was told now."""
        since, told = self._told.get(source, (at, 0))
        if at - since >= MINUTE:
            since, told = at, 0
        if told == MOST or not self._notes.once(key, text, level, received=received):
            return False
        self._told[source] = since, told + 1
        if told + 1 == MOST:
            self._notes.say(
                f"{source} sent {MOST} different things within a minute that mean nothing here: for the rest of"
                " it they are only counted",
                "warning",
            )
        return True
