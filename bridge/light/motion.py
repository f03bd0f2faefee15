"""What the channels show now, and how they get to what they shall show.

A change is a function of the instant: where it began, where it goes and how long it takes; and so is a flash.
Rendering it at some instant changes nothing that comes after, so frames that are left out change nothing later; a
change that is interrupted goes on from where it stands.
"""

from __future__ import annotations

from array import array
from functools import cache
from typing import Any, Final, NamedTuple, TypeAlias

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

STILL, FADING, FLASHING = range(3)
"""What a channel does."""


class Beat(NamedTuple):
    """How a channel flashes: lit for the first `lit` of each `period` since `began`, all in nanoseconds."""

    began: Instant
    period: int
    lit: int

    def is_lit(self, at: Instant) -> bool:
        """Return whether it is lit at an instant."""
        return (at - self.began) % self.period < self.lit

    def next_edge(self, after: Instant) -> Instant:
        """Return the first instant after another at which it is lit or goes dark."""
        past = (after - self.began) % self.period
        return after - past + (self.lit if past < self.lit else self.period)


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
        self._does = bytearray(slots)
        self._many_do: NDArray[np.uint8] = np.frombuffer(self._does, dtype=np.uint8)
        self._fading = 0
        self._flashing = 0
        self._start = _Column(slots)  # lightness step where the change began
        self._way = _Column(slots)  # and how many steps it goes from there
        self._origin = _Column(slots)  # linear level where it began
        # Where it goes, which it shows exactly once it has arrived; of a flash, the level while it is lit.
        self._goal = _Column(slots)
        self._began = _Column(slots)
        self._time = _Column(slots)
        self._unlit = _Column(slots)  # linear level in the dark part of a flash
        self._since = _Column(slots)
        self._period = _Column(slots)
        self._lit = _Column(slots)

    @property
    def moving(self) -> bool:
        """Whether any channel is on its way or flashes."""
        return self._fading > 0 or self._flashing > 0

    @property
    def fading(self) -> bool:
        """Whether any channel is still on its way."""
        return self._fading > 0

    @property
    def flashing(self) -> bool:
        """Whether any channel flashes."""
        return self._flashing > 0

    def level(self, slot: int) -> int:
        """Return where a channel is or is going to; of one that flashes, its level while it is lit."""
        return self._levels[slot]

    def beat_of(self, slot: int) -> Beat | None:
        """Return how a channel flashes, or None if it does not."""
        if self._does[slot] != FLASHING:
            return None
        return Beat(self._since.one[slot], self._period.one[slot], self._lit.one[slot])

    def cut(self, slot: int, level: int) -> None:
        """Set a channel at once."""
        self._now_does(slot, STILL)
        self._levels[slot] = level

    def flash(self, slot: int, lit: int, unlit: int, beat: Beat) -> None:
        """Let a channel flash, whatever it does now.

        Args:
            slot: the channel.
            lit: its linear level in the lit part of each flash.
            unlit: its linear level in the dark part.
            beat: when it began, and its times: the period 2 to `LONGEST`, and less than that for the lit part.
        """
        self._now_does(slot, FLASHING)
        self._levels[slot] = lit
        self._goal.one[slot] = lit
        self._unlit.one[slot] = unlit
        self._since.one[slot], self._period.one[slot], self._lit.one[slot] = beat

    def _now_does(self, slot: int, what: int) -> None:
        did = self._does[slot]
        if did != what:
            self._does[slot] = what
            self._fading += (what == FADING) - (did == FADING)
            self._flashing += (what == FLASHING) - (did == FLASHING)

    def fade(self, slot: int, level: int, at: Instant, time: int) -> None:
        """Send a channel to a level from wherever it is now, in even steps of lightness.

        Args:
            slot: the channel.
            level: its linear level at the end.
            at: when it begins.
            time: how long it takes, nanoseconds, 1 to `LONGEST`.
        """
        does = self._does[slot]
        if does == FADING:
            if self._levels[slot] == level:
                return
            start, origin = self._step(slot, at), self._level_at(slot, at)
        else:
            origin = self._flash_at(slot, at) if does == FLASHING else self._levels[slot]
            if origin == level:
                self.cut(slot, level)
                return
            start = step_of_linear(origin)
        self._now_does(slot, FADING)
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
        """Return the linear level of a channel on its way; `_fades_at` is the same for many."""
        goal = self._goal.one[slot]
        if at - self._began.one[slot] >= self._time.one[slot]:
            return goal
        low, high = sorted((self._origin.one[slot], goal))
        return min(max(linear_table()[self._step(slot, at)], low), high)

    def _flash_at(self, slot: int, at: Instant) -> int:
        """Return the linear level of a channel that flashes; `_flashes_at` is the same for many."""
        beat = Beat(self._since.one[slot], self._period.one[slot], self._lit.one[slot])
        return self._levels[slot] if beat.is_lit(at) else self._unlit.one[slot]

    def render(self, at: Instant) -> tuple[Slots, Levels]:
        """Return the channels on their way or flashing, in order, and their linear levels; let go of what has arrived.

        Args:
            at: not before the last call of `cut`, `fade` or `flash`.
        """
        slots = np.flatnonzero(self._many_do)
        if not self._flashing:
            return slots, self._fades_at(slots, at)
        flashing = self._many_do[slots] == FLASHING
        levels = np.empty(len(slots), dtype=np.uint16)
        levels[flashing] = self._flashes_at(slots[flashing], at)
        levels[~flashing] = self._fades_at(slots[~flashing], at)
        return slots, levels

    def next_edge(self, after: Instant) -> Instant | None:
        """Return the first instant after another at which a flash is lit or goes dark; None if nothing flashes."""
        if not self._flashing:
            return None
        slots = np.flatnonzero(self._many_do == FLASHING)
        period, lit = self._period.many[slots], self._lit.many[slots]
        past = (after - self._since.many[slots]) % period
        return after + int(np.min(np.where(past < lit, lit, period) - past))

    def _flashes_at(self, slots: Slots, at: Instant) -> Levels:
        past = (at - self._since.many[slots]) % self._period.many[slots]
        lit = past < self._lit.many[slots]
        return np.where(lit, self._goal.many[slots], self._unlit.many[slots]).astype(np.uint16)

    def _fades_at(self, slots: Slots, at: Instant) -> Levels:
        """Return the levels of channels on their way, and let go of those that have arrived.

        Near full light the table leaves levels out, so a step may lie a little below the level it stands for.
        Held between both ends, the light never turns back on its way.
        """
        goal, origin, time = self._goal.many[slots], self._origin.many[slots], self._time.many[slots]
        done = np.minimum(np.maximum(at - self._began.many[slots], 0), time)
        steps = self._start.many[slots] + self._way.many[slots] * done // time
        levels = _levels_of_steps()[steps]
        levels = np.minimum(np.maximum(levels, np.minimum(origin, goal)), np.maximum(origin, goal))
        arrived = done == time
        gone = slots[arrived]
        if gone.size:
            self._many_do[gone] = STILL
            self._fading -= int(gone.size)
        return np.where(arrived, goal, levels).astype(np.uint16)

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
            for slot, does in enumerate(self._does)
            if does == FADING
        ]
        flashes = [
            [slot, self._unlit.one[slot], *beat]
            for slot in range(len(self._levels))
            if (beat := self.beat_of(slot)) is not None
        ]
        return {"levels": list(self._levels), "fades": fades, "flashes": flashes}

    def restore(self, data: dict[str, Any]) -> None:
        """Take back what `snapshot` gave, of as many channels.

        Raises:
            KeyError, TypeError, ValueError: it is none of this many channels; nothing has changed.
        """
        levels = [int(level) for level in data["levels"]]
        fades = {int(slot): _sound(*map(int, rest)) for slot, *rest in data["fades"]}
        # Sessions that were kept before anything could flash say nothing of flashes.
        flashes = {int(slot): _sound_flash(*map(int, rest)) for slot, *rest in data.get("flashes", ())}
        if len(levels) != len(self._levels):
            raise ValueError(f"there are {len(self._levels)} channels, not {len(levels)}")
        if not all(0 <= level <= FULL_LEVEL for level in levels):
            raise ValueError("a level is no 16-bit number")
        if not all(slot in range(len(levels)) for slot in (*fades, *flashes)):
            raise ValueError("a channel fades or flashes that is not there")
        if fades.keys() & flashes.keys():
            raise ValueError("a channel fades and flashes at once")
        for slot, level in enumerate(levels):
            self.cut(slot, level)
        for slot, fade in fades.items():
            self._now_does(slot, FADING)
            self._set(slot, *fade)
        for slot, (unlit, beat) in flashes.items():
            self.flash(slot, levels[slot], unlit, beat)


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


def _sound_flash(unlit: int, began: Instant, period: int, lit: int) -> tuple[int, Beat]:
    """Return a flash as it was given, or raise ValueError."""
    if 0 <= unlit <= FULL_LEVEL and 0 <= began <= LATEST and 0 < lit < period <= LONGEST:
        return unlit, Beat(began, period, lit)
    raise ValueError(f"no channel can flash so: {(unlit, began, period, lit)}")
