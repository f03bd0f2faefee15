"""A session of an interlocked layout: what its timers do comes out of its log, whenever the engine was called."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final, NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.commands import Command, Decision, Told
from bridge.events import SECOND, Authority, Event, RouteKept
from bridge.logic import blocks
from bridge.logic.gate import Gate
from bridge.record import decisions
from bridge.record.lines import Snapshot
from bridge.record.parts import Part
from bridge.record.reader import Place, read_log
from bridge.record.replay import replay
from tests.bridge.record.sessions import Session
from tests.bridge.record.test_store import Standing
from tests.support.junction import BLOCKS, JUNCTION, ordered, powered, proved, reported

AWAKE: Final[tuple[Event, ...]] = (
    powered("on"),
    *(reported(block, "clear") for block in BLOCKS),
    proved(63, "normal"),
    ordered(66, "normal"),
)
PASSING: Final[tuple[tuple[float, Event], ...]] = (
    # with the second at which it happens: cleared, put back before a train, cleared again, passed, power off and on
    *((0, each) for each in AWAKE),
    (10, ordered(71, "reverse")),
    (15, reported("west", "occupied")),
    (17, ordered(71, "normal")),
    (20, ordered(72, "reverse")),
    (38, ordered(71, "reverse")),
    (45, reported("points", "occupied")),
    (46, reported("west", "clear")),
    (47, reported("east", "occupied")),
    (48, reported("points", "clear")),
    (50, powered("off")),
    (60, powered("on")),
    (75, reported("east", "clear")),
    (90, ordered(72, "reverse")),
)


class Happening(NamedTuple):
    """Something that happens after a while, in which the engine is called at some instants besides."""

    gap: int
    event: Event
    calls: list[int]


happenings: Final = st.builds(
    Happening,
    st.one_of(
        st.sampled_from([0, 1, 3 * SECOND // 2, 2 * SECOND, 5 * SECOND, 20 * SECOND]),
        st.integers(0, 30 * SECOND),
    ),
    st.one_of(
        st.sampled_from(AWAKE),
        st.builds(reported, st.sampled_from(BLOCKS), st.sampled_from(["occupied", "clear", "unknown"])),
        st.builds(ordered, st.sampled_from([71, 72, 73, 66]), st.sampled_from(["normal", "reverse"])),
        st.builds(proved, st.just(63), st.sampled_from(["normal", "reverse", "moving"])),
        st.builds(powered, st.sampled_from(["on", "off", "shorted"])),
        st.sampled_from(AWAKE).map(lambda each: replace(each, authority=Authority.STATE)),  # type: ignore[call-arg] # all have it
    ),
    st.lists(st.integers(0, 30 * SECOND), max_size=4),
)


def recorded(path: Path, script: list[Happening], *, calls: bool = True) -> Session:
    """Record a session; without `calls` the engine is called only with what happens."""
    session, at = Session(path, JUNCTION), 0
    for gap, event, between in script:
        for instant in sorted(at + call for call in between if calls and call <= gap):
            session.wake(instant)
        at += gap
        session.message(at, event)
    session.wake(at + 60 * SECOND)
    session.end(at + 60 * SECOND)
    return session


KEPT: Final = st.lists(
    st.sampled_from(
        [("W", "to-east"), ("W", "to-branch"), ("E", "to-west"), ("B", "to-west"), ("W", "gone")]
    ),
    max_size=3,
).map(lambda locks: [RouteKept(at=0, source="memory", signal=signal, route=route) for signal, route in locks])
"""Routes that were locked before a restart, some of which exclude each other or are no longer there."""


def said(commands: list[Command]) -> list[Command]:
    """Return all decisions and all that was told, with their instants."""
    return [each for each in commands if isinstance(each, Decision | Told)]


def passing(calls: list[int]) -> list[Happening]:
    """Return the session above, with calls in every gap."""
    instants = [round(at * SECOND) for at, _event in PASSING]
    gaps = [later - at for at, later in zip([0, *instants], instants, strict=False)]
    return [Happening(gap, event, calls) for gap, (_at, event) in zip(gaps, PASSING, strict=True)]


@settings(max_examples=60)
@given(KEPT, st.lists(happenings, max_size=25))
def test_a_random_session_replays_the_same(kept: list[Event], script: list[Happening]) -> None:
    """Locks of every kind, filters of blocks and power that settles: the same frames and decisions, to the byte.

    And the same decisions at the same instants as in a session in which nobody called the engine in between.
    """
    script = [Happening(0, each, []) for each in (*kept, *AWAKE)] + script
    with TemporaryDirectory() as place:
        often = recorded(Path(place) / "often.log", script)
        seldom = recorded(Path(place) / "seldom.log", script, calls=False)
        for name in ("often", "seldom"):
            result = replay(Path(place) / f"{name}.log")
            assert result.same, result.difference
            assert [] == list(result.notes)
        assert said(often.commands) == said(seldom.commands)
        assert often.engine.snapshot()["board"] == seldom.engine.snapshot()["board"]


@settings(max_examples=60)
@given(KEPT, st.lists(happenings, min_size=1, max_size=25), st.data())
def test_from_any_snapshot_on_all_later_ones_tell_the_same_state(
    kept: list[Event], script: list[Happening], data: st.DataObject
) -> None:
    """Locks, filters and power that settles are taken up from a snapshot so that nothing tells it from what was."""
    script = [Happening(0, each, []) for each in (*kept, *AWAKE)] + script
    with TemporaryDirectory() as place:
        path = Path(place) / "session.log"
        session, at = Standing(path, JUNCTION), 0
        for gap, event, _between in script:
            at += gap
            session.message(at, event)
        session.end(at + SECOND)
        lines = [each.number for each in read_log(path) if isinstance(each.line, Snapshot)]
        begin = Place(path, data.draw(st.sampled_from(lines)))
        result = decisions._replay_part(Part(begin, None), lambda _at: None)
    assert (None, True) == (result.difference, result.ended)


@pytest.mark.parametrize("calls", [[], [SECOND], [0, 1, 3 * SECOND // 2, 7 * SECOND, 10 * SECOND]])
def test_a_train_through_a_junction_replays_the_same(calls: list[int], tmp_path: Path) -> None:
    """Every kind of timer runs out in this session, at its own instant, and its replay is the same to the byte."""
    session = recorded(tmp_path / "session.log", passing(calls))
    shown = [
        (each.at / SECOND, each.device, each.aspect)
        for each in session.commands
        if isinstance(each, Decision) and each.before != each.aspect and each.device != "A"
    ]
    # E's order at 20 s is refused, since W was put back at 17 s before a train and keeps its route until 37 s.
    assert [
        (10, "W", "clear"),
        (17, "W", "stop"),
        (38, "W", "clear"),
        (45, "W", "stop"),
        (90, "E", "clear"),
    ] == shown
    free = [each.at / SECOND for each in session.commands if isinstance(each, Told) and each.state == "free"]
    # 37: the time of the lock. 68.5: on since 60, settled after 2 s, clear after 1.5 s more and over 5 s more.
    assert [0, 0, 37, 68.500000001] == free[:4]
    result = replay(tmp_path / "session.log")
    assert result.same, result.difference
    assert len(session.frames) == result.frames


def test_a_replay_with_another_clock_of_a_lock_is_different(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A timer that is a nanosecond longer in the replay is found, with the line of the log."""
    recorded(tmp_path / "session.log", passing([]))
    begin = blocks.Block.__init__

    def begun(self: blocks.Block, *args: object) -> None:
        begin(self, *args)  # type: ignore[arg-type] # handed on as they are
        self._after = {state: after + 1 for state, after in self._after.items()}

    monkeypatch.setattr(blocks.Block, "__init__", begun)
    assert not replay(tmp_path / "session.log").same
    monkeypatch.undo()
    assert replay(tmp_path / "session.log").same
    monkeypatch.setattr(Gate, "_time_is_over", lambda *_args: True)
    difference = replay(tmp_path / "session.log").difference
    assert difference is not None
    assert "W" in difference.what or "63" in difference.what or "E" in difference.what


def test_a_lock_from_before_a_restart_is_in_the_log(tmp_path: Path) -> None:
    """A log tells of the lock, and replays the same; without that line it does not, and the cause is found."""
    path = tmp_path / "session.log"
    lock = RouteKept(at=0, source="memory", signal="W", route="to-east")
    session = recorded(path, [Happening(0, lock, []), *passing([])])
    free = [each.at / SECOND for each in session.commands if isinstance(each, Told) and each.state == "free"]
    # Told free at the start, then by the lock: all is known 3.5 s after the power has come, and 20 s have to pass.
    assert [0, 0, 23.5] == free[:3]
    assert replay(path).same
    lines = path.read_text("utf-8").splitlines(keepends=True)
    assert 1 == sum("route-kept" in line for line in lines)
    path.write_text("".join(line for line in lines if "route-kept" not in line), "utf-8")
    assert not replay(path).same
