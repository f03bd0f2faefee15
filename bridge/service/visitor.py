"""A visitor at a broker: a client that comes for a short while, and is let in soon or says why not."""

from __future__ import annotations

import asyncio
import json
import secrets
from collections import deque
from random import Random
from typing import Any, Final

from bridge.errors import LinkError
from bridge.events import LinkState
from bridge.service.broker import BrokerAddress, BrokerLink

CONNECT_WITHIN: Final = 5.0
"""Seconds that the broker has to let us in."""

HEAR_WITHIN: Final = 1.0
"""Seconds in which a bridge that runs is heard of: what it said of itself is kept by the broker."""


class Visitor:
    """A client that stays for a short while.

    Attributes:
        link: its link to the broker.

    Args:
        place: the broker.
        purpose: a word for its name on the broker.
    """

    def __init__(self, place: BrokerAddress, purpose: str) -> None:
        self._place = place
        self._troubles: deque[str] = deque(maxlen=1)
        self._up = asyncio.Event()
        self.link = BrokerLink(
            place,
            client_id=f"lamproom-{purpose}-{secrets.token_hex(4)}",
            notes=self._note,
            random=Random(),  # noqa: S311 - for the jitter of reconnecting
        )
        self.link.watch(self._link_changed)

    @property
    def entered(self) -> bool:
        """Whether the broker has let us in at least once."""
        return self._up.is_set()

    async def enter(self, wanted: str = "") -> None:
        """Connect; what is to be heard has been subscribed to before.

        Args:
            wanted: what cannot be known or done without the broker, in a sentence; may be empty.

        Raises:
            LinkError: the broker cannot be reached in time.
        """
        await self.link.start()
        try:
            async with asyncio.timeout(CONNECT_WITHIN):
                await self._up.wait()
        except TimeoutError:
            why = self._troubles[0] if self._troubles else f"the broker at {self._place} cannot be reached"
            wanted = f"{wanted}; " if wanted else ""
            raise LinkError(
                f"{why}: {wanted}is it running? give another with --broker", peer=str(self._place)
            ) from None

    async def leave(self) -> None:
        """Say goodbye."""
        await self.link.stop()

    def _link_changed(self, state: LinkState) -> None:
        if state is LinkState.UP:
            self._up.set()

    def _note(self, text: str, level: str, **_facts: object) -> None:
        if level != "info":
            self._troubles.append(text.split(";", maxsplit=1)[0])


def json_object(payload: bytes) -> dict[str, Any] | None:
    """Return the JSON object in a payload, or None where it holds none."""
    try:
        said = json.loads(payload)
    except (ValueError, RecursionError):
        return None
    return said if isinstance(said, dict) else None
