"""The hosts that the contract suite gives to an adapter: a broker link in memory, and time that a test lets pass."""

from __future__ import annotations

import asyncio
import heapq
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import AbstractAsyncContextManager, asynccontextmanager, contextmanager
from dataclasses import dataclass, field
from functools import partial
from itertools import count
from typing import Final
from uuid import UUID

from adapters.contract import ChainPlace, Raw, Receiver
from bridge.errors import DecodeError
from bridge.events import SECOND, Instant, LinkState

PATIENCE: Final = 20.0
"""Seconds of the world after which what was waited for will not come, on the busiest machine."""

STEP: Final = SECOND // 50
"""How much time of the session passes at each look while something is waited for. Looks are a millisecond apart at
least, so that limits of seconds are tried in a moment, and are not over before a socket of this machine answers."""


IDENTITY: Final = UUID("5a1f2c3d-4e5f-4a6b-8c7d-9e0f1a2b3c4d")


class MemoryLink:
    """A broker link in memory. What an adapter publishes stands in `published`; `hand` brings it a message."""

    def __init__(self) -> None:
        self.connected = False
        self.congested = False
        self.published: list[tuple[str, bytes]] = []
        self._receivers: list[tuple[str, Receiver]] = []
        self._watchers: list[Callable[[LinkState], None]] = []

    @property
    def filters(self) -> list[str]:
        """The topic filters that were subscribed to."""
        return [topic_filter for topic_filter, _receive in self._receivers]

    def subscribe(self, topic_filter: str, receive: Receiver, *, qos: int = 0) -> None:
        """Have `receive` called for every message that matches."""
        del qos
        if (topic_filter, receive) not in self._receivers:
            self._receivers.append((topic_filter, receive))

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> bool:
        """Take a message, while the link is up."""
        del retain
        if self.connected:
            self.published.append((topic, payload))
        return self.connected

    def watch(self, changed: Callable[[LinkState], None]) -> None:
        """Have `changed` called when the link comes up or is lost."""
        if changed not in self._watchers:
            self._watchers.append(changed)

    def hand(self, topic: str, payload: bytes, *, retained: bool = False) -> None:
        """Bring a message to whoever subscribed to it; while the link is down it is lost."""
        if self.connected:
            for topic_filter, receive in tuple(self._receivers):
                if matches(topic_filter, topic):
                    receive(Raw(topic, payload, retained))

    def turn(self, state: LinkState) -> None:
        """Bring the link up, or cut it."""
        self.connected = state is LinkState.UP
        for changed in tuple(self._watchers):
            changed(state)


def matches(topic_filter: str, topic: str) -> bool:
    """Return whether a topic matches a filter (MQTT 3.1.1, section 4.7)."""
    wanted, given = topic_filter.split("/"), topic.split("/")
    if given[0].startswith("$") and wanted[0] in ("#", "+"):
        return False
    for place, level in enumerate(wanted):
        if level == "#":
            return True
        if place >= len(given) or level not in ("+", given[place]):
            return False
    return len(wanted) == len(given)


class MemoryDoor:
    """A way in over HTTP in memory, which is there unless a test shuts it; `ask` is a request."""

    def __init__(self) -> None:
        self.address: str | None = "http://127.0.0.1:8470/api/events/bus/"
        self._receiver: Receiver | None = None

    @contextmanager
    def open(self, receive: Receiver) -> Iterator[None]:
        """Have `receive` called for each request."""
        self._receiver = receive
        try:
            yield
        finally:
            self._receiver = None

    def ask(self, channel: str, body: bytes) -> bool:
        """Make a request, and return whether somebody took it."""
        if self._receiver is None:
            return False
        self._receiver(Raw(channel, body))
        return True


class VirtualTime:
    """Time of a session that passes only when a test lets it."""

    def __init__(self) -> None:
        self._now: Instant = 0
        self._due: list[tuple[Instant, int, Callable[[], None]]] = []
        self._numbers = count()

    def now(self) -> Instant:
        """Return the present instant of the session."""
        return self._now

    async def sleep(self, seconds: float) -> None:
        """Wait until so much time of the session has passed; no time at all is a turn of the loop."""
        if seconds <= 0:
            await asyncio.sleep(0)
            return
        waiting = asyncio.get_running_loop().create_future()
        self._at(seconds, lambda: None if waiting.done() else waiting.set_result(None))
        await waiting

    def timeout(self, seconds: float) -> AbstractAsyncContextManager[object]:
        """Return a limit on the time of the session."""
        return self._limit(seconds)

    @asynccontextmanager
    async def _limit(self, seconds: float) -> AsyncIterator[object]:
        loop = asyncio.get_running_loop()
        inside = True
        async with asyncio.timeout(None) as limit:
            self._at(seconds, lambda: limit.reschedule(loop.time()) if inside else None)
            try:
                yield limit
            finally:
                inside = False

    def _at(self, seconds: float, what: Callable[[], None]) -> None:
        heapq.heappush(self._due, (self._now + round(seconds * SECOND), next(self._numbers), what))

    def pass_by(self, nanoseconds: Instant) -> None:
        """Let time pass; what was waited for is due in its order."""
        until = self._now + nanoseconds
        while self._due and self._due[0][0] <= until:
            self._now, _number, what = heapq.heappop(self._due)
            what()
        self._now = until


