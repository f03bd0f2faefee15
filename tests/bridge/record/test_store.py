"""Sessions on the disk: in files that each stand for themselves, packed when done with, the oldest given up first."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.engine import Engine
from bridge.errors import DecodeError
from bridge.events import SECOND
from bridge.record.decisions import replay_decisions
from bridge.record.lines import Header, Snapshot
from bridge.record.parts import find_snapshot
from bridge.record.reader import Place, is_recorded, read_log, read_session
from bridge.record.replay import ReplayResult, replay, report_lines
from bridge.record.store import ABANDONED, UNFINISHED, find_log, first_name, piece_path, sessions, tidy
from tests.bridge.record.sessions import LAYOUT, Session, Step, ordered, play, scripts
from tests.support.driving import layout as layout_of

NAME: Final = "2026-11-28T10-00-00-000000Z.jsonl"
SMALL: Final = "session-log: {piece: 1 MB, room: 4 MB, snapshot-every: 2 s}\n" + LAYOUT


class Days:
    """Tells a new day whenever it is asked to."""

    def __init__(self) -> None:
        self.day = 1

    def __call__(self) -> str:
        return f"day {self.day}"


def pieces_of(path: Path, days: int = 3) -> Session:
    """Record a session that goes on for some days, each in a file of its own."""
    today = Days()
    session = Session(path, today=today)
    at = 0
    for day in range(days):
        if day:
            today.day += 1
            session.stand()
        for turn in range(4):
            at += SECOND
            session.run_until(at)
            session.message(at, ordered(70, ("normal", "reverse")[turn % 2]))
        assert session.log.flush() is None
    session.end(at + 2 * SECOND)
    return session


def test_each_piece_of_a_session_stands_for_itself(tmp_path: Path) -> None:
    """A day's file has header and snapshot, replays alone to the end of the session, and names the one before it."""
    first = tmp_path / NAME
    session = pieces_of(first)
    paths = [piece_path(first, number) for number in (1, 2, 3)]
    assert paths == sessions(tmp_path)
    headers = [next(read_log(path)).line for path in paths]
    assert all(isinstance(header, Header) for header in headers)
    assert [(1, ""), (2, paths[0].name), (3, paths[1].name)] == [
        (header.piece, header.before) for header in headers if isinstance(header, Header)
    ]
    for path in paths[1:]:
        lines = read_log(path)
        next(lines)
        assert isinstance(next(lines).line, Snapshot)
    results = [replay(path) for path in paths]
    assert [(True, True, True, 12)] * 3 == [
        (each.same, each.whole, each.ended, each.events) for each in results
    ]
    assert [0, 4, 8] == [each.skipped for each in results]
    assert [0, 4, 8] == [replay_decisions(path).skipped for path in paths]
    assert [12] * 3 == [replay_decisions(path).events for path in paths]
    assert report_lines(results[2])[1].startswith("replayed: 4 events, ")
    assert len(session.frames) == results[0].frames > results[1].frames > results[2].frames > 0


def test_a_session_that_goes_on_has_not_broken_off(tmp_path: Path) -> None:
    """Whoever looks at it while it is recorded is told so; the last file of the session is the one that counts."""
    first = tmp_path / NAME
    today = Days()
    session = Session(first, today=today)
    session.message(SECOND, ordered(70))
    assert session.log.flush() is None
    today.day += 1
    session.stand()
    session.message(2 * SECOND, ordered(70))
    assert session.log.flush() is None
    assert piece_path(first, 2).exists()
    assert is_recorded(first)
    result = replace(replay(first), recorded=True)
    assert report_lines(result)[0].endswith("; it is still being recorded, 0:00:02.000 so far")
    session.end(3 * SECOND)
    assert not is_recorded(first)


def test_the_first_file_of_a_session_is_known_from_any(tmp_path: Path) -> None:
    """By the name of the one before."""
    first = tmp_path / NAME
    for number in (2, 3, 12):
        assert NAME == first_name(piece_path(first, number - 1).name, number)


def test_a_piece_that_is_gone_ends_the_session_before_it(tmp_path: Path) -> None:
    """Without its second file a session is read to the end of its first, and from its third on."""
    first = tmp_path / NAME
    pieces_of(first)
    piece_path(first, 2).unlink()
    assert (True, False, 4) == (replay(first).same, replay(first).ended, replay(first).events)
    assert (True, True, 12) == (
        replay(piece_path(first, 3)).same,
        replay(piece_path(first, 3)).ended,
        replay(piece_path(first, 3)).events,
    )


@pytest.mark.parametrize("work", [replay, replay_decisions])
def test_a_piece_whose_state_is_damaged_is_not_said_to_be_the_same(
    tmp_path: Path, work: Callable[[Path], ReplayResult]
) -> None:
    """Without the snapshot at its beginning nothing of a later file can be played, and so nothing was compared."""
    first = tmp_path / NAME
    pieces_of(first)
    last = piece_path(first, 3)
    lines = last.read_bytes().splitlines(keepends=True)
    last.write_bytes(b"".join([lines[0], b"?\n", *lines[2:]]))
    result = work(last)
    assert (1, 0, 0) == (result.gaps, result.frames, result.decisions)
    report = report_lines(result)
    assert report[0].endswith("; it could be played up to 0:00:00.000")
    assert report[-1].startswith("NOT WHOLE: ")


