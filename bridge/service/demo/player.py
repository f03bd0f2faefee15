"""Lets a pretend railroad happen in real time."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from typing import Final, Protocol

from adapters.contract import Broker
from bridge.events import SECOND, Instant, LinkState
from bridge.service.demo.stage import Message

LATE: Final = 2.0
"""Seconds. Whoever is later than this was asleep, with the whole computer: the day goes on from where it was."""


class Story(Protocol):
    """Something that goes on in steps."""

    @property
    def due(self) -> Instant | None:
        """When the next step is due, counted from the beginning; None where there is none."""
        ...

    def step(self) -> Sequence[Message]:
        """Do the next step, and return what it causes to be said."""
        ...


class Player:
    """Takes each step when it is due and publishes over a link; times count from when the link came up first.

    A message that finds the link down is lost, as it would be for anybody else.

    Args:
        story: what goes on.
        link: to the broker.
    """

    def __init__(self, story: Story, link: Broker) -> None:
        self._story = story
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
            Exception: whatever a step raised.
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
        while (at := self._story.due) is not None:
            due = began + at / SECOND
            late = now() - due
            if late > LATE:
                began += late
            elif late < 0:
                await asyncio.sleep(-late)
            for message in self._story.step():
                self._link.publish(message.topic, message.payload, retain=message.retain)
