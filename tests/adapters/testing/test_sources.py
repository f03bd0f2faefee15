"""Every built-in event source keeps the contract."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from adapters.contract import EventSource
from adapters.events.clock import ClockOptions, ModelClockSource
from adapters.events.dcc import DccOptions, DccSource
from adapters.events.line import LineOptions, LineSource
from adapters.events.mqtt import MqttFacts, MqttFactsOptions
from adapters.testing import BrokerEnd, FarEnd, LineServer, SourceBench, SourceContract

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


class TestLine(SourceContract[FarEnd]):
    """Facts as lines: it listens itself, so there is no other end that has to be there."""

    has_bus = False

    @asynccontextmanager
    async def far_end(self, host: SourceBench) -> AsyncIterator[FarEnd]:
        del host
        yield FarEnd()

    def source(self, far_end: FarEnd, host: SourceBench) -> EventSource:
        del far_end
        return LineSource("bus", LineOptions(port=8479), host)
