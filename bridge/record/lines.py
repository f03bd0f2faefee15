r"""The lines of a session log, and how each is written. `bridge.record.parse` reads them back.

A log is JSON Lines (one JSON object a line, UTF-8, `\n`). The first key says what a line is:

| first key  | what it holds |
|------------|---------------|
| `log`      | the header: everything that a replay needs besides the inputs |
| `in`       | an input as it came, with the events that were made of it and the number of the first |
| `refused`  | an input that meant nothing |
| `decided`  | a device was given an aspect |
| `told`     | a lock, a gate or a lamp test is otherwise now |
| `note`     | something that changed no light |
| `frame`    | a whole frame that an event, a timer, a lamp test, the start or the end caused |
| `rendered` | instants that were rendered for what moves; now and then with a digest a chain |
| `snapshot` | the whole state at this point: what follows can be replayed from here |
| `lost`     | so many entries could not be kept: what follows does not follow from what stands before |
| `end`      | the session ended cleanly |

The order of the lines is the order in which things happened. A session that goes on for long is kept in several
files. Each is a whole log: it has a header, and from the second on a snapshot behind it.
"""

from __future__ import annotations

import json
import zlib
from base64 import b64encode
from dataclasses import dataclass
from typing import Any, Final, NamedTuple, TypeAlias

import orjson

from bridge.commands import Cause, Decision, Note, Told
from bridge.events import Event, Instant, event_to_data

LOG: Final = "lamproom"
FORMAT: Final = 3
"""The format that is written. Older ones stay readable: format 1 had one `event` in the place of `causes`, and up to
format 2 there were neither snapshots nor pieces."""

LONGEST_REFUSED: Final = 2048
"""Bytes that are kept of an input that was refused."""


# `json.dumps` with settings of its own would make an encoder for each line.
_ENCODE: Final = json.JSONEncoder(ensure_ascii=False, separators=(",", ":")).encode


@dataclass(frozen=True, slots=True)
class Header:
    """The first line.

    Attributes:
        started: wall time of the session's beginning, for people only.
        version: of lamproom.
        python: version of the interpreter.
        numpy: version of the library.
        layout: name of the layout.
        file: where the layout file was.
        digest: of the layout file's text.
        text: the layout file itself, so that a log is complete on its own.
        tables: digest of the tables between aspects and bytes.
        format: of the log.
        piece: which file of its session this is, from 1.
        before: the name of the file before it, or empty.
    """

    started: str
    version: str
    python: str
    numpy: str
    layout: str
    file: str
    digest: str
    text: str
    tables: str
    format: int = FORMAT
    piece: int = 1
    before: str = ""


class Input(NamedTuple):
    """Something came in and meant something.

    Attributes:
        number: the number that the first of `events` had in the session.
        at: when it was delivered.
        source: the source it came by.
        events: what it meant, in order.
        channel: where it came from, or empty where an event came without a raw form (a source was lost).
        payload: the bytes as they came.
        retained: it was a kept copy.
        took: nanoseconds from `at` until all frames that follow were with their outputs; None where nobody looked. A
            replay goes by everything else here, and never by this.
    """

    number: int
    at: Instant
    source: str
    events: tuple[Event, ...]
    channel: str = ""
    payload: bytes | None = None
    retained: bool = False
    took: int | None = None


@dataclass(frozen=True, slots=True)
class Refused:
    """Something came in and meant nothing; `length` is that of the whole, `payload` may be cut."""

    number: int
    at: Instant
    source: str
    channel: str
    payload: bytes
    length: int
    why: str
    retained: bool = False


@dataclass(frozen=True, slots=True)
class Frame:
    """A whole frame of one chain (`node/chain`) that an event, a timer, a lamp test, the start or the end caused."""

    chain: str
    at: Instant
    cause: Cause
    levels: bytes
    test: bool = False


