"""An hour on the valley line and at Alder Junction: trains and bridge hear each other, and nobody waits for a clock."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import pytest

from bridge.events import (
    MILLISECOND,
    SECOND,
    AccessoryOrdered,
    AccessoryProved,
    BlockReported,
    BlockState,
    Position,
    PowerReported,
    PowerState,
)
from bridge.layout.model import DARK
from bridge.service.demo import timetable, valley_timetable
from bridge.service.demo.seen import Seen
from tests.support.demo_day import HOUR, MINUTE, Day, Moment, demo, entered, told

if TYPE_CHECKING:
    from collections.abc import Iterable

SEED: Final = 1
REST: Final = {signal.name: signal.rest for signal in demo().signals}
LEADS_INTO: Final = {
    leg.blocks[0]: leg.signal for leg in valley_timetable.LEGS if leg.blocks[0] != "alder-east"
}
JUNCTION: Final = {"alder-main": (14, Position.NORMAL), "alder-branch": (14, Position.REVERSE)}


def hour() -> tuple[Moment, ...]:
    """Return a whole hour."""
    return told(SEED, HOUR)


def is_clear(aspects: dict[str, str], signal: str) -> bool:
    """Return whether a signal lets a train pass; a dark one does not."""
    return aspects[signal] not in (REST[signal], DARK)


def passed(moment: Moment) -> str:
    """Return the signal that a train has just passed, or nothing. Out of Alder the turnout tells."""
    block = entered(moment)
    if block == "alder-east":
        return "AM" if moment.turnouts.get(15) is Position.NORMAL else "AB"
    return LEADS_INTO.get(block, "")


def at_stop(moments: Iterable[Moment]) -> list[tuple[str, int]]:
    """Return every passing of a signal that did not allow it, with its instant."""
    return [
        (signal, moment.event.at)
        for moment in moments
        if (signal := passed(moment)) and not is_clear(moment.before, signal)
    ]


def test_no_train_passes_a_signal_at_stop() -> None:
    """In an hour every signal is passed many times, and each time it showed that it may be."""
    times = [signal for moment in hour() if (signal := passed(moment))]
    assert {"AW", "AM", "AB", "V1", "V2", "V3", "V4"} == set(times)
    assert 40 <= min(times.count(signal) for signal in set(times))
    assert [] == at_stop(hour())


def test_trains_that_look_at_no_signal_are_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """The count of signals passed at stop is one that can fail."""
    monkeypatch.setattr(Seen, "may_pass", lambda _self, _signal: True)
    assert at_stop(Day(SEED).moments(2 * MINUTE))


def test_conflicting_signals_are_never_clear_together() -> None:
    """Neither the two that lead out of the junction nor two that face each other on the single line."""
    east, west = ("F1E", "F2E", "GE", "TE"), ("T1W", "T2W", "GW", "FW")
    against = [("AM", "AB"), ("D2", "D3"), *((one, other) for one in east for other in west)]
    cleared = set()
    for moment in hour():
        for state in moment.states:
            clear = {signal for signal in REST if is_clear(state, signal)}
            cleared |= clear
            assert [] == [pair for pair in against if clear >= set(pair)], moment.event
    assert {signal for pair in against for signal in pair} <= cleared


def test_every_signal_changes_in_every_ten_minutes() -> None:
    """Nobody waits for somebody who waits for them, until the end of the hour."""
    changes: set[tuple[str, int]] = set()
    before = hour()[0].aspects
    for moment in hour():
        for state in moment.states:
            changes |= {
                (name, moment.event.at // (10 * MINUTE))
                for name, aspect in state.items()
                if aspect != before[name]
            }
            before = state
    assert {(signal, tenth) for signal in REST for tenth in range(6)} <= changes


def test_trains_keep_moving() -> None:
    """No part of the ring is without a train for two minutes, and the three of them go round at least once in three."""
    last: dict[str, int] = {}
    for moment in hour():
        block = entered(moment)
        if block in LEADS_INTO or block == "alder-east":
            assert 2 * MINUTE >= moment.event.at - last.get(block, 0), moment.event
            last[block] = moment.event.at
    assert all(HOUR - 2 * MINUTE <= at for at in last.values())
    rounds = sum(entered(moment) == "valley-3" for moment in hour())
    assert 3 * HOUR // (3 * MINUTE) <= rounds


def test_blocks_are_occupied_and_cleared_in_order() -> None:
    """A train comes into a block from the one before it, never into one that another train is in."""
    ring = [block for leg in valley_timetable.BY_THE_MAIN for block in leg.blocks]
    before = {block: {ring[place - 1]} for place, block in enumerate(ring)}
    before["alder-branch"] = {"alder-west"}
    before["alder-east"] = {"alder-main", "alder-branch"}
    for moment in hour():
        block = entered(moment)
        if block in before:
            assert any(moment.known[each] is not BlockState.CLEAR for each in before[block]), moment.event
        each = moment.event
        if isinstance(each, BlockReported) and each.state is BlockState.OCCUPIED:
            assert moment.known.get(each.name) is not BlockState.OCCUPIED, each


def test_turnouts_are_proved_before_a_train_is_on_them() -> None:
    """It moves for one to two seconds, stands as the train needs it, and is never thrown while it is locked."""
    moving: dict[int, int] = {}
    locked = 0
    for moment in hour():
        each = moment.event
        if isinstance(each, AccessoryOrdered) and each.number in (14, 15):
            assert each.number not in moment.locked, each
        if isinstance(each, AccessoryProved):
            if each.position is Position.MOVING:
                moving[each.number] = each.at
            else:
                assert SECOND <= each.at - moving.pop(each.number) <= 2 * SECOND
        block = entered(moment)
        if block in JUNCTION:
            turnout, position = JUNCTION[block]
            assert position is moment.turnouts[turnout], each
        if block == "alder-east":
            track = "alder-main" if moment.turnouts[15] is Position.NORMAL else "alder-branch"
            assert moment.known[track] is not BlockState.CLEAR, each
            assert 15 in moment.locked, each
        if block == "alder-west":
            assert 14 in moment.locked
            locked += 1
    assert 100 < locked


def test_the_road_is_closed_before_a_train_is_on_it_and_opens_again() -> None:
    """The lights of both posts flash while a train comes, the gates are down when it is there, and up in between."""
    posts = ("lane-north", "lane-south")
    trains = opened = 0
    was_open = False
    for moment in hour():
        if entered(moment) == "mill-lane":
            trains += 1
            assert moment.gates["mill-lane"] == "down", moment.event
        if BlockState.OCCUPIED in {moment.blocks.get("meadow"), moment.blocks.get("mill-lane")}:
            assert {"stop"} == {moment.aspects[post] for post in posts}, moment.event
        is_open = {DARK} == {moment.before[post] for post in posts}
        assert not is_open or moment.gates["mill-lane"] == "up", moment.event
        opened += is_open and not was_open
        was_open = is_open
    assert 100 < trains
    assert trains // 2 < opened


def test_trains_stand_without_power() -> None:
    """No train comes into a block of a district that has a short circuit, and there is one now and then."""
    district = {block.name: block.district for block in demo().blocks}
    off: set[str] = set()
    times = 0
    for moment in hour():
        each = moment.event
        if isinstance(each, PowerReported):
            (off.discard if each.state is PowerState.ON else off.add)(each.district)
            times += each.state is PowerState.SHORTED
        assert district.get(entered(moment), "") not in off, each
    assert 8 <= times <= 20


def test_trouble_makes_signals_restrictive_at_once_and_passes() -> None:
    """When a detector or the power fails, no signal over the blocks concerned is clear until it works again."""
    layout = demo()
    inside = {
        each.name: [b.name for b in layout.blocks if b.district == each.name] for each in layout.districts
    }
    behind = {leg.signal: set(leg.blocks) for leg in valley_timetable.LEGS if leg.signal != "AW"}
    trouble: dict[str, int] = {}
    seen: set[str] = set()
    longest = 0
    for moment in hour():
        each = moment.event
        if isinstance(each, BlockReported):
            names, bad = [each.name], each.state is BlockState.UNKNOWN
        elif isinstance(each, PowerReported):
            names, bad = inside.get(each.district, []), each.state is not PowerState.ON
        else:
            names, bad = [], False
        for name in names:
            if bad:
                trouble.setdefault(name, each.at)
                seen.add(type(each).__name__)
            elif name in trouble and not (
                isinstance(each, PowerReported) and moment.blocks[name] is BlockState.UNKNOWN
            ):
                longest = max(longest, each.at - trouble.pop(name))
        for signal, blocks in behind.items():
            assert not (blocks & trouble.keys() and is_clear(moment.aspects, signal)), (signal, each)
    assert {"BlockReported", "PowerReported"} == seen
    assert 10 * SECOND >= longest


def test_an_order_is_refused_now_and_then_and_says_why() -> None:
    """A visitor reads of a refused order within the first ten minutes, and the trains go on all the same."""
    refused = [
        (moment.event.at, name)
        for moment in hour()
        for name, reason in moment.reasons.items()
        if reason.startswith("the order was refused and has to be given again")
    ]
    assert {"AM", "AB"} == {name for _at, name in refused}
    assert 10 * MINUTE >= refused[0][0]


def test_visitors_see_every_kind_of_aspect() -> None:
    """A flash of the sequence, an approach-lit signal, and a distant that is dark, at caution and at proceed."""
    shown: dict[str, set[str]] = {}
    for moment in hour():
        for state in moment.states:
            for name, aspect in state.items():
                shown.setdefault(name, set()).add(aspect)
    assert {"stop", "approach", "advance-approach", "clear"} == shown["V1"]
    assert {"stop", "approach", "advance-approach", "clear"} == shown["V2"]
    assert {"dark", "approach", "clear"} <= shown["V3"]
    assert {"dark", "caution", "proceed"} == shown["AD"]
    assert {"stop", "medium-approach", "medium-clear"} == shown["AB"]
    assert {"stop", "approach", "medium-approach"} <= shown["AW"]


def test_a_reader_of_the_page_is_not_kept_waiting() -> None:
    """The junction and the line are alive within half a minute: each signal has shown a better aspect."""
    changed: set[str] = set()
    before = dict(REST)
    for moment in hour():
        if moment.event.at > 30 * SECOND:
            break
        changed |= {name for name in before if moment.aspects[name] not in (before[name], DARK)}
    assert {"AW", "AM", "AB", "V1", "V2", "V3", "V4", "AD"} <= changed


def test_a_train_that_waits_is_let_go_again() -> None:
    """The longest that a block of the old line is held is a minute; of the ring, two."""
    since: dict[str, int] = {}
    for moment in hour():
        each = moment.event
        if isinstance(each, BlockReported):
            if each.state is BlockState.OCCUPIED:
                since.setdefault(each.name, each.at)
            elif each.state is BlockState.CLEAR and each.name in since:
                held = each.at - since.pop(each.name)
                assert 2 * MINUTE >= held, (each, held // MILLISECOND)
    late = {name for name, at in since.items() if HOUR - at > 2 * MINUTE}
    assert set() == late & {*valley_timetable.BLOCKS, *timetable.BLOCKS}
