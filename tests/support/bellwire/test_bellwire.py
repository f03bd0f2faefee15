"""The bell wire keeps every promise of the contract."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from lamproom_bellwire import BellWire, BellWireOptions

from adapters.contract import EventSource
from adapters.testing import LineServer, SourceBench, SourceContract


class TestBellWire(SourceContract[LineServer]):
    @asynccontextmanager
    async def far_end(self, host: SourceBench) -> AsyncIterator[LineServer]:
        async with LineServer([b"turnout 61 reverse\n", b"block yard occupied\n"]) as box:
            yield box

    def source(self, far_end: LineServer, host: SourceBench) -> EventSource:
        return BellWire("bus", BellWireOptions(port=far_end.port), host)
