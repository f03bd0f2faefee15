"""A source with a clock of its own, in a module of its own, since the contract suite looks at whole modules."""

from __future__ import annotations

import asyncio
from contextlib import suppress

from tests.support.bellwire.lamproom_bellwire import BellWire


class LooksAtItsWatch(BellWire):
    """It ends when nothing was heard for a while, by the clock of the event loop."""

    async def listen(self) -> None:
        with suppress(TimeoutError):
            await asyncio.wait_for(super().listen(), 3)
