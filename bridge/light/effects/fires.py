"""Fires and arcs: light that is never still, from tapes that many lamps share."""

from __future__ import annotations

from functools import cache
from typing import Final

from bridge.layout.effects.families import Arc, Flame
from bridge.light.chance import Draws
from bridge.light.effects.rows import GRAIN, VARIANTS, eased, wander, within
from bridge.light.tapes import LONGEST_TAPE, UNIT, Score, Tape

FLAME_TIME: Final = 80_000_000_000
"""Nanoseconds, about, until the tape of a fire begins again: too long to be noticed, and half of the longest tape."""

UNEVEN: Final = 8
"""Hundredths by which a puff may be shorter or longer than the mean one. Our own figure."""

RISE: Final = 40
"""Hundredths of a puff in which its light rises; it falls in the rest."""

WANDER: Final = 1_500_000_000
"""Nanoseconds in which the light of a fire wanders from one mean to the next; at least three puffs."""

FIRE_HUE: Final = "candle"
ARC_HUE: Final = "7500 K"

BURSTS: Final = (1_000, 30_000)
PAUSES: Final = (2_000, 15_000)
"""Milliseconds that a welder's arc burns, and that it does not. The bursts are trade practice without a source, the
pauses our own."""


def play_flame(effect: Flame, lamps: int, seed: int) -> tuple[Score, ...]:
    """Return what each lamp plays: one of a few tapes, from somewhere in it."""
    draws = Draws(seed, effect.kind)
    found, first = [], draws.below(VARIANTS)
    for lamp in range(lamps):
        tape = _flame(effect.puffs, effect.depth, (first + lamp) % VARIANTS)
        found.append(Score(tape, ((0, FIRE_HUE),), -draws.below(tape.period)))
    return tuple(found)


@cache
def _flame(puffs: int, depth: int, variant: int) -> Tape:
    """Return a fire that puffs so many thousandths of a hertz; `depth` hundredths of its light go with each puff."""
    draws = Draws(variant, f"flame {puffs} {depth}")
    number = FLAME_TIME * puffs // 10**12
    mean = 10**12 // puffs
    ends, at = list[int](), 0
    for _ in range(number):
        at += mean * (100 + draws.between(-UNEVEN, UNEVEN)) // 100
        ends.append(at)
    heights = [draws.between(60, 100) for _ in range(number)]
    knots = [draws.between(-100, 100) for _ in range(FLAME_TIME // max(WANDER, 3 * mean))]
    count = at // GRAIN
    base, swing = UNIT * (100 - depth - depth // 2) // 100, UNIT * depth // 200
    samples, puff, began = list[int](), 0, 0
    for place in range(count):
        now = at * place // count
        while now >= ends[puff]:
            began, puff = ends[puff], puff + 1
        whole = ends[puff] - began
        rise = whole * RISE // 100
        share = now - began
        height = (
            eased(share, rise, heights[puff])
            if share < rise
            else heights[puff] - eased(share - rise, whole - rise, heights[puff])
        )
        slow = wander(knots, count, place)
        samples.append(within(base + UNIT * depth * height // 10_000 + swing * slow // 100))
    return Tape(tuple(samples), at, smooth=True)


def play_arc(effect: Arc, lamps: int, seed: int) -> tuple[Score, ...]:
    """Return what the lamps play: all the same, since they show one arc."""
    draws = Draws(seed, effect.kind)
    tape = _arc(draws.below(VARIANTS))
    score = Score(tape, ((0, ARC_HUE),), -draws.below(tape.period))
    return (score,) * lamps


@cache
def _arc(variant: int) -> Tape:
    """Return bursts of 1 to 30 s with pauses; within a burst the light is another in every sample."""
    draws = Draws(variant, "arc")
    samples = list[int]()
    grain = GRAIN // 1_000_000
    while True:
        burst, pause = draws.between(*BURSTS) // grain, draws.between(*PAUSES) // grain
        if len(samples) + burst + pause > LONGEST_TAPE:
            break
        samples += [UNIT * draws.between(35, 100) // 100 for _ in range(burst)] + [0] * pause
    return Tape(tuple(samples), len(samples) * GRAIN)
