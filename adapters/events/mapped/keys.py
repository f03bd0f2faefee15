"""The keys of mapped messages in the layout file."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Any, Final

from pydantic import BeforeValidator, Field

from adapters.contract import Options
from adapters.cut import cut
from adapters.events.mapped.meanings import Written
from adapters.events.mapped.members import Pointer, read_pointer
from adapters.events.mapped.patterns import Pattern, Topic, read_pattern, read_topic_pattern
from adapters.events.spans import span

MOST_MESSAGES: Final = 500
MOST_ENTRIES: Final = 2048
"""Meanings, members or names of one entry."""

OFFSETS: Final = range(-65_535, 65_536)


class Tells(StrEnum):
    """What a message tells of: the words of the layout's own facts."""

    ORDERED = "ordered"  # an accessory, by a command
    PROVED = "proved"  # an accessory, by feedback
    ASPECT = "aspect"  # an extended accessory
    BLOCK = "block"
    POWER = "power"
    BUTTON = "button"
    CLOCK = "clock"
    USE = "use"


class Kept(StrEnum):
    """What becomes of a copy that was kept for those who come later."""

    STATE = "state"
    IGNORE = "ignore"


def _word(what: str, allowed: type[StrEnum]) -> BeforeValidator:
    words = [each.value for each in allowed]

    def read(value: Any) -> StrEnum:
        if value not in words:
            raise ValueError(
                f"{cut(str(value), 40)!r} is not {what}: write {', '.join(words[:-1])} or {words[-1]}"
            )
        return allowed(value)

    return BeforeValidator(read)


def _kept(value: Any) -> Any:
    if value in ("command", "feedback"):
        raise ValueError(
            f"a kept copy is never a {value}: it may be older than anything that came since. Write state or ignore"
        )
    return value


def _pattern(value: Any) -> Pattern:
    return read_pattern(_text(value))


def _topic(value: Any) -> Topic:
    return read_topic_pattern(_text(value))


def _text(value: Any) -> str:
    if isinstance(value, dict):
        raise ValueError("braces at the beginning are a mapping to YAML: put the text in quotes")  # noqa: TRY004 - pydantic reads these
    if isinstance(value, bool | float) or not isinstance(value, str | int):
        raise ValueError(f"{cut(str(value), 40)} is no text: put it in quotes")  # noqa: TRY004 - the same
    return str(value)


def _whole(what: str, allowed: range) -> BeforeValidator:
    def read(value: Any) -> int:
        if type(value) is not int or value not in allowed:
            raise ValueError(f"{cut(str(value), 30)} is not {what}: write {allowed[0]} to {allowed[-1]}")
        return value

    return BeforeValidator(read)


def _turned(value: Any) -> bool | tuple[str, ...]:
    if isinstance(value, bool):
        return value
    if isinstance(value, list) and all(type(each) in (int, str) for each in value):
        return tuple(str(each) for each in value)
    raise ValueError(
        f"{cut(str(value), 40)} does not fit: write true, or a list of those that are the other way round, such as [61]"
    )


TopicPattern = Annotated[Topic, BeforeValidator(_topic)]
TextPattern = Annotated[Pattern, BeforeValidator(_pattern)]
Member = Annotated[Pointer, BeforeValidator(read_pointer)]
Heartbeat = Annotated[float, span("a heartbeat", "1 s", "1440 min")]


class MessageOptions(Options):
    """The keys of one entry of `messages`.

    Attributes:
        topic: where it comes: a topic with named parts.
        tells: what it tells of.
        text: the payload as text with named parts; all of it is the value if left out.
        json_: the payload as JSON: for each part, where it stands.
        each: the payload as JSON: the object or list each of whose members is looked at by itself.
        number: the accessory, where it is always the same.
        name: the block, district or button: a name, or text with parts that stand in the message.
        members: members of the payload, each with the number or name that it tells of.
        bits: bits of the value, each with the number or name that it tells of.
        called: what is called otherwise here than in the messages.
        offset: is added to each accessory number.
        means: what each value means.
        otherwise: what every other value means.
        written: how the value is written, where it is a number.
        invert: everything, or those named, are told the other way round.
        authority: what it may be used for, where it is not the usual.
        kept: what becomes of a kept copy.
        of: what is taken out of use.
        rate: how fast the clock runs, where no message says so.
        qos: the MQTT quality of service with which it is asked for.
    """

    topic: TopicPattern
    tells: Annotated[Tells, _word("what a message can tell of", Tells)]
    text: TextPattern | None = None
    json_: dict[str, Member] | None = Field(default=None, alias="json")
    each: Member | None = None
    number: Any = None
    name: TextPattern | None = None
    members: Annotated[dict[str, Any] | None, Field(min_length=1, max_length=MOST_ENTRIES)] = None
    bits: Annotated[dict[str, Any] | None, Field(min_length=1, max_length=64)] = None
    called: Annotated[dict[str, Any], Field(max_length=MOST_ENTRIES)] = Field(default={})
    offset: Annotated[int, _whole("an offset", OFFSETS)] = 0
    means: Annotated[dict[str, Any] | None, Field(min_length=1, max_length=MOST_ENTRIES)] = None
    otherwise: Any = None
    written: Annotated[Written, _word("how a number is written", Written)] = Written.DECIMAL
    invert: Annotated[bool | tuple[str, ...], BeforeValidator(_turned)] = False
    authority: Any = None
    kept: Annotated[Kept, _word("what becomes of a kept copy", Kept), BeforeValidator(_kept)] = Kept.STATE
    of: Any = None
    rate: Any = None
    qos: Annotated[int, _whole("a quality of service", range(3))] = 0


class AliveOptions(Options):
    """How a source says that it is there.

    Attributes:
        topic: where it says so.
        json_: where in a JSON payload; the whole payload as text if left out.
        here: what it says while it is there; anything but `gone` if left out.
        gone: what it, or its last will, says when it is there no longer.
        heartbeat: how long it may say nothing at the most, in seconds.
        qos: the MQTT quality of service with which it is asked for.
    """

    topic: TopicPattern
    json_: Member | None = Field(default=None, alias="json")
    here: Any = None
    gone: Any = None
    heartbeat: Heartbeat | None = None
    qos: Annotated[int, _whole("a quality of service", range(3))] = 0
