"""The session log of a real bridge on real disks: full ones, broken ones, and for as long as it may take room."""

from __future__ import annotations

import gzip
import resource
import shutil
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from random import Random
from typing import Final

import pytest

from bridge.record.replay import replay
from bridge.record.store import find_log, sessions
from tests.support.counting import CHAIN, LAYOUT, STATES, levels, order
from tests.support.daemon import Daemon, Heard, hearing, running
from tests.support.mosquitto import StartMosquitto
from tests.support.raw_mqtt import RawClient
from tests.support.waiting import wait

SMALL: Final = "session-log: {piece: 1 MB, room: 4 MB, snapshot-every: 2 s}\n" + LAYOUT

RUNS_ON: Final = "The lights run on, and this session is recorded no further"


class Owner:
    """Orders one state after the other, and sees whether the lights follow."""

    def __init__(self, client: RawClient, heard: Heard) -> None:
        self.state = 0
        self._client = client
        self._heard = heard

    def order(self, count: int = 1) -> None:
        """Give so many orders, and wait until the last of them is shown."""
        for _ in range(count):
            self.state += 1
            self._client.publish(*order(self.state))
        self._heard.levels(CHAIN, levels(self.state % STATES))

    def until(self, daemon: Daemon, words: str) -> None:
        """Give orders until it has said something."""
        end = time.monotonic() + 20
        while words not in daemon.output:
            assert time.monotonic() < end, f"it never said {words!r}; it said:\n{daemon.output}"
            self.order(20)


@contextmanager
def owning(port: int) -> Iterator[Owner]:
    """Give somebody who orders and looks."""
    with hearing(port, "lamproom/frame/#") as heard, RawClient(port, "orders") as client:
        yield Owner(client, heard)


def first_log(daemon: Daemon) -> Path:
    """Return its log as soon as that has been begun."""
    folder = daemon.state / "sessions"
    wait(lambda: folder.is_dir() and bool(sessions(folder)), lambda: "no log was begun", within=10)
    return daemon.log()


def ends_with_a_message(daemon: Daemon, owner: Owner, *, why: str) -> None:
    """See to it that a log which has ended was told once, with the reason and the remedy, and that the lights go on."""
    log = daemon.log()
    assert "cannot be tidied" not in daemon.output
    assert f"the session log {log} cannot be written: {why}. {RUNS_ON}" in daemon.output
    for _ in range(3):
        owner.order(50)
    assert 1 == daemon.output.count(RUNS_ON)
    assert 0 == daemon.stop()
    assert 1 == daemon.output.count(RUNS_ON)
    assert "Traceback" not in daemon.output
    assert log.read_bytes().endswith(b"\n")
    result = replay(log)
    assert (True, True, False, ()) == (result.same, result.whole, result.ended, result.notes)
    assert 0 < result.events < owner.state


def test_a_log_that_finds_no_room_ends_and_the_lights_go_on(
    mosquitto: StartMosquitto, tmp_path: Path
) -> None:
    """A process that may write no larger files goes on with its lights, says so once, and its log has whole lines."""
    broker = mosquitto()
    with (
        owning(broker.port) as owner,
        running(tmp_path, LAYOUT, broker.port) as daemon,
    ):
        first_log(daemon)
        owner.order(10)
        own = resource.prlimit(daemon.process.pid, resource.RLIMIT_FSIZE)
        resource.prlimit(daemon.process.pid, resource.RLIMIT_FSIZE, (50_000, own[1]))
        owner.until(daemon, RUNS_ON)
        assert 45_000 < daemon.log().stat().st_size <= 50_000
        # The log is given up for good. What counts which lines were run may write at the end.
        resource.prlimit(daemon.process.pid, resource.RLIMIT_FSIZE, own)
        ends_with_a_message(daemon, owner, why="File too large")


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """Give a disk of 400 kB."""
    disk = tmp_path / "disk"
    disk.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=400k", "none", disk], capture_output=True, text=True, check=False
    )
    if made.returncode:
        # A right and no part: it cannot be installed, so not even CI can ask for it.
        pytest.skip(f"a disk of our own cannot be mounted here: {made.stderr.strip()}")
    yield disk
    subprocess.run(["umount", "--lazy", disk], check=True)


def fill(path: Path) -> None:
    """Leave no byte free on a disk."""
    with path.open("wb", buffering=0) as file, suppress(OSError):
        while file.write(bytes(4096)):
            pass


def test_a_full_disk_ends_the_log_and_the_lights_go_on(mosquitto: StartMosquitto, small_disk: Path) -> None:
    """The disk that has the log and the state fills up; when there is room again the next session is recorded."""
    broker = mosquitto()
    with owning(broker.port) as owner:
        with running(small_disk, LAYOUT, broker.port) as daemon:
            log = first_log(daemon)
            owner.order(10)
            wait(lambda: log.stat().st_size > 5000, lambda: "the orders were not recorded", within=10)
            fill(small_disk / "photos")
            owner.until(daemon, RUNS_ON)
            ends_with_a_message(daemon, owner, why="No space left on device")
        (small_disk / "photos").unlink()
        owner.state = 0  # a new bridge knows of no orders
        with running(small_disk, LAYOUT, broker.port) as daemon:
            owner.order(10)
            assert 0 == daemon.stop()
        result = replay(daemon.log())
        assert (True, True, True) == (result.same, result.whole, result.ended)
        assert result.events >= 10