def test_another_layout_file_needs_the_session_from_its_beginning(tmp_path: Path) -> None:
    """Of a later file the first one is named, however many lie between."""
    first = tmp_path / NAME
    pieces_of(first)
    with pytest.raises(
        DecodeError, match=f"this session began in {NAME}: for another layout file begin there"
    ):
        replay(piece_path(first, 3), LAYOUT)


def test_a_piece_of_another_session_is_not_taken_for_its_own(tmp_path: Path) -> None:
    """A file that stands there by that name, and was recorded with another layout file, is left alone."""
    first = tmp_path / NAME
    pieces_of(first, 1)
    stranger = Session(piece_path(first, 2), LAYOUT.replace("Boat shed", "Old shed"))
    stranger.end(SECOND)
    assert 4 == replay(first).events


def test_a_full_file_is_followed_by_another(tmp_path: Path) -> None:
    """Beyond its size a file ends at the next snapshot, which is wanted then, and not only after its time."""
    path = tmp_path / NAME
    session = Session(path, "session-log: {piece: 1 MB, room: 4 MB, snapshot-every: 1 h}\n" + LAYOUT)
    at, pieces = 0, 1
    while pieces < 3:
        at += SECOND
        session.message(
            at, *(ordered(number, "reverse") for number in range(61, 65)), *(ordered(200) for _ in range(900))
        )
        assert session.log.flush() is None
        if session.log.wants_snapshot(at):
            pieces += 1
            session.stand()
    session.end(at + SECOND)
    sizes = [each.stat().st_size for each in sessions(tmp_path)]
    assert [True, True, False] == [1_000_000 <= size < 1_300_000 for size in sizes]
    assert replay(path).same
    assert replay(path).events == session.engine.events


def test_no_snapshot_is_wanted_while_nothing_happens(tmp_path: Path) -> None:
    """After its time one is, if anything happened; an idle night writes nothing."""
    session = Session(tmp_path / NAME, SMALL)
    assert not session.log.wants_snapshot(1 * SECOND)
    assert session.log.wants_snapshot(2 * SECOND)
    session.message(2 * SECOND, ordered(61))
    session.stand()
    assert not session.log.wants_snapshot(10**6 * SECOND)
    session.message(10**6 * SECOND, ordered(61, "normal"))
    assert session.log.wants_snapshot(10**6 * SECOND)


def test_what_is_done_with_is_packed_and_still_found(tmp_path: Path) -> None:
    """All but the file that is being written to are packed; whoever knows a log by its first name finds it."""
    first = tmp_path / NAME
    pieces_of(first, 2)
    running = Session(tmp_path / NAME.replace("10-", "11-", 1))
    running.message(SECOND, ordered(61))
    assert running.log.flush() is None
    (tmp_path / "notes.jsonl").write_text("an owner's own file")
    half = tmp_path / (NAME + ".gz.part")
    half.write_bytes(b"half")
    os.utime(half, (0, 0))
    whole = [placed.line for placed in read_session(first)]
    assert () == tidy(tmp_path, 10**9)
    assert {first.name + ".gz", piece_path(first, 2).name + ".gz", running.log.path.name, "notes.jsonl"} == {
        path.name for path in tmp_path.iterdir()
    }
    assert whole == [placed.line for placed in read_session(first)]
    assert replay(first).same
    assert find_log(first).name.endswith(".gz")
    running.end(2 * SECOND)
    assert replay(running.log.path).same


def test_what_is_being_made_is_taken_away_only_when_nobody_makes_it_any_more(tmp_path: Path) -> None:
    """A file under a name that is not its own yet: it may be a log that has its header in a moment."""
    path = tmp_path / (NAME + UNFINISHED)
    path.write_bytes(b"half")
    assert () == tidy(tmp_path, 10**9)
    assert path.exists()
    os.utime(path, (path.stat().st_mtime - ABANDONED - 1,) * 2)
    assert () == tidy(tmp_path, 10**9)
    assert not path.exists()


def test_the_oldest_go_first_and_what_is_written_to_never(tmp_path: Path) -> None:
    """There is room for what was recorded last; the owner is told which went."""
    day = datetime(2026, 11, 1)  # noqa: DTZ001 - a name is all it becomes
    names = [f"{day + timedelta(days=number):%Y-%m-%d}T10-00-00-000000Z.jsonl" for number in range(5)]
    for name in names[1:]:
        pieces_of(tmp_path / name, 1)
    running = Session(tmp_path / names[0])  # the clock was set back: it is older than all others
    assert running.log.flush() is None
    tidy(tmp_path, 10**9)
    sizes = {path.name: path.stat().st_size for path in tmp_path.iterdir()}
    most = sum(sizes.values()) - sizes[names[1] + ".gz"] - 1
    (told,) = tidy(tmp_path, most)
    assert told.startswith(
        f"2 of the oldest session logs made room for newer ones ({names[1]}.gz to {names[2]}.gz)"
    )
    assert {names[0], names[3] + ".gz", names[4] + ".gz"} == {path.name for path in tmp_path.iterdir()}
    assert () == tidy(tmp_path, most)
    tidy(tmp_path, 0)
    assert [names[0]] == [path.name for path in tmp_path.iterdir()]
    running.end(SECOND)


