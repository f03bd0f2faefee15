"""Tubes and discharge lamps, sound and failing, and the glow of a screen."""

from __future__ import annotations

from functools import cache
from typing import Final

from bridge.layout.effects.families import GasTube, Screen, Tube, WarmUp
from bridge.light.chance import Draws
from bridge.light.effects.rows import GRAIN, VARIANTS, Steps, eased, tape_of_steps, within
from bridge.light.tapes import UNIT, Score, Tape

MS: Final = 1_000_000
CENTI: Final = UNIT // 100

WARM_SAMPLES: Final = 4096

TRIES: Final = 3
"""How often a sound tube may try before it stays lit."""

PREHEAT: Final = (500, 2000)
"""Milliseconds for which the ends of a tube glow before each try: a lighting-design handbook, quoted."""

ENDS: Final = 2 * CENTI
"""Light of a tube of which only the ends glow. Our own figure."""

SCREEN_HUES: Final = ("9000 K", "6500 K", "7500 K", "5000 K", "4000 K")
SCREEN_SAMPLE: Final = 100 * MS
SCREEN_TIME: Final = 160
"""Seconds until the tape of a screen begins again."""


def play_tube(effect: Tube, lamps: int, seed: int) -> tuple[Score, ...]:
    """Return what each lamp plays: each is a tube of its own, with its own luck."""
    draws = Draws(seed, effect.kind)
    found, first = [], draws.below(2 * VARIANTS)
    for lamp in range(lamps):
        variant = (first + lamp) % (2 * VARIANTS)
        if not effect.fails:
            found.append(Score(_start(variant)))
        elif effect.gives_up:
            found.append(Score(_gives_up(variant, effect.gives_up)))
        else:
            tape = _fails(variant)
            found.append(Score(tape, shift=-draws.below(tape.period)))
    return tuple(found)


@cache
def _start(variant: int) -> Tape:
    """Return a tube that tries once to three times, stays lit, and comes to its full light within half a minute."""
    draws = Draws(variant, "tube")
    steps = list[tuple[int, int]]()
    for _ in range(draws.between(1, TRIES)):
        steps += _try(draws)
    steps.append((draws.between(*PREHEAT) // 20 * GRAIN, ENDS))
    steps += [(10 * GRAIN, 70 * CENTI + (UNIT - 70 * CENTI) * place // 150) for place in range(1, 151)]
    return tape_of_steps(tuple(steps), loops=False)


def _try(draws: Draws) -> list[tuple[int, int]]:
    """Return one try: the ends glow, the tube flashes, and it is dark."""
    return [
        (draws.between(*PREHEAT) // 20 * GRAIN, ENDS),
        (draws.between(2, 6) * GRAIN, draws.between(45, 80) * CENTI),
        (draws.between(5, 20) * GRAIN, 0),
    ]


def _tries(variant: int, time: int) -> Steps:
    """Return tries that fill a time."""
    draws = Draws(variant, "failing tube")
    steps, left = list[tuple[int, int]](), time
    while left > 0:
        for step_time, light in _try(draws):
            taken = min(left, step_time)
            if taken:
                steps.append((taken, light))
            left -= taken
    return tuple(steps)


@cache
def _fails(variant: int) -> Tape:
    return tape_of_steps(_tries(variant, 4000 * GRAIN))


@cache
def _gives_up(variant: int, time: int) -> Tape:
    return tape_of_steps((*_tries(variant, time // GRAIN * GRAIN), (GRAIN, 0)), loops=False)


def play_warm_up(effect: WarmUp, lamps: int, _seed: int) -> tuple[Score, ...]:
    """Return what the lamps play: all the same; a spread of their starts is the owner's to ask for."""
    tape = _warm_up(effect.time, effect.first)
    last = len(tape.samples) - 1
    hues = tuple((share * last // 100, hue) for share, hue in effect.hues)
    return (Score(tape, hues),) * lamps


@cache
def _warm_up(time: int, first: int) -> Tape:
    """Return light that rises from `first` hundredths to all of it, slowly, then faster, and slowly again."""
    low, last = first * CENTI, WARM_SAMPLES - 1
    samples = [low + eased(place, last, UNIT - low) for place in range(WARM_SAMPLES)]
    return Tape(tuple(samples), time, loops=False, smooth=True)


def play_screen(effect: Screen, lamps: int, seed: int) -> tuple[Score, ...]:
    """Return what the lamps play: all the same, since they show one screen."""
    draws = Draws(seed, effect.kind)
    tape, hues = _screen(draws.below(VARIANTS))
    return (Score(tape, hues, -draws.below(tape.period)),) * lamps


@cache
def _screen(variant: int) -> tuple[Tape, tuple[tuple[int, str], ...]]:
    """Return scenes of 1 to 10 s, each of a light and a colour of its own, with small changes inside."""
    draws = Draws(variant, "screen")
    total = SCREEN_TIME * 10
    samples, hues = list[int](), list[tuple[int, str]]()
    while len(samples) < total:
        scene = draws.between(10, 100)
        if total - len(samples) - scene < 10:
            scene = total - len(samples)
        light, hue = draws.between(35, 92), draws.one_of(SCREEN_HUES)
        hues += [(len(samples), hue), (len(samples) + scene - 1, hue)]
        until = len(samples) + scene
        while len(samples) < until:
            held = min(draws.between(3, 12), until - len(samples))
            samples += [within((light + draws.between(-3, 3)) * CENTI)] * held
    return Tape(tuple(samples), len(samples) * SCREEN_SAMPLE), tuple(hues)


def play_gas_tube(effect: GasTube, lamps: int, seed: int) -> tuple[Score, ...]:
    """Return what the lamps play: all the same, since they show one tube."""
    draws = Draws(seed, effect.kind)
    tape = _gas_tube(draws.below(VARIANTS))
    return (Score(tape, shift=-draws.below(tape.period)),) * lamps


@cache
def _gas_tube(variant: int) -> Tape:
    """Return a tube that is lit for 3 to 20 s, and then flickers once to ten times a second for 1 to 5 s."""
    draws = Draws(variant, "gas tube")
    steps = list[tuple[int, int]]()
    while sum(time for time, _light in steps) < 120 * 1000 * MS:
        steps.append((draws.between(150, 1000) * GRAIN, UNIT))
        left = draws.between(50, 250)
        while left > 0:
            dark = draws.between(2, 25)
            lit = draws.between(3, 25)
            steps += [
                (dark * GRAIN, draws.between(0, 20) * CENTI),
                (lit * GRAIN, draws.between(60, 95) * CENTI),
            ]
            left -= dark + lit
    return tape_of_steps(tuple(steps))
