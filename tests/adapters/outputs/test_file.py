"""Frames as lines of a file."""

from __future__ import annotations

import asyncio
import threading
from pathlib import Path

import pytest
from pydantic import ValidationError

from adapters.outputs import file
from adapters.outputs.file import FileFrames, FileOptions
from bridge.events import MILLISECOND, SECOND, LinkState
from tests.adapters.outputs.listener import Turned, rgb
from tests.support.waiting import until

PLACES = (rgb("throat", 1), rgb("shed", 1))


async def begun(path: Path | str) -> Turned:
    turned = Turned(lambda host: FileFrames("tape", FileOptions(path=str(path)), PLACES, host))
    await turned.output.start()
    turned.run(0)
    return turned


async def show(turned: Turned, index: int, levels: bytes, *, test: bool = False) -> None:
    """Show a frame, and wait until it is written."""
    output = turned.output
    assert isinstance(output, FileFrames)
    turned.output.show(index, levels, test=test)
    await until(lambda: output._idle and not output._due)


@pytest.mark.usefixtures("ended")
async def test_each_frame_is_a_line_that_is_there_at_once(tmp_path: Path) -> None:
    """With its instant, its chain and its levels, and with a mark where it is a test or the last."""
    tape = tmp_path / "frames.txt"
    turned = await begun(tape)
    await show(turned, 0, b"\x00\xff\x01")
    assert "0.000000000 tarn/throat 00ff01\n" == tape.read_text()
    turned.run(1500 * MILLISECOND)
    turned.output.show(1, b"\1\2\3", test=True)
    await turned.output.stop((b"\7\7\7", b"\1\1\1"))
    assert [
        "0.000000000 tarn/throat 00ff01",
        "1.500000000 tarn/shed 010203 test",
        "1.500000000 tarn/throat 070707 last",
        "1.500000000 tarn/shed 010101 last",
    ] == tape.read_text().splitlines()


@pytest.mark.usefixtures("ended")
async def test_what_was_written_is_told_once_a_second(tmp_path: Path) -> None:
    """Of each chain for itself."""
    turned = await begun(tmp_path / "frames.txt")
    for number in range(100):
        await show(turned, 0, bytes([number, 0, 0]))
        turned.run(turned.host.clock + 25 * MILLISECOND)
    turned.run(4 * SECOND)
    assert {PLACES[0]} == {place for _at, place, _figures in turned.host.told}
    assert {"sent": 100, "skipped": 0} == turned.host.told[-1][2]
    assert 3 <= len(turned.host.told) <= 4


@pytest.mark.usefixtures("ended")
async def test_a_file_that_cannot_be_written_is_told_with_the_remedy(tmp_path: Path) -> None:
    """Frames go nowhere then, and nothing else is troubled."""
    turned = await begun(tmp_path / "none" / "frames.txt")
    turned.output.show(0, b"\1\2\3")
    await until(lambda: bool(turned.host.links))
    ((state, why, keys),) = turned.host.links
    assert (LinkState.LOST, ("path",)) == (state, keys)
    assert (
        f"frames.txt cannot be written (No such file or directory): make the folder {tmp_path}/none, or name"
        in why
    )


@pytest.mark.usefixtures("ended")
async def test_a_disk_that_is_full_is_told_once() -> None:
    """`/dev/full` is a file that has no room, on every Linux."""
    turned = await begun("/dev/full")
    for _time in range(3):
        await show(turned, 0, b"\1\2\3")
    assert 1 == len(turned.host.links)
    assert (
        "/dev/full cannot be written (No space left on device): make room, or name another file"
        in turned.host.links[0][1]
    )


@pytest.mark.usefixtures("ended")
async def test_a_file_that_hangs_holds_nobody_up_and_gets_the_newest(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While a line is on its way the newest of each chain is kept; those passed over are counted."""
    held = threading.Event()

    class Hanging(file._Opened):
        def write(self, data: bytes) -> None:
            assert held.wait(20)
            super().write(data)

    monkeypatch.setattr(file, "open_file", Hanging)
    path = tmp_path / "frames.txt"
    turned = await begun(path)
    output = turned.output
    assert isinstance(output, FileFrames)
    await until(lambda: output._idle)
    for number in range(100):
        turned.output.show(0, bytes([number, 0, 0]))
        turned.output.show(1, bytes([0, number, 0]))
    turned.run(2 * SECOND)
    held.set()
    await until(lambda: output._idle and not output._due)
    assert ["000000", "630000", "006300"] == [line.split()[2] for line in path.read_text().splitlines()]
    turned.run(4 * SECOND)
    await show(turned, 0, b"\1\2\3")
    turned.run(6 * SECOND)
    told = {place.chain: figures for _at, place, figures in turned.host.told}
    assert {"throat": {"sent": 3, "skipped": 98}, "shed": {"sent": 1, "skipped": 99}} == told


async def test_a_stop_loses_no_line_of_a_slow_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is on its way, what waits behind it and the last frames are all written, in that order."""
    free = threading.Semaphore(0)

    class Slow(file._Opened):
        def write(self, data: bytes) -> None:
            assert free.acquire(timeout=20)
            super().write(data)

    monkeypatch.setattr(file, "open_file", Slow)
    path = tmp_path / "frames.txt"
    for _time in range(30):  # it depends on whether the thread or the loop is the faster one
        turned = await begun(path)
        output = turned.output
        assert isinstance(output, FileFrames)
        await until(lambda output=output: output._idle)  # type: ignore[misc]
        output.show(0, b"\1\1\1")
        output.show(0, b"\2\2\2")
        output.show(1, b"\3\3\3")
        stopping = asyncio.create_task(output.stop((b"\4\4\4", b"\5\5\5")))
        await asyncio.sleep(0)
        free.release(3)
        await asyncio.wait_for(stopping, 20)
        assert ["010101", "020202", "030303", "040404", "050505"] == [
            line.split()[2] for line in path.read_text().splitlines()
        ]
        assert [(3, 0), (2, 0)] == [(lane.counters.sent, lane.counters.skipped) for lane in output._lanes]
        free = threading.Semaphore(0)


async def test_a_stop_before_the_file_is_open_writes_what_was_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It waits for the file, and that nobody may write there is told all the same."""
    held = threading.Event()

    class Opening(file._Opened):
        def __init__(self, path: Path) -> None:
            assert held.wait(20)
            super().__init__(path)

    monkeypatch.setattr(file, "open_file", Opening)
    for path in (tmp_path / "frames.txt", tmp_path / "none" / "frames.txt"):
        held.clear()
        turned = await begun(path)
        turned.output.show(0, b"\1\1\1")
        stopping = asyncio.create_task(turned.output.stop((b"\4\4\4", b"\5\5\5")))
        await asyncio.sleep(0)
        held.set()
        await asyncio.wait_for(stopping, 20)
        if path.exists():
            assert ["010101", "040404", "050505"] == [
                line.split()[2] for line in path.read_text().splitlines()
            ]
            assert not turned.host.links
        else:
            assert [LinkState.LOST] == [state for state, _why, _keys in turned.host.links]


@pytest.mark.parametrize("path", ["", "a\nb"])
def test_a_path_that_is_none_is_refused(path: str) -> None:
    """With one that would be."""
    with pytest.raises(ValidationError, match=r"is no path of a file: write one such as frames\.txt"):
        FileOptions(path=path)
