"""What the broker had to drop, as far as it tells."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Final

from adapters.contract import Broker, Raw
from bridge.service.notes import Notes

TOPIC: Final = "$SYS/broker/publish/messages/dropped"
"""Where Mosquitto counts messages that it could not hand on, since its start (mosquitto(8)). Others may not."""

AGAIN: Final = 10
"""It is told again when there are so many times as many."""

_COUNT: Final = re.compile(rb"[0-9]{1,18}", re.ASCII)


class Drops:
    """Tells, and counts, that the broker has dropped messages while we were connected.

    The count is that of all its clients together. So nobody can say whether an event was among them, and the owner is
    told that it may be.
    """

    def __init__(self, link: Broker, notes: Notes, counted: Callable[[int], None]) -> None:
        """Begin to listen.

        Args:
            link: the link to the broker.
            notes: is told.
            counted: called with how many more were dropped.
        """
        self._notes = notes
        self._counted = counted
        self._before: int | None = None
        self._dropped = 0
        self._told = 0
        link.subscribe(TOPIC, self._heard)

    def _heard(self, raw: Raw) -> None:
        if raw.channel != TOPIC or _COUNT.fullmatch(raw.payload) is None:
            return
        count, before = int(raw.payload), self._before
        self._before = count
        if before is None or count <= before:  # what was before us, or a broker that has begun anew
            return
        self._dropped += count - before
        self._counted(count - before)
        if self._dropped >= self._told * AGAIN:
            self._told = self._dropped
            self._notes.say(
                f"the broker could not hand on {self._dropped} messages so far, to us or to another of its clients, and"
                " dropped them: events may be missing. Its log names the client; let whoever sends so much send less",
                "warning",
            )
