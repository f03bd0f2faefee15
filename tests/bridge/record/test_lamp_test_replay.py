"""A session with lamp tests: they stand in its log as what came in, and its replay gives the same frames, marked."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Final

import pytest

from bridge.events import SECOND, Event, LampTestAsked
from bridge.record.lines import Frame, Input
from bridge.record.reader import read_log
from bridge.record.replay import replay
from tests.bridge.record.sessions import Session
from tests.support.driving import REVERSE, order
from tests.support.lamp_testing import ask, confirm, end

EVENTS: Final[list[Event]] = [
    order(61, REVERSE, 0, "bus"),
    ask("channels", "ferry/bank", 0, 4),
    confirm("ferry/bank", 0),
    order(63, REVERSE, 0, "bus"),
    ask("chips", "hill", 0),  # refused
    end("m1", 0),
    ask("picture", "hill/top", 0, 3, picture="ff" * 40, mark="p"),
    confirm("hill/top", 0, "p"),
    order(70, REVERSE, 0, "bus"),
]


def recorded(path: Path) -> Session:
    session = Session(path)
    for number, event in enumerate(EVENTS, start=1):
        at = number * 1_700_000_000
        session.run_until(at)
        session.message(at, replace(event, at=at))
    session.run_until(30 * SECOND)
    session.end(30 * SECOND)
    return session


def test_a_session_with_lamp_tests_replays_the_same(tmp_path: Path) -> None:
    """Frames of tests stand in the log with their bytes and their mark, and come out of it as they went in."""
    path = tmp_path / "session.log"
    recorded(path)
    lines = [placed.line for placed in read_log(path)]
    marked = [line for line in lines if isinstance(line, Frame) and line.test]
    assert {"ferry/bank", "hill/top"} == {line.chain for line in marked}
    assert b"\xff" * 40 in [line.levels for line in marked]
    came = [event for line in lines if isinstance(line, Input) for event in line.events]
    assert 3 == sum(isinstance(event, LampTestAsked) for event in came)
    result = replay(path)
    assert result.same, result.difference
    assert [] == list(result.notes)


@pytest.mark.parametrize(
    ("old", "new", "what"),
    [
        (',"test":true}', "}", "is a picture of a lamp test in the replay, and none in the log"),
        ("ff" * 40, "fe" * 40, ""),
    ],
)
def test_a_changed_mark_or_picture_is_found(tmp_path: Path, old: str, new: str, what: str) -> None:
    """A replay compares both."""
    path = tmp_path / "session.log"
    recorded(path)
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    place = next(index for index, line in enumerate(lines) if line.startswith('{"frame"') and old in line)
    lines[place] = lines[place].replace(old, new)
    path.write_text("".join(lines), encoding="utf-8")
    result = replay(path)
    assert not result.same
    assert result.difference is not None
    assert what in result.difference.what


def test_frames_under_a_test_that_move_are_digested_as_they_were_shown(tmp_path: Path) -> None:
    """A fade goes on beneath a test of another fixture of its chain; its frames carry the mark."""
    path = tmp_path / "session.log"
    session = Session(path)
    session.message(SECOND, ask("blink", "M2", SECOND, 5))
    session.message(SECOND, confirm("ferry/bank", SECOND))
    session.message(2 * SECOND, order(61, REVERSE, 2 * SECOND, "bus"))
    session.run_until(10 * SECOND)
    session.end(10 * SECOND)
    assert replay(path).same
