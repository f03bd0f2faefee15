"""The steps of closing and opening a road: every pair of the table, and what the law says of their order and times.

The rules about how long before a train the road has to be closed (49 CFR 234.225, 234.223: 20 s of warning, gates down
5 s before the train) are about distances and speeds, of which blocks alone say nothing: they cannot be tried here.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from typing import Final

import pytest

from bridge.events import SECOND
from bridge.layout.crossings import RED, Crossing, Phase
from bridge.logic import crossing as logic
from bridge.logic.crossing import GATES, STEPS, Happens, Table
from tests.support.crossings import AMBER, MILL_LANE, OPEN, Watched

START: Final = 3 * SECOND
LOWER: Final = 9 * SECOND
RAISE: Final = 8 * SECOND


def in_phase(phase: Phase, layout: Crossing = AMBER) -> Watched:
    """Return a crossing that has come into a phase a second ago."""
    watched = Watched(layout)
    ways = {
        Phase.IDLE: ("ua c", 0),
        Phase.AMBER: ("ua o", 0),
        Phase.WARNING: ("ua o", 3),
        Phase.LOWERING: ("ua o", 6),
        Phase.DOWN: ("ua o", 15),
        Phase.RISING: ("ua o", 15),
    }
    report, time = ways[phase]
    watched.say(report)
    watched.wait(time * SECOND)
    if phase is Phase.RISING:
        watched.say("ua c")
    assert phase is watched.phase
    watched.wait(SECOND)
    assert phase is watched.phase
    return watched


@pytest.mark.parametrize(("phase", "happens"), [*product(Phase, [Happens.CALLED, Happens.FREE])])
def test_every_pair_of_the_table(phase: Phase, happens: Happens) -> None:
    """In each phase a train that comes, or none, leads where the table says, and else nowhere."""
    watched = in_phase(phase)
    after = watched.say("da o" if happens is Happens.CALLED else "ua c")
    if happens is Happens.FREE and phase is Phase.IDLE:
        after = watched.say("da c")
    assert STEPS.get((phase, happens), phase) is after


@pytest.mark.parametrize(
    ("phase", "time"), [(Phase.AMBER, 3), (Phase.WARNING, 3), (Phase.LOWERING, 9), (Phase.RISING, 8)]
)
def test_every_time_of_the_table(phase: Phase, time: int) -> None:
    """Each phase that has a time lasts that long, to the nanosecond, and is followed by what the table says."""
    watched = in_phase(phase)
    assert phase is watched.wait((time - 1) * SECOND - 1)
    assert STEPS[phase, Happens.TIME] is watched.wait(1)


@pytest.mark.parametrize("phase", [Phase.IDLE, Phase.DOWN])
def test_phases_without_a_time_last_for_ever(phase: Phase) -> None:
    """A road stays open or closed for as long as nothing happens."""
    watched = in_phase(phase)
    assert watched.crossing.next_due() is None
    assert phase is watched.wait(24 * 3600 * SECOND)


def test_every_step_is_in_the_table() -> None:
    """What is tried above is all there is."""
    timed = {(phase, Happens.TIME) for phase in (Phase.AMBER, Phase.WARNING, Phase.LOWERING, Phase.RISING)}
    assert timed == {pair for pair in STEPS if pair[1] is Happens.TIME}
    assert set(Phase) == set(GATES)


# ---- what is prescribed -------------------------------------------------------------------------------------


def gates_start_after_the_lights(layout: Crossing = MILL_LANE, table: Table = STEPS) -> None:
    """Check that gates do not start before the red lights have been on for their time, nor much after it."""
    watched = Watched(layout, table)
    watched.say("ua o")
    watched.wait(30 * SECOND)
    began = dict(watched.seen[1:])
    assert layout.gates is not None
    assert layout.gates.start_after == began[Phase.LOWERING] - began[Phase.WARNING]


def lights_stop_last(layout: Crossing = MILL_LANE, table: Table = STEPS) -> None:
    """Check that the red lights are on until the gates are up."""
    watched = Watched(layout, table)
    watched.down()
    watched.say("ua c")
    assert watched.red
    watched.wait(RAISE - 1)
    assert watched.red
    assert Phase.RISING is watched.phase
    assert Phase.IDLE is watched.wait(1)


def gates_stay_down_for_a_train(layout: Crossing = MILL_LANE, table: Table = STEPS) -> None:
    """Check that gates stay down while a train is on the road, and start to rise as soon as none is near."""
    watched = Watched(layout, table)
    watched.down()
    watched.say("ub o", "ux o", "ua c", "ub c")
    assert Phase.DOWN is watched.wait(3600 * SECOND)
    assert Phase.DOWN is watched.say("uc o")
    assert Phase.RISING is watched.say("ux c")


def a_second_train_keeps_the_road_closed(layout: Crossing = MILL_LANE, table: Table = STEPS) -> None:
    """Check that gates stay down for a second train, and come down again for one that comes as they rise."""
    watched = Watched(layout, table)
    watched.down()
    assert Phase.DOWN is watched.say("da o")
    assert Phase.DOWN is watched.say("ua c")
    assert Phase.RISING is watched.say("da c")
    watched.wait(3 * SECOND)
    assert Phase.LOWERING is watched.say("da o")
    assert watched.red


def a_train_closes_an_open_road(layout: Crossing = MILL_LANE, table: Table = STEPS) -> None:
    """Check that the red lights come on for a train, at once where there is nothing before them."""
    watched = Watched(layout, table)
    watched.say("ua o")
    assert layout.amber > 0 or watched.red
    watched.wait(layout.amber)
    assert watched.red


def test_gates_start_three_seconds_after_the_lights_at_the_least() -> None:
    """Not less than 3 s after the lights have started: 49 CFR 234.223; MUTCD 8C.04 p.03."""
    gates_start_after_the_lights()


def test_gates_of_great_britain_start_four_to_six_seconds_after_the_red_lights() -> None:
    """Steady amber for about 3 s, red at once, barriers 4 to 6 s later: S.R. (NI) 2023/9 Sch. 2 para 11."""
    assert AMBER.gates is not None
    watched = Watched(replace(AMBER, gates=replace(AMBER.gates, start_after=5 * SECOND, lowering=8 * SECOND)))
    watched.wait(SECOND)
    watched.say("ua o")
    watched.wait(60 * SECOND)
    assert [
        (Phase.AMBER, 1 * SECOND),
        (Phase.WARNING, 4 * SECOND),
        (Phase.LOWERING, 9 * SECOND),
        (Phase.DOWN, 17 * SECOND),
    ] == watched.seen[2:]


def test_gates_rise_first_and_then_the_lights_stop() -> None:
    """Train clear and no other train: gates rise, then the lights and those of the arms stop: MUTCD 8C.04 p.04."""
    lights_stop_last()


def test_gates_stay_down_while_the_road_is_occupied() -> None:
    """The arm stays down for as long as the crossing is occupied: 49 CFR 234.223; MUTCD 8C.04."""
    gates_stay_down_for_a_train()


def test_a_second_train_finds_the_road_closed() -> None:
    """Lights keep flashing and gates stay down for another train: TSRGD 1994 Sch. 19 para 48(6); MUTCD 8C.04 p.04."""
    a_second_train_keeps_the_road_closed()


def test_a_train_brings_the_lights_on() -> None:
    """Red at once, or after the steady amber: 49 CFR 234.225; S.R. (NI) 2023/9 Sch. 2 para 11."""
    a_train_closes_an_open_road()
    a_train_closes_an_open_road(AMBER)


BROKEN: Final = [
    (gates_start_after_the_lights, {(Phase.AMBER, Happens.TIME): Phase.LOWERING}),
    (lights_stop_last, {(Phase.DOWN, Happens.FREE): Phase.IDLE}),
    (gates_stay_down_for_a_train, {(Phase.DOWN, Happens.CALLED): Phase.IDLE}),
    (gates_stay_down_for_a_train, {(Phase.DOWN, Happens.FREE): Phase.DOWN}),
    (a_second_train_keeps_the_road_closed, {(Phase.RISING, Happens.CALLED): Phase.RISING}),
    (a_second_train_keeps_the_road_closed, {(Phase.RISING, Happens.CALLED): Phase.IDLE}),
    (a_train_closes_an_open_road, {(Phase.IDLE, Happens.CALLED): Phase.IDLE}),
    (a_train_closes_an_open_road, {(Phase.AMBER, Happens.TIME): Phase.AMBER}),
]


@pytest.mark.parametrize(("rule", "fault"), BROKEN)
def test_a_broken_rule_is_seen(rule: object, fault: dict[tuple[Phase, Happens], Phase]) -> None:
    """Each of the checks above fails on a table that breaks its rule."""
    assert callable(rule)
    with pytest.raises((AssertionError, KeyError)):
        rule(MILL_LANE, {**STEPS, **fault})


# ---- times and gates ----------------------------------------------------------------------------------------


def test_a_crossing_without_gates_has_lights_alone() -> None:
    """Its lights are on while a train is near and go out when none is."""
    watched = Watched(OPEN)
    watched.say("ua o")
    assert Phase.WARNING is watched.wait(3600 * SECOND)
    assert Phase.IDLE is watched.say("ua c")
    assert not watched.crossing.has_gates


def test_a_train_that_is_gone_before_the_gates_move_leaves_them_up() -> None:
    """The lights go out at once, since the gates have not moved."""
    watched = Watched()
    watched.say("ua o")
    watched.wait(START - 1)
    assert Phase.IDLE is watched.say("ua c")


def test_gates_rise_only_as_far_as_they_have_come_down() -> None:
    """Gates that turn round on their way take the part of their time that they have to go, rounded up."""
    watched = Watched()
    watched.say("ua o")
    watched.wait(START + LOWER // 3)
    watched.say("ua c")
    assert Phase.RISING is watched.wait(RAISE // 3 - 1)
    assert Phase.IDLE is watched.wait(RAISE // 1_000_000 + 2)


def test_gates_come_down_only_as_far_as_they_have_risen() -> None:
    """The same the other way."""
    watched = Watched()
    watched.down()
    watched.say("ua c")
    watched.wait(RAISE // 4)
    watched.say("ua o")
    assert Phase.LOWERING is watched.wait(LOWER // 4 - 1)
    assert Phase.DOWN is watched.wait(1)


def test_gates_without_a_time_are_there_at_once() -> None:
    """Times of 0 pass through their phases."""
    assert MILL_LANE.gates is not None
    at_once = replace(MILL_LANE, gates=replace(MILL_LANE.gates, lowering=0, raising=0))
    watched = Watched(at_once)
    watched.say("ua o")
    assert Phase.DOWN is watched.wait(START)
    assert Phase.IDLE is watched.say("ua c")


def test_at_the_start_the_road_is_closed_and_the_gates_come_down() -> None:
    """Before anything is known a train may be there, and nothing but red is shown: 49 CFR 236.5."""
    for layout in (MILL_LANE, AMBER, OPEN):
        crossing = logic.Crossing(layout)
        crossing.settle(0)
        assert Phase.WARNING is crossing.phase
        crossing.settle(START)
        assert (Phase.WARNING if layout is OPEN else Phase.LOWERING) is crossing.phase
        assert crossing.phase in RED


def test_why_names_the_train_and_the_event() -> None:
    """The reason is a sentence, and its causes are the events that it rests on."""
    watched = Watched()
    assert "the road over mill-lane is open: no train is near" == watched.crossing.reason
    watched.say("ua o", "da ?")
    assert "the road over mill-lane is closed: a train on up is near, in block ua" == watched.crossing.reason
    assert [9, 10] == list(watched.crossing.causes)
    watched.say("ua c")
    why = "it is not known whether block da is clear"
    assert f"the road over mill-lane is closed: {why}" == watched.crossing.reason
    watched.say("da c")
    assert [12] == list(watched.crossing.causes)
    watched.say("dx o")
    assert (
        "the road over mill-lane is closed: a train on down is on the road, in block dx"
        == watched.crossing.reason
    )


@pytest.mark.parametrize("phase", list(Phase))
def test_what_is_told_of_the_gates(phase: Phase) -> None:
    """Gates are up, lowering, down or rising, with the reason."""
    states = {Phase.LOWERING: "lowering", Phase.DOWN: "down", Phase.RISING: "rising"}
    crossing = in_phase(phase).crossing
    word = crossing.word()
    assert ("gate", "mill-lane", states.get(phase, "up")) == (word.subject, word.name, word.state)
    assert (crossing.reason, crossing.causes) == (word.reason, word.causes)
