"""Where a frame is cut when one packet cannot hold it. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from adapters.contract import ChipRun

UNIVERSE: Final = 512
"""Slots of a universe (ANSI E1.11, DMX512-A): 170 chips of three channels, or 128 of four."""


def spans(chips: Iterable[ChipRun], most: int) -> tuple[slice, ...]:
    """Return the parts of a frame, in order: each of at most so many bytes, and no chip in two of them.

    Args:
        chips: what hangs on the chain.
        most: bytes that a part may have.

    Raises:
        ValueError: one chip alone has more bytes than that.
    """
    found: list[slice] = []
    begin = end = 0
    for run in chips:
        if run.channels > most:
            raise ValueError(f"a {run.kind} has {run.channels} bytes, and a part only {most}")
        left = run.count
        while left:
            fitting = min(left, (begin + most - end) // run.channels)
            end += fitting * run.channels
            left -= fitting
            if left:
                found.append(slice(begin, end))
                begin = end
    if end > begin:
        found.append(slice(begin, end))
    return tuple(found)
