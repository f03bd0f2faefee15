"""What devices show, without their light: for whoever tries many sessions and looks at no frame.

To make an engine takes most of its time for the light of the devices. Nothing that they decide goes by it.
"""

from __future__ import annotations

from bridge.errors import EngineError
from bridge.events import Event, Instant
from bridge.layout.model import Layout
from bridge.logic.board import Board
from bridge.logic.reasons import Choice
from bridge.logic.repeats import Repeats


class Deciding:
    """Takes events and lets time pass, as an engine does, and knows what every device shows.

    Attributes:
        now: the instant that it has come to.
        events: how many events were taken; the number of an event is this count after it.
    """

    def __init__(self, layout: Layout) -> None:
        self.now: Instant = 0
        self.events = 0
        self._board = Board(layout)
        self._repeats = Repeats(layout.sources)
        self._index = {device.name: index for index, device in enumerate(self._board.devices)}

    def handle(self, event: Event) -> None:
        """Take one event; before it, what is due by then.

        Raises:
            EngineError: it is older than what came before, or timers set each other off for ever.
        """
        self.advance(event.at)
        self.events += 1
        if not self._repeats.is_repeat(event):
            self._board.hear(event, self.events)

    def advance(self, until: Instant) -> None:
        """Let time pass: every timer runs out at its own instant.

        Raises:
            EngineError: the instant has passed already, or timers set each other off for ever.
        """
        if until < self.now:
            raise EngineError(f"the instant {until} lies before {self.now}")
        rounds = 0
        while (due := self._board.next_due()) is not None and due <= until:
            # Each round at one instant sees at least one timer off, and none has more to do there than twice.
            rounds = rounds + 1 if due <= self.now else 0
            if rounds > 2 * self._board.timers + 2:
                names = ", ".join(self._board.due(due))
                raise EngineError(f"a timer that is over at once is set again and again, at {due}: {names}")
            self.now = max(due, self.now)
            self._board.perform(due)
        self.now = until

    def next_due(self) -> Instant | None:
        """Return when the next timer runs out, or None while none is set."""
        return self._board.next_due()

    def shown(self, device: str) -> Choice:
        """Return what a device shows, and why.

        Raises:
            KeyError: there is no such device.
        """
        return self._board.devices[self._index[device]].shown
