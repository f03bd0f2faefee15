"""Locked routes in the state file: when they are written, and what is made of what stands there."""

from __future__ import annotations

import asyncio
import json
from pathlib import Path
from typing import Any, Final

import pytest

from bridge.events import Event, RouteKept
from bridge.service.memory import Memory
from bridge.service.state import STATE_FILE, StateFile
from tests.support.junction import JUNCTION, Junction, begun_anew
from tests.support.waiting import until

LOCKED: Final = [["W", "to-east"]]
BACK: Final = JUNCTION.replace("  W:\n", "  W:\n    at-start: restored\n")
SOON: Final = 5.0
"""Seconds: half of the time between two looks that nobody hurries."""


def written(directory: Path) -> dict[str, Any]:
    """Return what stands in the state file, nothing where there is none."""
    file = directory / STATE_FILE
    values: dict[str, Any] = json.loads(file.read_text("utf-8")) if file.exists() else {}
    return values


def orders(directory: Path) -> list[int]:
    """Return the numbers that were ordered, as the state file has them."""
    return [number for _kind, number, _value, _source in written(directory)["orders"]["orders"]]


def told(directory: Path, kept: object) -> tuple[list[Event], list[str]]:
    """Return what a new start makes of locks in the state file."""
    StateFile(directory).put("locks", kept)
    return Memory(StateFile(directory), Junction(awake=False).engine).locks(0)


async def test_a_lock_is_written_as_soon_as_it_is_there(tmp_path: Path) -> None:
    """A route that is locked, and one that is let go of, is in the file long before the next look at the orders."""
    junction = Junction()
    memory = Memory(StateFile(tmp_path), junction.engine)
    keeping = asyncio.create_task(memory.keep())
    try:
        junction.order(71, "reverse", 20)
        memory.look()
        await until(lambda: written(tmp_path).get("locks") == LOCKED, within=SOON)
        junction.order(71, "normal", 30)
        memory.look()
        await until(lambda: written(tmp_path).get("locks") == [], within=SOON)
    finally:
        keeping.cancel()
        await asyncio.gather(keeping, return_exceptions=True)


async def test_an_order_that_is_used_up_is_forgotten_with_the_next_lock(tmp_path: Path) -> None:
    """A train that passes hurries the orders too: after a crash right then its order clears nothing again."""
    junction = Junction(BACK)
    memory = Memory(StateFile(tmp_path), junction.engine)
    keeping = asyncio.create_task(memory.keep())
    try:
        junction.order(71, "reverse", 20)
        memory.look()
        await until(lambda: written(tmp_path).get("locks") == LOCKED, within=SOON)
        assert 71 in orders(tmp_path)
        junction.block("points", "occupied", 30)
        memory.look()
        await until(lambda: 71 not in orders(tmp_path), within=SOON)
        assert LOCKED == written(tmp_path)["locks"]
    finally:
        keeping.cancel()
        await asyncio.gather(keeping, return_exceptions=True)


def test_nothing_is_written_where_nothing_was_ever_locked(tmp_path: Path) -> None:
    """A layout without a locked route makes no state file for that."""
    Memory(StateFile(tmp_path), Junction().engine).save()
    assert {} == written(tmp_path)


def test_a_lock_is_told_as_an_event_of_its_own(tmp_path: Path) -> None:
    """What stands in the file comes as an event, which is logged like any other."""
    event = RouteKept(at=0, source="memory", signal="W", route="to-east")
    assert ([event], []) == told(tmp_path, LOCKED)


def test_a_lock_of_a_route_that_the_layout_lacks_is_dropped_with_a_note(tmp_path: Path) -> None:
    """The others are taken up; the note names signal and route."""
    events, dropped = told(tmp_path, [["W", "to-north"], ["W", "to-east"], ["Z", "to-east"]])
    assert ["to-east"] == [event.route for event in events if isinstance(event, RouteKept)]
    gone = "was locked before the restart, and this layout has no such route: nothing is locked for it"
    assert [f"route to-north of W {gone}", f"route to-east of Z {gone}"] == dropped


@pytest.mark.parametrize("kept", [None, 7, "W", {}, {"W": "to-east"}])
def test_a_file_without_locks_brings_none(tmp_path: Path, kept: object) -> None:
    """Whatever stands there instead of a list, nothing is locked and nothing is raised."""
    assert ([], []) == told(tmp_path, kept)


@pytest.mark.parametrize("lock", [7, [], ["W"], ["W", 5], ["W", "to-east", "set"], None, {"signal": "W"}])
def test_a_lock_that_means_nothing_is_dropped_with_a_note(tmp_path: Path, lock: object) -> None:
    """The note shows what stood there, and the lock beside it is taken up."""
    events, (words,) = told(tmp_path, [lock, ["W", "to-east"]])
    assert 1 == len(events)
    assert repr(lock) in words


def test_a_lock_that_was_dropped_is_gone_from_the_file(tmp_path: Path) -> None:
    """The next save leaves it out: it is told once, and not at every start."""
    told(tmp_path, [["W", "to-north"]])
    Memory(StateFile(tmp_path), Junction(awake=False).engine).save()
    assert [] == written(tmp_path)["locks"]


def test_an_older_look_does_not_overwrite_a_newer(tmp_path: Path) -> None:
    """Two that write at the same time, as at the end of a run, leave behind what was seen last."""
    junction = Junction()
    memory = Memory(StateFile(tmp_path), junction.engine)
    before = memory._seen()
    junction.order(71, "reverse", 20)
    memory.save()
    memory._write(before)
    assert LOCKED == written(tmp_path)["locks"]


def test_what_was_taken_up_is_still_in_the_file(tmp_path: Path) -> None:
    """Until it is let go of, it is kept for the restart after this."""
    junction = Junction()
    junction.order(71, "reverse", 20)
    again = begun_anew(junction)
    Memory(StateFile(tmp_path), again.engine).save()
    assert LOCKED == written(tmp_path)["locks"]
