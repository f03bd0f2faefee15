"""Sends a series of messages, each when it is due."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from typing import Final

from adapters.contract import Broker
from bridge.events import SECOND, LinkState
from bridge.service.demo.railroad import Message

LATE: Final = 2.0
"""Seconds. Whoever is later than this was asleep, with the whole computer: the day goes on from where it was."""


class Player:
    """Publishes messages over a link, their times counted from when the link came up first.

    A message that finds the link down is lost, as it would be for anybody else.

    Args:
        messages: in the order of their times; the player takes one at a time.
        link: to the broker.
    """

    def __init__(self, messages: Iterator[Message], link: Broker) -> None:
        self._messages = messages
        self._link = link
        self._up = asyncio.Event()
        self._task: asyncio.Task[None] | None = None
        link.watch(self._link_changed)

    async def start(self) -> None:
        """Begin, now or as soon as the link is up."""
        if self._link.connected:
            self._up.set()
        self._task = asyncio.create_task(self._play(), name="pretend railroad")

    async def stop(self) -> None:
        """Send nothing more.

        Raises:
            Exception: whatever the messages raised while they were made.
        """
        task, self._task = self._task, None
        if task is not None:
            task.cancel()
            await asyncio.wait([task])
            if not task.cancelled():
                task.result()

    def _link_changed(self, state: LinkState) -> None:
        if state is LinkState.UP:
            self._up.set()

    async def _play(self) -> None:
        await self._up.wait()
        now = asyncio.get_running_loop().time
        began = now()
        for message in self._messages:
            due = began + message.at / SECOND
            late = now() - due
            if late > LATE:
                began += late
            elif late < 0:
                await asyncio.sleep(-late)
            self._link.publish(message.topic, message.payload, retain=message.retain)