class SourceBench(VirtualTime):
    """The host of a source under test.

    Attributes:
        broker: the link in memory, which is down at first.
        door: the way in over HTTP, in memory.
        raws: what the source handed in.
        links: what it said of its link, each with the reason.
        longest: how many inputs it handed in at most without a turn of the loop.
    """

    def __init__(self) -> None:
        super().__init__()
        self.broker = MemoryLink()
        self.door = MemoryDoor()
        self.raws: list[Raw] = []
        self.links: list[tuple[LinkState, str]] = []
        self.longest = 0
        self._turn: asyncio.Handle | None = None
        self._in_turn = 0

    def received(self, raw: Raw) -> None:
        """Take what came in."""
        self.raws.append(raw)
        self._in_turn += 1
        self.longest = max(self.longest, self._in_turn)
        if self._turn is None:
            self._turn = asyncio.get_running_loop().call_soon(self._turned)

    def _turned(self) -> None:
        self._turn = None
        self._in_turn = 0

    def link(self, state: LinkState, why: str) -> None:
        """Take what the source says of its link; the same state again is no news."""
        if not self.links or self.links[-1][0] is not state:
            self.links.append((state, why))

    @property
    def up(self) -> bool:
        """Whether the source said last that it can be heard."""
        return bool(self.links) and self.links[-1][0] is LinkState.UP

    async def until(self, holds: Callable[[], bool], within: float | None = None) -> bool:
        """Let time pass until a condition holds, and return whether it came to that."""
        loop = asyncio.get_running_loop()
        deadline = loop.time() + (PATIENCE if within is None else within)
        while not holds():
            if loop.time() > deadline:
                return False
            await asyncio.sleep(0.001)
            self.pass_by(STEP)
        return True

    async def until_quiet(self, most: int) -> None:
        """Let time pass until so many inputs came in, or none came in for a second of the world."""
        before = -1
        while before < len(self.raws) < most:
            before = len(self.raws)
            await self.until(partial(self.more, before), 1)

    def more(self, than: int) -> bool:
        """Return whether more than so many inputs have come in."""
        return len(self.raws) > than


@dataclass
class OutputBench:
    """The host of an output under test.

    Attributes:
        broker: the link in memory, which is up.
        term: the bridge's term.
        asked: the output wants `wake` to be called.
        nodes: what it said of nodes.
        boards: what it said of the boards of nodes.
        links: what it said of its link.
        refusals: what it could not understand.
    """

    broker: MemoryLink = field(default_factory=MemoryLink)
    term: int | None = 513
    identity: UUID = IDENTITY
    clock: Instant = 0
    asked: bool = False
    nodes: list[tuple[str, LinkState, str]] = field(default_factory=list)
    boards: list[tuple[str, str]] = field(default_factory=list)
    links: list[tuple[LinkState, str]] = field(default_factory=list)
    refusals: list[tuple[Raw, DecodeError]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.broker.connected = True

    def now(self) -> Instant:
        """Return the present instant of the session."""
        return self.clock

    def term_seen(self, term: int) -> bool:
        """Take note of a term; no other bridge is there."""
        self.term = max(self.term or 0, term)
        return False

    def node(self, name: str, state: LinkState, why: str) -> None:
        """Take what the output says of a node."""
        self.nodes.append((name, state, why))

    def board(self, node: str, board: str) -> None:
        """Take what the output says of the board of a node."""
        self.boards.append((node, board))

    def link(self, state: LinkState, why: str, *keys: str | int) -> None:
        """Take what the output says of its link."""
        del keys
        self.links.append((state, why))

    def figures(self, place: ChainPlace, **figures: int) -> None:
        """Take counters of a chain, which nobody reads here."""

    def refused(self, raw: Raw, error: DecodeError) -> None:
        """Take what the output could not understand."""
        self.refusals.append((raw, error))

    def wake_soon(self) -> None:
        """Have `wake` called soon."""
        self.asked = True
