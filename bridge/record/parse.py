"""From one line of a session log to what it says, or to the reason why it says nothing."""

from __future__ import annotations

import binascii
import json
import re
import zlib
from base64 import b64decode
from collections.abc import Callable
from typing import Any, Final

import orjson

import bridge
from bridge.commands import Cause, Decision, Note, Told
from bridge.errors import DecodeError
from bridge.events import Instant, event_from_data
from bridge.record.digests import DIGEST_SIZE, text_digest
from bridge.record.lines import (
    FORMAT,
    LOG,
    End,
    Frame,
    Header,
    Input,
    Line,
    Lost,
    Refused,
    Rendered,
    Snapshot,
)

LONGEST_RUN: Final = 100_000
"""Instants in one run: minutes, where a line holds a second. A longer one is a broken line."""

LARGEST_LAYOUT: Final = 64 * 1024 * 1024
"""Bytes of a layout file: a header that unfolds to more is not believed."""

LAST_INSTANT: Final = 2**63 - 1
"""Instants are computed with as signed integers of 64 bits: 292 years."""

_DIGEST: Final = re.compile(f"[0-9a-f]{{{2 * DIGEST_SIZE}}}", re.ASCII)


def parse_line(data: bytes) -> Line:
    """Return what a line says.

    Args:
        data: the line, with or without its end.

    Raises:
        DecodeError: it is no line of a log of this format or an older one; the message says why. No other.
    """
    try:
        return _line(orjson.loads(data), data)
    except (orjson.JSONDecodeError, DecodeError):
        pass  # it takes no lone surrogates and makes floats of very large numbers, so another one has the last word
    try:
        said = json.loads(data.decode("utf-8"))
    except json.JSONDecodeError as error:
        raise _bad(
            f"this is not JSON: {error.msg[:1].lower()}{error.msg[1:]}, at its character {error.pos + 1}",
            data,
        ) from None
    except (ValueError, RecursionError) as error:
        raise _bad(f"this is not JSON: {error}", data) from None
    return _line(said, data)


def _line(said: Any, data: bytes) -> Line:
    kind = next(iter(said), None) if isinstance(said, dict) else None
    reader = None if kind is None else _READERS.get(kind)
    if reader is None:
        raise _bad(f"no line of a session log begins with {kind!r}", data, expected=", ".join(_READERS))
    fields = _Fields(said, data)
    line = reader(fields)
    fields.no_others()
    return line


def _bad(message: str, data: bytes, expected: str = "") -> DecodeError:
    return DecodeError(message, received=data[:200].decode("utf-8", "replace"), expected=expected)


_MISSING: Final = object()


