"""The pulses for a chain lie within what the data sheets of its chips allow."""

from __future__ import annotations

from itertools import combinations
from typing import Final

import pytest

from bridge.chain.pulses import BIT_NS, pulses_for, reset_us
from bridge.layout.chips import CHIP_TYPES

# Worldsemi WS2811 (times of 400 kbit/s and their tolerance, halved), WS2812B early sheet, WS2812B-V5 page 3; OPSCO
# SK6812MINI section 10 and SK6812RGBW section 10: least and most of T0H, T0L, T1H and T1L, nanoseconds.
SHEETS: Final = {
    "ws2811": ((175, 325), (925, 1075), (525, 675), (575, 725)),
    "ws2812b": ((200, 500), (750, 1050), (750, 1050), (200, 500)),
    "ws2812b-v5": ((220, 380), (580, 1000), (580, 1000), (580, 1000)),
    "sk6812": ((150, 450), (750, 1050), (450, 750), (450, 750)),
    "sk6812-rgbw": ((150, 450), (750, 1050), (450, 750), (450, 750)),
}


def farthest(kinds: tuple[str, ...], times: tuple[int, ...]) -> int:
    """Return by how much the worst of the times is beside one of the sheets."""
    return max(farthest_of(kinds, which, time) for which, time in enumerate(times))


def farthest_of(kinds: tuple[str, ...], which: int, time: int) -> int:
    """Return by how much one of the four times is beside the sheet that it suits least."""
    return max(max(SHEETS[kind][which][0] - time, time - SHEETS[kind][which][1], 0) for kind in kinds)


def test_every_chip_of_the_table_has_a_sheet_here() -> None:
    """What follows leaves no chip out."""
    assert set(SHEETS) == set(CHIP_TYPES)


@pytest.mark.parametrize("kind", SHEETS)
def test_chain_of_one_kind_of_chip_is_within_its_data_sheet(kind: str) -> None:
    """All four times are, with room on both sides, and a bit takes what the chip table says."""
    pulses = pulses_for([kind])
    assert 0 == pulses.missed_by == farthest((kind,), pulses.times)
    for at, by in ((0, 30), (2, 30)):
        for sign in (-1, 1):
            moved = list(pulses.times)
            moved[at] += sign * by
            moved[at + 1] -= sign * by
            assert 0 == farthest((kind,), tuple(moved))
    assert CHIP_TYPES[kind].bit_ns == BIT_NS == sum(pulses.times[:2]) == sum(pulses.times[2:])


@pytest.mark.parametrize("kinds", [pair for size in (2, 3) for pair in combinations(SHEETS, size)])
def test_mixed_chain_says_by_how_much_its_pulses_are_beside_the_sheets(kinds: tuple[str, ...]) -> None:
    """The figure is that of the worst served chip, and no other high times serve it better."""
    pulses = pulses_for(kinds)
    assert farthest(kinds, pulses.times) == pulses.missed_by
    for bit in (0, 2):
        own = [
            max(farthest_of(kinds, bit, high), farthest_of(kinds, bit + 1, BIT_NS - high))
            for high in range(BIT_NS)
        ]
        assert min(own) <= own[pulses.times[bit]] <= min(own) + 1  # rounding


def test_reset_is_the_longest_of_the_chain() -> None:
    """A WS2812B-V5 wants 280 microseconds (page 3), whatever hangs beside it."""
    assert 50 == reset_us(["ws2811"])
    assert 280 == reset_us(["ws2811", "ws2812b-v5", "sk6812"])
