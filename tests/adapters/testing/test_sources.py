"""Every built-in event source keeps the contract."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from adapters.contract import EventSource
from adapters.events.clock import ClockOptions, ModelClockSource
from adapters.events.mqtt import MqttFacts, MqttFactsOptions
from adapters.testing import BrokerEnd, FarEnd, SourceBench, SourceContract

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
