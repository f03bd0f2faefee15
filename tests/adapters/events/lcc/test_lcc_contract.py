"""The LCC source keeps the contract of event sources, over real TCP."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from adapters.contract import EventSource
from adapters.events.lcc.options import LccOptions
from adapters.events.lcc.source import LccSource
from adapters.testing import LineServer, SourceBench, SourceContract

EVENTS = (
    b":X195B4123N0101020000FF0009;\n",
    b":X195B4123N0101020001002805;\n",
    b":X195B4123N0101020000FD0051;\n",
    b":X195B4123N010100000100080A;\n",
)


class TestLcc(SourceContract[LineServer]):
    """A gateway that sends events as frames."""

    @asynccontextmanager
    async def far_end(self, host: SourceBench) -> AsyncIterator[LineServer]:
        del host
        async with LineServer(EVENTS) as server:
            yield server

    def source(self, far_end: LineServer, host: SourceBench) -> EventSource:
        said = {"host": "127.0.0.1", "port": far_end.port, "node-id": "01.02.03.04.05.06"}
        return LccSource("bus", LccOptions.model_validate(said), host)
