"""Frames on the board's own pins; the bus is one that the test has in its hand, since this machine may have none."""

from __future__ import annotations

import asyncio
import queue
import sys
import threading
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from adapters.contract import ChainPlace, ChipRun
from adapters.outputs import spi, spi_port
from adapters.outputs.spi import SpiFrames, SpiOptions
from adapters.outputs.spi_port import open_port
from adapters.outputs.spi_waves import Encoder
from adapters.outputs.writer import PortError
from bridge.events import LinkState
from tests.adapters.outputs.desk import Link, LoopHost
from tests.adapters.outputs.listener import rgb, rgbw
from tests.support.waiting import until

LINE = rgb("line", 1)
RED, GREEN = b"\0\xff\0", b"\xff\0\0"


def encoded(levels: bytes, place: ChainPlace = LINE) -> bytes:
    return Encoder([run.kind for run in place.chips], place.length).encode(levels)


class Bus:
    """A bus whose driver may be held up, or fail."""

    def __init__(self) -> None:
        self.opened: list[tuple[str, int, int]] = []
        self.written: queue.Queue[bytes] = queue.Queue()
        self.held = threading.Event()
        self.held.set()
        self.failure: Exception | None = None
        self.begun = self.closed = 0

    def open(self, device: str, hertz: int, longest: int) -> Bus:
        if self.failure is not None:
            raise self.failure
        self.opened.append((device, hertz, longest))
        return self

    def write(self, data: bytes) -> None:
        self.begun += 1
        assert self.held.wait(20)
        if self.failure is not None:
            raise self.failure
        self.written.put(data)

    def close(self) -> None:
        self.closed += 1

    def taken(self) -> list[bytes]:
        """Take what was written since the last call."""
        found = []
        while not self.written.empty():
            found.append(self.written.get())
        return found


@pytest.fixture
def bus(monkeypatch: pytest.MonkeyPatch) -> Bus:
    made = Bus()
    monkeypatch.setattr(spi, "open_port", made.open)
    return made


def options(*places: ChainPlace, **said: Any) -> SpiOptions:
    chains = {place.key: {"device": f"/dev/spidev{number}.0"} for number, place in enumerate(places)}
    return SpiOptions.model_validate({"chains": chains, **said})


@asynccontextmanager
async def running(*places: ChainPlace, **said: Any) -> AsyncIterator[tuple[SpiFrames, LoopHost]]:
    """Give an output on the loop's clock, and end it."""
    host = LoopHost(Link())
    output = SpiFrames("board", options(*places, **said), places, host)
    host.begin(output)
    await output.start()
    try:
        yield output, host
    finally:
        await output.stop(None)
        host.timer.cancel()


async def test_a_frame_is_written_as_its_chips_want_it(bus: Bus) -> None:
    """The bus runs at the pace of the row of bits that keeps to the chip's data sheet."""
    async with running(LINE, rgbw("street", 2)) as (output, _host):
        output.show(0, RED)
        output.show(1, bytes(range(8)))
        await until(lambda: bus.written.qsize() >= 2)
        assert {("/dev/spidev0.0", 2_400_000, 39), ("/dev/spidev1.0", 3_200_000, 96)} == set(bus.opened)
        assert {encoded(RED), encoded(bytes(range(8)), rgbw("street", 2))} <= set(bus.taken())
    assert 2 == bus.closed


async def test_a_slow_bus_gets_the_newest_frame_and_holds_nobody_up(bus: Bus) -> None:
    """While a frame is on its way the loop runs on, and of all that is shown meanwhile the newest is written."""
    async with running(LINE, refresh=1000) as (output, host):
        output.show(0, RED)
        await until(lambda: bus.written.qsize() >= 4)  # with its repeats
        bus.held.clear()
        bus.taken()
        output.show(0, b"\1\1\1")
        await until(lambda: output._lanes[0].pace.counters.sent >= 5)
        for number in range(50):
            output.show(0, bytes([number, 0, 0]))
            await asyncio.sleep(0)  # a loop that was held up would never come here
        assert 0 == bus.written.qsize()
        output.show(0, GREEN)
        bus.held.set()
        await until(lambda: bus.written.qsize() >= 2)
        assert [encoded(b"\1\1\1"), encoded(GREEN)] == bus.taken()[:2]
        await until(lambda: bool(host.told) and host.told[-1][2]["skipped"] == 50)


async def test_the_last_frame_is_behind_the_one_on_its_way(bus: Bus) -> None:
    """It is the last that is written, and then the bus is let go of."""
    async with running(LINE) as (output, _host):
        await until(lambda: bool(bus.opened))
        bus.held.clear()
        output.show(0, RED)
        await until(lambda: bus.begun == 1)
        stopping = asyncio.create_task(output.stop((GREEN,)))
        await asyncio.sleep(0)
        bus.held.set()
        await stopping
        assert [encoded(RED), encoded(GREEN)] == bus.taken()
    assert 1 == bus.closed


