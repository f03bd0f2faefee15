"""The trains between Fernhollow and Tarn and in the yard, whose signals are all ordered."""

from __future__ import annotations

from typing import Final

import pytest

from bridge.events import MILLISECOND, BlockReported, BlockState
from bridge.service.demo import timetable
from tests.support.demo_day import entered, told

SEEDS: Final = (1, 2, 77)


@pytest.mark.parametrize("seed", SEEDS)
def test_no_two_trains_are_ever_in_one_block(seed: int) -> None:
    """A block is never entered before it was reported clear, and the trains are always somewhere."""
    blocks: dict[str, BlockState] = {}
    for moment in told(seed):
        if isinstance(moment.event, BlockReported) and moment.event.name in timetable.BLOCKS:
            before = blocks.get(moment.event.name)
            assert before is not moment.event.state, moment.event
            blocks[moment.event.name] = moment.event.state
    occupied = sum(state is BlockState.OCCUPIED for state in blocks.values())
    assert len(timetable.DUTIES) <= occupied <= 2 * len(timetable.DUTIES)


def signals_by_block() -> dict[str, set[str]]:
    """Return from the timetable by which signals a block is entered."""
    found: dict[str, set[str]] = {}
    for step in timetable.STEPS:
        found.setdefault(step.block, set()).add(step.signal)
    return found


@pytest.mark.parametrize("seed", SEEDS)
def test_no_train_passes_a_signal_at_stop(seed: int) -> None:
    """When a train comes into a block, one of the signals that lead into it shows something better than stop."""
    by_block = signals_by_block()
    seen = 0
    for moment in told(seed):
        if block := entered(moment):
            seen += block in by_block
            leading = by_block.get(block, set())
            assert not leading or {timetable.STOP} != {moment.before[signal] for signal in leading}, (
                moment.event
            )
    assert 100 < seen


@pytest.mark.parametrize("seed", SEEDS)
def test_a_signal_clears_only_for_a_free_block_and_drops_behind_the_train(seed: int) -> None:
    """It shows stop within half a second after the block behind it was entered, and until that is clear."""
    ahead: dict[str, set[str]] = {}
    for step in timetable.STEPS:
        ahead.setdefault(step.signal, set()).add(step.block)
    one_way = {signal: blocks.pop() for signal, blocks in ahead.items() if len(blocks) == 1}
    assert {"F1E", "F2E", "GE", "T1W", "T2W", "GW", "D2", "D3"} == set(one_way)
    since: dict[str, int] = {}
    for moment in told(seed):
        if isinstance(moment.event, BlockReported) and moment.event.state is BlockState.OCCUPIED:
            since[moment.event.name] = moment.event.at
        for signal, block in one_way.items():
            if moment.aspects[signal] != timetable.STOP and moment.blocks[block] is BlockState.OCCUPIED:
                assert 500 * MILLISECOND >= moment.event.at - since[block], (signal, moment.event)


@pytest.mark.parametrize("seed", SEEDS)
def test_signals_never_face_each_other_on_the_single_line(seed: int) -> None:
    """While one direction is cleared everything against it is at stop."""
    east, west = ("F1E", "F2E", "GE", "TE"), ("T1W", "T2W", "GW", "FW")
    for moment in told(seed):
        cleared = {name for name in (*east, *west) if moment.aspects[name] != timetable.STOP}
        assert not (cleared & set(east) and cleared & set(west)), moment.event


@pytest.mark.parametrize("seed", SEEDS)
def test_a_signal_waits_for_the_proof_of_the_turnouts(seed: int) -> None:
    """No signal is cleared over a turnout that is moving or stands another way."""
    needs = {"F1E": (11, "normal"), "F2E": (11, "reverse"), "T1W": (12, "normal"), "T2W": (12, "reverse")}
    needs |= {"D2": (13, "normal"), "D3": (13, "reverse")}
    before = dict.fromkeys(needs, timetable.STOP)
    for moment in told(seed):
        for signal, (turnout, position) in needs.items():
            if before[signal] == timetable.STOP != moment.aspects[signal]:
                assert position == moment.turnouts[turnout].value, (signal, moment.event)
            before[signal] = moment.aspects[signal]
