"""Interlocking, rule by rule. 49 CFR 236 is quoted by its section beside each rule that comes from it."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, Final
from unittest.mock import patch

import pytest

from bridge.commands import PublishFrame
from bridge.engine import Engine
from bridge.events import SECOND
from bridge.logic import gate
from bridge.logic.gate import GATE, Happens, State
from tests.support.driving import layout as layout_of
from tests.support.junction import BLOCKS, JUNCTION, ROUTES, Junction, cleared

NANOSECOND: Final = 1e-9
"""In seconds."""

CLEARED: Final = {"W": "clear", "E": "clear", "B": "approach"}


# ---- a route is needed -------------------------------------------------------------------------------------


def test_a_signal_knows_nothing_and_stops() -> None:
    """With nothing known every signal stands at its most restrictive: 49 CFR 236.5."""
    junction = Junction(awake=False)
    junction.order(71, "reverse", 1)
    assert {"W": "stop", "E": "stop", "B": "stop"} == {name: junction.shows(name) for name in ROUTES}


def test_a_route_that_is_set_clear_and_free_clears_its_signal() -> None:
    """The order is obeyed, and the reason names the route."""
    assert "accessory 71 was ordered reverse (by panel); route to-east is locked" == cleared().why("W")


@pytest.mark.parametrize("position", ["reverse", "moving", "unknown"])
def test_a_turnout_has_to_be_proved_in_position(position: str) -> None:
    """Better than restricted speed needs every switch proved, not commanded: 49 CFR 236.303."""
    junction = Junction()
    junction.order(63, "normal", 11)  # where it was ordered says nothing: it has feedback
    junction.stands(63, position, 12)
    junction.order(72, "reverse", 20)
    assert "stop" == junction.shows("E")
    assert "accessory 63" in junction.why("E")


def test_a_turnout_without_feedback_is_taken_as_ordered() -> None:
    """Where there is no feedback an order has to do; one that was never given does not."""
    junction = Junction(JUNCTION.replace("  63: {feedback: true, block: points}", "  64: {}"), awake=False)
    junction.power("on", 0)
    for block in BLOCKS:
        junction.block(block, "clear", 0)
    junction.order(71, "reverse", 10)
    assert "stop" == junction.shows("W")
    junction.order(63, "normal", 11)
    assert "clear" == junction.shows("W")


@pytest.mark.parametrize("block", ["points", "east"])
@pytest.mark.parametrize("state", ["occupied", "unknown"])
def test_every_section_has_to_be_clear(block: str, state: str) -> None:
    """An occupied block, and one of which nothing is known, keeps the signal at stop: 49 CFR 236.205, 236.813a."""
    junction = Junction()
    junction.block(block, state, 15)
    junction.order(71, "reverse", 20)
    assert "stop" == junction.shows("W")
    assert block in junction.why("W")


def test_a_flank_turnout_has_to_stand_and_is_locked() -> None:
    """Turnouts beside the route turn other trains away, and are locked with it (common practice, no source)."""
    junction = Junction()
    junction.stands(63, "reverse", 11)
    junction.order(66, "reverse", 12)
    junction.order(71, "reverse", 20)
    assert "stop" == junction.shows("W")
    assert "accessory 66 was ordered reverse, and route to-branch needs normal" in junction.why("W")
    junction.order(66, "normal", 21)
    assert "approach" == junction.shows("W")
    assert {"63": "locked", "66": "locked"} == junction.locks()


def test_a_route_may_allow_less_than_was_ordered() -> None:
    """Over the turnout the signal shows no better than its route allows, and says so."""
    junction = Junction()
    junction.stands(63, "reverse", 11)
    junction.order(71, "reverse", 20)
    assert "approach" == junction.shows("W")
    assert "allows no better than approach" in junction.why("W")


# ---- conflicts ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("second", ["E", "B"])
def test_conflicting_signals_never_clear_together(second: str) -> None:
    """Conflicting movements never show proceed together: 49 CFR 236.403."""
    junction = cleared()
    junction.order(ROUTES[second], "reverse", 21)
    assert ("clear", "stop") == (junction.shows("W"), junction.shows(second))
    assert "W has a route locked that is in conflict with it" in junction.why(second) or second == "B"


def test_an_order_that_waits_is_obeyed_when_the_way_is_free() -> None:
    """With `refused: hold` the order is kept; the other signal falls before this one clears (49 CFR 236.314)."""
    junction = Junction()
    junction.stands(63, "normal", 11)
    junction.order(72, "reverse", 20)  # E, whose approach is clear
    junction.order(71, "reverse", 21)
    assert ("clear", "stop") == (junction.shows("E"), junction.shows("W"))
    junction.order(72, "normal", 30)
    assert ("stop", "clear") == (junction.shows("E"), junction.shows("W"))
    assert [(20, "clear"), (30, "stop")] == junction.changes("E")
    assert [(30, "clear")] == junction.changes("W")
    frames = [each for each in junction.commands if isinstance(each, PublishFrame) and each.at == 30 * SECOND]
    assert 2 == len(frames)
    first, second = frames
    # Slots 0 to 2 are W, 3 to 5 are E: first E alone turns red, then W turns green.
    assert first.levels[3:6] == second.levels[3:6]
    assert first.levels[:3] != second.levels[:3]


def test_an_order_that_is_dropped_has_to_be_given_again() -> None:
    """With `refused: drop` a refused order has no later effect, and the reason says so."""
    junction = cleared()
    junction.order(72, "reverse", 21)
    assert "has to be given again" in junction.why("E")
    junction.order(71, "normal", 22)
    assert "stop" == junction.shows("E")
    junction.order(72, "reverse", 23)
    assert "clear" == junction.shows("E")


# ---- locking -----------------------------------------------------------------------------------------------


def test_put_back_with_no_train_near_frees_the_route_at_once() -> None:
    """Approach locking holds nothing where nobody comes: 49 CFR 236.760."""
    junction = cleared()
    junction.order(71, "normal", 30)
    assert {"63": "free", "66": "free"} | junction.locks() == {"63": "free", "66": "free"}
    junction.order(72, "reverse", 31)
    assert "clear" == junction.shows("E")


def test_approach_locking_holds_the_route_for_its_time() -> None:
    """With a train approaching, nothing of the route is let go of until the time has run: 49 CFR 236.760."""
    junction = cleared()
    junction.block("west", "occupied", 25)
    junction.order(71, "normal", 30)
    assert "stop" == junction.shows("W")
    junction.wait(49.9)
    assert "locked" == junction.locks()["63"]
    junction.order(72, "reverse", 49.9)
    assert "stop" == junction.shows("E")
    junction.wait(50)
    assert "free" == junction.locks()["63"]


def test_time_locking_holds_the_route_whether_a_train_is_near_or_not() -> None:
    """A signal without approach blocks always holds its route for the time: 49 CFR 236.768."""
    junction = Junction()
    junction.stands(63, "reverse", 11)
    junction.order(73, "reverse", 20)
    assert "approach" == junction.shows("B")
    junction.order(73, "normal", 30)
    junction.wait(39.9)
    assert "locked" == junction.locks()["63"]
    junction.wait(40)
    assert "free" == junction.locks()["63"]


def test_an_unknown_approach_is_a_train() -> None:
    """Whether a train is near is not known, so it is taken to be: 49 CFR 236.5; and no time runs while it is not."""
    junction = cleared()
    junction.block("west", "unknown", 25)
    junction.order(71, "normal", 30)
    junction.wait(200)
    assert "locked" == junction.locks()["63"]
    junction.block("west", "occupied", 200)
    junction.wait(219.9)
    assert "locked" == junction.locks()["63"]
    junction.wait(220)
    assert "free" == junction.locks()["63"]


def test_a_signal_cleared_again_while_it_is_locked_waits() -> None:
    """A route that is timed is not given to anyone, not even to its own signal."""
    junction = cleared()
    junction.block("west", "occupied", 25)
    junction.order(71, "normal", 30)
    junction.order(71, "reverse", 35)
    assert "stop" == junction.shows("W")
    junction.wait(50)
    assert "clear" == junction.shows("W")


def test_a_turnout_that_moves_under_its_lock_drops_the_signal_at_once() -> None:
    """A hand-thrown turnout is told, the signal falls, and the route stays locked: 49 CFR 236.303."""
    junction = cleared()
    junction.stands(63, "moving", 30)
    assert (30.0, "stop") == junction.changes("W")[-1]
    assert "route to-east was locked and is no longer safe: accessory 63 is moving" in junction.why("W")
    junction.stands(63, "normal", 31)
    junction.wait(49.9)
    assert "locked" == junction.locks()["63"]
    junction.wait(60)
    assert "stop" == junction.shows("W")  # it needs a new order
    junction.order(71, "reverse", 61)
    assert "clear" == junction.shows("W")


# ---- behind the train --------------------------------------------------------------------------------------


def passed(text: str = JUNCTION) -> Junction:
    """A junction through which a train has just gone from west to east, standing in east since second 34."""
    junction = cleared(text)
    for block, state, at in (
        ("west", "occupied", 25),
        ("points", "occupied", 30),
        ("west", "clear", 32),
        ("east", "occupied", 33),
        ("points", "clear", 34),
    ):
        junction.block(block, state, at)
    return junction


def test_the_first_train_knocks_the_signal_down() -> None:
    """The signal falls with the first occupancy past it and needs a new order: follows from 49 CFR 236.205, 236.302."""
    junction = passed()
    assert [(20, "clear"), (30, "stop")] == junction.changes("W")
    junction.block("east", "clear", 60)
    junction.wait(100)
    assert "stop" == junction.shows("W")
    assert "a train has passed it, and no new order was given since" in junction.why("W")
    junction.order(71, "reverse", 101)
    assert "clear" == junction.shows("W")


def test_a_signal_that_reclears_does_so_behind_the_train() -> None:
    """With `reclear` the same order serves the next train, once everything is let go of."""
    junction = Junction(JUNCTION.replace("approach: [west],", "approach: [west], reclear: true,"))
    junction.order(71, "reverse", 20)
    junction.block("points", "occupied", 30)
    junction.block("east", "occupied", 33)
    junction.block("points", "clear", 34)
    junction.block("east", "clear", 40)
    junction.wait(46.5)
    assert "stop" == junction.shows("W")
    junction.wait(47)
    assert [(20, "clear"), (30, "stop"), (46.5 + NANOSECOND, "clear")] == junction.changes("W")


def test_sections_are_let_go_of_one_by_one() -> None:
    """Route locking may release section by section as the train clears: 49 CFR 236.767.

    A conflict that is named holds until all of the route is free (236.311(b)); what is shared, as long as it is shared.
    """
    junction = passed(re.sub(r", conflicts: \[[^]]*\]", "", JUNCTION))
    junction.wait(40.5)  # clear counts after 1.5 s, and has to last for more than 5 s then
    assert "locked" == junction.locks()["63"]
    junction.wait(40.5 + NANOSECOND)
    assert "free" == junction.locks()["63"]
    junction.stands(63, "reverse", 41)
    junction.order(73, "reverse", 42)
    assert "approach" == junction.shows("B")  # while the train still stands in east


@pytest.mark.parametrize("clear_after", ["1.5 s", "0 s"])
@pytest.mark.parametrize("lost_for", [1.0, 3.0, 5.0])
def test_a_loss_of_detection_of_five_seconds_releases_nothing(lost_for: float, clear_after: str) -> None:
    """A train that loses contact for 5 s or less must not release route locking: 49 CFR 236.309.

    That is so to the nanosecond, also where no filter adds to it.
    """
    junction = cleared(
        JUNCTION.replace("{district: main}", f"{{district: main, clear-after: {clear_after}}}")
    )
    junction.block("points", "occupied", 30)
    junction.block("points", "clear", 31)
    junction.block("points", "occupied", 31 + lost_for)
    junction.wait(60)
    assert "locked" == junction.locks()["63"]


def test_a_loss_of_detection_of_more_than_five_seconds_releases_the_section() -> None:
    """With a filter of no length the section is let go of a nanosecond after the 5 s: 49 CFR 236.309."""
    text = re.sub(r", conflicts: \[[^]]*\]", "", JUNCTION)
    junction = cleared(text.replace("{district: main}", "{district: main, clear-after: 0 s}"))
    junction.block("points", "occupied", 30)
    junction.block("points", "clear", 31)
    junction.block("points", "occupied", 36 + NANOSECOND)
    assert "free" == junction.locks()["63"]


def test_sections_are_let_go_of_in_their_order_only() -> None:
    """A later section that comes clear first stays locked until those before it are let go of."""
    junction = cleared()
    junction.block("points", "occupied", 30)
    junction.block("east", "occupied", 31)
    junction.block("east", "clear", 32)
    junction.wait(100)
    assert "locked" == junction.locks()["63"]


def test_a_train_that_a_section_never_saw_locks_nothing_for_ever() -> None:
    """When all of the route has been clear for the time, it is free although no train was seen to leave it."""
    junction = cleared()
    junction.block("points", "occupied", 30)
    junction.block("points", "clear", 32)
    junction.wait(53.4)
    junction.order(72, "reverse", 53.4)
    assert "stop" == junction.shows("E")
    junction.wait(53.5)
    junction.order(72, "reverse", 53.6)
    assert "clear" == junction.shows("E")


# ---- power, sources, plain data ----------------------------------------------------------------------------


def better(before: dict[str, str], after: dict[str, str]) -> list[str]:
    """Return the signals that show something better than before."""
    order = ["stop", "restricting", "approach", "clear"]
    return [name for name in before if order.index(after[name]) > order.index(before[name])]


@pytest.mark.parametrize("trouble", ["off", "shorted"])
def test_power_off_under_a_train_releases_nothing(trouble: str) -> None:
    """While it is off no signal improves and nothing is let go of, and afterwards everything goes on as it was."""
    junction = passed()
    before = {name: junction.shows(name) for name in ROUTES}
    junction.power(trouble, 35)
    for block in BLOCKS:  # a detector without power takes every block for clear
        junction.block(block, "clear", 36)
    for at in range(37, 100):
        junction.wait(at)
        assert [] == better(before, {name: junction.shows(name) for name in ROUTES})
    assert "locked" == junction.locks()["63"]
    junction.power("on", 100)
    junction.block("east", "occupied", 100.5)
    junction.wait(108.5)  # 2 s to settle, 1.5 s until clear counts, and more than 5 s
    assert "locked" == junction.locks()["63"]
    junction.wait(108.5 + NANOSECOND)
    assert "free" == junction.locks()["63"]
    assert "stop" == junction.shows("W")


def test_power_off_before_a_train_drops_its_signal_and_keeps_its_lock() -> None:
    """The route of an approaching train is not let go of because its blocks come back clear."""
    junction = cleared()
    junction.block("west", "occupied", 25)
    junction.power("off", 30)
    assert "stop" == junction.shows("W")
    junction.power("on", 60)
    junction.block("west", "occupied", 60.1)
    junction.wait(83.4)
    assert "locked" == junction.locks()["63"]
    junction.wait(85)
    assert "free" == junction.locks()["63"]
    assert "stop" == junction.shows("W")


def test_a_lost_detector_is_a_train() -> None:
    """When the source of blocks and turnouts is lost the signal falls and the route stays locked."""
    junction = cleared()
    junction.lose("feedback", 30)
    assert "stop" == junction.shows("W")
    junction.wait(500)
    assert "locked" == junction.locks()["63"]


def test_a_lost_panel_puts_the_signal_back_as_an_order_would() -> None:
    """When the source of the order is lost the signal falls, and approach locking holds what it has to."""
    junction = cleared()
    junction.block("west", "occupied", 25)
    junction.lose("panel", 30)
    assert "stop" == junction.shows("W")
    assert "locked" == junction.locks()["63"]


@pytest.mark.parametrize("make", [Junction, cleared, passed])
def test_plain_data_go_on_as_what_they_were_taken_of(make: Callable[[], Junction]) -> None:
    """An engine that takes back a snapshot through JSON lets go of the same at the same instants."""
    first, second = make(), Junction(awake=False)
    second.engine.restore(json.loads(json.dumps(first.engine.snapshot())))
    first.commands.clear()
    second.commands.clear()
    for junction in (first, second):
        junction.block("west", "occupied", 36)
        junction.order(71, "normal", 37)
        junction.block("east", "clear", 45)
        junction.wait(100)
        junction.order(72, "reverse", 101)
    assert first.commands == second.commands
    assert first.engine.snapshot() == second.engine.snapshot()


# ---- the table ---------------------------------------------------------------------------------------------


def test_a_gate_that_has_a_route_can_always_come_free() -> None:
    """From every state the free one can be reached by what the table has."""
    for state in State:
        reached, grown = {state}, True
        while grown:
            more = {after for each in reached for after in GATE[each].values()} - reached
            reached, grown = reached | more, bool(more)
        assert State.FREE in reached


@contextmanager
def changed(state: State, happens: Happens, after: State | None) -> Iterator[None]:
    """Break one row of the table."""
    table: dict[State, dict[Happens, State]] = {each: dict(rows) for each, rows in GATE.items()}
    if after is None:
        del table[state][happens]
    else:
        table[state][happens] = after
    with patch.object(gate, "GATE", table):
        yield


@pytest.mark.parametrize(
    ("state", "happens", "after", "rule_for"),
    [
        (State.SET, Happens.WITHDRAWN_NEAR, State.FREE, test_approach_locking_holds_the_route_for_its_time),
        (
            State.SET,
            Happens.WITHDRAWN_NEAR,
            State.FREE,
            test_time_locking_holds_the_route_whether_a_train_is_near_or_not,
        ),
        (State.SET, Happens.BROKEN, None, test_a_turnout_that_moves_under_its_lock_drops_the_signal_at_once),
        (
            State.SET,
            Happens.BROKEN,
            State.FREE,
            test_power_off_before_a_train_drops_its_signal_and_keeps_its_lock,
        ),
        (State.SET, Happens.ENTERED, None, test_the_first_train_knocks_the_signal_down),
        (State.SET, Happens.ENTERED, State.FREE, test_sections_are_let_go_of_one_by_one),
        (State.PASSED, Happens.CLEARED, None, test_the_first_train_knocks_the_signal_down),
        (State.TIMED, Happens.EXPIRED, None, test_approach_locking_holds_the_route_for_its_time),
    ],
)
def test_a_broken_rule_is_seen(
    state: State, happens: Happens, after: State | None, rule_for: Callable[[], None]
) -> None:
    """With one row of the table changed, the test of the rule that it stands for fails."""
    with changed(state, happens, after), pytest.raises((AssertionError, KeyError, IndexError)):
        rule_for()


def test_the_layout_of_these_tests_says_what_it_is_thought_to_say() -> None:
    """Each signal has its routes, and one that is named as a conflict on one side only is known on both."""
    engine: Any = Engine(layout_of(JUNCTION))
    against = engine._board._interlocking.against
    assert {"E", "B"} == against["W"]
    assert {"W", "B"} == against["E"]
