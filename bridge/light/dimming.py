"""The master dimmers of zones: how much of its light each channel may give.

A dimmer moves in even steps of lightness, like everything that fades, and where it stands is a function of the instant.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bridge.events import Instant
from bridge.layout.units import FULL_LEVEL
from bridge.light.lightness import linear_table, step_of_linear
from bridge.light.motion import LATEST, LONGEST

Slots = NDArray[np.intp]


class _Turn(NamedTuple):
    """A dimmer on its way: lightness step where it began and where it ends, when it began, and how long it takes."""

    start: int
    end: int
    began: Instant
    time: int


class Zoned(NamedTuple):
    """The channels of a zone, in order, and which of them may be lit in part; others are only switched by a dimmer."""

    slots: Slots
    dimmable: NDArray[np.bool_]

    @classmethod
    def of(cls, dimmable: Mapping[int, bool]) -> Zoned:
        """Return the channels by slot, each with whether it may be lit in part."""
        order = sorted(dimmable)
        return cls(
            np.array(order, dtype=np.intp), np.array([dimmable[slot] for slot in order], dtype=np.bool_)
        )


class Dimmers:
    """The dimmers of a layout, known by the index of their zones.

    Attributes:
        slots: for each zone, its channels in order.
        open: all dimmers have been fully open ever since the start.
    """

    def __init__(self, zones: Sequence[Zoned], length: int) -> None:
        """Take all dimmers to be fully open; `length` is how many channels there are in all."""
        self.slots = tuple(zone.slots for zone in zones)
        self._dimmable = tuple(zone.dimmable for zone in zones)
        self._levels = [FULL_LEVEL] * len(zones)
        self._turns: dict[int, _Turn] = {}
        self._factor: NDArray[np.int64] = np.full(length, FULL_LEVEL, dtype=np.int64)
        self.open = True

    @property
    def moving(self) -> bool:
        """Whether any dimmer is on its way."""
        return bool(self._turns)

    def turn(self, zone: int, level: int, at: Instant, time: int) -> None:
        """Send a dimmer to a level, from wherever it is.

        Args:
            zone: its index.
            level: how much of its light is left at the end, 0 to 65535 in linear light.
            at: when it begins.
            time: how long it takes, nanoseconds, 0 to `LONGEST`.
        """
        before = self._level_at(zone, at)
        self._levels[zone] = level
        self._turns.pop(zone, None)
        if time and before != level:
            self._turns[zone] = _Turn(step_of_linear(before), step_of_linear(level), at, time)
        self._put(zone, before if time else level)

    def move(self, at: Instant) -> tuple[Slots, ...]:
        """Bring every dimmer to where it is at an instant; return the channels of each that moved."""
        zones = list(self._turns)
        for zone in zones:
            turn = self._turns[zone]
            if at - turn.began >= turn.time:
                del self._turns[zone]
                self._put(zone, self._levels[zone])
            else:
                self._put(zone, _level_of(turn, at))
        return tuple(self.slots[zone] for zone in zones)

    def one(self, slot: int, level: int) -> int:
        """Return what is left of a level of one channel, rounded once, halves up."""
        if self.open:
            return level
        return (2 * level * self._factor.item(slot) + FULL_LEVEL) // (2 * FULL_LEVEL)

    def many(self, slots: Slots, levels: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return the same of many channels."""
        if self.open:
            return levels
        return (2 * levels * self._factor[slots] + FULL_LEVEL) // (2 * FULL_LEVEL)

    def _level_at(self, zone: int, at: Instant) -> int:
        turn = self._turns.get(zone)
        return self._levels[zone] if turn is None else _level_of(turn, at)

    def _put(self, zone: int, level: int) -> None:
        self._factor[self.slots[zone]] = np.where(self._dimmable[zone], level, FULL_LEVEL * (level > 0))
        self.open = self.open and level == FULL_LEVEL

    def snapshot(self) -> dict[str, Any]:
        """Return everything as plain data."""
        return {"levels": list(self._levels), "turns": [[zone, *turn] for zone, turn in self._turns.items()]}

    def restore(self, data: Mapping[str, Any]) -> None:
        """Take back what `snapshot` gave, of as many zones.

        Raises:
            KeyError, TypeError, ValueError: it is none of these; throw this one away.
        """
        levels = [int(level) for level in data["levels"]]
        if len(levels) != len(self.slots) or not all(0 <= level <= FULL_LEVEL for level in levels):
            raise ValueError("these are not the zones of this layout")
        for zone, level in enumerate(levels):
            self._levels[zone] = level
            self._put(zone, level)
        for zone, *rest in data["turns"]:
            turn = _Turn(*map(int, rest))
            if int(zone) not in range(len(levels)) or not (
                0 <= turn.start < len(linear_table())
                and 0 <= turn.end < len(linear_table())
                and 0 <= turn.began <= LATEST
                and 1 <= turn.time <= LONGEST
            ):
                raise ValueError(f"no dimmer can move so: {zone}, {rest}")
            self._turns[int(zone)] = turn


def _level_of(turn: _Turn, at: Instant) -> int:
    done = min(max(at - turn.began, 0), turn.time)
    return linear_table()[turn.start + (turn.end - turn.start) * done // turn.time]
