"""The frames of all chains: 16-bit linear levels in, bytes in wire order out.

A *slot* is a byte of all frames laid end to end, so a chain's frame is a slice, and nothing has to be put in
order when a frame is compiled: channel orders and positions are worked out once, when the layout is read. Lamps that
are not built yet, or whose chip was bypassed, have slots behind the last frame: they are worked out like all others,
so what stands beside them does not depend on them, and no frame has them.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from bridge.layout.model import Chain, Layout, Wire
from bridge.layout.units import FULL_LEVEL

Bytes: TypeAlias = NDArray[np.uint8]
Levels: TypeAlias = NDArray[np.integer[Any]]
Slots: TypeAlias = NDArray[np.intp]

FULL_BYTE: Final = 255


def byte_of_level(level: int) -> int:
    """Return the byte for a 16-bit linear level, rounded once, halves up.

    The mean current of a pulse-width channel follows its byte in a straight line, so linear light does too.
    """
    return (level * FULL_BYTE * 2 + FULL_LEVEL) // (2 * FULL_LEVEL)


BYTE_OF_LEVEL: Final[Bytes] = np.array(
    [byte_of_level(level) for level in range(FULL_LEVEL + 1)], dtype=np.uint8
)
"""`byte_of_level` as a table."""


def _wires(chain: Chain) -> Iterator[Wire]:
    for fixture in chain.fixtures:
        for head in fixture.heads:
            for lamp in head.lamps:
                yield from lamp.wires


class Frames:
    """The bytes that every chain shows.

    Attributes:
        bases: the first slot of each chain that has a frame.
        length: how many slots there are in all.
    """

    def __init__(self, layout: Layout) -> None:
        bases: list[int] = []
        length = 0
        for chain in layout.chains:
            bases.append(length)
            length += chain.length
        self.bases = tuple(bases)
        ends = (*bases[1:], length)[: len(bases)]
        self._edges = np.array((*bases, length), dtype=np.intp)
        self._beyond: list[int] = []  # for each chain, where its slots end that no frame has
        for chain in layout.all_chains:
            length += max((-wire.offset for wire in _wires(chain) if wire.offset < 0), default=0)
            self._beyond.append(length)
        self.length = length
        self._turn = np.zeros(length, dtype=np.uint8)
        self._least = np.zeros(length, dtype=np.uint16)
        for index, chain in enumerate(layout.all_chains):
            for wire in _wires(chain):
                slot = self.slot(index, wire.offset)
                self._turn[slot] = FULL_BYTE * wire.inverted
                self._least[slot] = wire.least
        self._any_least = bool(self._least.any())
        # Dark is not zero everywhere: an inverted channel is dark at 255. One block of memory, seen in two ways.
        self._memory = bytearray(self._turn.tobytes())
        self._view: Bytes = np.frombuffer(self._memory, dtype=np.uint8)
        self._cuts = [
            memoryview(self._memory)[base:end].toreadonly() for base, end in zip(bases, ends, strict=True)
        ]
        self._turns = bytes(self._turn)

    def slot(self, chain: int, offset: int) -> int:
        """Return the slot of a byte of a chain's frame; below 0 it is one that no frame has."""
        return (self.bases if offset >= 0 else self._beyond)[chain] + offset

    def chains_of(self, slots: Slots) -> list[int]:
        """Return the indexes of the chains that these slots belong to, each once; `slots` are in order."""
        before = np.searchsorted(slots, self._edges)
        return [int(chain) for chain in np.flatnonzero(np.diff(before))]

    def byte(self, slot: int, level: int) -> int:
        """Return the byte by which a channel shows a level: what is lit at all is lit enough for its LED to be seen."""
        if level and self._any_least:
            level = max(level, int(self._least[slot]))
        return byte_of_level(level) ^ self._turns[slot]

    def put(self, slot: int, byte: int) -> None:
        """Set one channel to a byte that `byte` gave."""
        self._memory[slot] = byte

    def patch_many(self, slots: Slots, levels: Levels) -> None:
        """Set many channels, each to its level, as `byte` has it; `slots` are in order, each once."""
        if self._any_least:
            levels = np.where(levels > 0, np.maximum(levels, self._least.take(slots)), 0)
        # Nothing is out of range here; clipping spares numpy a second pass that looks for it.
        looked_up = BYTE_OF_LEVEL.take(levels, mode="clip")
        if len(slots) and int(slots[-1]) - int(slots[0]) == len(slots) - 1:
            # All between the first and the last, as where everything moves: a slice costs less than a list of places.
            own = slice(int(slots[0]), int(slots[-1]) + 1)
            np.bitwise_xor(looked_up, self._turn[own], out=self._view[own])
        else:
            self._view[slots] = np.bitwise_xor(looked_up, self._turn.take(slots, mode="clip"))

    def frame(self, chain: int) -> bytes:
        """Return the present frame of a chain."""
        return self._cuts[chain].tobytes()

    def frames(self) -> tuple[bytes, ...]:
        """Return the present frame of every chain."""
        return tuple(cut.tobytes() for cut in self._cuts)
