"""What people on the stage can do, and what they see."""

from __future__ import annotations

import pytest

from bridge.events import SECOND, BlockState, Position, PowerState
from bridge.service.demo.seen import Seen
from bridge.service.demo.stage import Message, Stage
from tests.support.demo_day import demo


def shown(seen: Seen, signal: str, aspect: str) -> bool:
    """Return whether a driver may pass a signal that shows this."""
    seen.hear(f"lamproom/device/{signal}", f'{{"aspect": "{aspect}", "reason": ""}}'.encode())
    return seen.may_pass(signal)


def everything(stage: Stage) -> list[Message]:
    """Return all that is said until nobody is left."""
    said = []
    while stage.due is not None:
        said += stage.step()
    return said


def test_a_driver_stops_at_what_is_not_clear() -> None:
    """The most restrictive aspect, a dark signal and one that was never seen are all stop."""
    seen = Seen(demo())
    assert not seen.may_pass("V3")
    assert [False, False, True, True, False] == [
        shown(seen, "V3", aspect) for aspect in ("stop", "dark", "approach", "clear", "stop")
    ]
    assert not shown(seen, "AD", "caution")


@pytest.mark.parametrize("payload", [b"", b"clear", b"[]", b"\xff", b'{"reason": "x"}', b"[" * 5000])
def test_what_cannot_be_understood_is_as_good_as_not_seen(payload: bytes) -> None:
    """A driver does not go on because of an aspect that was shown before."""
    seen = Seen(demo())
    assert shown(seen, "V1", "clear")
    seen.hear("lamproom/device/V1", payload)
    assert not seen.may_pass("V1")


def test_a_locked_turnout_is_not_thrown() -> None:
    """Nothing is ordered while the lock is published; what cannot be understood counts as locked."""
    for payload, throws in ((b'{"state": "locked"}', False), (b"?", False), (b'{"state": "free"}', True)):
        stage = Stage(demo(), 1)
        stage.seen.hear("lamproom/lock/14", payload)
        stage.join(stage.throw(14, Position.REVERSE))
        assert throws == bool(everything(stage))


def test_a_turnout_moves_and_then_proves_where_it_stands() -> None:
    """The coil is let go of meanwhile; whoever throws it again to the same side says nothing."""
    stage = Stage(demo(), 1)
    stage.join(stage.throw(14, Position.REVERSE))
    stage.join(stage.throw(14, Position.REVERSE), 5 * SECOND)
    assert [
        ("accessory/14/ordered", b"reverse", 0),
        ("accessory/14/proved", b"moving", 0),
        ("accessory/14/ordered", b"released", 200),
        ("accessory/14/proved", b"reverse", 1400),
    ] == [
        (each.topic.removeprefix("layout/"), each.payload, each.at // 1_000_000) for each in everything(stage)
    ]


def test_a_blind_detector_tells_afterwards_what_it_sees_then() -> None:
    """What happened meanwhile was not said."""
    stage = Stage(demo(), 1)
    stage.block("valley-1", BlockState.CLEAR)
    stage.blind("valley-1")
    stage.block("valley-1", BlockState.OCCUPIED)
    stage.mend("valley-1")
    assert [b"clear", b"unknown", b"occupied"] == [each.payload for each in stage.step()]


def test_power_is_known_by_district() -> None:
    """A train that stands in two of them needs both."""
    stage = Stage(demo(), 1)
    stage.power("alder", PowerState.SHORTED)
    assert stage.powered("valley")
    assert not stage.powered("valley", "alder")
    stage.power("alder", PowerState.ON)
    assert stage.powered("valley", "alder")
