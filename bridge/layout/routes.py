"""Routes from a signal: what has to stand, be clear and be kept away before a train may be let in."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from bridge.layout.controls import Needs
from bridge.layout.findings import Mark


class Refused(StrEnum):
    """What becomes of an order to clear a signal that cannot be obeyed now."""

    HOLD = "hold"  # it waits until it can
    DROP = "drop"  # it has to be given again


@dataclass(frozen=True, slots=True)
class Route:
    """One route from a signal to the next.

    Attributes:
        name: unique among the routes of its signal.
        turnouts: where the turnouts in it have to stand; they are locked there.
        flank: where turnouts beside it have to stand, to turn other trains away; they are locked too.
        sections: its blocks in the order in which a train takes them; they are let go of one by one behind it.
        clear: other blocks that have to be clear: where a vehicle would foul the route.
        conflicts: signals that may show nothing better than their most restrictive aspect at the same time.
        at_most: the best aspect that may be shown for this route, or empty.
        mark: its place in the file.
    """

    name: str
    turnouts: Needs
    flank: Needs
    sections: tuple[str, ...]
    clear: tuple[str, ...]
    conflicts: tuple[str, ...]
    at_most: str
    mark: Mark


@dataclass(frozen=True, slots=True)
class Locking:
    """How a signal locks its routes; times in nanoseconds.

    Attributes:
        approach: the blocks before the signal. With none of them, a train is taken to be near always (time locking).
        time: how long a route stays locked after its signal was put back in the face of a train.
        release: a section behind a train is let go of once it has been clear for longer than this.
        refused: what becomes of an order that cannot be obeyed.
        reclear: whether the signal clears again by itself for the next train.
        stopping: how long a train that is near may take until it has stopped or passed; 0 if that is not said.
    """

    approach: tuple[str, ...]
    time: int
    release: int
    refused: Refused
    reclear: bool
    stopping: int = 0

    @property
    def longer_than_release(self) -> int:
        """The shortest time that is longer than `release`: a loss of as long as that lets go of nothing."""
        return self.release + 1
