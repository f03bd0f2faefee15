"""The gates behind the road's way out: they start when the others are down, and rise whenever those are not.

So nobody is shut in between the gates: S.R. (NI) 2023/9 Sch. 2 para 11. They rise as fast as the others do, and those
are down before these start; so when the others are up, these are.
"""

from __future__ import annotations

from typing import Any, Final

from bridge.events import Instant
from bridge.layout.crossings import ExitGates

WHOLE: Final = 1_000_000
"""Parts in which the height of a gate is counted, 0 where it is down."""


class Exits:
    """The exit gates of one crossing. They have no feedback, so their height is reckoned.

    Attributes:
        state: where they are, in the word that is told to the world.
        due: when they will have come where they go, or None.
    """

    def __init__(self, gates: ExitGates) -> None:
        """Have them up."""
        self.state = "up"
        self.due: Instant | None = None
        self._lowering, self._raising = gates.lowering, gates.raising
        self._height = WHOLE  # when they began to move
        self._since: Instant = 0

    def follow(self, at: Instant, *, down: bool) -> None:
        """Take it that the other gates are down now, or not."""
        if down is (self.state in ("lowering", "down")):
            return
        self._height, self._since = self._height_at(at), at
        way = self._height if down else WHOLE - self._height
        self.due = at + -(-(self._lowering if down else self._raising) * way // WHOLE)
        self.state = "lowering" if down else "rising"
        self.expire(at)

    def expire(self, at: Instant) -> None:
        """Take it that they have come where they go, if they have."""
        if self.due is not None and self.due <= at:
            down = self.state == "lowering"
            self.state, self._height, self.due = ("down", 0, None) if down else ("up", WHOLE, None)

    def _height_at(self, at: Instant) -> int:
        if self.state == "lowering":
            return max(self._height - (at - self._since) * WHOLE // self._lowering, 0)
        if self.state == "rising":
            return min(self._height + (at - self._since) * WHOLE // self._raising, WHOLE)
        return self._height

    def plain(self) -> list[Any]:
        """Return everything as plain data."""
        return [self.state, self.due, self._height, self._since]

    def restore(self, data: list[Any]) -> None:
        """Take back what `plain` gave; raise TypeError or ValueError if it is none."""
        state, due, height, since = data
        self.state, self._height, self._since = str(state), int(height), int(since)
        self.due = None if due is None else int(due)
