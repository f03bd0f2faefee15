"""Events in the words in which they come in: `accessory/61/ordered: reverse`.

The words are those of the topics and payloads below the root of an MQTT source. Besides, what the bridge itself has to
say is an event too: `source: lost`, `node/hill: lost`, and `route/W: to-east` for one that was locked before a restart.
What has no such words stands as in the session log, below `event`.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, Final, NamedTuple

from bridge.errors import DecodeError
from bridge.events import (
    AccessoryOrdered,
    AccessoryProved,
    AccessoryReleased,
    AspectOrdered,
    Authority,
    BlockReported,
    ButtonReported,
    ClockReported,
    Event,
    Instant,
    NodeReported,
    PowerReported,
    RouteKept,
    SourceReported,
    Subject,
    UseReported,
    event_from_data,
    event_to_data,
)
from bridge.layout.findings import choice, said
from bridge.layout.units import clock_text, time_of_day

WHOLE: Final = "event"
"""The key below which an event stands as in the session log."""

AS: Final = {"copy": Authority.STATE, "restored": Authority.RESTORED}
"""What is told besides now: a kept copy, and what was kept over a restart."""


class _Plain(NamedTuple):
    """How one kind of event is said: topic levels, one of which may be its name, and the field that is its payload."""

    kind: str
    topic: tuple[str, ...]
    name: str
    value: str
    number: bool = False  # whether the payload is one


_PLAIN: Final = {
    AccessoryOrdered: _Plain("accessory-ordered", ("accessory", "*", "ordered"), "number", "position"),
    AccessoryProved: _Plain("accessory-proved", ("accessory", "*", "proved"), "number", "position"),
    AspectOrdered: _Plain("aspect-ordered", ("aspect", "*"), "number", "aspect", number=True),
    BlockReported: _Plain("block", ("block", "*"), "name", "state"),
    PowerReported: _Plain("power", ("power", "*"), "district", "state"),
    ButtonReported: _Plain("button", ("button", "*"), "name", "state"),
    SourceReported: _Plain("source", ("source",), "", "state"),
    NodeReported: _Plain("node", ("node", "*"), "node", "state"),
    RouteKept: _Plain("route-kept", ("route", "*"), "signal", "route"),
}
_RELEASED: Final = "released"
_OUT: Final = "out: "
_CLOCK: Final = ("time", "rate", "running")

TOPICS: Final = (
    "accessory/<number>/ordered, accessory/<number>/proved, aspect/<number>, block/<name>, power/<district>, "
    "button/<name>, use/<what>/<name>, clock, source, node/<node>, route/<signal>"
)
"""All that an event can be about, for a message."""


def event_words(event: Event) -> dict[str, Any]:
    """Return an event as plain data without its instant and source, in the words of the topics where it has such."""
    plain = _in_words(event)
    if plain is not None:
        try:
            if event_of(plain, event.at, event.source) == event:
                return plain
        except DecodeError:
            pass  # a name with a slash, for one
    whole = event_to_data(event)
    del whole["at"], whole["source"]
    return {WHOLE: whole}


def _in_words(event: Event) -> dict[str, Any] | None:
    words = [word for word, each in AS.items() if each is getattr(event, "authority", None)]
    told: dict[str, Any] = {"as": words[0]} if words else {}
    match event:
        case AccessoryReleased():
            return {f"accessory/{event.number}/ordered": _RELEASED}
        case UseReported():
            state = "absent" if event.absent else "out" if event.out else "in-use"
            payload = f"{_OUT}{event.why}" if event.why else state
            return {f"use/{event.subject.value}/{event.name}": payload} | told
        case ClockReported(seconds=int(of_day), rate_quarters=int(quarters)):
            clock: dict[str, Any] = {"time": clock_text(of_day), "rate": _rate(quarters)}
            return {"clock": clock | ({} if event.running else {"running": False})} | told
    way = _PLAIN.get(type(event))
    if way is None:
        return None
    name = str(getattr(event, way.name)) if way.name else ""
    value = getattr(event, way.value)
    topic = "/".join(name if level == "*" else level for level in way.topic)
    why = {"why": event.why} if isinstance(event, SourceReported | NodeReported) and event.why else {}
    return {topic: int(value) if way.number else str(value)} | told | why


def _rate(quarters: int) -> int | float:
    return quarters // 4 if quarters % 4 == 0 else quarters / 4


def event_of(words: Mapping[str, Any], at: Instant, source: str) -> Event:
    """Return the event that plain data says.

    Args:
        words: what `event_words` gave.
        at: its instant.
        source: who told it.

    Raises:
        DecodeError: it says none; the message says what would.
    """
    topics = [key for key in words if key not in ("as", "why")]
    if len(topics) != 1:
        what = f"{len(topics)} things are said at once" if topics else "nothing is said"
        raise DecodeError(f"{what}: one entry is one event, such as accessory/61/ordered: reverse")
    topic, value = topics[0], words[topics[0]]
    more = _more(words)
    if topic == WHOLE:
        if not isinstance(value, dict) or more:
            raise DecodeError("`event` stands alone, and holds what the session log has of an event")
        return event_from_data(value | {"at": at, "source": source})
    return event_from_data(_data(topic, value) | more | {"at": at, "source": source})


def _more(words: Mapping[str, Any]) -> dict[str, Any]:
    more: dict[str, Any] = {}
    if "why" in words:
        more["why"] = words["why"]
    if "as" in words:
        if words["as"] not in AS:
            raise DecodeError(
                f"{said(words['as'])} is no way in which an event is told; {choice(words['as'], AS)}"
            )
        more["authority"] = AS[words["as"]].value
    return more


def _data(topic: str, value: Any) -> dict[str, Any]:
    levels = tuple(topic.split("/"))
    if levels[0] == "use" and len(levels) == 3:
        return _use(levels[1], levels[2], value)
    if topic == "clock":
        return _clock(value)
    for way in _PLAIN.values():
        if len(levels) == len(way.topic) and all(
            each in ("*", level) for each, level in zip(way.topic, levels, strict=True)
        ):
            return _by_table(way, levels, value)
    raise DecodeError(f"no event is about {said(topic)}: write {TOPICS}")


def _by_table(way: _Plain, levels: tuple[str, ...], value: Any) -> dict[str, Any]:
    data: dict[str, Any] = {"kind": way.kind}
    if way.name:
        name = levels[way.topic.index("*")]
        if not name:
            raise DecodeError(f"a name is missing in {said('/'.join(levels))}")
        data[way.name] = _number(name) if way.name == "number" else name
    if way.kind == "accessory-ordered" and value == _RELEASED:
        return {"kind": "accessory-released", "number": data["number"]}
    data[way.value] = value if way.number else str(value)
    return data


def _number(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) <= 4 and text == str(int(text))):
        raise DecodeError(f"{said(text)} is no accessory number: write it in plain digits")
    return int(text)


def _use(subject: str, name: str, value: Any) -> dict[str, Any]:
    if subject not in tuple(Subject) or not name:
        raise DecodeError(f"{said(subject)} cannot be taken out of use; {choice(subject, Subject)}")
    data: dict[str, Any] = {"kind": "use", "subject": subject, "name": name}
    if isinstance(value, str) and value.startswith(_OUT):
        return data | {"out": True, "why": value.removeprefix(_OUT)}
    if value not in ("out", "absent", "in-use"):
        raise DecodeError(f"{said(value)} is no use: write out, `out: ` and a reason, absent or in-use")
    return data | {"out": value != "in-use", "absent": value == "absent"}


def _clock(value: Any) -> dict[str, Any]:
    if not isinstance(value, dict) or not set(value) <= set(_CLOCK):
        raise DecodeError("the clock is told as {time: 16:30, rate: 6}, with running: false where it stands")
    try:
        seconds = time_of_day(value.get("time"))
    except ValueError as problem:
        raise DecodeError(str(problem)) from None
    rate = value.get("rate", 1)
    quarters = (
        Decimal(rate) * 4 if isinstance(rate, int | float) and not isinstance(rate, bool) else Decimal("NaN")
    )
    if quarters.is_nan() or quarters != int(quarters):
        raise DecodeError(
            f"{said(rate)} is no rate of the clock: write a number in steps of a quarter, such as 2.5"
        )
    return {
        "kind": "clock",
        "seconds": seconds,
        "rate_quarters": int(quarters),
        "running": value.get("running", True),
    }


def subject_of(event: Event) -> tuple[object, ...]:
    """Return what an event is about: its kind and the name of the thing, without what was said of it."""
    way = _PLAIN.get(type(event))
    if way is not None:
        return way.kind, getattr(event, way.name or "source")
    if isinstance(event, UseReported):
        return "use", event.subject.value, event.name
    return type(event).__name__, getattr(event, "number", 0)