@dataclass(frozen=True, slots=True)
class Rendered:
    """Instants that were rendered, whether or not a frame came of it.

    Attributes:
        instants: in order.
        digests: for each chain that moved since they were given last, its digest up to here; None if not given.
    """

    instants: tuple[Instant, ...]
    digests: dict[str, str] | None = None


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The whole state at this point.

    Attributes:
        at: when.
        engine: what the engine's `snapshot` gave.
        digests: of every chain that ever moved, up to here.
    """

    at: Instant
    engine: dict[str, Any]
    digests: dict[str, str]


@dataclass(frozen=True, slots=True)
class Lost:
    """So many entries found no room."""

    count: int
    at: Instant


@dataclass(frozen=True, slots=True)
class End:
    """The session ended cleanly.

    Attributes:
        at: when.
        events: how many there were in all.
        digests: of every chain that ever moved, so that nothing can be missing at the end unseen.
    """

    at: Instant
    events: int
    digests: dict[str, str]


Line: TypeAlias = Header | Input | Refused | Decision | Told | Note | Frame | Rendered | Snapshot | Lost | End


def line_bytes(line: Line) -> bytes:
    """Return a line as it stands in the file, with its end."""
    data = _data(line)
    try:
        return orjson.dumps(data, option=orjson.OPT_APPEND_NEWLINE)
    except TypeError:
        # It takes no lone surrogates: they cannot be UTF-8. As `\udc80` each is JSON's own escape for itself.
        return _ENCODE(data).encode("utf-8", "backslashreplace") + b"\n"


def _data(line: Line) -> dict[str, Any]:
    match line:
        case Input():
            return _input(line)
        case Refused():
            head = {"refused": line.number, "at": line.at, "source": line.source, "channel": line.channel}
            length = {} if line.length == len(line.payload) else {"length": line.length}
            return (
                head | {"raw": payload_data(line.payload)} | length | _kept(line.retained) | {"why": line.why}
            )
        case Decision() | Told():
            return _decided(line)
        case Note():
            return {"note": line.text, "at": line.at, "event": line.event}
        case Frame():
            data: dict[str, Any] = {"frame": line.chain, "at": line.at, "cause": line.cause.value}
            return data | {"levels": line.levels.hex()} | ({"test": True} if line.test else {})
        case Rendered():
            instants: dict[str, Any] = {"rendered": pack(line.instants)}
            return instants if line.digests is None else instants | {"digests": line.digests}
        case Lost():
            return {"lost": line.count, "at": line.at}
        case Snapshot() | End():
            return _state(line)
        case Header():
            return _header(line)


def _state(line: Snapshot | End) -> dict[str, Any]:
    if isinstance(line, Snapshot):
        return {"snapshot": line.at, "engine": line.engine, "digests": line.digests}
    return {"end": line.at, "events": line.events, "digests": line.digests}


def _header(line: Header) -> dict[str, Any]:
    packed = zlib.compress(line.text.encode("utf-8", "surrogatepass"), 9)
    of_several = {} if line.piece == 1 else {"piece": line.piece, "before": line.before}
    return {
        "log": LOG,
        "format": line.format,
        "started": line.started,
        "version": line.version,
        "python": line.python,
        "numpy": line.numpy,
        "layout": {
            "name": line.layout,
            "file": line.file,
            "digest": line.digest,
            "text": b64encode(packed).decode("ascii"),
        },
        "tables": line.tables,
    } | of_several


def _decided(line: Decision | Told) -> dict[str, Any]:
    data: dict[str, Any]
    more: dict[str, Any] = {}
    if isinstance(line, Decision):
        data = {"decided": line.device, "at": line.at, "before": line.before, "aspect": line.aspect}
    else:
        data = {"told": line.subject, "at": line.at, "name": line.name, "state": line.state}
        more = {"more": [list(pair) for pair in line.more]} if line.more else {}
    return data | {"reason": line.reason, "causes": list(line.causes)} | more


def _input(line: Input) -> dict[str, Any]:
    data: dict[str, Any] = {"in": line.number, "at": line.at, "source": line.source}
    if line.payload is not None:
        data |= {"channel": line.channel, "raw": payload_data(line.payload)} | _kept(line.retained)
    took = {} if line.took is None else {"took": line.took}
    return data | took | {"events": [event_to_data(event) for event in line.events]}


def _kept(retained: bool) -> dict[str, bool]:
    return {"retained": True} if retained else {}


def payload_data(payload: bytes) -> str | dict[str, str]:
    """Return a payload as text where it is clean UTF-8, and packed where it is not."""
    try:
        return payload.decode("utf-8")
    except UnicodeDecodeError:
        return {"base64": b64encode(payload).decode("ascii")}


def pack(instants: tuple[Instant, ...]) -> list[int | list[int]]:
    """Return instants with every run of three or more at even distances as `[first, distance, count]`."""
    packed: list[int | list[int]] = []
    index = 0
    while index < len(instants):
        last = index + 1
        step = instants[last] - instants[index] if last < len(instants) else 0
        while last < len(instants) and instants[last] - instants[last - 1] == step:
            last += 1
        count = last - index
        if count >= 3 and step > 0:
            packed.append([instants[index], step, count])
        else:
            # The second of two uneven ones may begin a run of its own.
            packed.append(instants[index])
            last = index + 1
        index = last
    return packed
