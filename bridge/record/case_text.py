"""A kept case as text: a small YAML file that its owner can read, write by hand and put under version control."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, Final

from bridge.errors import DecodeError
from bridge.events import Event, Instant
from bridge.layout.findings import START, Finding, choice, error, in_order, said
from bridge.layout.text import Document, Path, parse
from bridge.layout.units import duration, seconds
from bridge.record.cases import Case, Session
from bridge.record.plain import event_of, event_words

_KEYS: Final = ("device", "should", "showed", "because", "note", "session", "events", "look")
_NEEDED: Final = ("device", "should", "events")
_HEAD: Final = (
    "# `lamproom check` plays these events through the layout file and looks at what the device shows then.\n"
)
_PLAIN: Final = re.compile(r"[A-Za-z0-9(](?:[\w ().;%/+<=>&$~*!?|-]|:(?=\S)|,(?=\S))*\Z")


@dataclass(frozen=True, slots=True)
class CaseRead:
    """A case that was read.

    Attributes:
        case: it, or None where it cannot be tried.
        findings: what is wrong with it, in the order of the file.
        document: its text, with the places of everything in it.
    """

    case: Case | None
    findings: tuple[Finding, ...]
    document: Document


def case_text(case: Case) -> str:
    """Return a case as it stands in its file: `read_case` reads the very same from it."""
    lines = [f"device: {_scalar(case.device)}", f"should: {_scalar(case.should)}"]
    told = (("showed", case.showed), ("because", case.because), ("note", case.note))
    lines += [f"{key}: {_scalar(text)}" for key, text in told if text]
    if case.session is not None:
        lines.append(
            f"session: {_flow({each.name: getattr(case.session, each.name) for each in fields(Session)})}"
        )
    lines.append("events:" if case.events else "events: []")
    for event in case.events:
        lines.append(f"  - {_flow({'at': time_text(event.at), 'by': event.source} | event_words(event))}")
    lines.append(f"look: {time_text(case.look)}")
    return _HEAD + "\n".join(lines) + "\n"


def time_text(at: Instant) -> str:
    """Return a time as it stands in a case: exact to the nanosecond, and as short as that can be."""
    if at % 1000 == 0:
        return seconds(at)
    whole, rest = divmod(at, 10**6)
    return f"{whole}.{rest:06} ms"


def _flow(data: Mapping[str, Any]) -> str:
    return "{" + ", ".join(f"{_scalar(key)}: {_value(value)}" for key, value in data.items()) + "}"


def _value(value: Any) -> str:
    if isinstance(value, dict):
        return _flow(value)
    return _scalar(value) if isinstance(value, str) else json.dumps(value)


def _scalar(text: str) -> str:
    """Return a text as YAML that is read back as the very same text: without quotes where it can be."""
    if _PLAIN.match(text) and text == text.strip() and parse(f"[{text}]").data == [text]:
        return text
    quoted = json.dumps(text, ensure_ascii=False)
    return re.sub(
        "[\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff]", lambda found: f"\\u{ord(found[0]):04x}", quoted
    )


def read_case(text: str) -> CaseRead:
    """Read a case; whatever is wrong with it is in the findings."""
    reading = _Reading(parse(text))
    case = reading.case()
    found = in_order(reading.findings)
    return CaseRead(None if found else case, found, reading.document)


class _Reading:
    """One case that is being read."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.findings = list(document.findings)

    def case(self) -> Case | None:
        data = self.document.data
        if self.findings:
            return None
        if not isinstance(data, dict):
            self.findings.append(
                error(START, f"a case has at least {', '.join(_NEEDED)}: write `device: ` and a name")
            )
            return None
        for key in data:
            if key not in _KEYS:
                self._bad((key,), f"a case has no {said(key)}; {choice(key, _KEYS)}", at_key=True)
        missing = [key for key in _NEEDED if key not in data]
        if missing:
            self.findings.append(
                error(START, f"`{missing[0]}` is missing: a case has at least {', '.join(_NEEDED)}")
            )
            return None
        events = self._events(data["events"])
        last = events[-1].at if events else 0
        look = self._time(("look",), data["look"]) if "look" in data else last
        if look < last:
            self._bad(("look",), f"this lies before the last event ({time_text(last)}): look then, or later")
        return Case(
            device=self._text(("device",), data["device"]),
            should=self._text(("should",), data["should"]),
            events=tuple(events),
            look=look,
            **{key: self._text((key,), data[key]) for key in ("showed", "because", "note") if key in data},
            session=self._session(data["session"]) if "session" in data else None,
        )

    def _bad(self, path: Path, message: str, *, at_key: bool = False) -> None:
        mark = self.document.key_at(path) if at_key else self.document.at(path)
        self.findings.append(error(mark, message))

    def _text(self, path: Path, value: Any) -> str:
        if isinstance(value, str) and value:
            return value
        self._bad(path, f"{said(value)} is no text: write a word, in quotes if it looks like something else")
        return ""

    def _time(self, path: Path, value: Any) -> Instant:
        try:
            return duration(value)
        except ValueError as problem:
            self._bad(path, str(problem))
            return 0

    def _session(self, value: Any) -> Session | None:
        names = [each.name for each in fields(Session)]
        if not isinstance(value, dict) or set(value) != set(names):
            self._bad(
                ("session",), f"where it comes from is told by {', '.join(names)}; or leave `session` out"
            )
            return None
        if type(value["events"]) is not int:
            self._bad(("session", "events"), f"{said(value['events'])} is no whole number")
            return None
        texts = {name: self._text(("session", name), value[name]) for name in names if name != "events"}
        return Session(events=value["events"], **texts)

    def _events(self, value: Any) -> list[Event]:
        if not isinstance(value, list):
            self._bad(("events",), "the events are a list: begin each with a dash, or write [] for none")
            return []
        found: list[Event] = []
        for index, entry in enumerate(value):
            path: Path = ("events", index)
            event = self._event(path, entry)
            if event is None:
                continue
            if found and event.at < found[-1].at:
                self._bad(
                    path, f"this comes before the event above it ({time_text(found[-1].at)}): put it there"
                )
                continue
            found.append(event)
        return found

    def _event(self, path: Path, entry: Any) -> Event | None:
        if not isinstance(entry, dict) or not {"at", "by"} <= set(entry):
            example = "{at: 1 s, by: bus, accessory/61/ordered: reverse}"
            self._bad(path, f"an event says when it is, by which source, and what: such as {example}")
            return None
        at, source = self._time((*path, "at"), entry["at"]), self._text((*path, "by"), entry["by"])
        words = {key: value for key, value in entry.items() if key not in ("at", "by")}
        try:
            return event_of(words, at, source)
        except DecodeError as problem:
            expected = f" ({problem.expected})" if problem.expected else ""
            self._bad(path, f"{problem}{expected}")
            return None
