"""What the channels show now, and how they get to what they shall show.

A change is a function of the instant: where it began, where it goes and how long it takes. Rendering it at
some instant changes nothing that comes after, so frames that are left out change nothing later; a change that is
interrupted goes on from where it stands.
"""

from __future__ import annotations

from array import array
from functools import cache
from typing import Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from bridge.events import Instant
from bridge.layout.units import FULL_LEVEL
from bridge.light.lightness import STEPS, linear_table, step_of_linear

Levels: TypeAlias = NDArray[np.uint16]
Slots: TypeAlias = NDArray[np.intp]

LATEST: Final = 2**62
"""An instant beyond all sessions that can still be taken from another one in 64 bits."""

LONGEST: Final = 2**46
"""A duration, some 19 hours, whose product with any number of steps still fits 64 bits."""


@cache
def _levels_of_steps() -> NDArray[np.int64]:
    """Return the table of lightness for many channels at once."""
    return np.array(linear_table(), dtype=np.int64)


class _Column:
    """One number for each slot: quick to set one by one, and seen by numpy as an array."""

    __slots__ = ("many", "one")

    def __init__(self, slots: int) -> None:
        self.one = array("q", bytes(8 * slots))
        self.many: NDArray[np.int64] = np.frombuffer(self.one, dtype=np.int64)


class Motion:
    """The levels of all channels of a layout; a slot is a byte of all its frames laid end to end.

    What is known of a channel on its way stands in columns, one number for each slot, so that any number of
    them is computed in one pass and nothing has to be gathered first.
    """

    def __init__(self, slots: int) -> None:
        self._levels = [0] * slots
        self._moving = bytearray(slots)
        self._are_moving: NDArray[np.uint8] = np.frombuffer(self._moving, dtype=np.uint8)
        self._count = 0
        self._start = _Column(slots)  # lightness step where the change began
        self._way = _Column(slots)  # and how many steps it goes from there
        self._origin = _Column(slots)  # linear level where it began
        self._goal = _Column(slots)  # and where it goes, which it shows exactly once it has arrived
        self._began = _Column(slots)
        self._time = _Column(slots)

    @property
    def moving(self) -> bool:
        """Whether any channel is still on its way."""
        return self._count > 0

    def level(self, slot: int) -> int:
        """Return where a channel is or is going to."""
        return self._levels[slot]

    def cut(self, slot: int, level: int) -> None:
        """Set a channel at once."""
        if self._moving[slot]:
            self._moving[slot] = 0
            self._count -= 1
        self._levels[slot] = level

    def fade(self, slot: int, level: int, at: Instant, time: int) -> None:
        """Send a channel to a level from wherever it is now, in even steps of lightness.

        Args:
            slot: the channel.
            level: its linear level at the end.
            at: when it begins.
            time: how long it takes, nanoseconds, 1 to `LONGEST`.
        """
        if self._levels[slot] == level:
            return
        if self._moving[slot]:
            start, origin = self._step(slot, at), self._level_at(slot, at)
        else:
            origin = self._levels[slot]
            start = step_of_linear(origin)
            self._moving[slot] = 1
            self._count += 1
        self._levels[slot] = level
        self._set(slot, start, step_of_linear(level), origin, level, at, time)

    def _set(
        self, slot: int, start: int, end: int, origin: int, level: int, began: Instant, time: int
    ) -> None:
        self._start.one[slot] = start
        self._way.one[slot] = end - start
        self._origin.one[slot] = origin
        self._goal.one[slot] = level
        self._began.one[slot] = began
        self._time.one[slot] = time

    def _step(self, slot: int, at: Instant) -> int:
        """Return the lightness step of a channel on its way."""
        time = self._time.one[slot]
        done = min(max(at - self._began.one[slot], 0), time)
        return self._start.one[slot] + self._way.one[slot] * done // time

    def _level_at(self, slot: int, at: Instant) -> int:
        """Return the linear level of a channel on its way; `_levels_at` is the same for many."""
        goal = self._goal.one[slot]
        if at - self._began.one[slot] >= self._time.one[slot]:
            return goal
        low, high = sorted((self._origin.one[slot], goal))
        return min(max(linear_table()[self._step(slot, at)], low), high)

    def render(self, at: Instant) -> tuple[Slots, Levels]:
        """Return the channels on their way, in order, and their linear levels; let go of what has arrived.

        Near full light the table leaves levels out, so a step may lie a little below the level it stands for.
        Held between both ends, the light never turns back on its way.

        Args:
            at: not before the last call of `cut` or `fade`.
        """
        slots = np.flatnonzero(self._are_moving)
        goal, origin, time = self._goal.many[slots], self._origin.many[slots], self._time.many[slots]
        done = np.minimum(np.maximum(at - self._began.many[slots], 0), time)
        steps = self._start.many[slots] + self._way.many[slots] * done // time
        levels = _levels_of_steps()[steps]
        levels = np.minimum(np.maximum(levels, np.minimum(origin, goal)), np.maximum(origin, goal))
        arrived = done == time
        gone = slots[arrived]
        if gone.size:
            self._are_moving[gone] = 0
            self._count -= int(gone.size)
        return slots, np.where(arrived, goal, levels).astype(np.uint16)

    def snapshot(self) -> dict[str, Any]:
        """Return everything as plain data."""
        fades = [
            [
                slot,
                self._start.one[slot],
                self._start.one[slot] + self._way.one[slot],
                self._origin.one[slot],
                self._goal.one[slot],
                self._began.one[slot],
                self._time.one[slot],
            ]
            for slot, moving in enumerate(self._moving)
            if moving
        ]
        return {"levels": list(self._levels), "fades": fades}

    def restore(self, data: dict[str, Any]) -> None:
        """Take back what `snapshot` gave, of as many channels.

        Raises:
            KeyError, TypeError, ValueError: it is none of this many channels; nothing has changed.
        """
        levels = [int(level) for level in data["levels"]]
        fades = {int(slot): _sound(*map(int, rest)) for slot, *rest in data["fades"]}
        if len(levels) != len(self._levels):
            raise ValueError(f"there are {len(self._levels)} channels, not {len(levels)}")
        if not all(0 <= level <= FULL_LEVEL for level in levels):
            raise ValueError("a level is no 16-bit number")
        if not all(slot in range(len(levels)) for slot in fades):
            raise ValueError("a channel fades that is not there")
        for slot, level in enumerate(levels):
            self.cut(slot, level)
        for slot, fade in fades.items():
            self._moving[slot] = 1
            self._set(slot, *fade)
        self._count = len(fades)


def _sound(
    start: int, end: int, origin: int, level: int, began: Instant, time: int
) -> tuple[int, int, int, int, Instant, int]:
    """Return a fade as it was given, or raise ValueError."""
    if (
        all(0 <= step <= STEPS for step in (start, end))
        and all(0 <= each <= FULL_LEVEL for each in (origin, level))
        and 0 <= began <= LATEST
        and 1 <= time <= LONGEST
    ):
        return start, end, origin, level, began, time
    raise ValueError(f"no channel can fade so: {(start, end, origin, level, began, time)}")
