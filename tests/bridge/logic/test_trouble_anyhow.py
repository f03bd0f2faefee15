"""An interlocked layout in trouble at any moment: no power under a train, a broker or the bridge that starts anew."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Final

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from bridge.events import SECOND, AccessoryOrdered, AspectOrdered, Authority, Event
from bridge.logic.board import Board
from bridge.logic.gate import Gate
from bridge.logic.known import Known
from bridge.logic.reasons import Choice
from tests.support.broken_rules import Break
from tests.support.junction import (
    BLOCKS,
    JUNCTION,
    ROUTES,
    Junction,
    begun_anew,
    cleared,
    ordered,
    powered,
    proved,
    reported,
)

RANKS: Final = ("stop", "restricting", "approach", "clear")
ALL: Final = (*ROUTES, "A")
TRAIN: Final = (
    # how a train runs from west to east, once W is clear
    ("west", "occupied"),
    ("points", "occupied"),
    ("west", "clear"),
    ("east", "occupied"),
    ("points", "clear"),
    ("east", "clear"),
)
PAUSES: Final = st.sampled_from([0.0, 0.5, 1.4, 1.5, 2.0, 3.5, 5.0, 19.0, 30.0])


def ranks(junction: Junction) -> dict[str, int]:
    """Return how good the aspect of each signal is."""
    return {name: RANKS.index(junction.shows(name)) for name in ALL}


def kept(junction: Junction) -> set[str]:
    """Return the turnouts that are locked."""
    return {number for number, state in junction.locks().items() if state == "locked"}


# ---- power -------------------------------------------------------------------------------------------------------

REPORTS: Final = st.lists(
    st.tuples(PAUSES, st.sampled_from(BLOCKS), st.sampled_from(["occupied", "clear"])), max_size=8
)


def power_fails_under_a_train(
    steps: int, trouble: str, noise: list[tuple[float, str, str]], orders: list[str]
) -> None:
    """Let the power fail at any point of a train's way; look at what improves, what is let go of, and what follows."""
    junction, at = cleared(), 30.0
    for block, state in TRAIN[:steps]:
        junction.block(block, state, at)
        at += 3
    junction.power(trouble, at)
    before, locked = ranks(junction), kept(junction)
    for pause, block, state in noise:  # a detector without power says anything
        at += pause
        junction.wait(at)
        junction.block(block, state, at)
        assert all(rank <= before[name] for name, rank in ranks(junction).items())
        assert locked <= kept(junction)
    for name in orders:  # orders go on coming, and none of them is obeyed
        junction.order(ROUTES[name], "reverse", at)
        assert {"W": 0, "E": 0, "B": 0} == {each: ranks(junction)[each] for each in ROUTES}
    junction.power("on", at)
    for block in BLOCKS:
        held = steps and next((b for b, s in reversed(TRAIN[:steps]) if s == "occupied"), "")
        junction.block(block, "occupied" if block == held and steps < len(TRAIN) else "clear", at)
    junction.wait(at + 3.4)  # 2 s until it has settled, 1.5 s until clear counts
    assert {"W": 0, "E": 0, "B": 0} == {each: ranks(junction)[each] for each in ROUTES}
    assert locked <= kept(junction)
    at += 4
    for block, state in TRAIN[steps:]:  # the train goes on its way
        at += 3
        junction.block(block, state, at)
        assert 1 >= sum(rank > 0 for name, rank in ranks(junction).items() if name in ROUTES)
    for number in ROUTES.values():
        junction.order(number, "normal", at)
    junction.wait(at + 60)
    assert set() == kept(junction)
    junction.order(71, "reverse", at + 60)
    assert "clear" == junction.shows("W")


@settings(max_examples=150)
@given(
    st.integers(0, len(TRAIN)),
    st.sampled_from(["off", "shorted"]),
    REPORTS,
    st.lists(st.sampled_from(sorted(ROUTES)), max_size=3),
)
def test_power_off_under_a_train_and_on_again(
    steps: int, trouble: str, noise: list[tuple[float, str, str]], orders: list[str]
) -> None:
    """While it is off nothing improves and nothing is let go of; after it the train goes on, and all comes free."""
    power_fails_under_a_train(steps, trouble, noise, orders)


# ---- a broker that starts anew ---------------------------------------------------------------------------------------

COPIES: Final[tuple[Event, ...]] = (
    powered("on"),
    *(reported(block, "clear") for block in BLOCKS),
    proved(63, "normal"),
    ordered(66, "normal"),
    ordered(71, "reverse"),
    ordered(72, "normal"),
    ordered(73, "reverse"),
)
"""What the broker has kept."""