async def test_a_bus_that_fails_is_told_once_and_the_others_run_on(bus: Bus) -> None:
    """With the key to look at; when it can be opened again that is told as well."""
    bus.failure = PortError("there is no /dev/spidev0.0: switch SPI on")
    async with running(LINE) as (output, host):
        output.show(0, RED)
        await until(lambda: bool(host.links))
        lost = LinkState.LOST, "there is no /dev/spidev0.0: switch SPI on", ("chains", "tarn/line", "device")
        assert [lost] == host.links
        bus.failure = None
        output._lanes[0].retry_at = 0  # as if the wait were over
        host.wake_soon()
        await until(lambda: bus.written.qsize() >= 1)
        assert encoded(RED) == bus.taken()[0]
        assert [LinkState.LOST, LinkState.UP] == [state for state, _why, _keys in host.links]
        bus.failure = OSError(5, "Input/output error")
        output.show(0, GREEN)
        await until(lambda: len(host.links) == 3)
        assert "writing to /dev/spidev0.0 failed: Input/output error" == host.links[-1][1]


async def test_no_device_is_told_with_the_remedy() -> None:
    """Through the real driver: this machine has no such bus."""
    async with running(LINE, chains={"tarn/line": {"device": "/dev/spidev217.0"}}) as (output, host):
        output.show(0, RED)
        await until(lambda: bool(host.links))
        ((state, why, keys),) = host.links
    assert (LinkState.LOST, ("chains", "tarn/line", "device")) == (state, keys)
    assert why.startswith("there is no /dev/spidev217.0: switch SPI on in the board's settings")


def test_a_board_without_the_package_is_told_with_the_remedy(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is an extra, since most bridges need none."""
    monkeypatch.setitem(sys.modules, "spidev", None)
    with pytest.raises(PortError, match=r"the Python package spidev is missing: install lamproom\[spi\]"):
        open_port("/dev/spidev0.0", 2_400_000, 10)


@pytest.mark.parametrize(
    ("failure", "words"),
    [
        (
            PermissionError(13, "Permission denied"),
            "may not be opened: put the user of the bridge into the group",
        ),
        (OSError(16, "Device or resource busy"), "cannot be opened: Device or resource busy"),
    ],
)
def test_a_bus_that_cannot_be_opened_is_told_in_words(
    failure: Exception, words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each with what can be done where something can."""

    def fail(_device: str, _hertz: int) -> None:
        raise failure

    monkeypatch.setattr(spi_port, "_Spidev", fail)
    with pytest.raises(PortError, match=words):
        open_port("/dev/spidev0.0", 2_400_000, 10)


@pytest.mark.parametrize(
    ("said", "longest", "asked"),
    [("4096", 4096, None), ("4096", 4097, 8192), (None, 5000, 8192), ("65536", 65_537, 131_072)],
)
def test_a_frame_that_the_driver_would_cut_is_refused(
    said: str | None, longest: int, asked: int | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A gap in it is a reset for the chips: the remedy names the size that the driver needs."""
    bus = Bus()
    monkeypatch.setattr(spi_port, "_Spidev", lambda device, hertz: bus.open(device, hertz, 0))
    monkeypatch.setattr(spi_port, "LONGEST", tmp_path / "bufsiz")
    if said is not None:
        (tmp_path / "bufsiz").write_text(f"{said}\n")
    attempt: Callable[[], object] = lambda: open_port("/dev/spidev0.0", 2_400_000, longest)  # noqa: E731 - tried below
    if asked is None:
        assert bus is attempt()
    else:
        with pytest.raises(PortError, match=f"add spidev.bufsiz={asked} to the kernel's command line"):
            attempt()
        assert 1 == bus.closed


def test_a_chain_has_a_bus_to_itself() -> None:
    """Both devices of a bus share its data pin, so both chains would show both frames."""
    chains = {"tarn/a": {"device": "/dev/spidev0.0"}, "tarn/b": {"device": "/dev/spidev0.1"}}
    found = SpiOptions.model_validate({"chains": chains}).claims((rgb("a", 1), rgb("b", 1)))
    assert [("bus", 0, 0), ("bus", 0, 0)] == [(claim.unit, claim.first, claim.last) for claim in found]


@pytest.mark.parametrize("device", ["spidev0.0", "/dev/ttyS0", "/dev/spidev0", "", 0])
def test_a_device_that_is_none_is_refused(device: object) -> None:
    """With one that would be."""
    with pytest.raises(
        ValidationError, match=r"no SPI device: write one such as /dev/spidev0\.0|valid string"
    ):
        SpiOptions.model_validate({"chains": {"tarn/a": {"device": device}}})


def test_chips_that_no_row_fits_are_told_as_a_warning() -> None:
    """It may work, since most chips take more than their sheets allow; the owner should know."""
    place = ChainPlace("tarn", "line", (ChipRun("ws2812b", 3, 1), ChipRun("ws2812b-v5", 3, 1)))
    (fault,) = options(place).faults((place,))
    assert fault.warning
    assert "T1L is 541 ns where the data sheet of ws2812b has 200 to 500, 41 ns too long" in fault.message
    assert () == options(LINE).faults((LINE,))


def test_a_chip_without_a_sheet_is_refused() -> None:
    """Nobody knows how long its pulses are."""
    place = ChainPlace("tarn", "line", (ChipRun("ws9999", 3, 1),))
    (fault,) = options(place).faults((place,))
    assert not fault.warning
    assert "nobody knows how ws9999 is driven by SPI: use another output for tarn/line" == fault.message
