"""How a lamp with a filament warms up and cools down, as tapes.

The filament gains what the current heats it by and loses what it radiates, its resistance rising as T^1.2:
dT/dt = Tn/tau x ((Tn/T)^1.2 - (T/Tn)^4). Its light is that of a black body in the middle of what the eye sees, by
Wien's law at 600 nm: exp(-23980 K x (1/T - 1/Tn)). Tn is 2700 K, and it starts from 293 K. The model is our own; lamps
for which figures were published lie around it: nine tenths of their light after 250 ms (Sivak and others, UMTRI-93-37).

All is worked out with decimals, whose exp and ln are the same on every processor.
"""

from __future__ import annotations

from bisect import bisect_left
from decimal import ROUND_HALF_UP, Context, Decimal, localcontext
from functools import cache
from itertools import pairwise
from typing import Final, NamedTuple

from bridge.light.tapes import UNIT, Tape

NOMINAL_KELVIN: Final = 2700
COLD_KELVIN: Final = 293
WIEN_KELVIN: Final = 23_980

DARK_PART: Final = 1024
"""A filament that gives one part in so many of its light is dark, and one that lacks so much is at full light."""

SAMPLES: Final = 512
STEPS_A_TAU: Final = 400
FLASH_SAMPLES: Final = 100
_PLACES: Final = Context(prec=18, rounding=ROUND_HALF_UP)


def light_at(heat: Decimal) -> Decimal:
    """Return the light of a filament, as a share of its full light, at a temperature as a share of its nominal one."""
    return (Decimal(WIEN_KELVIN) / NOMINAL_KELVIN * (1 - 1 / heat)).exp()


@cache
def warming() -> tuple[Decimal, ...]:
    """Return the temperatures, as shares of the nominal one, `STEPS_A_TAU` in each tau, until it gives full light."""
    with localcontext(_PLACES):
        step, heat = Decimal(1) / STEPS_A_TAU, Decimal(COLD_KELVIN) / NOMINAL_KELVIN
        heats = [heat]
        while 1 - light_at(heat) > Decimal(1) / DARK_PART:
            # Runge and Kutta, fourth order.
            first = _gain(heat)
            second = _gain(heat + step / 2 * first)
            third = _gain(heat + step / 2 * second)
            fourth = _gain(heat + step * third)
            heat += step / 6 * (first + 2 * second + 2 * third + fourth)
            heats.append(heat)
        return tuple(heats)


def _gain(heat: Decimal) -> Decimal:
    return (heat.ln() * Decimal("-1.2")).exp() - heat**4


@cache
def cooling() -> tuple[Decimal, ...]:
    """Return the same of a filament at full heat whose current is switched off, until it is dark.

    Without current the equation has a solution: (1 + 3 t/tau)^(-1/3).
    """
    with localcontext(_PLACES):
        heats: list[Decimal] = []
        while not heats or light_at(heats[-1]) > Decimal(1) / DARK_PART:
            passed = 1 + Decimal(3 * len(heats)) / STEPS_A_TAU
            heats.append((passed.ln() / -3).exp())
        return tuple(heats)


@cache
def ninety_percent() -> Decimal:
    """Return after how many tau a filament that is switched on gives nine tenths of its light."""
    with localcontext(_PLACES):
        after = next(index for index, heat in enumerate(warming()) if light_at(heat) >= Decimal("0.9"))
        return Decimal(after) / STEPS_A_TAU


class Filament(NamedTuple):
    """How one channel of a lamp with a filament gets to its full light, and back to none."""

    warms: Tape
    cools: Tape


@cache
def filament(ninety: int, hues: tuple[tuple[int, int], ...] = ()) -> Filament:
    """Return how a lamp warms up and how it cools down.

    Args:
        ninety: nanoseconds from switching it on to nine tenths of its light.
        hues: for temperatures in thousandths of the nominal one, rising, how much of the light this channel gives,
            beside what it gives of full light, in parts of `UNIT`; a lamp of one colour has none.
    """
    with localcontext(_PLACES):
        tau = Decimal(ninety) / ninety_percent()
        return Filament(*(_tape(heats, tau, hues) for heats in (warming(), cooling())))


def _tape(heats: tuple[Decimal, ...], tau: Decimal, hues: tuple[tuple[int, int], ...]) -> Tape:
    """Return the light along a row of temperatures; rounded once, and never turning back."""
    last = len(heats) - 1
    samples = []
    for index in range(1, SAMPLES + 1):
        heat = heats[last * index // SAMPLES]
        light = light_at(heat) * UNIT * _hue(heat * 1000, hues)
        samples.append(min(int(light.to_integral_value()), UNIT))
    rising = samples[-1] > samples[0]
    samples[-1] = UNIT if rising else 0
    for index in range(1, SAMPLES):
        pick = max if rising else min
        samples[index] = pick(samples[index], samples[index - 1])
    period = int(tau * last / STEPS_A_TAU)
    return Tape(tuple(samples), max(period, SAMPLES), loops=False, smooth=True)


def _hue(heat: Decimal, hues: tuple[tuple[int, int], ...]) -> Decimal:
    """Return a channel's part of the light at a temperature, in even steps between those that are given."""
    if not hues:
        return Decimal(1)
    if heat <= hues[0][0]:
        return Decimal(hues[0][1]) / UNIT
    for (low, before), (high, after) in pairwise(hues):
        if heat <= high:
            return (before + (after - before) * (heat - low) / (high - low)) / UNIT
    return Decimal(hues[-1][1]) / UNIT


@cache
def flashing_filament(period: int, lit: int, ninety: int) -> Tape:
    """Return how a lamp with a filament flashes: its light never jumps, and may reach neither full light nor dark.

    Args:
        period: nanoseconds from one flash to the next.
        lit: for how many hundredths of it the lamp is switched on.
        ninety: nanoseconds from switching it on to nine tenths of its light.
    """
    both = filament(ninety)
    tapes = (both.warms, both.cools)
    ahead = [max(1, period * SAMPLES // (FLASH_SAMPLES * tape.period)) for tape in tapes]
    samples, level = [0] * FLASH_SAMPLES, 0
    # After a few times round it comes back to where it began.
    for _round in range(4):
        place, was = 0, -1
        for index in range(FLASH_SAMPLES):
            does = 0 if index * 100 < lit * FLASH_SAMPLES else 1
            if does != was:
                place, was = _place(tapes[does], level), does
            samples[index] = level
            place = min(place + ahead[does], SAMPLES - 1)
            level = tapes[does].samples[place]
    return Tape(tuple(samples), period, smooth=True)


def _place(tape: Tape, level: int) -> int:
    """Return where a tape that rises or falls is as bright as a level."""
    sign = 1 if tape.samples[-1] > tape.samples[0] else -1
    return min(bisect_left(tape.samples, sign * level, key=lambda sample: sign * sample), SAMPLES - 1)