def broker_restarts(order: list[int], steps: int, pause: float) -> dict[str, str]:
    """Let the broker go and come back with its copies in an order; return what is shown after new orders."""
    junction, at = cleared(), 30.0
    for block, state in TRAIN[:steps]:
        junction.block(block, state, at)
        at += 3
    before = ranks(junction)
    for source in ("panel", "feedback"):
        junction.lose(source, at)
        assert all(rank <= before[name] for name, rank in ranks(junction).items())
    locked = kept(junction)
    for place in order:
        junction.say(COPIES[place], at, copied=True)
        at += pause
        junction.wait(at)
        assert {"W": "stop", "E": "stop", "B": "stop"} == {name: junction.shows(name) for name in ROUTES}
    if pause == 0:  # 2 s and 1.5 s have to pass first, and then 5 s behind a train or the time of the lock
        junction.wait(at + 8.4)
        assert locked <= kept(junction)
    junction.wait(at + 100)
    assert {"W": "stop", "E": "stop", "B": "stop"} == {name: junction.shows(name) for name in ROUTES}
    assert set() == kept(junction)
    junction.order(72, "reverse", at + 100)
    return {name: junction.shows(name) for name in ALL}


@st.composite
def deliveries(draw: st.DrawFn) -> list[int]:
    """Draw all copies in any order, some of them twice."""
    places = list(range(len(COPIES)))
    return draw(st.permutations(places + draw(st.lists(st.sampled_from(places), max_size=4))))


@settings(max_examples=150)
@given(deliveries(), st.integers(0, len(TRAIN)), st.sampled_from([0.0, 0.3, 1.6]))
def test_broker_restart_with_copies_in_any_order(order: list[int], steps: int, pause: float) -> None:
    """No copy clears a signal, whatever its place; what they fill in is the same in every order, and orders work."""
    assert {"W": "stop", "E": "clear", "B": "stop", "A": "approach"} == broker_restarts(order, steps, pause)


NUMBERED: Final = JUNCTION.replace(
    "commands: {71: {normal: stop, reverse: clear}}",
    "aspect-number: {accessory: 71, aspects: {0: stop, 15: clear}}",
)


# ---- the bridge starts anew ------------------------------------------------------------------------------------------

HOUR: Final = 3600.0
BACK: Final = re.sub(r"(  [WEB]:\n)", r"\1    at-start: restored\n", JUNCTION)


def restarted(before: Junction, later: float) -> Junction:
    """Return the same junction after a restart, its detectors heard again as they are."""
    after = begun_anew(before, BACK, later=later)
    assert {"W": 0, "E": 0, "B": 0, "A": 2} == ranks(after)  # A goes by W alone
    return after


def wakes(after: Junction) -> None:
    """Let everything be known, but for where 66 stands, of which nobody tells."""
    after.power("on", 1)
    for block in BLOCKS:
        after.block(block, "clear", 1)
    after.stands(63, "normal", 1)
    after.wait(30)


def comes_back(orders: list[tuple[int, str]], steps: int, later: float) -> None:
    """Order things, let a train run so far, and start the bridge anew after a time."""
    before, at = Junction(BACK), 20.0
    last: dict[int, str] = {}
    for number, position in orders:
        before.order(number, position, at)
        last[number] = position
        at += 30
    had = {name: before.shows(name) for name in ROUTES}
    used = ""
    if had["W"] == "clear" or had["E"] == "clear":
        for block, state in TRAIN[:steps]:
            before.block(block, state, at)
            at += 3
        used = ("W" if had["W"] == "clear" else "E") if steps >= 2 else ""
    east_has_it = before.shows("E") == "clear"
    after = restarted(before, later)
    wakes(after)
    shows = {name: after.shows(name) for name in ROUTES}
    if later > 12 * HOUR:
        assert {"W": "stop", "E": "stop", "B": "stop"} == shows
        return
    for name, aspect in shows.items():
        wanted = last.get(ROUTES[name]) == "reverse"
        assert aspect == "stop" or (wanted and name != used), (name, had, used)
    assert 1 >= sum(aspect != "stop" for aspect in shows.values())
    if not used:
        # A route that E had locked is taken up, and E has it again before W is asked. Without one E drops what cannot
        # be obeyed at once, and nothing is known yet at the start. B goes by 66, of which nothing is known.
        assert east_has_it == (shows["E"] != "stop")
        assert (last.get(71) == "reverse" and not east_has_it) == (shows["W"] != "stop")
    after.stands(63, "reverse", 40)
    after.block("west", "clear", 40)
    after.order(73, "normal", 100)
    after.order(73, "reverse", 101)  # B goes by 66, which may have been moved meanwhile
    assert "stop" == after.shows("B")


ORDERS: Final = st.lists(
    st.tuples(st.sampled_from([71, 72, 73]), st.sampled_from(["normal", "reverse"])), max_size=5
)


@settings(max_examples=150)
@given(ORDERS, st.integers(0, len(TRAIN)), st.sampled_from([HOUR, 180 * 24 * HOUR]))
@example([(72, "reverse"), (71, "reverse")], 0, HOUR)
@example([(72, "reverse"), (71, "reverse")], 1, HOUR)
def test_start_with_orders_from_an_hour_ago_and_from_last_winter(
    orders: list[tuple[int, str]], steps: int, later: float
) -> None:
    """An hour later orders count again, but none that a train has used up; half a year later none does."""
    comes_back(orders, steps, later)


