"""A place for a source to listen for a while."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from adapters.contract import EventSource
from tests.support.memory_broker import turns


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
