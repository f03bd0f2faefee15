"""A broker in memory, for tests of what talks over it: links, retained copies, last wills, and one order for all."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field

from paho.mqtt.client import topic_matches_sub

from adapters.contract import Raw, Receiver
from bridge.events import LinkState


@dataclass
class MemoryBroker:
    """Hands on what its links publish, each message in a later turn of the loop and all in one order.

    Attributes:
        kept: retained payloads by topic.
        deaf: topics that nobody may read: what an access rule would be.
        published: everything that was published, in order.
    """

    kept: dict[str, bytes] = field(default_factory=dict)
    deaf: set[str] = field(default_factory=set)
    published: list[tuple[str, bytes]] = field(default_factory=list)
    links: list[MemoryLink] = field(default_factory=list)

    def link(self) -> MemoryLink:
        """Return a new link, which is down."""
        made = MemoryLink(self)
        self.links.append(made)
        return made

    def take(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        """Take a message and hand it on."""
        self.published.append((topic, payload))
        if retain and payload:
            self.kept[topic] = payload
        elif retain:
            self.kept.pop(topic, None)
        for link in self.links:
            link.hand(topic, payload, retained=False)


@dataclass
class MemoryLink:
    """One link to it, with everything that the bridge asks of one."""

    broker: MemoryBroker
    connected: bool = False
    congested: bool = False
    receivers: list[tuple[str, Receiver]] = field(default_factory=list)
    watchers: list[Callable[[LinkState], None]] = field(default_factory=list)
    wills: list[tuple[str, bytes]] = field(default_factory=list)
    renewed: int = 0

    def subscribe(self, topic_filter: str, receive: Receiver, *, qos: int = 0) -> None:
        del qos
        self.receivers.append((topic_filter, receive))

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> bool:
        if self.connected:
            self.broker.take(topic, payload, retain=retain)
        return self.connected

    def watch(self, changed: Callable[[LinkState], None]) -> None:
        self.watchers.append(changed)

    def will(self, topic: str, payload: bytes, *, retain: bool = True) -> None:
        assert retain
        self.wills.append((topic, payload))

    def renew(self) -> None:
        self.renewed += 1
        self.turn(LinkState.LOST)
        asyncio.get_running_loop().call_soon(self.turn, LinkState.UP)

    def turn(self, state: LinkState) -> None:
        """Come up, with the retained copies, or be lost."""
        self.connected = state is LinkState.UP
        if self.connected:
            for topic, payload in self.broker.kept.items():
                self.hand(topic, payload, retained=True)
        for changed in self.watchers:
            changed(state)

    def die(self) -> None:
        """End without a goodbye: the newest will is published."""
        self.turn(LinkState.LOST)
        self.broker.take(*self.wills[-1], retain=True)

    def hand(self, topic: str, payload: bytes, *, retained: bool) -> None:
        if not self.connected or topic in self.broker.deaf:
            return
        for topic_filter, receive in self.receivers:
            if topic_matches_sub(topic_filter, topic):
                asyncio.get_running_loop().call_soon(receive, Raw(topic, payload, retained))


async def turns(number: int = 20) -> None:
    """Let the loop turn, so that everything that is on its way arrives."""
    for _ in range(number):
        await asyncio.sleep(0)
