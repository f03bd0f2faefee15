"""Routes that were locked before a restart of the bridge: nobody saw what trains did meanwhile.

"After power loss protective timers start again in full" is common practice, no source.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from types import MappingProxyType
from typing import Final, TypeAlias

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.commands import Decision, Told
from bridge.events import SECOND, RouteKept
from bridge.logic import gate
from bridge.logic.gate import GATE, Gate, Happens, State
from bridge.service.memory import Memory
from tests.support.broken_rules import Break
from tests.support.junction import BLOCKS, JUNCTION, ROUTES, Junction, begun_anew, cleared

AT_ONCE: Final = JUNCTION.replace("settle: 2 s", "settle: 0 s").replace(
    "{district: main}", "{district: main, clear-after: 0 s}"
)
"""The junction without filters: what is reported counts at once, so only the locks take time."""

TIMES: Final = {"W": 20.0, "E": 20.0, "B": 10.0}
DAYS: Final = 24 * 3600.0


def all_clear(junction: Junction, at: float) -> None:
    """Let everything be known, and every block clear."""
    junction.power("on", at)
    for block in BLOCKS:
        junction.block(block, "clear", at)
    junction.stands(63, "normal", at)
    junction.order(66, "normal", at)


def held(junction: Junction) -> set[str]:
    """Return the signals that have a route locked."""
    return {signal for signal, _route, _stands in junction.engine.locks()}


def a_locked_route_outlasts_a_restart(later: float = 0) -> None:
    """Let the bridge start anew with W's route locked; look at who may clear when."""
    after = begun_anew(cleared(AT_ONCE), AT_ONCE, later=later)
    assert ("stop", "locked") == (after.shows("W"), after.locks()["63"])
    assert "route to-east has been locked since before the restart" == after.why("W")
    all_clear(after, 0)
    after.order(72, "reverse", 1)
    assert "W has a route locked that is in conflict with it, since before the restart" in after.why("E")
    after.order(72, "reverse", 20 - 1e-9)  # E drops what it cannot obey
    assert ("stop", "locked") == (after.shows("E"), after.locks()["63"])
    after.order(72, "reverse", 20)
    assert ("clear", "locked") == (after.shows("E"), after.locks()["63"])
    assert ["by route to-east from W, since before the restart", "by route to-west from E"] == [
        each.reason for each in after.commands if isinstance(each, Told) and each.state == "locked"
    ]


@pytest.mark.parametrize("later", [0.0, 3600.0, 180 * DAYS])
def test_a_locked_route_outlasts_a_restart_for_its_full_time(later: float) -> None:
    """However old it is, and although no signal here restores its order, the lock counts for 20 s more."""
    a_locked_route_outlasts_a_restart(later)


def test_no_time_runs_while_a_block_is_not_known() -> None:
    """The time of the lock begins when all blocks of the route and before it are known, and anew after each doubt."""
    after = begun_anew(cleared(AT_ONCE), AT_ONCE)
    after.power("on", 0)
    for block in ("points", "east"):
        after.block(block, "clear", 0)
    after.wait(100)
    after.block("west", "occupied", 100)
    after.power("off", 110)
    after.power("on", 115)  # what the detectors said last counts again
    after.wait(135 - 1e-9)
    assert "locked" == after.locks()["63"]
    after.wait(135)
    assert "free" == after.locks()["63"]


def test_a_train_that_was_near_comes_through_under_the_lock() -> None:
    """A train that runs past the signal after the restart lets go of nothing before the time, and then in order."""
    after = begun_anew(cleared(AT_ONCE), AT_ONCE)
    all_clear(after, 0)
    for block, state, at in (
        ("west", "occupied", 0),
        ("points", "occupied", 2),
        ("west", "clear", 3),
        ("east", "occupied", 4),
        ("points", "clear", 5),
    ):
        after.block(block, state, at)
    after.wait(
        25
    )  # the points have been clear for long, and the train still stands in east: found after 20 s
    assert "locked" == after.locks()["63"]
    after.wait(25 + 1e-9)
    assert ("free", {"W"}) == (after.locks()["63"], held(after))
    assert "a train has passed it into east" == after.why("W")
    after.block("east", "clear", 40)
    after.wait(45)
    assert {"W"} == held(after)
    after.wait(46)
    assert set() == held(after)


def test_a_turnout_under_a_train_stays_locked() -> None:
    """A turnout of which nobody said in which block it lies is kept until the train has left the route."""
    text = AT_ONCE.replace("{feedback: true, block: points}", "{feedback: true}")
    after = begun_anew(cleared(text), text)
    all_clear(after, 0)
    after.block("east", "occupied", 0)
    after.wait(300)
    assert "locked" == after.locks()["63"]
    after.block("east", "clear", 300)
    after.wait(306)
    assert "free" == after.locks()["63"]