class _Fields:
    """The values of one line, each of which is taken out once: what is left over does not belong there."""

    __slots__ = ("_data", "_said")

    def __init__(self, said: dict[str, Any], data: bytes) -> None:
        self._said = said
        self._data = data

    def bad(self, message: str) -> DecodeError:
        return _bad(message, self._data)

    def any(self, key: str) -> Any:
        value = self._said.pop(key, _MISSING)
        if value is _MISSING:
            raise self.bad(f"{key!r} is missing")
        return value

    def has(self, key: str) -> bool:
        return key in self._said

    def text(self, key: str) -> str:
        value = self._said.pop(key, _MISSING)
        if isinstance(value, str):
            return value
        raise self.other(key, value, "a text")

    def whole(self, key: str, lowest: int = 0) -> int:
        return self.number(self._said.pop(key, _MISSING), key, lowest)

    def number(self, value: Any, key: str, lowest: int = 0) -> int:
        if type(value) is int and lowest <= value <= LAST_INSTANT:
            return value
        raise self.other(key, value, f"a whole number from {lowest}")

    def other(self, key: str, value: Any, wanted: str) -> DecodeError:
        said = "is missing" if value is _MISSING else f"is {value!r:.80}, and not {wanted}"
        return self.bad(f"{key!r} {said}")

    def inner(self, key: str) -> _Fields:
        value = self._said.pop(key, _MISSING)
        if isinstance(value, dict):
            return _Fields(value, self._data)
        raise self.other(key, value, "an object")

    def texts(self, key: str) -> dict[str, str]:
        value = self._said.pop(key, _MISSING)
        if isinstance(value, dict) and all(isinstance(each, str) for each in value.values()):
            return value
        raise self.other(key, value, "an object of texts")

    def digests(self, key: str) -> dict[str, str]:
        digests = self.texts(key)
        for digest in digests.values():
            if not _DIGEST.fullmatch(digest):
                raise self.bad(f"{key!r} has {digest!r:.80}, and not a digest of {DIGEST_SIZE} bytes")
        return digests

    def pairs(self, key: str) -> tuple[tuple[str, str | int], ...]:
        found: list[tuple[str, str | int]] = []
        for pair in self.items(key):
            match pair:
                case [str(name), str() | int() as value] if not isinstance(value, bool):
                    found.append((name, value))
                case _:
                    raise self.bad(f"{key!r} has {pair!r:.80}, and not a name with a text or a whole number")
        return tuple(found)

    def items(self, key: str) -> list[Any]:
        value = self._said.pop(key, _MISSING)
        if isinstance(value, list):
            return value
        raise self.other(key, value, "a list")

    def yes(self, key: str) -> bool:
        if not self.has(key):
            return False
        if self.any(key) is not True:
            raise self.bad(f"{key!r} can only be true")
        return True

    def packed(self, key: str) -> bytes:
        try:
            return b64decode(self.text(key), validate=True)
        except (ValueError, binascii.Error) as error:
            raise self.bad(f"{key!r} is not base64: {error}") from None

    def payload(self, key: str) -> bytes:
        text = self._said.get(key)
        if isinstance(text, str):
            del self._said[key]
            return text.encode("utf-8", "surrogatepass")
        inner = self.inner(key)
        payload = inner.packed("base64")
        inner.no_others()
        return payload

    def levels(self, key: str) -> bytes:
        try:
            return bytes.fromhex(self.text(key))
        except ValueError as error:
            raise self.bad(f"{key!r} is not hexadecimal: {error}") from None

    def no_others(self) -> None:
        for key in self._said:
            raise self.bad(f"no key {key!r} belongs here")


def _header(fields: _Fields) -> Line:
    if fields.text("log") != LOG:
        raise fields.bad("this is not a session log of lamproom")
    number = fields.whole("format", 1)
    if number > FORMAT:
        wrote = (
            f"lamproom {fields.text('version')}, which wrote it"
            if fields.has("version")
            else "the one that wrote it"
        )
        raise fields.bad(
            f"this log has format {number}, and lamproom {bridge.__version__} reads formats up to {FORMAT}: "
            f"read it with {wrote}, or a newer one"
        )
    layout = fields.inner("layout")
    unpacker = zlib.decompressobj()
    try:
        whole = unpacker.decompress(layout.packed("text"), LARGEST_LAYOUT)
        text = whole.decode("utf-8", "surrogatepass")
    except (zlib.error, UnicodeDecodeError) as error:
        raise fields.bad(f"the layout file within cannot be unpacked: {error}") from None
    digest = layout.text("digest")
    if not unpacker.eof or text_digest(text) != digest:
        raise fields.bad("the layout file within does not agree with its own digest: the log is damaged")
    header = Header(
        started=fields.text("started"),
        version=fields.text("version"),
        python=fields.text("python"),
        numpy=fields.text("numpy"),
        layout=layout.text("name"),
        file=layout.text("file"),
        digest=digest,
        text=text,
        tables=fields.text("tables"),
        format=number,
        piece=fields.whole("piece", 2) if fields.has("piece") else 1,
        before=fields.text("before") if fields.has("before") else "",
    )
    layout.no_others()
    return header


