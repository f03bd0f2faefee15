"""What is remembered of presses and trains: what each press turns round, and what runs for a while."""

from __future__ import annotations

import json
from itertools import product
from typing import Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.engine import Engine
from bridge.events import MILLISECOND, SECOND, Authority, BlockState, ButtonReported, ButtonState
from bridge.logic.known import NO, YES
from bridge.logic.moments import RUNS, TOGGLES, Happens
from tests.support.driving import decisions, layout, lost
from tests.support.lit import block, driven, lamp, press, pressed_and_released, street, tell

TOGGLE: Final = "{button: bell, toggles: true}"
RUN: Final = "{button: bell, runs: 20 s}"
ENTERED: Final = "{block: yard, entered: 20 s}"


def test_the_tables_have_every_pair() -> None:
    """A moment that runs begins and ends; what is toggled only begins."""
    assert set(product((NO, YES), Happens)) == set(RUNS)
    assert set(product((NO, YES), [Happens.BEGINS])) == set(TOGGLES)


@given(st.lists(st.integers(31, 60_000), max_size=12))
def test_each_press_turns_it_round(waits: list[int]) -> None:
    """After an odd number of presses it is on, however long lies between them and however often each is told."""
    engine = driven(TOGGLE)
    at = 0
    for presses, wait in enumerate(waits, start=1):
        at += wait * MILLISECOND
        tell(engine, press("bell", at), press("bell", at + MILLISECOND))
        at += 40 * MILLISECOND
        tell(engine, press("bell", at, ButtonState.RELEASED))
        assert ("on" if presses % 2 else "off") == lamp(engine)


@given(st.lists(st.integers(1, 45_000), min_size=1, max_size=8))
def test_what_runs_is_on_for_its_time_from_the_last_press(waits: list[int]) -> None:
    """A new press begins the time anew; the light goes out at the very nanosecond."""
    engine = driven(RUN)
    at = 0
    for wait in waits:
        at += (wait + 400) * MILLISECOND
        tell(engine, *pressed_and_released("bell", at))
        assert "on" == lamp(engine)
        assert (at + 20 * SECOND) == engine.next_wake()
    engine.advance(at + 20 * SECOND - 1)
    assert "on" == lamp(engine)
    [over] = decisions(engine.advance(at + 3600 * SECOND))
    assert (at + 20 * SECOND, "off") == (over.at, over.aspect)
    assert engine.next_wake() is None


def test_a_block_counts_as_entered_when_it_was_clear_before() -> None:
    """A block of which nothing was known, or whose detector was lost, may have been occupied all the time."""
    engine = driven(ENTERED)
    occupied, clear = BlockState.OCCUPIED, BlockState.CLEAR
    tell(engine, block(occupied))
    assert "off" == lamp(engine)
    tell(engine, block(clear), block(occupied))
    assert "on" == lamp(engine)
    engine.advance(20 * SECOND)
    assert "off" == lamp(engine)
    tell(engine, block(clear), lost("panel"), block(occupied))
    assert "off" == lamp(engine)


def test_a_train_that_is_through_already_was_just_in_all_the_same() -> None:
    """The time is from when the block was entered, whether the train is still in it or not."""
    engine = driven(ENTERED)
    tell(engine, block(BlockState.CLEAR), block(BlockState.OCCUPIED), block(BlockState.CLEAR, SECOND))
    assert "on" == lamp(engine)
    engine.advance(20 * SECOND)
    assert "off" == lamp(engine)


@pytest.mark.parametrize("when", [TOGGLE, RUN])
@pytest.mark.parametrize("authority", [Authority.STATE, Authority.RESTORED])
def test_a_kept_copy_is_no_press(when: str, authority: Authority) -> None:
    """Whoever pressed the button when the copy was kept does not press it now."""
    engine = driven(when)
    tell(
        engine,
        ButtonReported(at=0, source="panel", name="bell", state=ButtonState.PRESSED, authority=authority),
    )
    assert "off" == lamp(engine)
    tell(engine, press("bell"))
    assert "on" == lamp(engine)


def test_all_who_go_by_one_button_go_together() -> None:
    """Two lights that one button toggles are never the one on and the other off."""
    engine = driven(TOGGLE, f"{{not: {TOGGLE}}}", TOGGLE)
    for presses in range(1, 4):
        tell(engine, *pressed_and_released("bell", presses * SECOND))
        assert lamp(engine, "H1") == lamp(engine, "H3") != lamp(engine, "H2")


def test_what_runs_goes_on_in_a_resumed_engine() -> None:
    """What was pressed, what runs, and how the block stood are in the snapshot."""
    text = street(TOGGLE, RUN, ENTERED)
    first = Engine(layout(text))
    first.start()
    tell(first, press("bell", SECOND), block(BlockState.CLEAR, 2 * SECOND))
    second = Engine(layout(text))
    second.restore(json.loads(json.dumps(first.snapshot())))
    for at, event in ((3, block(BlockState.OCCUPIED, 3 * SECOND)), (4, press("bell", 4 * SECOND))):
        assert first.handle(event) == second.handle(event), at
    assert first.advance(60 * SECOND) == second.advance(60 * SECOND)
    assert first.snapshot() == second.snapshot()
