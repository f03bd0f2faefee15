"""Every built-in frame output keeps the contract, and the suite finds the faults that are planted in one that does."""

from __future__ import annotations

import asyncio
import struct
import threading
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any, Final

import pytest

from adapters.contract import ChainPlace, FrameOutput, Options, OutputHost
from adapters.outputs import spi
from adapters.outputs.artnet import ArtNetFrames, ArtNetOptions
from adapters.outputs.ddp import DdpFrames, DdpOptions
from adapters.outputs.e131 import E131Frames, E131Options
from adapters.outputs.file import FileFrames, FileOptions
from adapters.outputs.frame import decode
from adapters.outputs.mqtt import MqttFrames, MqttFramesOptions
from adapters.outputs.spi import SpiFrames, SpiOptions
from adapters.outputs.spi_waves import choose
from adapters.testing import Controller, OutputBench, OutputContract
from bridge.events import Instant
from tests.adapters.outputs.listener import Listener
from tests.adapters.testing.plain import PlainFrames
from tests.support.waveform import line

PLACES: Final = OutputContract.places
KEYS: Final = tuple(place.key for place in PLACES)


class Topics(Controller):
    """Nodes at a broker, which acknowledge nothing."""

    def __init__(self, host: OutputBench) -> None:
        self.link = host.broker

    def taken(self) -> list[tuple[int, bytes]]:
        found = [
            (KEYS.index(topic.removeprefix("lamproom/frame/")), decode(message)[1])
            for topic, message in self.link.published
        ]
        self.link.published.clear()
        return found

    def hold(self) -> None:
        self.link.congested = True

    def let_go(self) -> None:
        self.link.congested = False


class TestMqtt(OutputContract[Topics]):
    """Frames over MQTT."""

    @asynccontextmanager
    async def far_end(self, host: OutputBench) -> AsyncIterator[Topics]:
        yield Topics(host)

    def output(self, far_end: Topics, host: OutputBench) -> FrameOutput:
        del far_end
        return MqttFrames("out", MqttFramesOptions(), self.places, host)


class Packets(Controller):
    """A controller on the network: which chain a packet is for, and its levels, by the published layout of packets."""

    def __init__(self, read: Callable[[bytes], tuple[int, bytes]]) -> None:
        self.listener = Listener()
        self._read = read

    def taken(self) -> list[tuple[int, bytes]]:
        return [self._read(packet) for packet in self.listener.taken()]


def by_e131(packet: bytes) -> tuple[int, bytes]:
    """ANSI E1.31-2018, table 4-1: universe at 113, slot count with the start code at 123, levels from 126."""
    universe, slots = struct.unpack(">H", packet[113:115])[0], struct.unpack(">H", packet[123:125])[0]
    return universe - 1, packet[126 : 125 + slots]


def by_artnet(packet: bytes) -> tuple[int, bytes]:
    """Art-Net 4, ArtDmx: the universe's low byte at 14, levels from 18, an even number of them."""
    return packet[14], packet[18 : 18 + PLACES[packet[14]].length]


def by_ddp(packet: bytes) -> tuple[int, bytes]:
    """DDP: destination at 3, levels from 10."""
    return packet[3] - 1, packet[10:]


class OverUdp(OutputContract[Packets]):
    """What the outputs over UDP have in common."""

    read: Callable[[bytes], tuple[int, bytes]]

    @asynccontextmanager
    async def far_end(self, host: OutputBench) -> AsyncIterator[Packets]:
        del host
        made = Packets(type(self).read)
        try:
            yield made
        finally:
            made.listener.close()

    def said(self, far_end: Packets, key: str, first: int) -> dict[str, Any]:
        chains = {name: {key: first + number} for number, name in enumerate(KEYS)}
        return {"host": "127.0.0.1", "port": far_end.listener.port, "chains": chains}


class TestE131(OverUdp):
    """Frames by E1.31."""

    read = staticmethod(by_e131)

    def output(self, far_end: Packets, host: OutputBench) -> FrameOutput:
        options = E131Options.model_validate(self.said(far_end, "universe", 1))
        return E131Frames("out", options, self.places, host)


class TestArtNet(OverUdp):
    """Frames by Art-Net."""

    read = staticmethod(by_artnet)

    def output(self, far_end: Packets, host: OutputBench) -> FrameOutput:
        options = ArtNetOptions.model_validate(self.said(far_end, "universe", 0))
        return ArtNetFrames("out", options, self.places, host)


