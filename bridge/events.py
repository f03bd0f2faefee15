"""The facts that come in, each frozen and stamped with the instant at which it was delivered.

An `Instant` is a whole number of nanoseconds since the session began. Wall time is for people only and
never appears here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from enum import StrEnum
from typing import Any, Final, TypeAlias

from bridge.errors import DecodeError

Instant: TypeAlias = int
"""Nanoseconds since the session began, never negative."""

MILLISECOND: Final = 1_000_000
SECOND: Final = 1_000_000_000

ACCESSORY_NUMBERS: Final = range(1, 2049)
"""Linear accessory numbers (NMRA S-9.2.1): 11 bits, counted from 1."""

ASPECT_NUMBERS: Final = range(256)
"""Values of the data byte of an extended accessory packet, in its current eight-bit form."""


class Word(StrEnum):
    """A member of a fixed set of words, with the hash of the text that it equals.

    The hash that `StrEnum` has by itself is computed in Python, on every look-up in a table.
    """

    __hash__ = str.__hash__


class Authority(Word):
    """What a fact may be used for."""

    COMMAND = "command"  # somebody wants this now
    FEEDBACK = "feedback"  # somebody saw that it is so
    STATE = "state"  # a copy kept from earlier: it may fill in what is unknown, and is never a command
    RESTORED = "restored"  # what the bridge itself kept over a restart: state, for those who want it back


class Position(Word):
    """Where an accessory was told to go, or is proved to be (NMRA S-9.2.1: normal and reverse)."""

    NORMAL = "normal"
    REVERSE = "reverse"
    MOVING = "moving"  # proved only
    UNKNOWN = "unknown"  # proved only


class BlockState(Word):
    """What a detector says of its block. An unknown block is treated as occupied."""

    OCCUPIED = "occupied"
    CLEAR = "clear"
    UNKNOWN = "unknown"


class PowerState(Word):
    """Track power of a power district."""

    ON = "on"
    OFF = "off"
    SHORTED = "shorted"


class ButtonState(Word):
    """A push button."""

    PRESSED = "pressed"
    RELEASED = "released"


class LinkState(Word):
    """Whether a source or a node can be heard."""

    UP = "up"
    LOST = "lost"


class Subject(Word):
    """What can be taken out of use."""

    SIGNAL = "signal"
    BLOCK = "block"
    TURNOUT = "turnout"
    SOURCE = "source"
    NODE = "node"


class LampTestWay(Word):
    """How a lamp test goes through its area."""

    CHIPS = "chips"  # each chip in turn, all its channels lit
    CHANNELS = "channels"  # each channel in turn
    TOGETHER = "together"  # all chips together, through their channels
    BLINK = "blink"  # one fixture or device, to find it
    PICTURE = "picture"  # the bytes of a whole chain, as they were given


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One fact.

    Attributes:
        at: when it was delivered.
        source: the name of the source that told it, as the layout file has it.
    """

    at: Instant
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AccessoryOrdered(Event):
    """An accessory was told where to go; with authority `STATE` this is a kept copy of an older order."""

    number: int
    position: Position
    authority: Authority = Authority.COMMAND


@dataclass(frozen=True, slots=True, kw_only=True)
class AccessoryReleased(Event):
    """The output of an accessory was let go after an order. It is logged and orders nothing."""

    number: int


@dataclass(frozen=True, slots=True, kw_only=True)
class AccessoryProved(Event):
    """An accessory is known to be somewhere."""

    number: int
    position: Position
    authority: Authority = Authority.FEEDBACK


@dataclass(frozen=True, slots=True, kw_only=True)
class AspectOrdered(Event):
    """An extended accessory was told to show an aspect by its number, 0 to 255."""

    number: int
    aspect: int
    authority: Authority = Authority.COMMAND


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockReported(Event):
    """A detector reported its block."""

    name: str
    state: BlockState
    authority: Authority = Authority.FEEDBACK


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerReported(Event):
    """Track power of a district was reported."""

    district: str
    state: PowerState
    authority: Authority = Authority.FEEDBACK


@dataclass(frozen=True, slots=True, kw_only=True)
class ButtonReported(Event):
    """A push button was pressed or let go."""

    name: str
    state: ButtonState
    authority: Authority = Authority.COMMAND


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockReported(Event):
    """The model clock. What is None was not told, and stays as it was: some buses tell each part by itself.

    Attributes:
        seconds: of its day, 0 to 86399.
        rate_quarters: its rate in quarter steps; negative when it runs backwards.
        running: or it stands.
        to_minute: `seconds` only says in which minute it is; a clock that is in it already goes on as it was.
        authority: what this may be used for.
    """

    seconds: int | None
    rate_quarters: int | None
    running: bool | None
    to_minute: bool = False
    authority: Authority = Authority.FEEDBACK


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceReported(Event):
    """The source of this event can be heard again, or no longer; `why` in plain words."""

    state: LinkState
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class NodeReported(Event):
    """A node acknowledges again, or no longer; `why` in plain words."""

    node: str
    state: LinkState
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class UseReported(Event):
    """Something was taken out of use by its owner, or put back.

    Attributes:
        subject: what kind of thing.
        name: which of them; of a turnout, its accessory number.
        out: whether it is out of use from now on.
        absent: it is out of use because it is not there: for a signal in rear the line ends before it.
        why: the owner's reason, or empty.
        authority: a kept copy counts as well: it is state.
    """

    subject: Subject
    name: str
    out: bool
    absent: bool = False
    why: str = ""
    authority: Authority = Authority.COMMAND


