"""How much a light flashes, for the care of people whom that can harm.

WCAG 2.2, success criterion 2.3.1: a flash is a pair of opposing changes of relative luminance of 10 % or more of the
most there is, where the darker state is below 80 %; a pair of opposing changes that involves a saturated red is one
whatever its darker state is. More than three of them in any one second can bring on a seizure.
"""

from __future__ import annotations

from bisect import bisect_left
from functools import cache
from typing import Final, NamedTuple

from bridge.events import SECOND
from bridge.light.tapes import UNIT, Score, Tape

MOST_A_SECOND: Final = 3
"""Flashes that may lie in any one second."""

ROUNDING: Final = 1000
"""Nanoseconds by which a period that is no whole number of them may be too short in so much time."""

LEAST_CHANGE: Final = UNIT // 10
DARKER: Final = UNIT * 8 // 10

SATURATED_RED: Final = frozenset({"red"})
"""Colours of which red makes up four fifths or more."""


class Flicker(NamedTuple):
    """How a light flashes.

    Attributes:
        in_a_second: the most flashes that lie in any one second.
        of_all: flashes in the whole of its tape.
        red: whether they are of a saturated red.
    """

    in_a_second: int
    of_all: int
    red: bool

    @property
    def too_fast(self) -> bool:
        """Whether it flashes more often than three times in a second."""
        return self.in_a_second > MOST_A_SECOND


def flicker(score: Score, colour: str = "") -> Flicker:
    """Return how a lamp flashes that plays a score; a lamp of one colour has `colour`, and mixes no other."""
    red = (
        colour in SATURATED_RED
        if colour or not score.hues
        else any(hue in SATURATED_RED for _sample, hue in score.hues)
    )
    in_a_second, of_all = _measured(score.tape, red=red)
    return Flicker(in_a_second, of_all, red)


@cache
def _measured(tape: Tape, *, red: bool) -> tuple[int, int]:
    """Return the most flashes in any one second, and those of one turn of the tape."""
    turns = 1 + -(-2 * SECOND // tape.period) if tape.loops else 1
    changes = _changes(tape, turns, red=red)
    if len(changes) < 2:
        return 0, 0
    # A window that begins just at a change holds the most. Opposing changes come by turns, so two make a flash; one
    # that has begun counts as well, so that whatever flashes faster than so often in a second is found.
    most = max(bisect_left(changes, at + SECOND - ROUNDING) - place for place, at in enumerate(changes))
    settled = changes[bisect_left(changes, tape.period) :] if tape.loops else changes
    one_turn = bisect_left(settled, 2 * tape.period) if tape.loops else len(settled)
    return (most + 1) // 2 if most > 1 else 0, one_turn // 2


def _changes(tape: Tape, turns: int, *, red: bool) -> list[int]:
    """Return the instants of all opposing changes, each when it has become large enough.

    The light is followed from its last turning point, so a slow rise counts as much as a sudden one.
    """
    samples = tape.samples
    number = len(samples)
    changes = list[int]()
    low = high = samples[0]
    rising: bool | None = None
    for place in range(1, number * turns):
        light = samples[place % number]
        if rising is not False and high - light >= LEAST_CHANGE and (red or light < DARKER):
            rising = False
        elif rising is not True and light - low >= LEAST_CHANGE and (red or low < DARKER):
            rising = True
        elif rising is None:
            low, high = min(low, light), max(high, light)
            continue
        else:
            low = min(low, light) if rising is False else low
            high = max(high, light) if rising is True else high
            continue
        changes.append(place * tape.period // number)
        low = high = light
    return changes
