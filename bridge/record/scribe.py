"""From what happened to lines: nothing in here is on the way of the light."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final, Protocol, TypeAlias

from bridge.commands import Cause, Command, PublishFrame, Report
from bridge.events import SECOND, Event, Instant
from bridge.record.digests import ChainDigests
from bridge.record.lines import End, Frame, Input, Line, Lost, Refused, Rendered, Snapshot


class RawForm(Protocol):
    """What came in, exactly as it came: `adapters.contract.Raw` looks like this."""

    @property
    def channel(self) -> str:
        """Where it came from."""
        ...

    @property
    def payload(self) -> bytes:
        """The bytes."""
        ...

    @property
    def retained(self) -> bool:
        """Whether it is a copy that was kept."""
        ...


@dataclass(slots=True)
class Came:
    """An input, kept as it is until somebody has time to put it into words."""

    number: int
    at: Instant
    source: str
    raw: RawForm | None
    events: tuple[Event, ...]
    took: int | None = None


@dataclass(slots=True)
class Followed:
    """What the engine returned for an event, the start or the end."""

    commands: Sequence[Command]


@dataclass(slots=True)
class Stepped:
    """An instant that was rendered, with its frames, after what timers had due by then."""

    at: Instant
    commands: Sequence[Command]


@dataclass(slots=True)
class Stood:
    """The whole state of the engine at an instant, between two steps; `devices` is how many there are."""

    at: Instant
    engine: dict[str, Any]
    devices: int


@dataclass(slots=True)
class Ended:
    """The clean end."""

    at: Instant


Entry: TypeAlias = Came | Followed | Stepped | Stood | Refused | Lost | Ended


OBJECT_BYTES: Final = 300
"""What an entry, an event or a command takes beside its bytes of any length: about, and rather more."""


DEVICE_OBJECTS: Final = 20
"""How many objects a snapshot has for each device: about, and rather more."""


def entry_bytes(entry: Entry) -> int:
    """Return about how much memory an entry takes for as long as it waits."""
    if isinstance(entry, Came):
        raw = 0 if entry.raw is None else len(entry.raw.channel) + len(entry.raw.payload)
        return raw + OBJECT_BYTES * (1 + len(entry.events))
    if isinstance(entry, Followed | Stepped):
        frames = sum(len(each.levels) for each in entry.commands if isinstance(each, PublishFrame))
        return frames + OBJECT_BYTES * (1 + len(entry.commands))
    if isinstance(entry, Stood):
        return OBJECT_BYTES * (DEVICE_OBJECTS * entry.devices + 10)
    if isinstance(entry, Refused):
        return len(entry.channel) + len(entry.payload) + OBJECT_BYTES
    return OBJECT_BYTES


class Scribe:
    """Turns entries into lines; remembers what was rendered since the digests were given last."""

    def __init__(self, keys: tuple[str, ...]) -> None:
        self._keys = keys
        self._digests = ChainDigests(keys)
        self._instants: list[Instant] = []
        self._since: Instant | None = None
        self._events = 0

    def lines(self, entries: Sequence[Entry]) -> Iterator[Line]:
        """Yield the lines of these entries.

        Instants that were rendered are given at once, so that a log which breaks off is short of little; the
        digests wait for the next line of another kind, for a second to be full, or for the motion to pause.
        """
        for entry in entries:
            if isinstance(entry, Stepped):
                yield from self._step(entry)
            else:
                yield from self._digested()
                yield from self._plain(entry)
        if not entries:
            yield from self._digested()
        elif self._instants:
            yield Rendered(tuple(self._instants))
            self._instants.clear()

    def _step(self, entry: Stepped) -> Iterator[Line]:
        self._instants.append(entry.at)
        if self._since is None:
            self._since = entry.at
        due: list[Line] = []
        for command in entry.commands:
            if isinstance(command, PublishFrame) and command.cause is Cause.MOTION:
                self._digests.add(command)
            else:
                due += self._said(command)
        if due:
            yield from self._digested()
            yield from due
        elif entry.at - self._since >= SECOND:
            yield from self._digested()

    def _digested(self) -> Iterator[Line]:
        if self._since is not None:
            yield Rendered(tuple(self._instants), self._digests.take())
            self._instants.clear()
            self._since = None

    def _plain(self, entry: Came | Followed | Stood | Refused | Lost | Ended) -> Iterator[Line]:
        if isinstance(entry, Came):
            number, at, source, events = entry.number, entry.at, entry.source, entry.events
            self._events = number - 1 + len(events)
            if entry.raw is None:
                yield Input(number, at, source, events, took=entry.took)
            else:
                raw = entry.raw
                yield Input(number, at, source, events, raw.channel, raw.payload, raw.retained, entry.took)
        elif isinstance(entry, Followed):
            for command in entry.commands:
                yield from self._said(command)
        elif isinstance(entry, Stood):
            yield Snapshot(entry.at, entry.engine, self._digests.all())
        elif isinstance(entry, Ended):
            yield End(entry.at, self._events, self._digests.all())
        else:
            yield entry

    def _said(self, command: Command) -> Iterator[Line]:
        if isinstance(command, PublishFrame):
            yield Frame(self._keys[command.chain], command.at, command.cause, command.levels, command.test)
        elif not isinstance(command, Report):  # what a report says stands in its decision
            yield command
