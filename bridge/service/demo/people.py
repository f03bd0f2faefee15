"""Those who work the lights of the pretend layout: staff at the panel, and visitors at the buttons along its edge.

Who there is follows from what the lights, zones and the switch against flashing of the layout go by. Trains, blocks,
signals and the clock are the work of others.
"""

from __future__ import annotations

from collections.abc import Iterator
from random import Random
from typing import Final, TypeAlias

from bridge.events import MILLISECOND, SECOND, Instant, Position
from bridge.layout.conditions import (
    AccessoryStands,
    ButtonHeld,
    ButtonRuns,
    ButtonToggled,
    Condition,
    Leaf,
    NumberOrdered,
    leaves,
)
from bridge.layout.model import Layout
from bridge.service.demo import timetable, valley_timetable
from bridge.service.demo.stage import Person, Stage

Seconds: TypeAlias = tuple[int, int]

HELD: Final = (2, 5)
LET_GO: Final = (5, 14)
SWITCHED: Final = (8, 26)
TOGGLED: Final = (20, 45)
TOGGLED_BACK: Final = (30, 80)
CALM: Final = (12, 18)
CALM_AGAIN: Final = (170, 260)
RAN_OUT: Final = (15, 40)
PLANNED: Final = (40, 70)
"""From and to, in seconds: how long things stay as they are."""

FIRST_CALM: Final = 100 * SECOND
"""Whoever has just come shall see the flashing lights before somebody stills them."""

TURNOUTS: Final = frozenset(
    number
    for turnouts in (
        *(route.turnouts for duty in timetable.DUTIES for route in duty.rounds),
        *(leg.turnouts for working in valley_timetable.WORKINGS for leg in working.legs),
    )
    for number, _position in turnouts
)
"""Accessories that are thrown for trains, and for nobody's pleasure."""


def join_people(stage: Stage, layout: Layout) -> None:
    """Let everybody begin who works a light of the layout; whatever they work has one of them."""
    seldom = set(leaves(layout.still)) if layout.still is not None else set()
    at_work = set[str]()
    for leaf in _all_leaves(layout):
        found = _who(stage, leaf, seldom=leaf in seldom)
        if found is not None and found[0] not in at_work:
            at_work.add(found[0])
            stage.join(*found[1:])


def _all_leaves(layout: Layout) -> Iterator[Leaf]:
    conditions: list[Condition] = [light.when for light in layout.lights]
    conditions += [row.when for zone in layout.zones for row in zone.rows]
    if layout.still is not None:
        conditions.append(layout.still)
    for condition in conditions:
        yield from leaves(condition)


def _who(stage: Stage, leaf: Leaf, *, seldom: bool) -> tuple[str, Person, Instant] | None:
    """Return what somebody works, himself, and when he begins; None where that is not for people."""
    match leaf:
        case AccessoryStands(number, _, False) if number not in TURNOUTS:
            works = f"accessory {number}"
            chance = stage.random(works)
            return works, _switch(stage, number, chance), chance.randrange(500, 7000) * MILLISECOND
        case NumberOrdered(number, plans):
            works = f"aspect {number}"
            return works, _planner(stage, number, plans, stage.random(works)), 3 * SECOND
        case ButtonHeld(button):
            works = f"button {button}"
            return works, _visitor(stage, button, stage.random(works)), 800 * MILLISECOND
        case ButtonToggled(button):
            works = f"button {button}"
            chance = stage.random(works)
            times = (CALM, CALM_AGAIN) if seldom else (TOGGLED, TOGGLED_BACK)
            first = FIRST_CALM if seldom else chance.randrange(5, 25) * SECOND
            return works, _presser(stage, button, times, chance), first
        case ButtonRuns(button, time):
            works = f"button {button}"
            return works, _caller(stage, button, time, stage.random(works)), 6 * SECOND
        case _:
            return None


def _some(chance: Random, seconds: Seconds) -> Instant:
    least, most = seconds
    return chance.randrange(least * 1000, most * 1000) * MILLISECOND


def _switch(stage: Stage, accessory: int, chance: Random) -> Person:
    lit = False
    while True:
        lit = not lit
        stage.order(accessory, Position.REVERSE if lit else Position.NORMAL)
        yield _some(chance, SWITCHED)


def _planner(stage: Stage, accessory: int, plans: tuple[int, ...], chance: Random) -> Person:
    """Order one plan after another, and then one that means nothing to the light."""
    none = next(number for number in range(256) if number not in plans)
    while True:
        for plan in (*plans, none):
            stage.say(f"aspect/{accessory}", str(plan))
            yield _some(chance, PLANNED)


def _visitor(stage: Stage, button: str, chance: Random) -> Person:
    while True:
        yield from _press(stage, button, _some(chance, HELD))
        yield _some(chance, LET_GO)


def _presser(stage: Stage, button: str, times: tuple[Seconds, Seconds], chance: Random) -> Person:
    """Press a button that toggles; it is on and off for some of these times by turns."""
    while True:
        for seconds in times:
            yield from _press(stage, button, 300 * MILLISECOND)
            yield _some(chance, seconds)


def _caller(stage: Stage, button: str, time: Instant, chance: Random) -> Person:
    """Press a button that something runs after, and again some while after that has ended."""
    while True:
        yield from _press(stage, button, 300 * MILLISECOND)
        yield time + _some(chance, RAN_OUT)


def _press(stage: Stage, button: str, held: Instant) -> Person:
    stage.say(f"button/{button}", "pressed")
    yield held
    stage.say(f"button/{button}", "released")
