"""A source that waits by names that it has imported, in a module of its own like the other one with a clock."""

from __future__ import annotations

import asyncio as loops
from asyncio import sleep as nap
from asyncio import timeout

from tests.support.bellwire.lamproom_bellwire import BellWire


class Naps(BellWire):
    """It connects late, and ends when nothing was heard for a while."""

    async def listen(self) -> None:
        await nap(0)  # which only gives way
        await nap(0.001)
        await loops.sleep(0.001)
        async with timeout(3):
            await super().listen()
