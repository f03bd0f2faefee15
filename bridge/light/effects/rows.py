"""Tapes from steps of light: what every effect is made with."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache
from math import gcd
from typing import Final

from bridge.light.tapes import LONGEST_TAPE, UNIT, Tape

GRAIN: Final = 20_000_000
"""Nanoseconds: one sample of what changes all the time; a frame at fifty frames a second."""

VARIANTS: Final = 4
"""So many tapes of one effect of chance are made; lamps share them, and differ by where they begin."""

Steps = tuple[tuple[int, int], ...]
"""How long, and how much light, 0 to `UNIT`."""


@cache
def tape_of_steps(steps: Steps, *, loops: bool = True) -> Tape:
    """Return the tape of steps, each with its time in nanoseconds and its light.

    It is exact where all times are multiples of one time that goes into the period `LONGEST_TAPE` times at most; else
    each edge stands on the nearest of so many samples.
    """
    period = sum(time for time, _light in steps)
    unit = gcd(*(time for time, _light in steps))
    number = min(period // unit, LONGEST_TAPE)
    samples, at, until = list[int](), 0, 0
    for time, light in steps:
        until += time
        end = (2 * until * number + period) // (2 * period)
        samples += [light] * (end - at)
        at = end
    return Tape(tuple(samples), period, loops=loops)


@cache
def tape_of_parts(parts: Steps, period: int) -> Tape:
    """Return the tape of steps whose times are parts of a period, so that it may be any number of nanoseconds."""
    unit = gcd(*(part for part, _light in parts))
    samples = [light for part, light in parts for _ in range(part // unit)]
    return Tape(tuple(samples), period)


def edges(steps: Iterable[tuple[int, int]], tape: Tape) -> list[tuple[int, int]]:
    """Return the first and the last sample of each step on its tape."""
    steps = list(steps)
    number, at, until, found = len(tape.samples), 0, 0, list[tuple[int, int]]()
    for time, _light in steps:
        until += time
        end = (2 * until * number + tape.period) // (2 * tape.period)
        found.append((at, max(at, end - 1)))
        at = end
    return found


def eased(share: int, whole: int, most: int) -> int:
    """Return `most` x (3 t^2 - 2 t^3) for t = share / whole: from 0 to `most`, slow at both ends."""
    return most * share * share * (3 * whole - 2 * share) // (whole * whole * whole)


def wander(knots: Sequence[int], samples: int, place: int) -> int:
    """Return a value that goes smoothly from knot to knot; they are evenly spaced, and the first follows the last."""
    knot, rest = divmod(place * len(knots), samples)
    low, high = knots[knot], knots[(knot + 1) % len(knots)]
    rise = eased(rest, samples, abs(high - low))
    return low + rise if high >= low else low - rise


def within(light: int) -> int:
    """Return light that is neither less than none nor more than all."""
    return max(0, min(UNIT, light))
