"""The pretend trains and people, and the bridge that they see, without waiting for any of them."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from itertools import pairwise
from typing import Final

import pytest

from bridge.errors import LamproomError
from bridge.events import (
    MILLISECOND,
    SECOND,
    AccessoryOrdered,
    AccessoryProved,
    BlockReported,
    ButtonReported,
    ClockReported,
    PowerReported,
)
from bridge.service.demo.railroad import railroad
from bridge.service.demo.stage import Message
from tests.support.demo_day import MINUTE, Day, demo, event, told

SEEDS: Final = (1, 2, 77)


def day(seed: int, until: int = 2 * MINUTE) -> list[Message]:
    """Return what is said in the first while of a day."""
    return [moment.message for moment in Day(seed).moments(until)]


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
    digests = {
        subprocess.run(
            [sys.executable, "-c", program],
            env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": "."},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2", "3")
    }
    assert 1 == len(digests)


@pytest.mark.parametrize("seed", SEEDS)
def test_messages_come_in_the_order_of_their_times(seed: int) -> None:
    """Whoever plays them never has to look back."""
    assert all(earlier.message.at <= later.message.at for earlier, later in pairwise(told(seed)))


@pytest.mark.parametrize("seed", SEEDS)
def test_the_bridge_understands_every_message(seed: int) -> None:
    """Each one is a fact, and every kind of fact that the lines have to tell is among them."""
    kinds = {type(moment.event) for moment in told(seed)}
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
    for moment in told(seed):
        for state in moment.states:
            for name, aspect in state.items():
                shown.setdefault(name, set()).add(aspect)
    assert [] == [name for name, aspects in shown.items() if len(aspects) < 2]


@pytest.mark.parametrize("seed", SEEDS)
def test_something_happens_soon_and_then_every_few_seconds(seed: int) -> None:
    """The first change that can be seen comes within two seconds, and no pause is longer than eight."""
    seen = [0]
    before: dict[str, str] = {}
    for moment in told(seed):
        if before and moment.aspects != before:
            seen.append(moment.event.at)
        before = moment.aspects
    assert 1500 * MILLISECOND >= seen[1]
    assert 8 * SECOND >= max(later - earlier for earlier, later in pairwise(seen))


def test_the_model_clock_goes_round_in_twelve_minutes() -> None:
    """It is told each half hour of its own, as far apart as its rate says, and midnight follows 23:59."""
    clock = [m.event for m in told(1) if isinstance(m.event, ClockReported)]
    seconds = [each.seconds for each in clock if each.seconds is not None]
    assert len(clock) == len(seconds)
    assert {1800} == {(later - earlier) % 86_400 for earlier, later in pairwise(seconds)}
    assert {15 * SECOND} == {later.at - earlier.at for earlier, later in pairwise(clock)}
    assert {4 * 86_400 // (12 * 60)} == {each.rate_quarters for each in clock}
    assert 0 in seconds


@pytest.mark.parametrize(
    ("signal", "complaint"),
    [
        ("GW", "need a signal GW that can be ordered to approach"),
        ("AM", "need a signal AM that can be ordered to clear"),
        ("V2", "need a signal V2"),
    ],
)
def test_a_layout_without_the_lines_is_refused(signal: str, complaint: str) -> None:
    """Trains that miss one of their signals say which before the first message is sent."""
    layout = demo()
    shorter = replace(layout, signals=tuple(each for each in layout.signals if each.name != signal))
    with pytest.raises(LamproomError, match=complaint):
        railroad(shorter, 1)


def test_a_layout_without_a_block_of_the_line_is_refused() -> None:
    """The trains would not know where their power comes from."""
    layout = demo()
    shorter = replace(layout, blocks=tuple(each for each in layout.blocks if each.name != "valley-3"))
    with pytest.raises(LamproomError, match="need a block valley-3"):
        railroad(shorter, 1)