def test_a_place_that_cannot_hold_logs_is_told_and_the_lights_go_on(
    mosquitto: StartMosquitto, tmp_path: Path
) -> None:
    """Where a file stands in the place of the folder nothing is recorded, and both the log and its care say so."""
    broker = mosquitto()
    (tmp_path / "state").mkdir()
    (tmp_path / "state" / "sessions").write_text("a shopping list")
    with (
        owning(broker.port) as owner,
        running(tmp_path, LAYOUT, broker.port) as daemon,
    ):
        owner.until(daemon, RUNS_ON)
        owner.order(50)
        assert 0 == daemon.stop()
    folder = tmp_path / "state" / "sessions"
    assert f"cannot be written: {folder} is a file and no folder. {RUNS_ON}; move it away" in daemon.output
    assert "cannot be tidied" in daemon.output
    assert "Traceback" not in daemon.output
    assert "a shopping list" == folder.read_text()


def test_a_folder_that_vanishes_ends_the_log_at_its_next_file(
    mosquitto: StartMosquitto, tmp_path: Path
) -> None:
    """A disk that is pulled out takes the log with it and nothing else: the next file cannot be made."""
    broker = mosquitto()
    with (
        owning(broker.port) as owner,
        running(tmp_path, SMALL, broker.port) as daemon,
    ):
        first_log(daemon)
        owner.order(10)
        folder = daemon.state / "sessions"
        shutil.move(folder, tmp_path / "pulled")
        folder.symlink_to("/proc/nothing")
        owner.until(daemon, RUNS_ON)
        owner.order(50)
        assert 0 == daemon.stop()
    assert "Traceback" not in daemon.output
    (log,) = (tmp_path / "pulled").iterdir()
    result = replay(log)
    assert (True, True, False) == (result.same, result.whole, result.ended)
    assert 1_000_000 <= log.stat().st_size


def test_a_session_goes_on_in_further_files_which_are_packed_and_bounded(
    mosquitto: StartMosquitto, tmp_path: Path
) -> None:
    """Full files are followed by others; the next bridge packs them all, and the oldest make room."""
    broker = mosquitto()
    folder = tmp_path / "state" / "sessions"
    with owning(broker.port) as owner:
        with running(tmp_path, SMALL, broker.port) as daemon:
            first = first_log(daemon)
            end = time.monotonic() + 30
            while len(sessions(folder)) < 2:
                assert time.monotonic() < end, sessions(folder)
                owner.order(200)
            owner.order(10)
            assert 0 == daemon.stop()
        begun = sessions(folder)
        sizes = [each.stat().st_size for each in begun[:-1]]
        assert all(1_000_000 <= size < 5_000_000 for size in sizes), sizes
        whole = replay(first)
        assert (True, True, True) == (whole.same, whole.whole, whole.ended)
        assert owner.state + 1 == whole.events  # the orders, and that their source can be heard
        parts = [replay(each) for each in begun]
        assert all((each.same, each.whole, each.ended) == (True, True, True) for each in parts)
        # Older sessions, which cannot be packed any smaller: 1.5 MB each, of which there is room for two.
        chance = Random(1)  # noqa: S311 - what stands in them is no secret
        old = [folder / f"2026-01-0{day}T10-00-00-000000Z.jsonl" for day in (1, 2, 3)]
        for path in old:
            path.write_bytes(chance.randbytes(1_500_000))
        stranger = folder / "holiday.jsonl"
        stranger.write_text("mine")
        with running(tmp_path, SMALL, broker.port) as daemon:
            daemon.wait_for("made room for newer ones")
            packed = [path.with_name(path.name + ".gz") for path in begun]
            wait(lambda: all(path.exists() for path in packed), lambda: str(sessions(folder)), within=10)
            owner.state = 0  # a new bridge knows of no orders
            owner.order(10)
            assert 0 == daemon.stop()
    present = daemon.log()
    assert not any(path.exists() for path in begun)
    assert [False, True, True] == [find_log(path).exists() for path in old]
    assert f"1 of the oldest session logs made room for newer ones ({old[0].name}.gz)" in daemon.output
    assert sum(path.stat().st_size for path in sessions(folder)) < 4_000_000
    assert ".jsonl" == present.suffix  # what is being written to is not packed
    assert "mine" == stranger.read_text()
    assert gzip.decompress(packed[0].read_bytes()).startswith(b'{"log":"lamproom"')
    again = replay(first)
    assert (whole.digest, whole.frames, True, True) == (again.digest, again.frames, again.same, again.whole)


MIDNIGHT: Final = """
from datetime import UTC, datetime, timedelta
from bridge.record import writer
late = datetime.now(UTC).replace(hour=23, minute=59, second=57) - datetime.now(UTC)
class Late(datetime):
    @classmethod
    def now(cls, tz=None):
        return datetime.now(tz) + late
writer.datetime = Late
"""


def test_a_new_day_begins_a_new_file(mosquitto: StartMosquitto, tmp_path: Path) -> None:
    """A session goes on over midnight (UTC) in a file of the new day, and only once."""
    broker = mosquitto()
    with (
        owning(broker.port) as owner,
        running(tmp_path, LAYOUT, broker.port, world=MIDNIGHT) as daemon,
    ):
        first = first_log(daemon)
        folder, end = first.parent, time.monotonic() + 20
        while len(sessions(folder)) < 2:
            assert time.monotonic() < end, "midnight has passed"
            owner.order()
            time.sleep(0.01)
        owner.order(20)
        assert 0 == daemon.stop()
    begun = sessions(folder)
    assert 2 == len(begun)
    results = [replay(each) for each in begun]
    assert [(True, True, True)] * 2 == [(each.same, each.whole, each.ended) for each in results]
    assert results[0].events == results[1].events >= owner.state
    assert results[0].frames > results[1].frames
