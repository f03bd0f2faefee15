"""Chance that is the same everywhere: numbers that follow from a name and a count, and from nothing else.

Each draw is a mix of its seed and its number (the finaliser of SplitMix64: Steele, Lea and Flood, 2014), so it does not
matter who drew before, or on which machine.
"""

from __future__ import annotations

from collections.abc import Sequence
from hashlib import blake2b
from typing import Final, TypeVar

_WORD: Final = 2**64 - 1
_GOLDEN: Final = 0x9E37_79B9_7F4A_7C15

Item = TypeVar("Item")


def seed_of(name: str) -> int:
    """Return the seed of a name: 64 bits of its digest."""
    return int.from_bytes(blake2b(name.encode(), digest_size=8).digest(), "big")


def mixed(seed: int, number: int) -> int:
    """Return draw `number` of a seed: 64 bits, evenly spread."""
    value = (seed + (number + 1) * _GOLDEN) & _WORD
    value = ((value ^ (value >> 30)) * 0xBF58_476D_1CE4_E5B9) & _WORD
    value = ((value ^ (value >> 27)) * 0x94D0_49BB_1331_11EB) & _WORD
    return value ^ (value >> 31)


class Draws:
    """Draws one after the other, as one piece of work needs them.

    Args:
        seed: what they follow from.
        purpose: so that one seed gives other draws for other things.
    """

    def __init__(self, seed: int, purpose: str = "") -> None:
        self._seed = seed ^ seed_of(purpose) if purpose else seed
        self._number = 0

    def below(self, bound: int) -> int:
        """Return a whole number from 0 to `bound` - 1."""
        self._number += 1
        return (mixed(self._seed, self._number) * bound) >> 64

    def between(self, least: int, most: int) -> int:
        """Return a whole number from `least` to `most`."""
        return least + self.below(most - least + 1)

    def one_of(self, items: Sequence[Item]) -> Item:
        """Return one of several."""
        return items[self.below(len(items))]
