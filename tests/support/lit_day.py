"""A model day of the demo as the lamps of the layout show it: all frames, and what each light was meant to do."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bridge.commands import Report
from bridge.events import SECOND, Instant
from bridge.layout.model import Layout, Light
from tests.support.demo_day import MINUTE, Day

FRAMES_PER_SECOND: Final = 50

LASTS: Final = 13 * MINUTE
"""The model day, and the minute in which everybody takes his place."""


class Span(NamedTuple):
    """A time for which something was in one state."""

    state: str
    begins: Instant
    ends: Instant


class LitDay:
    """One day, looked at from its end.

    Attributes:
        layout: of the demo.

    Args:
        seed: another one gives another day.
    """

    def __init__(self, seed: int) -> None:
        self.day = Day(seed, FRAMES_PER_SECOND)
        self.moments = tuple(self.day.moments(LASTS))
        self.layout: Layout = self.day.engine.layout
        self._times: list[NDArray[np.int64]] = []
        self._levels: list[NDArray[np.uint8]] = []
        for number, chain in enumerate(self.layout.chains):
            own = [frame for frame in self.day.frames if frame.chain == number]
            self._times.append(np.array([frame.at for frame in own], dtype=np.int64))
            rows = b"".join(frame.levels for frame in own)
            self._levels.append(np.frombuffer(rows, dtype=np.uint8).reshape(len(own), chain.length))

    def spans(self, name: str) -> list[Span]:
        """Return what a device, a zone or the switch against flashing showed, one state after another."""
        said = [
            (each.at, each.aspect if isinstance(each, Report) else each.state)
            for each in self.day.told
            if name == (each.device if isinstance(each, Report) else f"{each.subject}/{each.name}")
        ]
        changes = [
            row
            for row, before in zip(said, [None, *said], strict=False)
            if before is None or row[1] != before[1]
        ]
        ends = [at for at, _state in changes[1:]] + [LASTS]
        return [Span(state, at, end) for (at, state), end in zip(changes, ends, strict=True) if at < end]

    def shown(self, light: Light, begins: Instant, ends: Instant) -> NDArray[np.uint8]:
        """Return the levels of the channels of a light in each frame from one instant to just before another.

        The first row is what stood when the time began. Channels that are sent inverted are turned round.
        """
        columns = []
        for chain, offset, inverted in self._channels(light):
            times, levels = self._times[chain], self._levels[chain][:, offset]
            first = max(int(np.searchsorted(times, begins, "right")) - 1, 0)
            last = int(np.searchsorted(times, ends, "left"))
            own = levels[first:last]
            columns.append(255 - own if inverted else own)
        return np.stack(columns, axis=1) if len({len(each) for each in columns}) == 1 else _padded(columns)

    def _channels(self, light: Light) -> Iterator[tuple[int, int, bool]]:
        for place in light.lamps:
            fixture = self.layout.fixture(place.fixture)
            for wire in fixture.lamp(place.head, place.lamp).wires:
                yield fixture.chain, wire.offset, wire.inverted

    def flashes_in_a_second(self) -> dict[str, int]:
        """Return for each chain the most flashes that one channel of it had within any second."""
        found = {}
        for chain, times, levels in zip(self.layout.chains, self._times, self._levels, strict=True):
            found[chain.key] = max(most_flashes(times, levels[:, each]) for each in range(chain.length))
        return found


def _padded(columns: list[NDArray[np.uint8]]) -> NDArray[np.uint8]:
    """Put columns of several chains, whose frames are not as many, beside each other: the last ones stay."""
    most = max(len(each) for each in columns)
    return np.stack([np.pad(each, (0, most - len(each)), "edge") for each in columns], axis=1)


def most_flashes(times: NDArray[np.int64], levels: NDArray[np.uint8]) -> int:
    """Return the most flashes that a channel has within any second, from its level in each frame."""
    ended = _flashes(times, levels)
    most, first = 0, 0
    for last, at in enumerate(ended):
        while at - ended[first] >= SECOND:
            first += 1
        most = max(most, last - first + 1)
    return most


def _flashes(times: NDArray[np.int64], levels: NDArray[np.uint8]) -> list[Instant]:
    """Return when a channel ended a flash: it rose and fell by 10 % of full light, its darker state below 80 %.

    That is the general flash of WCAG 2.2 for a relative luminance that follows the level, which is linear light.
    """
    ended, low, high, rising = list[Instant](), int(levels[0]), int(levels[0]), False
    turns = np.flatnonzero(np.diff(levels.astype(np.int16))) + 1
    for at, level in zip(times[turns].tolist(), levels[turns].tolist(), strict=True):
        if rising:
            high = max(high, level)
            if high - level >= 26 and min(low, level) < 204:
                ended.append(at)
                rising, low = False, level
        else:
            low = min(low, level)
            if level - low >= 26:
                rising, high = True, level
    return ended


@cache
def lit_day(seed: int) -> LitDay:
    """Return a day that nobody alters."""
    return LitDay(seed)
