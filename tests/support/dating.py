"""A source that asks for the time by another name, in a module of its own like the other ones with a clock."""

from __future__ import annotations

import datetime as dt
from datetime import UTC
from datetime import datetime as moment

from tests.support.bellwire.lamproom_bellwire import BellWire


class KnowsTheDate(BellWire):
    """It notes when it began."""

    async def listen(self) -> None:
        self.began = (dt.datetime.now(UTC), moment.now(UTC))
        await super().listen()
