"""Requests over HTTP to those sources that take them, and what each is answered."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, Final, NamedTuple
from urllib.parse import quote

from adapters.contract import Raw, Receiver
from bridge.engine import Engine
from bridge.errors import DecodeError
from bridge.events import Event, Instant, event_to_data
from bridge.record.words import event_text

PATH: Final = "api/events"
"""Where requests come in, below the page."""

Decode = Callable[[Raw, Instant], tuple[Event, ...]]


class Answer(NamedTuple):
    """What became of a request.

    Attributes:
        status: as HTTP has it (RFC 9110): 200 understood, 404 nobody takes it, 422 it means nothing.
        said: what there is to say.
    """

    status: int
    said: dict[str, Any]


class Doors:
    """The doors of all sources that take requests.

    Attributes:
        page: the address of the page, or None while none is open.
    """

    def __init__(self, engine: Engine, now: Callable[[], Instant]) -> None:
        self.page: str | None = None
        self._engine = engine
        self._now = now
        self._open: dict[str, tuple[Receiver, Decode]] = {}

    @contextmanager
    def open(self, source: str, receive: Receiver, decode: Decode) -> Iterator[None]:
        """Let requests to a source in, as long as the context lasts."""
        self._open[source] = receive, decode
        try:
            yield
        finally:
            del self._open[source]

    def hand_in(self, source: str, channel: str, body: bytes) -> Answer:
        """Hand a request to a source, and say what became of it.

        A source's `decode` has no side effects, so what it makes of the request is known before it comes in. In it
        comes whatever it is, so that a refusal is noted and counted like any other.
        """
        found = self._open.get(source)
        if found is None:
            there = ", ".join(self._open) or "none is there"
            return Answer(404, {"error": f"no source {source[:64]!r} takes requests; those that do: {there}"})
        receive, decode = found
        raw = Raw(channel, body)
        answer = self._answer(decode, raw)
        receive(raw)
        return answer

    def _answer(self, decode: Decode, raw: Raw) -> Answer:
        at = max(self._now(), self._engine.now)
        try:
            events = decode(raw, at)
            said = {
                "understood": [event_text(event) for event in events],
                "listened to": all(self._engine.listens(event) for event in events),
                "events": [event_to_data(event) for event in events],
            }
        except DecodeError as problem:
            return Answer(422, {"refused": str(problem), "expected": problem.expected})
        except Exception as problem:  # noqa: BLE001 - where it comes in it is told as a fault of the source
            return Answer(500, {"refused": f"the source itself failed on it: {type(problem).__name__}"})
        return Answer(200, said)


class Door:
    """The door of one source."""

    def __init__(self, doors: Doors, source: str, decode: Decode) -> None:
        self._doors = doors
        self._source = source
        self._decode = decode

    @property
    def address(self) -> str | None:
        """Where requests to the source are taken, or None where no page is open."""
        page = self._doors.page
        return None if page is None else f"{page}{PATH}/{quote(self._source)}/"

    @contextmanager
    def open(self, receive: Receiver) -> Iterator[None]:
        """Have `receive` called for each request."""
        with self._doors.open(self._source, receive, self._decode):
            yield
