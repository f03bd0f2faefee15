"""How long the data line is high and low for each bit, for boards that make these pulses themselves.

All chips here take a bit in 1250 ns, so one number says it all: how long the line is high for a 0, and for a 1. The low
time is the rest.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Final, NamedTuple

from bridge.layout.chips import CHIP_TYPES

BIT_NS: Final = 1250


class Span(NamedTuple):
    """From a least to a most, nanoseconds."""

    least: int
    most: int

    def and_rest(self, low: Span) -> Span:
        """Return the part of it that leaves, of a whole bit, a low time within `low`."""
        return Span(max(self.least, BIT_NS - low.most), min(self.most, BIT_NS - low.least))


_SPANS: Final = {
    # The sheet halves its times of 400 kbit/s (0.5, 2.0, 1.2 and 1.3 us); that it halves its +-150 ns too is assumed.
    "ws2811": (Span(175, 325).and_rest(Span(925, 1075)), Span(525, 675).and_rest(Span(575, 725))),
    # 0.35, 0.9, 0.9 and 0.35 us, each +-150 ns.
    "ws2812b": (Span(200, 500).and_rest(Span(750, 1050)), Span(750, 1050).and_rest(Span(200, 500))),
    # 220 to 380 ns for the high time of a 0, 580 ns to 1 us for everything else.
    "ws2812b-v5": (Span(220, 380).and_rest(Span(580, 1000)), Span(580, 1000).and_rest(Span(580, 1000))),
    # 0.3, 0.9, 0.6 and 0.6 us, each +-150 ns.
    "sk6812": (Span(150, 450).and_rest(Span(750, 1050)), Span(450, 750).and_rest(Span(450, 750))),
    "sk6812-rgbw": (Span(150, 450).and_rest(Span(750, 1050)), Span(450, 750).and_rest(Span(450, 750))),
}
"""High times of a 0 and of a 1 by the data sheets that `bridge.layout.chips` names, for bits of 1250 ns."""


@dataclass(frozen=True, slots=True)
class Pulses:
    """The pulses of one chain.

    Attributes:
        high_of_0: nanoseconds.
        high_of_1: nanoseconds.
        missed_by: by how much the worst served of its chips is beside its data sheet, nanoseconds; 0 if all are served.
    """

    high_of_0: int
    high_of_1: int
    missed_by: int

    @property
    def times(self) -> tuple[int, int, int, int]:
        """High and low of a 0, then of a 1, nanoseconds."""
        return (self.high_of_0, BIT_NS - self.high_of_0, self.high_of_1, BIT_NS - self.high_of_1)


def pulses_for(kinds: Collection[str]) -> Pulses:
    """Return pulses in the middle of what the data sheets of all chips on a chain allow.

    Where they allow nothing in common, the pulses are equally far from the two that are farthest apart.

    Args:
        kinds: names of chip types, at least one.
    """
    highs, misses = [], []
    for bit in (0, 1):
        least = max(_SPANS[kind][bit].least for kind in kinds)
        most = min(_SPANS[kind][bit].most for kind in kinds)
        high = (least + most) // 2
        highs.append(high)
        misses.append(max(least - high, high - most, 0))
    return Pulses(highs[0], highs[1], max(misses))


def reset_us(kinds: Collection[str]) -> int:
    """Return the longest reset that a chip of a chain asks for, microseconds."""
    return max(CHIP_TYPES[kind].reset_us for kind in kinds)
