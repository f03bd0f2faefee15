"""Zones are dimmed by their first row that holds, and all flashing is stilled when it has to be."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final
from unittest.mock import patch

from bridge.commands import Command, Told
from bridge.engine import Engine
from bridge.events import SECOND
from bridge.stage import Stage
from tests.support.driving import NORMAL, REVERSE, layout, lost, order
from tests.support.lit import clock, driven, press, street, tell

NIGHT: Final = """\
zones:
  town:
    level: 80%
    change: 20 s
    rows:
      - {when: {button: cleaning, toggles: true}, level: 100%}
      - {when: {clock: 23:00 to dawn}, level: 25%}
      - {when: {accessory: 90}, level: 50%}
  yard: {}
still: {when: {accessory: 91}}
"""
FULL: Final = 65_535
LEVELS: Final = {"80%": 52_428, "100%": FULL, "25%": 16_384, "50%": 32_768}


@contextmanager
def asked() -> Iterator[list[tuple[object, ...]]]:
    """Collect what the stage is asked for."""
    made: list[tuple[object, ...]] = []

    turn, hush = Stage.dim, Stage.still

    def dim(stage: Stage, zone: int, level: int, at: int, time: int) -> frozenset[int]:
        made.append((zone, level, at, time))
        return turn(stage, zone, level, at, time)

    def still(stage: Stage, *, on: bool, at: int) -> frozenset[int]:
        made.append((on, at))
        return hush(stage, on=on, at=at)

    with patch.object(Stage, "dim", dim), patch.object(Stage, "still", still):
        yield made


def words(commands: list[Command]) -> list[tuple[str, str, str, str]]:
    """Return what was told of zones and of the switch."""
    return [each[1:5] for each in commands if isinstance(each, Told)]


def test_at_the_start_a_zone_has_its_own_level_and_all_flashing_is_stilled() -> None:
    """Nothing is known: the zone is as it is while no row holds, and a switch that nobody knows of is on."""
    with asked() as made:
        engine = Engine(layout(street("always", more=NIGHT)))
        told = words(engine.start())
    assert [(0, LEVELS["80%"], 0, 0), (1, FULL, 0, 0), (True, 0)] == made
    assert [
        ("zone", "town", "80%", "nothing was heard of the model clock since the start"),
        ("zone", "yard", "100%", "nothing changes it"),
        ("still", "flashing", "on", "accessory 91 was not ordered since the start"),
    ] == told


def test_the_first_row_that_holds_counts() -> None:
    """A zone goes through its levels as its rows come to hold, in its own time, and says why."""
    with asked() as made:
        engine = driven("always", more=NIGHT)
        made.clear()
        told = words(tell(engine, clock("22:59"), order(90, REVERSE, SECOND)))
        told += words(engine.advance(60 * SECOND))
        told += words(tell(engine, press("cleaning", 61 * SECOND)))
    assert [
        (0, LEVELS["50%"], SECOND, 20 * SECOND),
        (0, LEVELS["25%"], 60 * SECOND, 20 * SECOND),
        (0, FULL, 61 * SECOND, 20 * SECOND),
    ] == made
    assert ("zone", "town", "100%", "button cleaning was pressed to turn it on") == told[-1]
    assert ("zone", "town", "25%", "the model clock is between 23:00 and 06:10") == told[-2]
    assert ("zone", "town", "50%", "accessory 90 was ordered reverse (by panel)") == told[-3]


def test_a_zone_that_nobody_knows_of_stays_as_it_is() -> None:
    """Where it is not known whether a row holds, those below it are not looked at and the level stays."""
    with asked() as made:
        engine = driven("always", more=NIGHT)
        tell(engine, clock("23:30"))
        made.clear()
        told = words(tell(engine, lost()))
    words_of_it = "it is not known what time it is on the model clock: panel was lost"
    assert [] == made
    assert [("zone", "town", "25%", words_of_it)] == told


def test_all_flashing_is_stilled_until_it_is_known_that_it_need_not_be() -> None:
    """The switch is on while it is not known, at the start and when its source was lost."""
    with asked() as made:
        engine = driven("always", more=NIGHT)
        made.clear()
        tell(engine, order(91, NORMAL, SECOND), order(91, NORMAL, 2 * SECOND), lost(at=3 * SECOND))
    assert [(False, SECOND), (True, 3 * SECOND)] == made


def test_without_a_word_nothing_is_stilled_and_nothing_dimmed() -> None:
    """A layout that says nothing of zones and of `still` has neither."""
    with asked() as made:
        driven("always")
    assert [] == made


def test_zones_and_the_switch_are_in_the_snapshot() -> None:
    """A resumed engine asks the stage for nothing again, and for the same afterwards."""
    text = street("always", more=NIGHT)
    first, second = Engine(layout(text)), Engine(layout(text))
    first.start()
    tell(first, clock("23:30"), order(91, NORMAL))
    second.restore(first.snapshot())
    with asked() as made:
        tell(first, lost(at=SECOND))
        once = list(made)
        tell(second, lost(at=SECOND))
    assert once + once == made
    assert first.snapshot() == second.snapshot()
