"""Lamps that flash at an even rate."""

from __future__ import annotations

from functools import cache
from typing import Final

from bridge.layout.effects.families import Flasher, Shape, Turns
from bridge.layout.model import MINUTE
from bridge.light.chance import Draws
from bridge.light.effects.rows import tape_of_parts
from bridge.light.tapes import UNIT, Score, Tape

PARTS: Final = 240
"""A time with strobe flashes is divided into so many parts."""

STROKE: Final = 40_000_000
"""Nanoseconds that a strobe is lit: at 25 frames a second or more each flash is in a frame. The real one is shorter."""

SWEEP_SAMPLES: Final = 96
BEAM: Final = 18
"""Hundredths of a turn for which a turning mirror is seen, from the first light to the last."""

GLOW: Final = UNIT // 40
"""What is seen of its lamp from the side: a fortieth of the beam, in linear light. Our own figure."""


def play_flasher(effect: Flasher, lamps: int, seed: int) -> tuple[Score, ...]:
    """Return what each lamp plays; all share one tape."""
    period = MINUTE // effect.rate
    match effect.shape:
        case Shape.BLINK:
            tape = tape_of_parts(((effect.lit, UNIT), (100 - effect.lit, 0)), period)
        case Shape.STROBE:
            turns = 2 if effect.turns is Turns.HALVES else 1
            tape = _strobe(period, effect.flashes, turns)
        case Shape.SWEEP:
            tape = _sweep(period)
    begins = 0 if effect.in_step else -Draws(seed, effect.kind).below(period)
    return tuple(
        Score(tape, shift=begins + _later(effect.turns, lamp, lamps, period)) for lamp in range(lamps)
    )


def _later(turns: Turns, lamp: int, lamps: int, period: int) -> int:
    """Return by how much a lamp is later than the first."""
    match turns:
        case Turns.TOGETHER:
            return 0
        case Turns.HALVES:
            return (lamp % 2) * (period // 2)
        case Turns.RING:
            return lamp * period // lamps
        case Turns.RUN:
            return lamp * (2 * period // 3) // lamps


@cache
def _strobe(period: int, flashes: int, turns: int) -> Tape:
    """Return so many flashes at the beginning of a time; they fit into the part of it that is theirs."""
    room = PARTS // turns
    stroke = max(1, min(STROKE * PARTS // period, room // (3 * flashes)))
    parts = [(stroke, UNIT), (2 * stroke, 0)] * flashes
    last = PARTS - sum(part for part, _light in parts)
    parts[-1] = (2 * stroke + last, 0)
    return tape_of_parts(tuple(parts), period)


@cache
def _sweep(period: int) -> Tape:
    """Return one turn of a mirror: (1 - d^2)^2 for d from the middle of the beam to its edge, above the glow."""
    half = SWEEP_SAMPLES * BEAM // 200
    samples = []
    for place in range(SWEEP_SAMPLES):
        off = min(place, SWEEP_SAMPLES - place)
        beam = max(0, half * half - off * off)
        samples.append(GLOW + (UNIT - GLOW) * beam * beam // half**4)
    return Tape(tuple(samples), period, smooth=True)
