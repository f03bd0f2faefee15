"""What is handed to the log stands in its file, and no disk can reach the lights through it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

import pytest

from adapters.contract import Raw
from bridge.commands import Cause, Decision, PublishFrame
from bridge.commands import Note as EngineNote
from bridge.events import MILLISECOND, SECOND
from bridge.record import writer
from bridge.record.lines import End, Frame, Header, Input, Lost, Refused, Rendered
from bridge.record.reader import read_log
from bridge.record.replay import replay
from tests.bridge.record.sessions import LAYOUT, Session, ordered, short_session
from tests.support.log_lines import log_lines
from tests.support.tree import ROOT


def lines_of(path: Path, kind: type) -> list[Any]:
    return [placed.line for placed in read_log(path) if isinstance(placed.line, kind)]


def test_everything_that_happened_is_in_the_log(tmp_path: Path) -> None:
    """The header, every input, decision, note and caused frame, every rendered instant, and the end."""
    path = tmp_path / "sessions" / "a.jsonl"
    session = short_session(path)
    (header,) = lines_of(path, Header)
    assert (LAYOUT, "ferry.yaml", "Mossbank & Ferry Hill") == (header.text, header.file, header.layout)
    made = session.commands
    assert [each for each in made if isinstance(each, Decision)] == lines_of(path, Decision)
    assert [each for each in made if isinstance(each, EngineNote)] == lines_of(path, EngineNote)
    starts_and_ends = [frame for frame in session.frames if frame.cause in {Cause.START, Cause.LAST}]
    keys = [chain.key for chain in session.layout.chains]
    logged = {(frame.chain, frame.at, frame.cause, frame.levels) for frame in lines_of(path, Frame)}
    assert {(keys[frame.chain], frame.at, frame.cause, frame.levels) for frame in starts_and_ends} <= logged
    assert [1, 2, 3, 5] == [each.number for each in lines_of(path, Input)]
    assert [5] == [each.events for each in lines_of(path, End)]


def test_the_order_of_the_lines_is_the_order_of_events(tmp_path: Path) -> None:
    """What was rendered before an input stands before it, and its digests too."""
    path = tmp_path / "a.jsonl"
    short_session(path)
    at = 0
    for line in log_lines(path)[1:]:
        instants = [part if isinstance(part, int) else part[0] for part in line.get("rendered", [])]
        for instant in [*instants, *([line["at"]] if "at" in line else [])]:
            assert at <= instant
            at = instant
    kinds = [next(iter(line)) for line in log_lines(path)]
    for index, line in enumerate(log_lines(path)):
        if "in" in line and kinds[index - 1] == "rendered":
            assert "digests" in log_lines(path)[index - 1]


def test_a_refused_input_is_cut(tmp_path: Path) -> None:
    """Of an input that meant nothing 2 kB are kept, and how long it was."""
    path = tmp_path / "a.jsonl"
    session = Session(path)
    session.log.refused(1, "bus", Raw("t", b"x" * 1_000_000, retained=True), "too long")
    session.end(2)
    (refused,) = lines_of(path, Refused)
    assert Refused(1, 1, "bus", "t", b"x" * 2048, 1_000_000, "too long", retained=True) == refused


def test_rendered_instants_reach_the_file_at_the_next_flush(tmp_path: Path) -> None:
    """A flush keeps nothing back, and gives one digest a chain a second while something moves."""
    path = tmp_path / "a.jsonl"
    session = Session(path)
    session.message(0, ordered(70))
    tenth = 100 * MILLISECOND
    for step in range(1, 16):
        session.run_until(step * tenth)
        assert session.log.flush() is None
        instants = [instant for line in lines_of(path, Rendered) for instant in line.instants]
        assert session.instants == instants
    digested = [line for line in lines_of(path, Rendered) if line.digests is not None]
    assert 1 == len(digested)


def test_digests_follow_when_the_motion_pauses(tmp_path: Path) -> None:
    """When nothing more comes the next flush writes the digests of what was rendered."""
    path = tmp_path / "a.jsonl"
    session = Session(path)
    session.message(0, ordered(61))
    session.run_until(SECOND)
    for _flush in range(3):
        assert session.log.flush() is None
    (*_others, last) = lines_of(path, Rendered)
    assert ["ferry/bank"] == list(last.digests)
    assert 1 == sum(line.digests is not None for line in lines_of(path, Rendered))


def test_no_log_is_written_over(tmp_path: Path) -> None:
    """A file that is there already is left alone, and the log says so once."""
    path = tmp_path / "a.jsonl"
    path.write_text("precious")
    session = Session(path)
    trouble = session.log.flush()
    assert trouble is not None
    assert trouble.startswith(f"the session log {path} cannot be written: a file stands there already")
    session.message(1, ordered(61))
    assert session.log.flush() is None
    assert session.log.close() is None
    assert "precious" == path.read_text()


def test_a_file_in_the_place_of_the_folder_is_named(tmp_path: Path) -> None:
    """Where the folder of the log should be and a file is, that file is what has to be moved."""
    folder = tmp_path / "sessions"
    folder.write_text("precious")
    trouble = Session(folder / "a.jsonl").log.flush()
    assert trouble is not None
    assert f"cannot be written: {folder} is a file and no folder. " in trouble
    assert "precious" == folder.read_text()


def test_a_log_has_its_header_from_its_first_moment_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever is killed while it is made leaves no empty log: that would end the session that it is a later file of."""
    path = tmp_path / "a.jsonl"
    session = Session(path)
    there: list[bool] = []
    really = writer._write

    def write(file: int, data: bytes) -> None:
        there.append(path.exists())
        really(file, data)

    monkeypatch.setattr(writer, "_write", write)
    assert session.log.flush() is None
    assert [False, True] == there[:2]
    assert [path] == [*tmp_path.iterdir()]
    assert 1 == next(read_log(path)).number


