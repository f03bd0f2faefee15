"""A session replayed in parts side by side comes out as it does in order; what is wrong is told as in order."""

from __future__ import annotations

import gzip
import os
import signal
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any, TypeVar

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.errors import DecodeError
from bridge.events import Instant
from bridge.record import beside, decisions, parts, replay
from bridge.record.beside import replay_beside
from bridge.record.digests import sum_of_digests
from bridge.record.following import Opened, open_session
from bridge.record.lines import Snapshot
from bridge.record.parts import Part, parts_of
from bridge.record.reader import Place, read_session
from bridge.record.result import ReplayResult
from tests.bridge.record.sessions import Step, play, scripts
from tests.bridge.record.test_corrupt import busy, chances, damages
from tests.bridge.record.test_store import NAME, Standing
from tests.support.damage import Damage
from tests.support.demo_day import MINUTE
from tests.support.demo_recording import RecordedDay

Result = TypeVar("Result")

WAYS = (replay._replay_part, decisions._replay_part)


def nobody(_at: Instant) -> None:
    """Take no note of how far it has come."""


@pytest.fixture(autouse=True)
def many_processors(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have four processors, and parts of any length."""
    monkeypatch.setattr(os, "sched_getaffinity", lambda _process: {0, 1, 2, 3})
    monkeypatch.setattr(parts, "SMALLEST", 1)
    monkeypatch.setattr(beside, "TOLD_EVERY", 10)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Record two minutes of the demo."""
    path = tmp_path_factory.mktemp("beside") / "demo.jsonl"
    RecordedDay(path, seed=3, snapshot_every="15 s").record(2 * MINUTE)
    return path


def in_order(work: Callable[[], Result]) -> Result:
    """Do it in one process."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "sched_getaffinity", lambda _process: {0})
        return work()


@pytest.mark.parametrize("way", WAYS)
def test_parts_come_to_what_the_whole_comes_to(
    demo: Path, way: Callable[[Part, beside.Progress], ReplayResult]
) -> None:
    """All that is counted is the same, the digest of all frames as well; and so is how far they have come."""
    told: list[Instant] = []
    found = replay_beside(open_session(demo), way, told.append)
    whole = in_order(lambda: (replay.replay if way is WAYS[0] else decisions.replay_decisions)(demo))
    assert whole == found
    assert whole.same
    assert (bool(whole.digest), 2 * MINUTE) == (way is WAYS[0], whole.length)
    assert sorted(told) == told
    assert 1.8 * MINUTE < told[-1] <= 2 * MINUTE


def test_commands_go_side_by_side_by_themselves(demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever asks for a whole replay has it in parts; for a part of the time it is in order."""
    asked: list[Opened] = []

    def ask(session: Opened, *_other: object) -> None:
        asked.append(session)

    for module, work in ((replay, replay.replay), (decisions, decisions.replay_decisions)):
        monkeypatch.setattr(module, "replay_beside", ask)
        asked.clear()
        assert work(demo).same
        assert [demo] == [session.path for session in asked]
        assert work(demo, until=MINUTE).same
        assert 1 == len(asked)


@settings(deadline=None, max_examples=25)  # each example writes files and begins processes
@given(scripts)
def test_any_session_comes_out_as_in_order(script: list[Step]) -> None:
    """Whatever happens in it, and wherever its snapshots are."""
    with TemporaryDirectory() as directory:
        path = Path(directory) / NAME
        play(script, Standing(path))
        session = open_session(path)
        found = replay_beside(session, replay._replay_part, nobody)
        whole = in_order(lambda: replay.replay(path))
        assert whole.same
        if len(parts_of(path, 4)) > 1:
            assert whole == found


def test_session_in_several_files_is_cut_in_any_of_them(demo: Path, tmp_path: Path) -> None:
    """A part may begin in one file and end in another, packed or not."""
    lines = demo.read_bytes().splitlines(keepends=True)
    [*_others, at] = [
        number
        for number, line in enumerate(lines)
        if line.startswith(b'{"snapshot":') and number < len(lines) // 2
    ]
    head = lines[0].rstrip(b"}\n")
    first, second = tmp_path / NAME, tmp_path / NAME.replace(".jsonl", "-2.jsonl")
    first.write_bytes(b"".join(lines[:at]))
    with gzip.open(second.with_name(second.name + ".gz"), "wb") as packed:
        packed.write(head + b',"piece":2,"before":"' + first.name.encode() + b'"}\n' + b"".join(lines[at:]))

    cut = parts_of(first, 4)
    assert 4 == len(cut)
    assert Place(first, 0) == cut[0].begin
    assert {first, second.with_name(second.name + ".gz")} == {part.begin.file for part in cut}
    found = replay_beside(open_session(first), replay._replay_part, nobody)
    whole = in_order(lambda: replay.replay(demo))
    assert found is not None
    assert replace(whole, file=str(first)) == found

    # And whoever wants its end begins in the file in which that stands.
    late = open_session(first, since=2 * MINUTE - 1)
    assert {cut[-1].begin.file} == {placed.file for placed in late.lines}
    assert replay.replay(first, since=2 * MINUTE - 1).same


@pytest.mark.parametrize("part", range(4))
def test_what_is_changed_in_any_part_is_told_as_in_order(demo: Path, tmp_path: Path, part: int) -> None:
    """One byte of one frame: the line, the lamp and the event before it are those that a replay in order names."""
    lines = demo.read_bytes().splitlines(keepends=True)
    begin = parts_of(demo, 4)[part].begin.line
    at = next(number for number, line in enumerate(lines) if number > begin and line.startswith(b'{"frame"'))
    levels = lines[at].index(b'"levels":"') + len(b'"levels":"')
    lines[at] = (
        lines[at][:levels] + (b"7" if lines[at][levels] != ord("7") else b"8") + lines[at][levels + 1 :]
    )
    path = tmp_path / NAME
    path.write_bytes(b"".join(lines))

    assert replay_beside(open_session(path), replay._replay_part, nobody) is None
    found = replay.replay(path)
    assert at + 1 == (found.difference and found.difference.line)
    assert in_order(lambda: replay.replay(path)) == found


def test_a_snapshot_that_tells_another_state_is_found(demo: Path, tmp_path: Path) -> None:
    """The part before it ends in another state than the part behind it begins with."""
    lines = demo.read_bytes().splitlines(keepends=True)
    at = parts_of(demo, 4)[2].begin.line - 1
    assert b'"hood"' not in lines[at]
    changed = lines[at].replace(b'"lost":[]', b'"lost":["ghost"]', 1)
    assert changed != lines[at]
    path = tmp_path / NAME
    path.write_bytes(b"".join([*lines[:at], changed, *lines[at + 1 :]]))
    assert replay_beside(open_session(path), replay._replay_part, nobody) is None
    assert not replay.replay(path).same


@settings(deadline=None, max_examples=40)  # each example writes files and begins processes
@given(damages, chances, st.booleans())
def test_of_a_damaged_log_the_same_is_said_as_in_order(
    done: list[Damage], chance: Random, packed: bool
) -> None:
    """Cut, with flipped bits, lines lost, doubled or exchanged, packed or not: it comes to the same."""
    data = gzip.compress(busy(), mtime=0) if packed else busy()
    for damage in done:
        data = damage(data, chance) if data else data

    def said(path: Path) -> ReplayResult | str:
        try:
            return replay.replay(path)
        except DecodeError as refused:
            return str(refused)

    with TemporaryDirectory() as folder:
        path = Path(folder) / ("a.jsonl.gz" if packed else "a.jsonl")
        path.write_bytes(data)
        assert in_order(lambda: said(path)) == said(path)


def test_from_every_snapshot_on_all_later_ones_tell_the_same_state(demo: Path) -> None:
    """What is over leaves no trace in a state, not even in the order of what it lists."""
    places = [*snapshots(demo)]
    assert 6 < len(places)
    for place in places:
        result = decisions._replay_part(Part(Place(demo, place), None), nobody)
        assert result.difference is None
        assert (True, 2 * MINUTE) == (result.ended, result.length)


def fail(_part: Part, _progress: beside.Progress) -> ReplayResult:
    """Fail in the middle."""
    raise RuntimeError("planted")


def die(_part: Part, _progress: beside.Progress) -> ReplayResult:
    """Be killed, as for want of memory."""
    os._exit(137)


@pytest.mark.parametrize("work", [fail, die])
def test_a_process_that_ends_early_leaves_it_to_a_replay_in_order(
    demo: Path, work: beside.ReplayPart, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """Nothing is said, nothing hangs, no process stays."""
    monkeypatch.setattr(replay, "_replay_part", work)
    assert replay.replay(demo).same
    assert ("", "") == capfd.readouterr()
    with pytest.raises(ChildProcessError):
        os.waitpid(-1, os.WNOHANG)


def endless(_part: Part, progress: beside.Progress) -> ReplayResult:
    """Go on for ever, and say so."""
    while True:
        progress(0)


WHOLE = Part(Place(Path(), 0), None)


def test_processes_end_when_nobody_hears_them_any_more() -> None:
    """Whoever began them may have been killed, and has ended nobody."""
    workers: list[beside.Worker] = []
    for _ in range(3):
        workers.append(beside.Worker(endless, WHOLE, workers))
    for worker in workers:
        assert 0 == worker.says.recv()
        worker.says.close()
    for worker in workers:
        worker._process.join(60)
        assert 0 == worker._process.exitcode


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_processes_end_at_once_when_they_are_told(number: signal.Signals) -> None:
    """Ctrl-C reaches all of them; whatever the program itself does then, they have nothing to close."""
    before = signal.signal(number, signal.SIG_IGN)
    try:
        worker = beside.Worker(endless, WHOLE, [])
        assert 0 == worker.says.recv()
        os.kill(worker._process.pid or 0, number)
        worker._process.join(60)
        assert -number == worker._process.exitcode
        worker.end()
    finally:
        signal.signal(number, before)


def test_without_room_for_another_process_it_is_replayed_in_order(
    demo: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The one that has begun is ended."""
    workers: list[beside.Worker] = []
    begin = beside.Worker.__init__

    def begin_one(worker: beside.Worker, *given: Any) -> None:
        if workers:
            raise BlockingIOError("Resource temporarily unavailable")
        workers.append(worker)
        begin(worker, *given)

    monkeypatch.setattr(beside.Worker, "__init__", begin_one)
    assert replay.replay(demo).same
    assert [-signal.SIGTERM] == [worker._process.exitcode for worker in workers]


def test_what_cannot_be_put_together_is_replayed_in_order(demo: Path) -> None:
    """Beside other threads, under another version's snapshots, and of a log that begins in the middle."""
    session = open_session(demo)
    older = replace(session, header=replace(session.header, version="0.0.1"))
    assert replay_beside(older, fail, nobody) is None
    assert replay_beside(replace(session, own=False), fail, nobody) is None
    assert replay_beside(replace(session, resumes=True), fail, nobody) is None
    over = threading.Event()
    beside_us = threading.Thread(target=over.wait)
    beside_us.start()
    try:
        assert replay_beside(session, WAYS[0], nobody) is None
    finally:
        over.set()
        beside_us.join()
    assert replay_beside(session, WAYS[0], nobody) is not None


def snapshots(path: Path) -> Iterator[int]:
    """Yield the numbers of the lines that are snapshots, by the reader of logs."""
    yield from (placed.number for placed in read_session(path) if isinstance(placed.line, Snapshot))


@pytest.mark.parametrize("chunk", [1, 7, 4096, 1 << 20])
def test_snapshots_are_found_without_reading_the_lines(
    demo: Path, chunk: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Wherever a file is cut into chunks, they are the lines that the reader takes for snapshots."""
    monkeypatch.setattr(parts, "_CHUNK", chunk)
    seen = parts._Seen()
    seen.look_through(demo)
    stands = [
        (Place(demo, placed.number), placed.number - 1, placed.line.at)
        for placed in read_session(demo)
        if isinstance(placed.line, Snapshot)
    ]
    assert stands == seen.snapshots
    assert demo.read_bytes().count(b"\n") == seen.lines


@given(st.integers(1, 12))
def test_parts_lie_end_to_end(demo: Path, most: int) -> None:
    """Each begins where the one before it ends, the first at the beginning, the last at the end; none is far longer."""
    found = parts_of(demo, most)
    places = [*snapshots(demo)]
    assert min(most, len(places) + 1) >= len(found) >= min(most, len(places)) - 1
    assert (Place(demo, 0), None) == (found[0].begin, found[-1].end)
    assert [part.end for part in found[:-1]] == [part.begin for part in found[1:]]
    assert {part.begin.line for part in found[1:]} <= set(places)


def test_digests_of_parts_add_up() -> None:
    """Beyond the highest digest they begin anew; where one part has none the whole has none."""
    high, one = "ff" * 16, "00" * 15 + "01"
    assert "00" * 16 == sum_of_digests([high, one])
    assert one == sum_of_digests(["00" * 16, one])
    assert "" == sum_of_digests(["", ""])