class TestDdp(OverUdp):
    """Frames by DDP."""

    read = staticmethod(by_ddp)

    def output(self, far_end: Packets, host: OutputBench) -> FrameOutput:
        options = DdpOptions.model_validate(self.said(far_end, "destination", 1))
        return DdpFrames("out", options, self.places, host)


class Buses(Controller):
    """The board's own buses, whose driver can be held up; what the chips see is read in the pulses."""

    def __init__(self) -> None:
        self._written: list[tuple[int, bytes]] = []
        self._free = threading.Event()
        self._free.set()

    def open(self, device: str, hertz: int, longest: int) -> Buses.Port:
        del longest
        return Buses.Port(self, int(device[-1]), hertz)

    class Port:
        """One of them, open."""

        def __init__(self, buses: Buses, index: int, hertz: int) -> None:
            self._buses, self._index, self._hertz = buses, index, hertz

        def write(self, data: bytes) -> None:
            assert self._buses._free.wait(20)
            place = PLACES[self._index]
            pulses = choose([run.kind for run in place.chips]).wave.pulses
            between = (pulses.t0h + pulses.t1h) / 2
            bits = [int(pulse.high > between) for pulse in line(data, self._hertz).bits]
            levels = [bits[start : start + 8] for start in range(0, len(bits), 8)]
            frame = bytes(int("".join(map(str, each)), 2) for each in levels)
            self._buses._written.append((self._index, frame))

        def close(self) -> None:
            """Let go of it."""

    def taken(self) -> list[tuple[int, bytes]]:
        taken, self._written = self._written, []
        return taken

    def hold(self) -> None:
        self._free.clear()

    def let_go(self) -> None:
        self._free.set()


class TestSpi(OutputContract[Buses]):
    """Frames on the board's own buses."""

    @asynccontextmanager
    async def far_end(self, host: OutputBench) -> AsyncIterator[Buses]:
        del host
        made = Buses()
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(spi, "open_port", made.open)
            yield made
            made.let_go()

    def output(self, far_end: Buses, host: OutputBench) -> FrameOutput:
        del far_end
        chains = {key: {"device": f"/dev/spidev0.{number}"} for number, key in enumerate(KEYS)}
        return SpiFrames("out", SpiOptions.model_validate({"chains": chains}), self.places, host)


