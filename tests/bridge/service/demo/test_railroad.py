"""The pretend trains and people, without waiting for any of them."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from functools import cache
from itertools import islice, pairwise, takewhile
from typing import TYPE_CHECKING, Final, NamedTuple

import pytest

from adapters.events.facts import read_topic
from bridge.check import check_text
from bridge.engine import Engine
from bridge.errors import LamproomError
from bridge.events import (
    MILLISECOND,
    SECOND,
    AccessoryOrdered,
    AccessoryProved,
    BlockReported,
    BlockState,
    ButtonReported,
    ClockReported,
    Event,
    Position,
    PowerReported,
)
from bridge.service.demo import timetable
from bridge.service.demo.railroad import ROOT, Message, railroad
from bridge.service.shipped import DEMO, shipped_layout

if TYPE_CHECKING:
    from bridge.layout import Layout

SEEDS: Final = (1, 2, 77)
LONG: Final = 20 * 60 * SECOND


def demo() -> Layout:
    """Read the layout of the demo."""
    layout = check_text(shipped_layout(DEMO)).layout
    assert layout is not None
    return layout


def day(seed: int, until: int = LONG) -> list[Message]:
    """Return what is said in the first while of a day."""
    return list(takewhile(lambda message: message.at < until, railroad(demo(), seed)))


def event(message: Message) -> Event:
    """Return what a message means to the bridge."""
    return read_topic(ROOT, message.topic).event(message.payload, message.at, "mqtt", retained=False)


class Moment(NamedTuple):
    """One message, and what is known after it: aspects by signal, blocks and turnouts by what was said last."""

    event: Event
    aspects: dict[str, str]
    blocks: dict[str, BlockState]
    turnouts: dict[int, Position]


@cache
def moments(seed: int) -> tuple[Moment, ...]:
    """Return a day moment by moment, as the engine of the bridge sees it. Nobody alters it."""
    engine = Engine(demo())
    engine.start()
    blocks: dict[str, BlockState] = {}
    turnouts: dict[int, Position] = {}
    found = []
    for each in map(event, day(seed)):
        engine.handle(each)
        if isinstance(each, BlockReported):
            blocks[each.name] = each.state
        elif isinstance(each, AccessoryProved):
            turnouts[each.number] = each.position
        aspects = {name: choice.aspect for name, choice in engine.choices().items()}
        found.append(Moment(each, aspects, dict(blocks), dict(turnouts)))
    return tuple(found)


def test_a_seed_always_gives_the_same_day() -> None:
    """Two runs of one seed are equal, message by message; another seed differs."""
    assert day(5) == day(5)
    assert day(5) != day(6)


def test_a_day_does_not_depend_on_the_hash_seed() -> None:
    """Two processes with different hash seeds tell the same day."""
    program = (
        "from hashlib import sha256; from tests.bridge.service.demo.test_railroad import day;"
        "print(sha256(repr(day(5)).encode()).hexdigest())"
    )
    told = {
        subprocess.run(
            [sys.executable, "-c", program],
            env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": "."},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2", "3")
    }
    assert 1 == len(told)


@pytest.mark.parametrize("seed", SEEDS)
def test_messages_come_in_the_order_of_their_times(seed: int) -> None:
    """Whoever plays them never has to look back."""
    assert all(earlier.at <= later.at for earlier, later in pairwise(day(seed)))


@pytest.mark.parametrize("seed", SEEDS)
def test_the_bridge_understands_every_message(seed: int) -> None:
    """Each one is a fact, and every kind of fact that the line has to tell is among them."""
    kinds = {type(event(message)) for message in day(seed)}
    assert {
        AccessoryOrdered,
        AccessoryProved,
        BlockReported,
        ButtonReported,
        ClockReported,
        PowerReported,
    } <= kinds


def test_feedback_is_kept_and_orders_are_not() -> None:
    """A copy of an order that is kept would be told to a bridge that starts much later."""
    for message in day(1):
        kept = isinstance(event(message), BlockReported | PowerReported | ClockReported | AccessoryProved)
        assert kept == message.retain, message


@pytest.mark.parametrize("seed", SEEDS)
def test_every_device_of_the_layout_has_something_to_do(seed: int) -> None:
    """Within some minutes each signal was at stop and not at stop, and each light on and off."""
    shown: dict[str, set[str]] = {}
    for moment in moments(seed):
        for name, aspect in moment.aspects.items():
            shown.setdefault(name, set()).add(aspect)
    assert [] == [name for name, aspects in shown.items() if len(aspects) < 2]


@pytest.mark.parametrize("seed", SEEDS)
def test_something_happens_soon_and_then_every_few_seconds(seed: int) -> None:
    """The first change that can be seen comes within two seconds, and no pause is longer than eight."""
    seen = [0]
    before: dict[str, str] = {}
    for moment in moments(seed):
        if before and moment.aspects != before:
            seen.append(moment.event.at)
        before = moment.aspects
    assert 1500 * MILLISECOND >= seen[1]
    assert 8 * SECOND >= max(later - earlier for earlier, later in pairwise(seen))


@pytest.mark.parametrize("seed", SEEDS)
def test_no_two_trains_are_ever_in_one_block(seed: int) -> None:
    """A block is never entered before it was reported clear, and the trains are always somewhere."""
    blocks: dict[str, BlockState] = {}
    for moment in moments(seed):
        if isinstance(moment.event, BlockReported):
            before = blocks.get(moment.event.name)
            assert before is not moment.event.state, moment.event
            blocks[moment.event.name] = moment.event.state
    occupied = sum(state is BlockState.OCCUPIED for state in blocks.values())
    assert len(timetable.DUTIES) <= occupied <= 2 * len(timetable.DUTIES)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_signal_clears_only_for_a_free_block_and_drops_behind_the_train(seed: int) -> None:
    """It shows stop within half a second after the block behind it was entered, and until that is clear."""
    ahead: dict[str, set[str]] = {}
    for step in (step for duty in timetable.DUTIES for route in duty.rounds for step in route.steps):
        ahead.setdefault(step.signal, set()).add(step.block)
    one_way = {signal: blocks.pop() for signal, blocks in ahead.items() if len(blocks) == 1}
    assert {"F1E", "F2E", "GE", "T1W", "T2W", "GW", "D2", "D3"} == set(one_way)
    entered: dict[str, int] = {}
    for moment in moments(seed):
        if isinstance(moment.event, BlockReported) and moment.event.state is BlockState.OCCUPIED:
            entered[moment.event.name] = moment.event.at
        for signal, block in one_way.items():
            if moment.aspects[signal] != timetable.STOP and moment.blocks[block] is BlockState.OCCUPIED:
                assert 500 * MILLISECOND >= moment.event.at - entered[block], (signal, moment.event)


@pytest.mark.parametrize("seed", SEEDS)
def test_signals_never_face_each_other_on_the_single_line(seed: int) -> None:
    """While one direction is cleared everything against it is at stop."""
    east, west = ("F1E", "F2E", "GE", "TE"), ("T1W", "T2W", "GW", "FW")
    for moment in moments(seed):
        cleared = {name for name in (*east, *west) if moment.aspects[name] != timetable.STOP}
        assert not (cleared & set(east) and cleared & set(west)), moment.event


@pytest.mark.parametrize("seed", SEEDS)
def test_a_signal_waits_for_the_proof_of_the_turnouts(seed: int) -> None:
    """No signal is cleared over a turnout that is moving or stands another way."""
    needs = {"F1E": (11, "normal"), "F2E": (11, "reverse"), "T1W": (12, "normal"), "T2W": (12, "reverse")}
    needs |= {"D2": (13, "normal"), "D3": (13, "reverse")}
    before = dict.fromkeys(needs, timetable.STOP)
    for moment in moments(seed):
        for signal, (turnout, position) in needs.items():
            if before[signal] == timetable.STOP != moment.aspects[signal]:
                assert position == moment.turnouts[turnout].value, (signal, moment.event)
            before[signal] = moment.aspects[signal]


def test_every_train_goes_on_for_ever() -> None:
    """After five hours nobody waits for somebody who waits for them: each signal is still cleared now and then."""
    late = list(islice((m for m in railroad(demo(), 3) if m.at > 5 * 3600 * SECOND), 3000))
    ordered = {m.topic for m in late if m.payload == b"reverse"}
    assert {f"{ROOT}/accessory/{number}/ordered" for number in (61, 81, 91, 92, 93)} <= ordered
    assert {f"{ROOT}/accessory/{number}/ordered" for number in (66, 73)} <= ordered


def test_the_model_clock_is_told_each_of_its_minutes() -> None:
    """Its messages are as far apart as its rate says, and midnight follows 23:59."""
    clock = [e for e in map(event, day(1, 3600 * SECOND)) if isinstance(e, ClockReported)]
    assert {60} == {(later.seconds - earlier.seconds) % 86_400 for earlier, later in pairwise(clock)}
    assert {5 * SECOND} == {later.at - earlier.at for earlier, later in pairwise(clock)}
    assert {48} == {told.rate_quarters for told in clock}
    assert 0 in {told.seconds for told in clock}


def test_a_layout_without_the_line_is_refused() -> None:
    """Trains that miss one of their signals say which before the first message is sent."""
    layout = demo()
    shorter = replace(layout, signals=tuple(each for each in layout.signals if each.name != "GW"))
    with pytest.raises(LamproomError, match="need a signal GW that can be ordered to approach"):
        railroad(shorter, 1)
