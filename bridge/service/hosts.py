"""What the runner offers to each adapter: the contract's hosts, and nothing more."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from contextlib import AbstractAsyncContextManager
from typing import Protocol
from uuid import UUID

from adapters.contract import Broker, ChainPlace, Raw
from bridge.errors import DecodeError
from bridge.events import Event, Instant, LinkState
from bridge.service.doors import Door, Doors
from bridge.service.supervisor import Supervisor
from bridge.service.term import Term


class OutputDesk(Protocol):
    """The part of whoever drives the outputs that their hosts pass things on to."""

    @property
    def link(self) -> Broker:
        """The broker link."""
        ...

    @property
    def figures(self) -> dict[str, dict[str, int]]:
        """Counters of each chain by its key."""
        ...

    def now(self) -> Instant:
        """Return the present instant."""
        ...

    def refuse(self, source: str, raw: Raw, problem: DecodeError, at: Instant) -> None:
        """Note once, and count, what cannot be understood."""
        ...

    def node_link(self, name: str, state: LinkState, why: str) -> None:
        """A node acknowledges, or no longer."""
        ...

    def node_board(self, name: str, board: str) -> None:
        """A node has said which board it runs on."""
        ...

    def output_link(self, number: int, state: LinkState, why: str, keys: tuple[str | int, ...]) -> None:
        """Frames of an output can go out, or no longer."""
        ...

    def wake_output_soon(self, number: int) -> None:
        """Call an output's `wake` when this turn is over."""
        ...


class Desk(OutputDesk, Protocol):
    """The part of the runner that the hosts of sources pass things on to as well."""

    @property
    def doors(self) -> Doors:
        """Where requests over HTTP come in."""
        ...

    def receive(self, source: str, decode: Callable[[Raw, Instant], tuple[Event, ...]], raw: Raw) -> None:
        """Take what came in."""
        ...


class SourceHost:
    """The host of one event source."""

    def __init__(self, desk: Desk, supervisor: Supervisor) -> None:
        self.broker: Broker = desk.link
        self.decode: Callable[[Raw, Instant], tuple[Event, ...]] = lambda _raw, _at: ()
        self.door = Door(desk.doors, supervisor.name, self._decode)
        self._desk = desk
        self._supervisor = supervisor

    def _decode(self, raw: Raw, at: Instant) -> tuple[Event, ...]:
        return self.decode(raw, at)

    def received(self, raw: Raw) -> None:
        """Take what came in."""
        self._supervisor.heard()
        self._desk.receive(self._supervisor.name, self.decode, raw)

    def link(self, state: LinkState, why: str) -> None:
        """Say that the source can be heard, or no longer."""
        self._supervisor.link(state, why)

    def now(self) -> Instant:
        """Return the present instant of the session."""
        return self._desk.now()

    async def sleep(self, seconds: float) -> None:
        """Wait."""
        await asyncio.sleep(seconds)

    def timeout(self, seconds: float) -> AbstractAsyncContextManager[object]:
        """Return a limit for what is awaited in it."""
        return asyncio.timeout(seconds)


class OutputHost:
    """The host of one frame output."""

    def __init__(self, desk: OutputDesk, term: Term, number: int, identity: UUID) -> None:
        self.broker: Broker = desk.link
        self.identity = identity
        self._desk = desk
        self._term = term
        self._number = number

    @property
    def term(self) -> int | None:
        """The bridge's present term, or None while it is not settled."""
        return self._term.value

    def now(self) -> Instant:
        """Return the present instant of the session."""
        return self._desk.now()

    def term_seen(self, term: int) -> bool:
        """Take note of a term that a node has obeyed; return whether another bridge is behind it."""
        return self._term.seen(term)

    def node(self, name: str, state: LinkState, why: str) -> None:
        """Say that a node acknowledges, or no longer."""
        self._desk.node_link(name, state, why)

    def board(self, node: str, board: str) -> None:
        """Say which board a node runs on."""
        self._desk.node_board(node, board)

    def link(self, state: LinkState, why: str, *keys: str | int) -> None:
        """Say that frames can go out, or no longer."""
        self._desk.output_link(self._number, state, why, keys)

    def figures(self, place: ChainPlace, **figures: int) -> None:
        """Keep the counters of a chain for the page."""
        self._desk.figures[f"{place.node}/{place.chain}"] = figures

    def refused(self, raw: Raw, error: DecodeError) -> None:
        """Note, once, and count what a node sent and cannot be understood."""
        self._desk.refuse("a node", raw, error, self._desk.now())

    def wake_soon(self) -> None:
        """Have the output's `wake` called when this turn of the loop is over."""
        self._desk.wake_output_soon(self._number)


def look_at_events(events: tuple[Event, ...], at: Instant, source: str) -> None:
    """Hold what a source decoded to the contract, before the first of it is handled.

    Raises:
        DecodeError: it is something else than events that are all stamped `at` and come from that source.
    """
    if type(events) is not tuple:
        raise DecodeError(f"the source itself failed on it: it gave {type(events).__name__}, and not a tuple")
    for event in events:
        if not isinstance(event, Event):
            raise DecodeError(f"the source itself failed on it: {event!r} is no event")
        if event.at != at or event.source != source:
            raise DecodeError(
                f"the source itself failed on it: an event is stamped {event.at} and comes from {event.source!r},"
                f" where {at} and {source!r} were asked for",
            )
