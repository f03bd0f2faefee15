"""What a source is given in a test: time that passes only when it waits, and a place to listen for a while."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from adapters.contract import EventSource
from bridge.events import SECOND, Instant
from tests.support.memory_broker import turns


class VirtualTime:
    """The clock of a host whose time passes only while somebody waits for it."""

    _now: Instant = 0

    def now(self) -> Instant:
        return self._now

    async def sleep(self, seconds: float) -> None:
        self._now += round(seconds * SECOND)
        await asyncio.sleep(0)


@asynccontextmanager
async def listening(source: EventSource) -> AsyncIterator[None]:
    """Have a source listen, from its first words on, and cancel it in the end."""
    task = asyncio.create_task(source.listen())
    await turns()
    try:
        yield
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
