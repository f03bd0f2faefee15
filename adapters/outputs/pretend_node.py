"""A node that has no lamps: it does what a node does with frames, and keeps what it would show.

It belongs to the MQTT output as the other end of the same wire: the demo has it for a layout, and the tests
for a judge of what arrives.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field

from adapters.contract import Broker, Raw
from adapters.outputs.frame import decode, newer
from adapters.outputs.node_talk import (
    Announcement,
    Shown,
    frame_topic,
    node_topic,
    shown_topic,
    write_announcement,
    write_shown,
)
from bridge.errors import DecodeError
from bridge.events import LinkState


@dataclass(slots=True)
class NodeCounters:
    """What a pretend node did with the messages of its chains.

    Attributes:
        received: messages that came.
        shown: frames that it showed.
        unfit: messages of another format, or whose length does not fit the chain.
        old: frames of an older term, or not newer than what was shown in this one.
        unread: frames that were lost unread with the link.
    """

    received: int = 0
    shown: int = 0
    unfit: int = 0
    old: int = 0
    unread: int = 0


@dataclass(slots=True)
class _Lane:
    """One chain: its length in bytes, and term and sequence of what it shows."""

    name: str
    length: int
    sequence: int | None = None
    term: int = -1


@dataclass(slots=True)
class _Reader:
    """When a node may read its next message, by the clock of the event loop."""

    period: float
    free_at: float = 0.0
    waiting: deque[tuple[_Lane, bytes]] = field(default_factory=deque)
    timer: asyncio.TimerHandle | None = None


class PretendNode:
    """A node as the bridge knows one, on a link of its own.

    It announces itself, retained, before it asks for its first frame, so that no frame is sent to it before
    the bridge knows that it acknowledges. After a lost link it announces itself again. A frame is ignored if
    its format is unknown, its length is not that of the chain, its term is older than the highest that the
    node has obeyed, or it is not newer than what the chain shows in that term. The rest is shown and
    acknowledged.

    Attributes:
        name: the node's name.
        shown: the levels that each chain shows, by name; a chain that was sent nothing is not there.
        terms: for each of those chains, the term of the frame that it shows.
        counters: what was done with the messages.
        link_lost: the topic and payload of the node's last will, retained, for whoever makes its link.

    Args:
        name: as the layout file has it.
        chains: bytes of a whole frame by the name of the chain.
        link: the node's own link to the broker.
        reads_per_second: how many messages it reads a second, 0 for all of them at once. What it has not read
            waits in the order in which it came, as it would in the buffers of broker and network.
    """

    def __init__(
        self, name: str, chains: Mapping[str, int], link: Broker, *, reads_per_second: float = 0
    ) -> None:
        self.name = name
        self.shown: dict[str, bytes] = {}
        self.terms: dict[str, int] = {}
        self.counters = NodeCounters()
        self.link_lost = (node_topic(name), write_announcement(Announcement("gone")))
        self._link = link
        self._lanes = {frame_topic(name, chain): _Lane(chain, length) for chain, length in chains.items()}
        self._reader = _Reader(1 / reads_per_second if reads_per_second else 0.0)
        self._term: int | None = None  # the highest that it has obeyed
        self._running = self._subscribed = False

    async def start(self) -> None:
        """Begin: announce itself and listen as soon as the link stands."""
        self._running = True
        self._link.watch(self._link_changed)
        if self._link.connected:
            self._link_changed(LinkState.UP)

    async def stop(self) -> None:
        """Say that it is gone, and show what it shows for ever."""
        if self._running:
            self._running = False
            self._forget_unread()
            topic, payload = self.link_lost
            self._link.publish(topic, payload, retain=True)

    def _link_changed(self, state: LinkState) -> None:
        if not self._running:
            return
        if state is LinkState.LOST:
            self._forget_unread()
            return
        here = Announcement("here", self._term)
        self._link.publish(node_topic(self.name), write_announcement(here), retain=True)
        if not self._subscribed:
            self._subscribed = True
            for topic in self._lanes:
                self._link.subscribe(topic, self._received)

    # ---- reading -------------------------------------------------------------------------------------------

    def _received(self, raw: Raw) -> None:
        if not self._running:
            return
        self.counters.received += 1
        lane = self._lanes[raw.channel]
        reader = self._reader
        if not reader.period:
            self._read(lane, raw.payload)
            return
        reader.waiting.append((lane, raw.payload))
        if reader.timer is None:
            loop = asyncio.get_running_loop()
            reader.timer = loop.call_at(max(reader.free_at, loop.time()), self._read_next)

    def _read_next(self) -> None:
        reader = self._reader
        loop = asyncio.get_running_loop()
        reader.free_at = max(reader.free_at, loop.time()) + reader.period
        lane, message = reader.waiting.popleft()
        reader.timer = loop.call_at(reader.free_at, self._read_next) if reader.waiting else None
        self._read(lane, message)

    def _forget_unread(self) -> None:
        reader = self._reader
        self.counters.unread += len(reader.waiting)
        reader.waiting.clear()
        if reader.timer is not None:
            reader.timer.cancel()
            reader.timer = None

    def _read(self, lane: _Lane, message: bytes) -> None:
        try:
            header, levels = decode(message)
        except DecodeError:
            self.counters.unfit += 1
            return
        if len(levels) != lane.length:
            self.counters.unfit += 1
            return
        obeyed = -1 if self._term is None else self._term
        same_term = header.term == lane.term and lane.sequence is not None
        if header.term < obeyed or (same_term and not newer(header.sequence, lane.sequence or 0)):
            self.counters.old += 1
            return
        self._term = header.term
        lane.term, lane.sequence = header.term, header.sequence
        self.shown[lane.name] = levels
        self.terms[lane.name] = header.term
        self.counters.shown += 1
        acknowledgement = write_shown(Shown(header.term, header.sequence))
        self._link.publish(shown_topic(self.name, lane.name), acknowledgement)