@pytest.mark.parametrize(("reclear", "shows"), [("false", "stop"), ("true", "clear")])
def test_a_restored_order_serves_no_second_train(reclear: str, shows: str) -> None:
    """The train that is found in the route has used up the order that was restored; with `reclear` there is no such."""
    text = AT_ONCE.replace("  W:\n", "  W:\n    at-start: restored\n").replace(
        "approach: [west],", f"approach: [west], reclear: {reclear},"
    )
    after = begun_anew(cleared(text), text)
    all_clear(after, 0)
    after.block("east", "occupied", 1)
    after.wait(30)
    after.block("east", "clear", 30)
    after.wait(100)
    assert shows == after.shows("W")


def test_a_restored_order_is_obeyed_when_the_lock_is_over() -> None:
    """Where no train came, the order clears its signal anew, and not before."""
    text = AT_ONCE.replace("  W:\n", "  W:\n    at-start: restored\n")
    after = begun_anew(cleared(text), text)
    all_clear(after, 0)
    after.wait(60)
    assert [(20, "clear")] == after.changes("W")


def test_a_second_restart_begins_the_time_anew() -> None:
    """A lock that was taken up is kept for the next restart too."""
    first = begun_anew(cleared(AT_ONCE), AT_ONCE)
    all_clear(first, 0)
    first.wait(19)
    second = begun_anew(first, AT_ONCE)
    all_clear(second, 0)
    second.wait(20 - 1e-9)
    assert {"W"} == held(second)
    second.wait(20)
    assert set() == held(second)


def test_a_lock_that_is_over_is_not_taken_up() -> None:
    """What was let go of before a restart stays so, and without anything saved all is as ever."""
    before = cleared(AT_ONCE)
    before.order(71, "normal", 30)
    after = begun_anew(before, AT_ONCE)
    assert [] == after.engine.locks()
    all_clear(after, 0)
    after.order(71, "reverse", 1)
    assert "clear" == after.shows("W")


@pytest.mark.parametrize(("signal", "route"), [("W", "to-north"), ("X", "to-east"), ("A", "to-east")])
def test_a_lock_of_a_route_that_is_gone_changes_nothing(signal: str, route: str) -> None:
    """The engine leaves alone what its layout does not have: no such route, no such signal, none with routes."""
    junction = Junction(awake=False)
    event = RouteKept(at=0, source="memory", signal=signal, route=route)
    assert not junction.engine.listens(event)
    assert [] == junction.engine.handle(event)
    assert [] == junction.engine.locks()


def test_locks_that_exclude_each_other_are_kept_both() -> None:
    """The file may have been changed before the restart: what both keep is free when the last has let go of it."""
    after = Junction(AT_ONCE, awake=False)
    for signal, route in (("W", "to-east"), ("B", "to-west"), ("W", "to-branch")):  # the third comes too late
        after.say(RouteKept(at=0, source="memory", signal=signal, route=route), 0)
    assert [("W", "to-east", "kept"), ("B", "to-west", "kept")] == after.engine.locks()
    all_clear(after, 0)
    after.wait(10)
    assert ({"W"}, "locked") == (held(after), after.locks()["63"])
    after.order(73, "reverse", 11)
    assert "stop" == after.shows("B")
    after.wait(20)
    assert (set(), "free") == (held(after), after.locks()["63"])


def test_a_lock_goes_on_from_plain_data() -> None:
    """A snapshot that is taken while the time runs lets go of the same at the same instant, for the same reasons."""
    first, second = begun_anew(cleared(AT_ONCE), AT_ONCE), Junction(AT_ONCE, awake=False)
    all_clear(first, 0)
    first.wait(5)
    second.engine.restore(json.loads(json.dumps(first.engine.snapshot())))
    first.commands.clear()
    second.commands.clear()
    for junction in (first, second):
        junction.order(72, "reverse", 6)
        junction.wait(50)
    assert first.commands == second.commands
    assert first.engine.snapshot() == second.engine.snapshot()


# ---- anything before, anything after -----------------------------------------------------------------------------

Happening: TypeAlias = tuple[float, tuple[str, str | int, str]]
"""A pause, and then what happens to which thing."""