def test_a_full_disk_ends_the_log_and_nothing_else(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A device without room ends the log with one sentence: file, error, remedy."""
    path = tmp_path / "a.jsonl"
    session = Session(path)
    really = os.open
    monkeypatch.setattr(os, "open", lambda *_given: really("/dev/full", os.O_WRONLY))
    expected = (
        f"the session log {path} cannot be written: No space left on device. The lights run on, and this session "
        "is recorded no further; make room on that disk, or name another place for the log, then start again"
    )
    assert expected == session.log.flush()
    session.message(1, ordered(61))
    assert session.log.flush() is None
    assert session.log.close() is None


LIMITED = """
import resource, sys
from pathlib import Path
from tests.bridge.record.sessions import SECOND, Session, ordered
resource.setrlimit(resource.RLIMIT_FSIZE, (30_000, 30_000))
session = Session(Path(sys.argv[1]))
troubles = []
for second in range(1, 200):
    session.message(second * SECOND, ordered(63, ("normal", "reverse")[second % 2]))
    troubles.append(session.log.flush())
print(*[each for each in troubles if each], sep="\\n")
"""


def test_a_disk_that_fills_up_leaves_whole_lines(tmp_path: Path) -> None:
    """When the room ends in the middle of a line that line is taken back, and what was written replays."""
    path = tmp_path / "a.jsonl"
    (trouble,) = run(LIMITED, str(path)).splitlines()
    assert "cannot be written: File too large" in trouble
    data = path.read_bytes()
    assert data.endswith(b"\n")
    assert 29_000 < len(data) <= 30_000
    result = replay(path)
    assert result.same
    assert () == result.notes
    assert not result.ended


def test_a_disk_without_room_for_a_header_gets_no_empty_file(tmp_path: Path) -> None:
    """Where not even the first line finds room nothing is left behind that looks like a log."""
    (trouble,) = run(LIMITED.replace("30_000, 30_000", "100, 100"), str(tmp_path / "a.jsonl")).splitlines()
    assert "cannot be written: File too large" in trouble
    assert [] == list(tmp_path.iterdir())


def run(program: str, *arguments: str) -> str:
    command = [sys.executable, "-c", program, *arguments]
    return subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True, timeout=60).stdout


KILLED = """
import sys
from pathlib import Path
from tests.bridge.record.sessions import MILLISECOND, Session, ordered
session = Session(Path(sys.argv[1]))
for step in range(1, 1_000_000):
    session.message(step * 100 * MILLISECOND, ordered((61, 70)[step % 2], ("normal", "reverse")[step // 2 % 2]))
    session.run_until((step + 1) * 100 * MILLISECOND)
    session.log.flush()
    print(step, flush=True)
"""


def test_a_killed_session_leaves_what_was_flushed(tmp_path: Path) -> None:
    """After a kill the log holds at least everything up to the last flush, and replays."""
    path = tmp_path / "a.jsonl"
    command = [sys.executable, "-c", KILLED, str(path)]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        flushed = 0
        while flushed < 25:
            flushed = int(process.stdout.readline())
        process.send_signal(signal.SIGKILL)
        process.wait(timeout=10)
    result = replay(path)
    assert result.same
    assert not result.ended
    assert result.events >= flushed


def test_what_finds_no_room_is_counted(tmp_path: Path) -> None:
    """Beyond its limit the log loses entries, says how many and since when, and replays up to there."""
    path = tmp_path / "a.jsonl"
    session = Session(path, most_waiting=5)
    for second in range(1, 8):
        session.message(second * SECOND, ordered(63, ("normal", "reverse")[second % 2]))
    assert session.log.flush() is None
    session.message(8 * SECOND, ordered(63))
    session.end(9 * SECOND)
    # The start and two events with what followed took the room; five events with what followed are lost.
    assert [Lost(10, 3 * SECOND)] == lines_of(path, Lost)
    result = replay(path)
    assert result.same
    assert 2 == result.events
    assert not result.ended
    assert not result.whole
    lost, end = result.notes
    assert "10 entries were lost because the disk could not keep up" in lost
    assert "no snapshot follows: what comes after that cannot be replayed" == end


def test_what_waits_is_bounded_in_bytes_too(tmp_path: Path) -> None:
    """A hundred large messages that a slow disk leaves waiting are lost and counted, and room comes back with it."""
    path = tmp_path / "a.jsonl"
    session = Session(path, most_bytes=1_000_000)
    for step in range(1, 101):
        session.log.input(1, step * SECOND, "bus", Raw("layout/x", bytes(60_000)), ())
    kept = sum(size for _entry, size in session.log._waiting)
    assert kept <= 1_000_000
    assert session.log.flush() is None
    session.end(200 * SECOND)
    [lost] = lines_of(path, Lost)
    assert 100 - len(lines_of(path, Input)) == lost.count > 80


def test_entries_lost_at_the_very_end_are_counted(tmp_path: Path) -> None:
    """Where nothing came after the lost entries, closing still says how many there were."""
    path = tmp_path / "a.jsonl"
    session = Session(path, most_waiting=1)
    session.end(SECOND)
    assert [Lost(2, SECOND)] == lines_of(path, Lost)


def test_a_thread_may_flush_while_the_loop_goes_on(tmp_path: Path) -> None:
    """Flushes at any moment from another thread lose nothing, double nothing and mix up nothing."""
    path = tmp_path / "a.jsonl"
    session = Session(path)
    done = threading.Event()
    troubles = []

    def flushing() -> None:
        while not done.is_set():
            troubles.append(session.log.flush())

    thread = threading.Thread(target=flushing)
    thread.start()
    try:
        for step in range(1, 1500):
            session.message(step * MILLISECOND, ordered(63, ("normal", "reverse")[step % 2], "panel"))
    finally:
        done.set()
        thread.join()
    session.end(2 * SECOND)
    assert {None} == set(troubles)
    result = replay(path)
    assert (True, 1499, 1499) == (result.same, result.events, result.decisions)
    assert len(session.frames) == result.frames


def test_reports_are_not_written(tmp_path: Path) -> None:
    """What a report says stands in its decision already."""
    path = tmp_path / "a.jsonl"
    short_session(path)
    kinds = {next(iter(line)) for line in log_lines(path)}
    assert {"log", "frame", "in", "decided", "rendered", "note", "refused", "snapshot", "end"} == kinds


def test_a_fault_of_ours_ends_the_log_and_nothing_else(tmp_path: Path) -> None:
    """An entry that cannot be written, which should not happen, raises nothing."""
    session = Session(tmp_path / "a.jsonl")
    session.log.commands([PublishFrame(0, 99, b"", Cause.EVENT)])
    trouble = session.log.flush()
    assert trouble is not None
    assert "IndexError" in trouble
