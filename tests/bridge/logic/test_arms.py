"""Semaphore arms: where each has to stand is told to whatever moves it."""

from __future__ import annotations

import json
from typing import Final

from bridge.commands import Command, Told
from bridge.engine import Engine
from tests.support.driving import NORMAL, REVERSE, layout, lost, order
from tests.support.tracks import CLEAR, OCCUPIED, block, driven, written

ARM: Final = (
    "commands: {61: {normal: stop, reverse: clear}, 62: {reverse: approach}, 63: {reverse: restricting}}, "
    "arm: {stop: level, approach: half, clear: raised}"
)
MAST: Final = written({"A": ARM})


def arms(commands: list[Command]) -> list[tuple[str, str]]:
    """Return what is told of arms."""
    return [(each.name, each.state) for each in commands if isinstance(each, Told) and each.subject == "arm"]


def test_an_arm_is_told_at_the_start_and_with_each_change() -> None:
    """At the start it is level, and then it goes by the aspect; an aspect that it has no place for holds it level."""
    engine = Engine(layout(MAST))
    assert [("A", "level")] == arms(engine.start())
    told = [
        arms(engine.handle(order(number, position))) for number, position in ((61, REVERSE), (62, REVERSE))
    ]
    told.append(arms(engine.handle(order(63, REVERSE))))
    assert [[("A", "raised")], [("A", "half")], [("A", "level")]] == told


def test_an_arm_that_stands_there_already_is_not_told_again() -> None:
    """A new reason for the same aspect moves no arm."""
    engine = driven(MAST)
    engine.handle(order(61, REVERSE))
    assert [] == arms(engine.handle(order(61, REVERSE, source="booster")))


def test_an_arm_goes_level_when_nothing_is_known_and_at_the_end() -> None:
    """A lost source and a clean stop put it to the most restrictive aspect."""
    engine = driven(MAST)
    engine.handle(order(61, REVERSE))
    assert [("A", "level")] == arms(engine.handle(lost()))
    engine.handle(order(61, REVERSE))
    assert [("A", "level")] == arms(engine.closing(1))


def test_an_arm_goes_by_the_aspect_while_the_lamps_are_dark() -> None:
    """Approach lighting puts out lamps, and no arm cares."""
    engine = driven(written({"A": f"{ARM}, lit-by: [near]"}, "blocks: {near: {clear-after: 0 s}}\n"))
    engine.handle(block("near", CLEAR))
    assert [("A", "raised")] == arms(engine.handle(order(61, REVERSE)))
    assert "dark" == engine.choices()["A"].aspect
    assert [] == arms(engine.handle(block("near", OCCUPIED)))


def test_a_snapshot_remembers_where_an_arm_stands() -> None:
    """After it the same change is told, and nothing twice."""
    first, second = driven(MAST), driven(MAST)
    first.handle(order(61, REVERSE))
    second.restore(json.loads(json.dumps(first.snapshot())))
    assert [] == arms(second.handle(order(61, REVERSE, 5, "booster")))
    assert [("A", "level")] == arms(second.handle(order(61, NORMAL, 6)))
