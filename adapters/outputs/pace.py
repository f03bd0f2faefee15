"""When a chain's newest frame may go out where nobody acknowledges: the refresh limit, repeats and keep-alives.

Pure: instants come in as arguments, and nothing is sent here. There is one slot, and the newest frame is in it.

    news          at once, or as soon as the refresh limit allows
    no news       three repeats 60 ms apart, in case a packet was lost, then a keep-alive each 900 ms

That is how ANSI E1.31-2018, section 6.6.2, has unchanged levels suppressed (three packets, then one each 800 to 1000
ms); Art-Net 4 recommends the same pace for who uses both, and it harms no other receiver. Repeats are further apart
than the frames of a picture that moves: one in between would keep the next frame waiting by the limit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from bridge.events import MILLISECOND, SECOND, Instant

REPEATS: Final = 3
REPEAT_AFTER: Final = 60 * MILLISECOND
KEEP_ALIVE_AFTER: Final = 900 * MILLISECOND

NEVER: Final[Instant] = 1 << 63


@dataclass(slots=True)
class Counters:
    """What happened on a chain since the session began.

    Attributes:
        sent: frames that went out.
        skipped: frames that were passed over by newer ones.
        kept_alive: of those sent, repeats and keep-alives.
        failed: frames that could not be handed over; the newest was tried again.
    """

    sent: int = 0
    skipped: int = 0
    kept_alive: int = 0
    failed: int = 0


class Pace:
    """One chain.

    Attributes:
        newest: the levels in the slot, or None before the first.
        counters: for the page.
        due: when the levels in the slot may go out next, as news or as a repeat; `NEVER` before the first.

    Args:
        refresh: frames a second at the most.
    """

    __slots__ = ("_interval", "_left", "_pending", "_sent", "_sent_at", "counters", "due", "newest")

    def __init__(self, refresh: int) -> None:
        self.newest: bytes | None = None
        self.counters = Counters()
        self.due: Instant = NEVER
        self._interval = -(-SECOND // refresh)
        self._sent: bytes | None = None
        self._sent_at: Instant | None = None
        self._left = 0  # repeats
        self._pending = False  # the slot holds other levels than were sent last

    def put(self, levels: bytes) -> None:
        """Take the newest levels. What was in the slot and not sent is passed over, and counted."""
        if self._pending and levels != self.newest:
            self.counters.skipped += 1
        self.newest = levels
        self._pending = levels != self._sent
        self._look_ahead()

    def sent(self, now: Instant) -> None:
        """Note that the levels in the slot went out."""
        self.counters.sent += 1
        if self._pending:
            self._left = REPEATS
        else:
            self.counters.kept_alive += 1
            self._left -= self._left > 0
        self._pending = False
        self._sent = self.newest
        self._sent_at = now
        self._look_ahead()

    def refresh(self) -> None:
        """Forget what was sent: the other side may have lost it, and a frame is due as news."""
        self._sent = self._sent_at = None
        self._pending = self.newest is not None
        self._look_ahead()

    def _look_ahead(self) -> None:
        if self.newest is None:
            self.due = NEVER
        elif self._sent_at is None:
            self.due = 0
        elif self._pending:
            self.due = self._sent_at + self._interval
        else:
            self.due = self._sent_at + max(REPEAT_AFTER if self._left else KEEP_ALIVE_AFTER, self._interval)
