"""Mapped topics: messages of any convention on MQTT, as the owner describes it in the layout file."""

from __future__ import annotations

import asyncio
from collections import deque
from dataclasses import replace
from typing import Annotated, ClassVar, Final, cast

from pydantic import Field

from adapters.contract import AT_ONCE, ChainPlace, Fault, Mention, Options, Raw, SourceHost
from adapters.events.alive import Alive, look_at_alive
from adapters.events.mapped.keys import MOST_MESSAGES, AliveOptions, MessageOptions
from adapters.events.mapped.mapping import Mapping, filters, look_at_all, mentions_of
from adapters.events.mqtt import OWN_ROOT
from bridge.errors import DecodeError
from bridge.events import SECOND, Event, Instant, LinkState

_OWN: Final = f"{OWN_ROOT}/"

MOST_HELD: Final = 10_000
"""Topics of which the newest message is kept while the source is not there."""


class TopicsOptions(Options):
    """The keys of a source of mapped topics in the layout file.

    Attributes:
        messages: what comes and what it means.
        alive: how the source says whether it is there.
    """

    messages: Annotated[tuple[MessageOptions, ...], Field(min_length=1, max_length=MOST_MESSAGES)]
    alive: AliveOptions | None = None

    def faults(self, places: tuple[ChainPlace, ...]) -> tuple[Fault, ...]:  # noqa: ARG002 - it has no chains
        """Return what its entries have that does not go together."""
        own = [
            Fault(
                ("messages", number, "topic"),
                f"below {OWN_ROOT} our own frames and reports go out: take another topic",
            )
            for number, entry in enumerate(self.messages)
            if entry.topic.filter.split("/")[0] == OWN_ROOT
        ]
        return (*look_at_all(self.messages), *own, *(look_at_alive(self.alive) if self.alive else ()))

    def mentions(self) -> tuple[Mention, ...]:
        """Return the blocks and districts that its entries name."""
        return () if any(not fault.warning for fault in self.faults(())) else mentions_of(self.messages)