HAPPENS: Final = st.lists(
    st.tuples(
        st.sampled_from([0.0, 0.5, 3.0, 5.0, 9.5, 20.0]),
        st.one_of(
            st.tuples(
                st.just("block"), st.sampled_from(BLOCKS), st.sampled_from(["occupied", "clear", "unknown"])
            ),
            st.tuples(
                st.just("order"),
                st.sampled_from([*ROUTES.values(), 66]),
                st.sampled_from(["normal", "reverse"]),
            ),
            st.tuples(st.just("order"), st.sampled_from([*ROUTES.values()]), st.just("reverse")),
            st.tuples(st.just("stands"), st.just(63), st.sampled_from(["normal", "reverse", "moving"])),
            st.tuples(st.just("power"), st.sampled_from(["on", "off"]), st.just("")),
        ),
    ),
    max_size=15,
)


def happen(junction: Junction, at: float, script: list[Happening]) -> float:
    """Let things happen one after the other from an instant; return the last."""
    for pause, (what, name, value) in script:
        at += pause
        match what:
            case "block":
                junction.block(str(name), value, at)
            case "power":
                junction.power(str(name), at)
            case "order":
                junction.order(int(name), value, at)
            case _:
                junction.stands(int(name), value, at)
    return at


def anything_before_and_after(before: list[Happening], after: list[Happening], stands: str) -> None:
    """Clear a signal, do things, start anew, do things; look at when what is free, and who clears when."""
    first = Junction(AT_ONCE)
    first.stands(63, stands, 10)
    first.order({"normal": 71, "reverse": 73}[stands], "reverse", 10)
    happen(first, 10, before)
    locked = held(first)
    second = begun_anew(first, AT_ONCE)
    assert locked == held(second)
    said = len(second.commands)
    all_clear(second, 0)
    at = happen(second, 0, after)
    all_clear(second, at)
    second.wait(at + 200)
    # All three are in conflict with each other, and 63 is in each of their routes.
    soonest = max((TIMES[name] for name in locked), default=0.0) * SECOND
    for each in second.commands[said:]:
        if isinstance(each, Decision) and each.device in ROUTES and each.aspect != "stop":
            assert soonest <= each.at
        if isinstance(each, Told) and (each.subject, each.name, each.state) == ("lock", "63", "free"):
            assert soonest <= each.at
    for number in ROUTES.values():
        second.order(number, "normal", at + 200)
    second.wait(at + 300)
    assert set() == held(second)


@settings(max_examples=150)
@given(HAPPENS, HAPPENS, st.sampled_from(["normal", "reverse"]))
def test_no_conflicting_signal_clears_sooner_than_the_time_after_a_restart(
    before: list[Happening], after: list[Happening], stands: str
) -> None:
    """Whatever was done before a crash at any moment and is done after it, and at the end everything comes free."""
    anything_before_and_after(before, after, stands)


# ---- they can fail -----------------------------------------------------------------------------------------------


def forgets(patch: pytest.MonkeyPatch) -> None:
    """Let no lock be taken up."""
    patch.setattr(Memory, "locks", lambda *_args: ([], []))


def is_over_at_once(patch: pytest.MonkeyPatch) -> None:
    """Let the time of a lock from before a restart be over at once."""
    over = Gate._time_is_over
    patch.setattr(Gate, "_time_is_over", lambda self, *facts: self.state is State.KEPT or over(self, *facts))


def table(happens: Happens, after: State) -> Break:
    """Change what follows from something that happens to a lock from before a restart."""

    def broken(patch: pytest.MonkeyPatch) -> None:
        patch.setattr(
            gate, "GATE", MappingProxyType({**GATE, State.KEPT: {**GATE[State.KEPT], happens: after}})
        )

    return broken


@pytest.mark.parametrize(
    ("check", "broken"),
    [
        (a_locked_route_outlasts_a_restart, forgets),
        (a_locked_route_outlasts_a_restart, is_over_at_once),
        (test_no_time_runs_while_a_block_is_not_known, is_over_at_once),
        (test_a_train_that_was_near_comes_through_under_the_lock, is_over_at_once),
        (test_a_train_that_was_near_comes_through_under_the_lock, table(Happens.FOUND, State.FREE)),
        (test_a_turnout_under_a_train_stays_locked, table(Happens.FOUND, State.FREE)),
        (test_a_second_restart_begins_the_time_anew, forgets),
        (lambda: anything_before_and_after([], [(5.0, ("order", 72, "reverse"))], "normal"), forgets),
        (lambda: anything_before_and_after([], [(5.0, ("order", 72, "reverse"))], "normal"), is_over_at_once),
    ],
)
def test_a_broken_promise_is_seen(
    check: Callable[[], None], broken: Break, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With its promise broken in the code, each of these checks fails."""
    check()
    broken(monkeypatch)
    with pytest.raises((AssertionError, KeyError)):
        check()