def test_a_directory_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    """Tidying raises nothing: the lights go on."""
    file = tmp_path / "file"
    file.touch()
    (told,) = tidy(file, 0)
    assert "cannot be tidied: Not a directory" in told
    assert () == tidy(tmp_path / "none yet", 0)


@settings(deadline=None, max_examples=40)  # each example writes and reads files
@given(scripts, st.integers(0, 10**10))
def test_a_replay_may_begin_and_end_anywhere(script: list[Step], since: int) -> None:
    """From whatever instant on, all that follows comes out as recorded, frame by frame."""
    with TemporaryDirectory() as directory:
        path = Path(directory) / NAME
        session = Standing(path)
        play(script, session)
        found = find_snapshot(path, since)
        stands = [
            each.line.at
            for each in read_log(path)
            if found == Place(path, each.number) and isinstance(each.line, Snapshot)
        ]
        result, cut = replay(path, since=since), replay(path, until=since)
    begin = stands[0] if stands else -1
    assert begin <= since
    assert (None, True, True) == (result.difference, result.whole, result.ended)
    later = [frame for frame in session.frames if frame.at > begin]
    at_once = [frame for frame in session.frames if frame.at == begin]
    assert len(later) <= result.frames <= len(later) + len(at_once)
    assert (None, True) == (cut.difference, cut.whole)
    assert cut.length <= since


class Standing(Session):
    """Puts a snapshot into the log after each input."""

    def message(self, at: int, *events: Any, raw: Any = None) -> None:
        super().message(at, *events, raw=raw)
        self.stand()


def test_a_snapshot_stays_as_it_was_taken() -> None:
    """What the engine does afterwards changes nothing of it: it is written down later, by another thread."""
    engine = Engine(layout_of(LAYOUT))
    engine.start()
    engine.handle(ordered(70))
    taken = engine.snapshot()
    before = json.dumps(taken)
    for at in range(1, 400):
        engine.advance(at * 20_000_000)
        if at % 40 == 0:
            engine.handle(
                type(event := ordered(61 + at % 4, "normal"))(
                    **{**{k: getattr(event, k) for k in event.__slots__}, "at": engine.now, "source": "bus"}
                )
            )
    assert before == json.dumps(taken)
    assert before != json.dumps(engine.snapshot())


def test_what_is_no_plain_file_is_left_alone(tmp_path: Path) -> None:
    """A folder, a link or a pipe under the name of a session keeps nothing else from being tidied, or for ever."""
    name = "2026-11-2{}T10-00-00-000000Z.jsonl".format
    own = tmp_path / "own.txt"
    own.write_text("mine")
    (tmp_path / name(0)).mkdir()
    (tmp_path / name(1)).symlink_to(own)
    (tmp_path / name(2)).symlink_to(tmp_path / name(2))
    os.mkfifo(tmp_path / name(3))
    (tmp_path / f"{name(4)}.gz.part").mkdir()
    (tmp_path / name(5)).write_text("a log")
    assert () == tidy(tmp_path, 10**9)
    assert (tmp_path / f"{name(5)}.gz").is_file()
    (told,) = tidy(tmp_path, 0)
    assert "1 of the oldest session logs made room" in told
    assert "mine" == own.read_text()
    assert 6 == len(list(tmp_path.iterdir()))


def test_one_that_cannot_be_tidied_is_told_and_the_others_are(tmp_path: Path) -> None:
    """The trouble of one file is told by its name."""
    name = "2026-11-2{}T10-00-00-000000Z.jsonl".format
    for number in (1, 2):
        (tmp_path / name(number)).write_text("a log")
    (tmp_path / f"{name(1)}.gz").mkdir()
    (told,) = tidy(tmp_path, 10**9)
    assert told.startswith(f"the session log {tmp_path / name(1)} cannot be tidied: ")
    assert (tmp_path / f"{name(2)}.gz").is_file()
    assert "a log" == (tmp_path / name(1)).read_text()


@pytest.mark.parametrize("times", range(6))
def test_packing_can_be_broken_off(tmp_path: Path, times: int) -> None:
    """The bridge ends at once: what is half packed is left as it was, and done another time."""
    log = tmp_path / NAME
    log.write_bytes(bytes(range(256)) * 4096)  # four pieces of what is read at a time
    answers = iter([*[True] * times, *[False] * 20])
    assert () == tidy(tmp_path, 10**9, lambda: next(answers))
    assert [log] == list(tmp_path.iterdir())
    tidy(tmp_path, 10**9)
    assert [log.with_name(NAME + ".gz")] == list(tmp_path.iterdir())
