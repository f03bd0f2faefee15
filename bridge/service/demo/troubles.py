"""What goes wrong on the layout, now and then and never for long: short circuits, and detectors that see nothing."""

from __future__ import annotations

from random import Random
from typing import Final

from bridge.events import MILLISECOND, SECOND, PowerState
from bridge.service.demo import valley_timetable as plan
from bridge.service.demo.stage import Person, Stage

FIRST_FAULT: Final = 40 * SECOND
FIRST_SHORT: Final = 100 * SECOND
"""From the beginning. Whoever has just come shall see the line as it is meant to be."""


def detector_faults(stage: Stage, chance: Random) -> Person:
    """Blind one detector of the valley line after another."""
    while True:
        block = chance.choice(plan.BLOCKS)
        stage.blind(block)
        yield chance.randrange(4000, 8000) * MILLISECOND
        stage.mend(block)
        yield chance.randrange(100, 220) * SECOND


def short_circuits(stage: Stage, chance: Random) -> Person:
    """Let a wheel touch the wrong rail: a district has a short circuit, and somebody comes and puts it right."""
    while True:
        district = chance.choice(plan.DISTRICTS)
        stage.power(district, PowerState.SHORTED)
        yield chance.randrange(2500, 5000) * MILLISECOND
        stage.power(district, PowerState.ON)
        yield chance.randrange(180, 360) * SECOND