@dataclass(frozen=True, slots=True, kw_only=True)
class RouteKept(Event):
    """A route was locked before a restart of the bridge, and so it is locked still.

    Attributes:
        signal: the interlocked signal that had locked it.
        route: which of its routes.
    """

    signal: str
    route: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LampTestAsked(Event):
    """Somebody wants a lamp test; nothing is lit before it is confirmed.

    Attributes:
        way: how it goes through its area.
        area: `all`, a node, a chain as `node/chain`, a fixture or a device.
        seconds: its time limit on each chain; 0 for as long as is usual.
        picture: for a picture, the bytes of the whole chain in hexadecimal.
        mark: a word by which the asker knows this test again; empty for the number of this event.
    """

    way: LampTestWay
    area: str
    seconds: int = 0
    picture: str = ""
    mark: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LampTestConfirmed(Event):
    """Somebody knows that signals will show false aspects: the test with this mark may begin on this chain."""

    chain: str
    mark: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LampTestEnded(Event):
    """Somebody ends a lamp test.

    Attributes:
        mark: which; empty for any.
        chain: only its part on this chain (`node/chain`), and the test goes on with the next one; empty for all.
    """

    mark: str = ""
    chain: str = ""


EVENT_KINDS: Final[dict[str, type[Event]]] = {
    "accessory-ordered": AccessoryOrdered,
    "accessory-released": AccessoryReleased,
    "accessory-proved": AccessoryProved,
    "aspect-ordered": AspectOrdered,
    "block": BlockReported,
    "power": PowerReported,
    "button": ButtonReported,
    "clock": ClockReported,
    "source": SourceReported,
    "node": NodeReported,
    "use": UseReported,
    "route-kept": RouteKept,
    "lamp-test-asked": LampTestAsked,
    "lamp-test-confirmed": LampTestConfirmed,
    "lamp-test-ended": LampTestEnded,
}
"""The name of each kind of event in the session log."""

_ENUMS: Final[dict[str, type[StrEnum]]] = {
    "Authority": Authority,
    "Position": Position,
    "BlockState": BlockState,
    "PowerState": PowerState,
    "ButtonState": ButtonState,
    "LinkState": LinkState,
    "Subject": Subject,
    "LampTestWay": LampTestWay,
}
_RANGES: Final = {
    "at": range(2**63),
    "number": ACCESSORY_NUMBERS,
    "aspect": ASPECT_NUMBERS,
    "seconds": range(86_400),
    "rate_quarters": range(-2048, 2048),  # as in LCC Broadcast Time: 12 bits, signed
}
_ORDERS: Final = (Position.NORMAL, Position.REVERSE)


def event_to_data(event: Event) -> dict[str, Any]:
    """Return an event as plain data for the log, `kind` first."""
    kind, names = _NAMES[type(event)]
    data: dict[str, Any] = {"kind": kind}
    for name in names:
        value = getattr(event, name)
        data[name] = value.value if isinstance(value, StrEnum) else value
    return data


def event_from_data(data: dict[str, Any]) -> Event:
    """Return the event that `event_to_data` wrote.

    Raises:
        DecodeError: an unknown kind, a field missing or too many, a value of the wrong sort or out of range.
    """
    name = data.get("kind")
    kind = EVENT_KINDS.get(name) if isinstance(name, str) else None
    if kind is None:
        raise DecodeError(f"no event of kind {name!r}", expected=", ".join(EVENT_KINDS))
    readers = _READERS[kind]
    try:
        event = kind(**{key: readers[key](value) for key, value in data.items() if key != "kind"})
    except KeyError as error:
        raise DecodeError(f"a {name} event has no {error}", received=str(data)[:200]) from None
    except (TypeError, ValueError) as error:
        raise DecodeError(f"this is no {name} event: {error}", received=str(data)[:200]) from None
    if isinstance(event, AccessoryOrdered) and event.position not in _ORDERS:
        raise DecodeError(f"nothing can be ordered to be {event.position.value}", received=str(data)[:200])
    return event


def _reader(name: str, kind: str) -> Callable[[Any], Any]:
    """Return what makes a field's value of plain data, or raises TypeError or ValueError."""
    if kind in _ENUMS:
        return _word_reader(_ENUMS[kind])
    may_be_none = kind.endswith(" | None")
    plain = {"int": int, "Instant": int, "str": str, "bool": bool}[kind.removesuffix(" | None")]
    allowed = _RANGES.get(name)

    def read(value: Any) -> Any:
        if type(value) is plain:
            if allowed is None or value in allowed:
                return value
            raise ValueError(f"{name} is {value}, and not from {allowed[0]} to {allowed[-1]}")
        if value is None and may_be_none:
            return None
        raise ValueError(f"{name} is {value!r}")

    return read


def _word_reader(words: type[StrEnum]) -> Callable[[Any], StrEnum]:
    members = {each.value: each for each in words}

    def read(value: Any) -> StrEnum:
        return members.get(value) or words(value)  # the look-up is quicker, and the class says what is wrong

    return read


# What the fields of each kind are is looked up once: a log has many events.
_NAMES: Final = {kind: (name, [each.name for each in fields(kind)]) for name, kind in EVENT_KINDS.items()}
_READERS: Final = {
    kind: {each.name: _reader(each.name, str(each.type)) for each in fields(kind)}
    for kind in EVENT_KINDS.values()
}
