"""Every built-in event source keeps the contract."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from adapters.contract import EventSource
from adapters.events.clock import ClockOptions, ModelClockSource
from adapters.events.dcc import DccOptions, DccSource
from adapters.events.line import LineOptions, LineSource
from adapters.events.mqtt import MqttFacts, MqttFactsOptions
from adapters.testing import BrokerEnd, FarEnd, LineServer, SourceBench, SourceContract
from tests.support.far_ends import Pipe, SerialLine, Speaker

FACTS = (
    ("layout/accessory/61/ordered", b"reverse"),
    ("layout/accessory/61/proved", b"moving"),
    ("layout/aspect/7", b"12"),
    ("layout/block/B1", b"occupied"),
    ("layout/power/east", b"on"),
    ("layout/button/shed", b"pressed"),
    ("layout/clock", b'{"time": "06:45", "rate": 4, "running": true}'),
)


class TestMqttFacts(SourceContract[FarEnd]):
    """Facts over MQTT."""

    @asynccontextmanager
    async def far_end(self, host: SourceBench) -> AsyncIterator[FarEnd]:
        yield BrokerEnd(host, FACTS)

    def source(self, far_end: FarEnd, host: SourceBench) -> EventSource:
        del far_end
        return MqttFacts("bus", MqttFactsOptions(), host)


class TestModelClock(SourceContract[FarEnd]):
    """A model clock of our own, which has no other end."""

    has_bus = False

    @asynccontextmanager
    async def far_end(self, host: SourceBench) -> AsyncIterator[FarEnd]:
        del host
        yield FarEnd()

    def source(self, far_end: FarEnd, host: SourceBench) -> EventSource:
        del far_end
        return ModelClockSource("bus", ClockOptions(), host)


class TestDcc(SourceContract[LineServer]):
    """Packets as lines over TCP."""

    @asynccontextmanager
    async def far_end(self, host: SourceBench) -> AsyncIterator[LineServer]:
        del host
        async with LineServer([b"81 F9 78\r\n", b"81 F0 71\n", b"0x81,0x71,0x05,0xF5\n"]) as server:
            yield server

    def source(self, far_end: LineServer, host: SourceBench) -> EventSource:
        return DccSource("bus", DccOptions(host="127.0.0.1", port=far_end.port), host)


class TestDccSerial(SourceContract[SerialLine]):
    """Packets from a serial port."""

    flood_of = 20_000

    @asynccontextmanager
    async def far_end(self, host: SourceBench) -> AsyncIterator[SerialLine]:
        del host
        with TemporaryDirectory() as folder:
            line = SerialLine(Path(folder) / "sniffer", (b"81 F9 78\r\n", b"81 F0 71\n"))
            yield line
            line.unplug()

    def source(self, far_end: SerialLine, host: SourceBench) -> EventSource:
        return DccSource("bus", DccOptions(serial=str(far_end.name)), host)


LINES = (b"accessory/61/ordered reverse\n", b"block/tarn 2\toccupied\n", b'clock {"time": "06:45"}\n')


class TestLine(SourceContract[Speaker]):
    """Facts as lines from whoever connects: it cannot go, because nobody has to be there."""

    can_go = False
    flood_of = 20_000

    @asynccontextmanager
    async def far_end(self, host: SourceBench) -> AsyncIterator[Speaker]:
        del host
        speaker = Speaker(LINES)
        yield speaker
        speaker.close()

    def source(self, far_end: Speaker, host: SourceBench) -> EventSource:
        return LineSource("bus", LineOptions(port=far_end.port), host)


class TestPipe(SourceContract[Pipe]):
    """Facts as lines from a named pipe."""

    flood_of = 20_000

    @asynccontextmanager
    async def far_end(self, host: SourceBench) -> AsyncIterator[Pipe]:
        del host
        with TemporaryDirectory() as folder:
            yield Pipe(Path(folder) / "run", LINES)

    def source(self, far_end: Pipe, host: SourceBench) -> EventSource:
        return LineSource("bus", LineOptions(pipe=str(far_end.path)), host)