def test_restored_orders_say_nothing_of_where_turnouts_stand() -> None:
    """What turnouts were ordered before a restart may have changed since; a kept copy or an order tells."""
    before = Junction(BACK)
    before.stands(63, "reverse", 20)
    before.order(73, "reverse", 21)
    assert "approach" == before.shows("B")
    after = restarted(before, HOUR)
    wakes(after)
    after.stands(63, "reverse", 40)
    after.wait(50)
    assert "stop" == after.shows("B")
    assert "it is not known where accessory 66 was ordered" in after.why("B")
    after.say(ordered(66, "normal"), 51, copied=True)
    assert "approach" == after.shows("B")


def test_orders_that_are_kept_are_those_that_count() -> None:
    """An order that a train has used up is not kept, nor what was ordered before it of the same signal."""
    junction = Junction(
        BACK.replace("71: {normal: stop, reverse: clear}", "71: {reverse: clear}, 75: {reverse: approach}")
    )
    junction.order(75, "reverse", 19)
    junction.order(71, "reverse", 20)
    assert {75, 71} <= {number for _kind, number, _value, _source in junction.engine.orders()}
    junction.block("points", "occupied", 30)
    assert {66} == {number for _kind, number, _value, _source in junction.engine.orders()}
    junction.order(75, "reverse", 31)
    assert {66, 71, 75} == {number for _kind, number, _value, _source in junction.engine.orders()}


@pytest.mark.parametrize(("reclear", "shows"), [("false", "stop"), ("true", "clear")])
def test_a_copy_is_no_order_where_each_order_serves_one_train(reclear: str, shows: str) -> None:
    """A train may have used up the number that a copy tells of, so it clears nothing; with `reclear` it does."""
    text = NUMBERED.replace("approach: [west],", f"approach: [west], reclear: {reclear},")
    junction = Junction(text)
    number = AspectOrdered(at=0, source="panel", number=71, aspect=15)
    junction.say(number, 20)
    assert "clear" == junction.shows("W")
    for block, state in TRAIN:
        at = junction.engine.now / SECOND + 3
        junction.block(block, state, at)
    junction.wait(100)
    assert shows == junction.shows("W")
    junction.lose("panel", 101)
    junction.wait(200)
    junction.say(number, 200, copied=True)
    assert shows == junction.shows("W")
    junction.say(number, 201)
    assert "clear" == junction.shows("W")


# ---- they can fail ---------------------------------------------------------------------------------------------------


def lets_go_when_unknown(patch: pytest.MonkeyPatch) -> None:
    """Let the time of a lock run while its blocks are not known."""
    patch.setattr(Gate, "_is_unknown", lambda *_args: False)


def forgets_what_was_used_up(patch: pytest.MonkeyPatch) -> None:
    """Let orders be kept that a train has used up."""
    patch.setattr(Gate, "is_used_up", lambda *_args: False)


def keeps_everything(patch: pytest.MonkeyPatch) -> None:
    """Let what was restored count as what was told."""
    tell = Known.tell
    patch.setattr(Known, "tell", lambda self, key, fact: tell(self, key, fact._replace(restored=False)))


def obeys_any_copy(patch: pytest.MonkeyPatch) -> None:
    """Let a kept copy be an order."""
    hear = Board.hear

    def heard(self: Board, event: Event, number: int) -> object:
        if isinstance(event, AccessoryOrdered) and event.authority is Authority.STATE:
            event = replace(event, authority=Authority.COMMAND)
        return hear(self, event, number)

    patch.setattr(Board, "hear", heard)


def no_gate(patch: pytest.MonkeyPatch) -> None:
    """Let every wish through."""

    def govern(self: Gate, wish: Choice, order: tuple[int, ...], known: Known) -> Choice:
        del self, order, known
        return wish

    patch.setattr(Gate, "govern", govern)


@pytest.mark.parametrize(
    ("check", "broken"),
    [
        (lambda: power_fails_under_a_train(1, "off", [(30.0, "points", "clear")], []), lets_go_when_unknown),
        (lambda: power_fails_under_a_train(0, "off", [], ["E"]), no_gate),
        (lambda: broker_restarts([*range(len(COPIES))], 0, 0.3), obeys_any_copy),
        (lambda: comes_back([(71, "reverse")], 3, HOUR), forgets_what_was_used_up),
        (test_restored_orders_say_nothing_of_where_turnouts_stand, keeps_everything),
    ],
)
def test_a_broken_promise_is_seen(
    check: Callable[[], None], broken: Break, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With its promise broken in the code, each of these checks fails."""
    check()
    broken(monkeypatch)
    with pytest.raises(AssertionError):
        check()