class Lines(Controller):
    """A file, read line by line."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._read = 0

    def taken(self) -> list[tuple[int, bytes]]:
        text = self.path.read_text() if self.path.exists() else ""
        found = text.splitlines()[self._read :]
        self._read += len(found)
        return [(KEYS.index(each.split()[1]), bytes.fromhex(each.split()[2])) for each in found]


class IntoAFile(OutputContract[Lines]):
    """The checks of an output to a file."""

    kind: type[FileFrames | PlainFrames] = FileFrames

    @pytest.fixture(autouse=True)
    def into(self, tmp_path: Path) -> None:
        self.folder = tmp_path

    @asynccontextmanager
    async def far_end(self, host: OutputBench) -> AsyncIterator[Lines]:
        del host
        yield Lines(self.folder / "frames.txt")

    def output(self, far_end: Lines, host: OutputBench) -> FrameOutput:
        return self.kind("out", FileOptions(path=str(far_end.path)), self.places, host)


class TestFile(IntoAFile):
    """Frames as lines of a file."""


class KeepsAQueue(PlainFrames):
    """It writes one frame a wake, the oldest first."""

    def __init__(self, name: str, options: Options, places: tuple[ChainPlace, ...], host: OutputHost) -> None:
        super().__init__(name, options, places, host)
        self.queue: list[tuple[int, bytes]] = []

    def show(self, index: int, levels: bytes, *, test: bool = False) -> None:
        del test
        self.queue.append((index, levels))
        self._host.wake_soon()

    def wake(self, now: Instant) -> Instant | None:
        if self.queue:
            self._write(*self.queue.pop(0), "")
        return now + 10_000_000 if self.queue else None


class SendsNoLast(PlainFrames):
    async def stop(self, last: tuple[bytes, ...] | None) -> None:
        del last
        await super().stop(None)


class AlwaysSendsALast(PlainFrames):
    async def stop(self, last: tuple[bytes, ...] | None) -> None:
        await super().stop(last or tuple(bytes(place.length) for place in self._places))


class GoesOnSending(PlainFrames):
    async def stop(self, last: tuple[bytes, ...] | None) -> None:
        for index, levels in enumerate(last or ()):
            self.show(index, levels)
        kept = self._file
        if kept is not None and self._begun:
            self._file = None
            kept.close()
            self._file = self._path.open("ab", buffering=0)


class Spins(PlainFrames):
    def wake(self, now: Instant) -> Instant | None:
        super().wake(now)
        return now


class AsksFromWithin(PlainFrames):
    def wake(self, now: Instant) -> Instant | None:
        self._host.wake_soon()
        return super().wake(now)


class MixesChains(PlainFrames):
    def _write(self, index: int, levels: bytes, mark: str) -> None:
        super()._write(0, levels, mark)
        del index


class DropsTheDark(PlainFrames):
    def show(self, index: int, levels: bytes, *, test: bool = False) -> None:
        if any(levels):
            super().show(index, levels, test=test)


class ForgetsTheFirst(PlainFrames):
    def show(self, index: int, levels: bytes, *, test: bool = False) -> None:
        if self._begun:
            super().show(index, levels, test=test)


class LeavesItsFile(PlainFrames):
    async def stop(self, last: tuple[bytes, ...] | None) -> None:
        for index, levels in enumerate(last or ()):
            self._write(index, levels, " last")
        self.kept, self._file = self._file, None


class HangsAtTheEnd(PlainFrames):
    async def stop(self, last: tuple[bytes, ...] | None) -> None:
        await super().stop(last)
        await asyncio.Event().wait()


class NeverRests(PlainFrames):
    """It writes every frame again, forty times a second."""

    newest: tuple[int, bytes] | None = None

    def show(self, index: int, levels: bytes, *, test: bool = False) -> None:
        self.newest = index, levels
        super().show(index, levels, test=test)

    def wake(self, now: Instant) -> Instant | None:
        if self.newest is not None:
            self._write(*self.newest, "")
        return now + 25_000_000


BEFORE, FRAMES, NEWEST, LAST, LEFT, IDLE, EARLY = (
    "test_it_does_nothing_before_its_start",
    "test_any_frame_comes_as_it_is",
    "test_the_newest_frame_wins",
    "test_stop_sends_the_last_frames",
    "test_stop_without_frames_leaves_everything_as_it_is",
    "test_idle_it_is_silent",
    "test_what_was_shown_before_the_start_goes_out_then",
)


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize(
    ("kind", "name", "sentence"),
    [
        (
            KeepsAQueue,
            NEWEST,
            "49 older frames went out before the newest: keep the newest alone, and no queue",
        ),
        (SendsNoLast, LAST, "`stop` was given 090909090909 for chain 0, and it did not come last"),
        (AlwaysSendsALast, LEFT, "it sent a frame when `stop` was given none"),
        (GoesOnSending, LEFT, "`stop` left something behind: one open socket or file"),
        (Spins, IDLE, "`wake` wants to be called again in the same instant: the loop would spin"),
        (AsksFromWithin, IDLE, "it asks for `wake` from within `wake`: return the instant"),
        (MixesChains, FRAMES, "chain 1 was shown 00000000, and nothing came"),
        (DropsTheDark, FRAMES, "chain 0 was shown 000000000000, and nothing came"),
        (ForgetsTheFirst, EARLY, "before `start`, chain 0 was shown 010101010101, and nothing came"),
        (LeavesItsFile, LAST, "`stop` left something behind: one open socket or file"),
        (HangsAtTheEnd, BEFORE, "`stop` does not end: the bridge gives it 0.3 s, and ends without it"),
        (NeverRests, IDLE, "times in 30 s in which nothing changed"),
    ],
)
def test_a_planted_fault_is_found(
    kind: type[PlainFrames], name: str, sentence: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By the check that is about it, with one sentence that names the output."""
    monkeypatch.setattr("adapters.testing.hosts.PATIENCE", 0.5)
    monkeypatch.setattr("adapters.testing.outputs.ENDS_WITHIN", 0.3)
    faulty = IntoAFile()
    faulty.folder, faulty.kind = tmp_path, kind
    with pytest.raises(pytest.fail.Exception) as found:
        getattr(faulty, name)()
    said = str(found.value)
    assert said.startswith(f"{kind.__name__}: ")
    assert sentence in said
    assert "\n" not in said
