"""What the channels show now, and how they get to what they shall show.

A change is a function of the instant: where it began, where it goes and how long it takes. Rendering it at
some instant changes nothing, so frames that are left out change nothing later; a change that is interrupted
goes on from where it stands.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from bridge.events import Instant
from bridge.layout.units import FULL_LEVEL
from bridge.light.lightness import STEPS, linear_table, step_of_linear

Levels: TypeAlias = NDArray[np.uint16]
Slots: TypeAlias = NDArray[np.intp]


@cache
def _levels_of_steps() -> Levels:
    """Return the table of lightness for many channels at once."""
    return np.array(linear_table(), dtype=np.uint16)


@dataclass(frozen=True, slots=True)
class Fade:
    """One channel on its way, in even steps of lightness.

    Attributes:
        start: lightness step where it began.
        goal: lightness step where it goes.
        origin: linear level where it began.
        level: linear level where it goes; what it shows when it has arrived.
        began: instant of its beginning.
        time: how long it takes, nanoseconds, at least 1.
    """

    start: int
    goal: int
    origin: int
    level: int
    began: Instant
    time: int

    def step(self, at: Instant) -> int:
        """Return the lightness step at an instant."""
        done = min(max(at - self.began, 0), self.time)
        return self.start + (self.goal - self.start) * done // self.time

    def shown(self, at: Instant) -> int:
        """Return the linear level at an instant.

        Near full light the table leaves levels out, so a step may lie a little below the level it stands for.
        Held between both ends, the light never turns back on its way.
        """
        if at - self.began >= self.time:
            return self.level
        low, high = sorted((self.origin, self.level))
        return min(max(linear_table()[self.step(at)], low), high)


class Motion:
    """The levels of all channels of a layout; a slot is a byte of all its frames laid end to end."""

    def __init__(self, slots: int) -> None:
        self._levels = [0] * slots
        self._fades: dict[int, Fade] = {}
        self._arrays: tuple[NDArray[np.int64], ...] | None = None

    @property
    def moving(self) -> bool:
        """Whether any channel is still on its way."""
        return bool(self._fades)

    def level(self, slot: int) -> int:
        """Return where a channel is or is going to."""
        return self._levels[slot]

    def cut(self, slot: int, level: int) -> None:
        """Set a channel at once."""
        if slot in self._fades:
            del self._fades[slot]
            self._arrays = None
        self._levels[slot] = level

    def fade(self, slot: int, level: int, at: Instant, time: int) -> None:
        """Send a channel to a level from wherever it is now."""
        if self._levels[slot] == level:
            return
        running = self._fades.get(slot)
        if running is None:
            origin = self._levels[slot]
            start = step_of_linear(origin)
        else:
            origin = running.shown(at)
            start = running.step(at)
        self._levels[slot] = level
        self._fades[slot] = Fade(start, step_of_linear(level), origin, level, at, time)
        self._arrays = None

    def render(self, at: Instant) -> tuple[Slots, Levels]:
        """Return the slots on their way and their linear levels at an instant, and let go of those that arrived.

        Args:
            at: not before the last call of `cut` or `fade`.
        """
        if self._arrays is None:
            self._arrays = self._as_arrays()
        slots, start, way, low, high, goal, began, time = self._arrays
        done = np.clip(at - began, 0, time)
        steps = start + way * done // time
        levels = np.where(done >= time, goal, np.clip(_levels_of_steps()[steps], low, high)).astype(np.uint16)
        arrived = [slot for slot, fade in self._fades.items() if at - fade.began >= fade.time]
        for slot in arrived:
            del self._fades[slot]
        if arrived:
            self._arrays = None
        return slots.astype(np.intp), levels

    def _as_arrays(self) -> tuple[NDArray[np.int64], ...]:
        rows = [
            (
                slot,
                fade.start,
                fade.goal - fade.start,
                min(fade.origin, fade.level),
                max(fade.origin, fade.level),
                fade.level,
                fade.began,
                fade.time,
            )
            for slot, fade in self._fades.items()
        ]
        table = np.array(rows, dtype=np.int64).reshape(len(rows), 8)
        return tuple(np.ascontiguousarray(table[:, column]) for column in range(8))

    def snapshot(self) -> dict[str, Any]:
        """Return everything as plain data."""
        fades = [
            [slot, fade.start, fade.goal, fade.origin, fade.level, fade.began, fade.time]
            for slot, fade in self._fades.items()
        ]
        return {"levels": list(self._levels), "fades": fades}

    def restore(self, data: dict[str, Any]) -> None:
        """Take back what `snapshot` gave, of as many channels.

        Raises:
            KeyError, TypeError, ValueError: it is none of this many channels; nothing has changed.
        """
        levels = [int(level) for level in data["levels"]]
        fades = {int(slot): Fade(*map(int, rest)) for slot, *rest in data["fades"]}
        if len(levels) != len(self._levels):
            raise ValueError(f"there are {len(self._levels)} channels, not {len(levels)}")
        for slot, fade in fades.items():
            if slot not in range(len(levels)) or not _is_sound(fade):
                raise ValueError(f"channel {slot} cannot fade so: {fade}")
        if not all(0 <= level <= FULL_LEVEL for level in levels):
            raise ValueError("a level is no 16-bit number")
        self._levels, self._fades, self._arrays = levels, fades, None


def _is_sound(fade: Fade) -> bool:
    steps, levels = (fade.start, fade.goal), (fade.origin, fade.level)
    return (
        all(0 <= step <= STEPS for step in steps)
        and all(0 <= level <= FULL_LEVEL for level in levels)
        and fade.began >= 0
        and fade.time >= 1
    )
