"""A source and an output that do what a test wants, and a runner around them with its log on the disk."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import ClassVar
from uuid import UUID

from adapters.contract import ChainPlace, EventSource, FrameOutput, Options, OutputHost, Raw, SourceHost
from bridge.engine import Engine
from bridge.errors import DecodeError
from bridge.events import AccessoryOrdered, Authority, Event, Instant, LinkState, Position
from bridge.record.writer import SessionLog, make_header
from bridge.service.notes import Notes
from bridge.service.plugins import Adapters
from bridge.service.runner import Runner
from bridge.service.state import StateFile
from bridge.service.status import Status
from bridge.service.term import Term
from tests.support.driving import FERNHOLLOW, layout
from tests.support.memory_broker import MemoryBroker, MemoryLink, turns
from tests.support.waiting import PATIENCE

STARTED = "2031-05-04T10:00:00+00:00"


async def nothing() -> None:
    """Start or stop as an adapter does that has nothing to wait for."""


async def for_ever() -> None:
    """Listen to a bus that never ends."""
    await asyncio.Event().wait()


class Source:
    """A source whose payloads are `<accessory> <position>`, several with commas between them."""

    options: ClassVar[type[Options]] = Options
    made: ClassVar[dict[str, Source]] = {}

    def __init__(self, name: str, options: Options, host: SourceHost) -> None:
        del options
        self.name = name
        self.host = host
        self.listening: Callable[[], Awaitable[None]] = for_ever
        self.stopping: Callable[[], Awaitable[None]] = nothing
        self.changing: Callable[[tuple[Event, ...]], tuple[Event, ...]] = lambda events: events
        self.made[name] = self

    async def listen(self) -> None:
        try:
            await self.listening()
        except asyncio.CancelledError:
            await self.stopping()
            raise

    def decode(self, raw: Raw, at: Instant) -> tuple[Event, ...]:
        events: list[Event] = []
        for order in raw.payload.decode().split(","):
            number, _, position = order.partition(" ")
            if position not in ("normal", "reverse"):
                raise DecodeError("this is no order", received=order, expected="`61 reverse`")
            events.append(
                AccessoryOrdered(
                    at=at,
                    source=self.name,
                    number=int(number),
                    position=Position(position),
                    authority=Authority.COMMAND,
                )
            )
        return self.changing(tuple(events))

    def order(self, payload: str) -> None:
        """Let something come in."""
        self.host.received(Raw(f"bus/{self.name}", payload.encode()))


class Output:
    """An output that keeps what it was shown, and calls what the test hung on it."""

    options: ClassVar[type[Options]] = Options
    made: ClassVar[dict[str, Output]] = {}

    def __init__(self, name: str, options: Options, places: tuple[ChainPlace, ...], host: OutputHost) -> None:
        del options
        self.places = places
        self.host = host
        self.frames: list[tuple[int, bytes]] = []
        self.last: tuple[bytes, ...] | None = None
        self.woken: list[Instant] = []
        self.starting: Callable[[], Awaitable[None]] = nothing
        self.stopping: Callable[[], Awaitable[None]] = nothing
        self.showing: Callable[[int], None] = lambda _index: None
        self.waking: Callable[[], Instant | None] = lambda: None
        self.made[name] = self

    async def start(self) -> None:
        await self.starting()

    def show(self, index: int, levels: bytes, *, test: bool = False) -> None:
        assert not test
        self.frames.append((index, levels))
        self.showing(index)

    def wake(self, now: Instant) -> Instant | None:
        self.woken.append(now)
        return self.waking()

    async def stop(self, last: tuple[bytes, ...] | None) -> None:
        self.last = last
        await self.stopping()


class FakeAdapters(Adapters):
    """Gives the two above, whatever kind is named."""

    def source(self, kind: str) -> type[EventSource]:
        del kind
        return Source

    def output(self, kind: str) -> type[FrameOutput]:
        del kind
        return Output


@dataclass
class Ran:
    """A runner with everything around it."""

    broker: MemoryBroker
    link: MemoryLink
    notes: Notes
    log: Path
    runner: Runner
    sources: dict[str, Source] = field(default_factory=lambda: dict(Source.made))
    outputs: dict[str, Output] = field(default_factory=lambda: dict(Output.made))

    def told(self) -> list[str]:
        """Return every sentence for the owner so far."""
        return [note["text"] for note in self.notes.after(0)]


def furnished(folder: Path, text: str = FERNHOLLOW) -> Ran:
    """Return a runner of a layout, with its adapters made and not started."""
    Source.made.clear()
    Output.made.clear()
    read = layout(text)
    broker = MemoryBroker()
    link = broker.link()
    notes = Notes()
    term = Term(link, StateFile(folder), name="main", number=0)
    status = Status(link, term, name="main", layout=read.name)
    log = SessionLog(
        folder / "session.jsonl", make_header(read, text, file="layout.yaml", started=STARTED), read
    )
    runner = Runner(Engine(read), link, term, status, log, notes)
    runner.furnish(FakeAdapters(), UUID(int=1))
    return Ran(broker, link, notes, log.path, runner)


@asynccontextmanager
async def ran(folder: Path, text: str = FERNHOLLOW) -> AsyncIterator[Ran]:
    """Give one that runs, with its link up, and stop it in the end."""
    made = furnished(folder, text)
    await made.runner.start()
    made.link.turn(LinkState.UP)
    await turns()
    try:
        yield made
    finally:
        async with asyncio.timeout(PATIENCE):
            await made.runner.stop()
