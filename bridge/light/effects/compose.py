"""The door to all effects: what each lamp plays, and what it shows when nothing may flash."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from bridge.events import SECOND
from bridge.layout.effects.families import (
    Arc,
    Beacon,
    Chase,
    Effect,
    Flame,
    Flasher,
    GasTube,
    Programme,
    Screen,
    Steady,
    Tube,
    WarmUp,
)
from bridge.light.effects.discharge import play_gas_tube, play_screen, play_tube, play_warm_up
from bridge.light.effects.fires import play_arc, play_flame
from bridge.light.effects.flashing import play_flasher
from bridge.light.effects.rows import tape_of_steps
from bridge.light.effects.sequences import play_beacon, play_chase, play_programme
from bridge.light.tapes import UNIT, Score


def _play_steady(_effect: Steady, lamps: int, _seed: int) -> tuple[Score, ...]:
    return (Score(tape_of_steps(((SECOND, UNIT),))),) * lamps


_PLAYED: Final[Mapping[type[Effect], Callable[[Any, int, int], tuple[Score, ...]]]] = {
    Steady: _play_steady,
    Flasher: play_flasher,
    Chase: play_chase,
    Programme: play_programme,
    Beacon: play_beacon,
    Flame: play_flame,
    Arc: play_arc,
    Tube: play_tube,
    WarmUp: play_warm_up,
    Screen: play_screen,
    GasTube: play_gas_tube,
}


def compose(effect: Effect, lamps: int, seed: int) -> tuple[Score, ...]:
    """Return what each of so many lamps plays, in their order.

    Args:
        effect: what is asked for.
        lamps: as many as it was read for.
        seed: that of the device's name; `bridge.light.chance.seed_of` gives it.
    """
    return _PLAYED[type(effect)](effect, lamps, seed)


def flashes(effect: Effect) -> bool:
    """Return whether an effect is meant to flash or to flicker, so that it is stilled with all others."""
    match effect:
        case Steady() | WarmUp():
            return False
        case Programme():
            return effect.flashes
        case Beacon():
            return any(phase.light < 100 for phase in effect.phases)
        case _:
            return True


def stilled(effect: Effect, lamps: int) -> tuple[int, ...]:
    """Return what each lamp shows steadily where nothing may flash, as shares of `UNIT`.

    What flashes is lit, so that nothing is missing; what flickers has its mean light, and so has a tube that never
    starts. A board shows the step in which most of its lamps are lit.
    """
    match effect:
        case Programme():
            fullest = max(effect.steps, key=lambda step: len(step.lit))
            return tuple(UNIT if lamp in fullest.lit else 0 for lamp in range(lamps))
        case Flame() | Arc() | Screen() | Tube(fails=True, gives_up=0):
            return tuple(
                sum(score.tape.samples) // len(score.tape.samples) for score in compose(effect, lamps, 0)
            )
        case Tube(fails=True):
            return (0,) * lamps
        case _:
            return (UNIT,) * lamps


def hues_of(scores: tuple[Score, ...]) -> tuple[str, ...]:
    """Return every colour that is asked for, each once."""
    return tuple(dict.fromkeys(hue for score in scores for _sample, hue in score.hues))
