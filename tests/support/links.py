"""Broker links for tests."""

from __future__ import annotations

from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from random import Random

from adapters.contract import Raw
from bridge.events import LinkState
from bridge.service.broker import BrokerAddress, BrokerLink
from tests.support.waiting import until


class Watched:
    """A link together with all that it said.

    Attributes:
        link: the link.
        notes: its sentences.
        levels: the level of each of them.
        facts: what was said beside each of them.
        states: what its watchers were told.
        heard: every message that came to `hear`.
    """

    def __init__(self, port: int, name: str, *, host: str = "127.0.0.1", keepalive: int = 5) -> None:
        self.notes: list[str] = []
        self.levels: list[str] = []
        self.facts: list[Mapping[str, object]] = []
        self.states: list[LinkState] = []
        self.heard: list[Raw] = []
        address = BrokerAddress(host, port, keepalive=keepalive)
        self.link = BrokerLink(address, client_id=name, notes=self._note, random=Random(1))  # noqa: S311 - jitter
        self.link.watch(self.states.append)

    def hear(self, raw: Raw) -> None:
        """Receive a message."""
        self.heard.append(raw)

    async def until_up(self, times: int = 1) -> None:
        """Wait until the link has come up this many times."""
        await until(lambda: self.states.count(LinkState.UP) >= times)

    def _note(self, text: str, level: str, **facts: object) -> None:
        self.notes.append(text)
        self.levels.append(level)
        self.facts.append(facts)


@asynccontextmanager
async def linked(port: int, name: str, *topic_filters: str, keepalive: int = 5) -> AsyncIterator[Watched]:
    """Give a link that is up and hears what matches, and stop it in the end."""
    watched = Watched(port, name, keepalive=keepalive)
    for topic_filter in topic_filters:
        watched.link.subscribe(topic_filter, watched.hear)
    await watched.link.start()
    try:
        await watched.until_up()
        yield watched
    finally:
        await watched.link.stop()
