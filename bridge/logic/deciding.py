"""What devices show by events and by time, without their light.

The engine goes by this, and so does whoever tries many sessions and looks at no frame: to plan the light of all
devices is most of the work of making an engine.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, NamedTuple

from bridge.errors import EngineError
from bridge.events import AccessoryOrdered, AspectOrdered, Authority, Event, Instant
from bridge.layout.model import Layout
from bridge.logic.board import Board
from bridge.logic.reasons import Choice, Outcome
from bridge.logic.repeats import Novelty, Repeats


class Heard(NamedTuple):
    """What an event was taken for, and what came of it; None where it changes nothing."""

    novelty: Novelty
    outcome: Outcome | None


class Deciding:
    """The devices of a layout, the events that were taken, and the time.

    Attributes:
        layout: what it is about.
        board: the devices.
        now: the instant that it has come to.
        events: how many events were taken; the number of an event is this count after it.
    """

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.board = Board(layout)
        self.now: Instant = 0
        self.events = 0
        self._repeats = Repeats(layout.sources)
        self._index = {device.name: index for index, device in enumerate(self.board.devices)}
        self._rounds = 0

    def handle(self, event: Event) -> Heard:
        """Let time pass until an event, and take it; return what came of it.

        Raises:
            EngineError: it is older than what came before, or timers set each other off for ever.
        """
        self.advance(event.at)
        return self.hear(event)

    def advance(self, until: Instant) -> None:
        """Let time pass: every timer runs out at its own instant.

        Raises:
            EngineError: the instant has passed already, or timers set each other off for ever.
        """
        if until < self.now:
            raise EngineError(f"the instant {until} lies before {self.now}")
        while (due := self.board.next_due()) is not None and due <= until:
            self.perform(due)
        self.now = until

    def hear(self, event: Event) -> Heard:
        """Take an event before which nothing is due any more; return what came of it."""
        self.now = event.at
        self.events += 1
        self._rounds = 0
        novelty = self._repeats.novelty(event)
        if novelty is not Novelty.NEW:
            if novelty is not Novelty.OLD or not isinstance(event, AccessoryOrdered | AspectOrdered):
                return Heard(novelty, None)
            event = replace(event, authority=Authority.STATE)
        return Heard(novelty, self.board.hear(event, self.events))

    def perform(self, due: Instant) -> Outcome:
        """Let every timer run out that is the next to be due, at this instant; return what came of it.

        Raises:
            EngineError: timers of no length set each other off for ever; the message names whose.
        """
        # Each round at one instant sees at least one timer off, and none has more to do there than twice.
        self._rounds = self._rounds + 1 if due <= self.now else 0
        if self._rounds > 2 * self.board.timers + 2:
            names = ", ".join(self.board.due(due))
            raise EngineError(f"a timer that is over at once is set again and again, at {due}: {names}")
        self.now = max(due, self.now)
        return self.board.perform(due)

    def shown(self, device: str) -> Choice:
        """Return what a device shows, and why.

        Raises:
            KeyError: there is no such device.
        """
        return self.board.devices[self._index[device]].shown

    def snapshot(self) -> dict[str, Any]:
        """Return the whole state as plain data."""
        return {
            "now": self.now,
            "events": self.events,
            "board": self.board.snapshot(),
            "repeats": self._repeats.snapshot(),
        }

    def restore(self, data: dict[str, Any]) -> None:
        """Take back what `snapshot` gave, of the same layout, into one that is new.

        Raises:
            LookupError, TypeError, ValueError: it does not fit; some may have changed.
        """
        self.board.restore(data["board"])
        self._repeats.restore(data["repeats"])
        self.now, self.events = int(data["now"]), int(data["events"])