class MappedTopics:
    """An event source: what its entries describe is a fact or is refused with a reason; all else is not for it.

    Where it says how it is alive it can be heard once it has said so, and is lost with its last will, or when its
    heartbeat stops. What comes in between counts as kept copies once it is there: state, and never an order. Without
    that it can be heard as long as the link to the broker stands.
    """

    options: ClassVar[type[Options]] = TopicsOptions

    def __init__(self, name: str, options: Options, host: SourceHost) -> None:
        """Make a source that does nothing yet.

        Args:
            name: the source's name in the layout file; its events carry it.
            options: a `TopicsOptions`.
            host: what the bridge offers.
        """
        said = cast("TopicsOptions", options)
        self.name = name
        self._host = host
        self._mapping = Mapping(said.messages)
        self._alive = None if said.alive is None else Alive(said.alive)
        # Its own topic is about nothing else, whatever pattern fits it, unless an entry is about that very topic.
        topics = {message.topic.filter for message in self._mapping.messages}
        self._tells_more = self._alive is not None and self._alive.topic in topics
        self._filters = filters((message.topic.filter, message.qos) for message in self._mapping.messages)
        self._listening = False
        self._there = self._alive is None
        self._held: dict[str, Raw] = {}  # what was said while it was not there, the newest of each topic
        self._waiting: deque[Raw] = deque()  # what it has yet to take: what was held, and what came behind it
        self._waits = asyncio.Event()  # something is waiting, or was in this turn of the loop
        self._beat_at: Instant = 0
        self._beat = asyncio.Event()  # it has said that it is here

    def attempt(self, channel: str, payload: str) -> tuple[Raw, ...]:
        """Return a message as it comes, and as a kept copy; none where no entry is about its topic."""
        data = payload.encode()
        return (Raw(channel, data), Raw(channel, data, retained=True)) if self._hears(channel) else ()

    async def listen(self) -> None:
        """Listen until it is cancelled. The shared link mends itself, and tells when it is down and up."""
        self._listening = True
        broker = self._host.broker
        self._forget()
        try:
            if self._alive is not None:  # asked for first, so that what is kept of it comes first
                broker.subscribe(self._alive.topic, self._receive, qos=self._alive.qos)
            for topic_filter, qos in self._filters.items():
                broker.subscribe(topic_filter, self._receive, qos=qos)
            broker.watch(self._link_changed)
            if broker.connected:
                self._link_changed(LinkState.UP)
            async with asyncio.TaskGroup() as tasks:
                tasks.create_task(self._take_what_waits())
                tasks.create_task(self._wait_for_heartbeats())
        finally:
            self._listening = False

    async def _wait_for_heartbeats(self) -> None:
        limit = None if self._alive is None else self._alive.heartbeat
        if limit is None:
            await asyncio.Event().wait()
            return
        while True:
            await self._beat.wait()
            left = self._beat_at + round(limit * SECOND) - self._host.now()
            if left > 0:
                await self._host.sleep(left / SECOND)
            else:
                self._away()
                self._host.link(LinkState.LOST, f"its heartbeat has stopped: none came for {limit:g} s")

    def _hears(self, channel: str) -> bool:
        if self._alive is not None and channel == self._alive.topic:
            return True
        return self._mapping.hears(channel) and not channel.startswith(_OWN)

    def _receive(self, raw: Raw) -> None:
        if not self._listening or not self._hears(raw.channel):
            return  # a filter takes a whole level where an entry takes only some of it
        if self._waits.is_set():
            self._waiting.append(raw)
        else:
            self._take(raw)

    def _take(self, raw: Raw) -> None:
        if self._alive is not None and raw.channel == self._alive.topic:
            self._host.received(raw)
            self._look_whether_alive(self._alive, raw)
        elif self._there:
            self._host.received(raw)
        else:
            self._hold(raw)

    def _hold(self, raw: Raw) -> None:
        """Keep what is said in the name of a source that is not there: who says so now, or when, nobody knows.

        Of a payload that is too long it keeps one byte too many, so that it is refused still, and takes no more room.
        """
        if raw.channel in self._held or len(self._held) < MOST_HELD:
            payload = raw.payload[: self._mapping.longest + 1]
            self._held[raw.channel] = replace(raw, payload=payload, retained=True)

    async def _take_what_waits(self) -> None:
        """Take what waits in its order, never more of it than `AT_ONCE` in one turn of the loop."""
        while True:
            await self._waits.wait()
            for _ in range(min(AT_ONCE, len(self._waiting))):
                self._take(self._waiting.popleft())
            await self._host.sleep(0)
            if not self._waiting:
                self._waits.clear()

    def _away(self) -> None:
        self._there = self._alive is None
        self._held.clear()
        self._beat.clear()

    def _forget(self) -> None:
        """The link is new, or down: the broker tells again what it keeps, and all else is as lost as what was on it."""
        self._away()
        self._waiting.clear()
        self._waits.clear()

    def _here(self, why: str) -> None:
        """It is there: what was said before it said so is as old as a kept copy, and no order."""
        self._there = True
        self._host.link(LinkState.UP, why)
        if self._held:
            self._waiting.extendleft(reversed(self._held.values()))  # it came before all that waits already
            self._held.clear()
            self._waits.set()

    def _look_whether_alive(self, alive: Alive, raw: Raw) -> None:
        try:
            state = alive.read(raw.payload)
        except DecodeError:
            return  # told already, where it came in
        if state is LinkState.LOST:
            self._away()
            self._host.link(state, "it says that it is gone, or its last will does")
        elif alive.heartbeat is None or not raw.retained:  # a kept copy is no heartbeat
            self._beat_at = self._host.now()
            self._beat.set()
            self._here("it says that it is here")

    def _link_changed(self, state: LinkState) -> None:
        if not self._listening:
            return
        if state is LinkState.LOST:
            self._forget()
            self._host.link(state, "the link to the broker is down")
        elif self._alive is None:
            self._host.link(state, "the link to the broker stands")

    def decode(self, raw: Raw, at: Instant) -> tuple[Event, ...]:
        """Return the events that `raw` means, stamped `at`; none where it says that the source is here or gone.

        Raises:
            DecodeError: it means nothing here; it carries topic and payload, cut, and what was expected.
        """
        if self._alive is not None and raw.channel == self._alive.topic:
            self._alive.read(raw.payload)
            if not self._tells_more:
                return ()
        return self._mapping.decode(raw.channel, raw.payload, at, self.name, retained=raw.retained)