def _input(fields: _Fields) -> Line:
    number, at, source = fields.whole("in", 1), fields.whole("at"), fields.text("source")
    events = []
    for said in fields.items("events"):
        if not isinstance(said, dict):
            raise fields.bad(f"{said!r:.80} is no event")
        events.append(event_from_data(said))
    took = fields.whole("took") if fields.has("took") else None
    if not fields.has("channel"):
        return Input(number, at, source, tuple(events), took=took)
    channel, payload = fields.text("channel"), fields.payload("raw")
    return Input(number, at, source, tuple(events), channel, payload, fields.yes("retained"), took)


def _refused(fields: _Fields) -> Line:
    payload = fields.payload("raw")
    return Refused(
        number=fields.whole("refused", 1),
        at=fields.whole("at"),
        source=fields.text("source"),
        channel=fields.text("channel"),
        payload=payload,
        length=fields.whole("length") if fields.has("length") else len(payload),
        why=fields.text("why"),
        retained=fields.yes("retained"),
    )


def _decided(fields: _Fields) -> Line:
    at, device, before = fields.whole("at"), fields.text("decided"), fields.text("before")
    return Decision(at, device, before, fields.text("aspect"), fields.text("reason"), _causes(fields))


def _told(fields: _Fields) -> Line:
    return Told(
        at=fields.whole("at"),
        subject=fields.text("told"),
        name=fields.text("name"),
        state=fields.text("state"),
        reason=fields.text("reason"),
        causes=_causes(fields),
        more=fields.pairs("more") if fields.has("more") else (),
    )


def _causes(fields: _Fields) -> tuple[int, ...]:
    if fields.has("causes"):
        return tuple([fields.number(each, "causes") for each in fields.items("causes")])
    event = fields.whole("event")
    return (event,) if event else ()


def _note(fields: _Fields) -> Line:
    return Note(fields.whole("at"), fields.text("note"), fields.whole("event"))


def _frame(fields: _Fields) -> Line:
    chain, at, said = fields.text("frame"), fields.whole("at"), fields.text("cause")
    if said not in tuple(Cause):
        raise fields.bad(f"no frame has the cause {said!r}")
    return Frame(chain, at, Cause(said), fields.levels("levels"), fields.yes("test"))


def _rendered(fields: _Fields) -> Line:
    instants: list[Instant] = []
    for item in fields.items("rendered"):
        if not isinstance(item, list):
            instants.append(fields.number(item, "rendered"))
            continue
        if len(item) != 3:
            raise fields.bad(f"a run of instants is [first, distance, count], and not {item!r:.80}")
        first, step, count = (fields.number(part, "rendered") for part in item)
        if not 1 <= count <= LONGEST_RUN:
            raise fields.bad(f"a run of {count} instants is not believed")
        fields.number(first + step * (count - 1), "rendered")
        instants += [first + step * index for index in range(count)]
    if not fields.has("digests"):
        return Rendered(tuple(instants))
    return Rendered(tuple(instants), fields.digests("digests"))


def _snapshot(fields: _Fields) -> Line:
    engine = fields.any("engine")
    if not isinstance(engine, dict):
        raise fields.bad(f"'engine' is {engine!r:.80}, and not an object")
    return Snapshot(fields.whole("snapshot"), engine, fields.digests("digests"))


def _lost(fields: _Fields) -> Line:
    return Lost(fields.whole("lost", 1), fields.whole("at"))


def _end(fields: _Fields) -> Line:
    return End(fields.whole("end"), fields.whole("events"), fields.digests("digests"))


_READERS: Final[dict[str, Callable[[_Fields], Line]]] = {
    "log": _header,
    "in": _input,
    "refused": _refused,
    "decided": _decided,
    "told": _told,
    "note": _note,
    "frame": _frame,
    "rendered": _rendered,
    "snapshot": _snapshot,
    "lost": _lost,
    "end": _end,
}
