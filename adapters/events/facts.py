"""Facts in plain text: what a topic below the root and its payload mean. Pure; `mqtt.py` does the listening.

    accessory/<number>/ordered   normal, reverse, released    command
    accessory/<number>/proved    normal, reverse, moving, unknown    feedback
    aspect/<number>              0 to 255                     command
    block/<name>                 occupied, clear, unknown     feedback
    power/<district>             on, off, shorted             feedback
    button/<name>                pressed, released            command
    use/<what>/<name>            in-use, absent, out, out: and a reason    command; a kept copy counts too
    lamp-test/...                see `lamp_test_words.py`
    clock                        JSON, see `model_clock.py`   feedback

`closed` and `thrown` are taken for normal and reverse. A retained copy is state, whatever its topic.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Any, Final, NamedTuple, TypeAlias

from adapters.cut import cut
from adapters.events import makers
from adapters.events.lamp_test_words import EXPECTED as LAMP_TEST_EXPECTED
from adapters.events.lamp_test_words import LONGEST as LONGEST_LAMP_TEST
from adapters.events.lamp_test_words import lamp_test_event, read_lamp_test_topic
from adapters.events.makers import LONGEST_NAME
from adapters.events.model_clock import EXPECTED as CLOCK_EXPECTED
from adapters.events.model_clock import ModelClock, read_model_clock
from bridge.errors import DecodeError
from bridge.events import (
    ACCESSORY_NUMBERS,
    ASPECT_NUMBERS,
    AccessoryOrdered,
    AccessoryReleased,
    Authority,
    BlockState,
    ButtonState,
    ClockReported,
    Event,
    Instant,
    Position,
    PowerState,
    Subject,
    UseReported,
)

KNOWN_TOPICS: Final = 8192
"""Topics whose meaning a source remembers: each accessory twice, and as many names. The least used goes first."""

LONGEST_TOPIC: Final = 512
LONGEST_PAYLOAD: Final = 512
"""Bytes. The longest honest payload is a clock's, and has about 60."""

LONGEST_REASON: Final = 120

_FACTS: Final = (
    "accessory/<number>/ordered, accessory/<number>/proved, aspect/<number>, block/<name>, power/<district>,"
    " button/<name>, use/<what>/<name>, lamp-test/... or clock"
)
_TOPICS: Final = f"{_FACTS}, below the root"

_ASPECTS: Final = f"a number from {ASPECT_NUMBERS[0]} to {ASPECT_NUMBERS[-1]} in plain digits"

Words: TypeAlias = Mapping[bytes, Any]
"""What each payload of a topic means, by its exact bytes: the quick way for what is written properly."""

_Make: TypeAlias = Callable[[Any, Any, Instant, str, Authority], Event]
_Read: TypeAlias = Callable[[str, Words], Any]


class Fact(NamedTuple):
    """What a topic is about, and how its payload is understood.

    Attributes:
        make: builds the event from key, value, instant, source and authority.
        key: the number or name in the topic.
        words: the payloads that are understood at once.
        live: the authority of a message that is no retained copy.
        read: understands a payload, as stripped text, that is not in `words`, or raises DecodeError.
        expected: the payloads that are understood, for a person.
        longest: bytes of a payload at most.
    """

    make: _Make
    key: Any
    words: Words
    live: Authority
    read: _Read
    expected: str
    longest: int = LONGEST_PAYLOAD

    def event(self, payload: bytes, at: Instant, source: str, *, retained: bool) -> Event:
        """Return the event that `payload` means under this topic.

        Raises:
            DecodeError: it means nothing here.
        """
        value = self.words.get(payload)
        if value is None:
            value = self._look_closer(payload)
        return self.make(self.key, value, at, source, Authority.STATE if retained else self.live)

    def _look_closer(self, payload: bytes) -> Any:
        if len(payload) > self.longest:
            raise DecodeError(f"the payload is longer than {self.longest} bytes", expected=self.expected)
        try:
            text = payload.decode("utf-8").strip()
        except UnicodeDecodeError:
            raise DecodeError("the payload is not UTF-8 text", expected=self.expected) from None
        if not text:
            # Deleting a retained copy looks just like this, and is no fact either.
            raise DecodeError("the payload is empty, which says nothing", expected=self.expected)
        value = self.words.get(text.encode())
        return self.read(text, self.words) if value is None else value


def read_topic(root: str, topic: str) -> Fact:
    """Return what `topic` is about.

    Raises:
        DecodeError: no fact has this topic; the message says what is wrong with it.
    """
    if len(topic) > LONGEST_TOPIC:
        raise DecodeError(f"the topic is longer than {LONGEST_TOPIC} characters", expected=_TOPICS)
    if not topic.startswith(f"{root}/"):
        raise DecodeError(f"the topic is not below `{root}/`", expected=_TOPICS)
    return read_fact(topic[len(root) + 1 :], _TOPICS)


def read_fact(path: str, expected: str = _FACTS) -> Fact:
    """Return what a topic without its root is about.

    Args:
        path: the topic.
        expected: what is said to be understood where there is no such fact.

    Raises:
        DecodeError: no fact has this topic; the message says what is wrong with it.
    """
    match path.split("/"):
        case ["accessory", number, "ordered"]:
            return _ORDERED._replace(key=_read_number(number))
        case ["accessory", number, "proved"]:
            return _PROVED._replace(key=_read_number(number))
        case ["aspect", number]:
            return _ASPECT._replace(key=_read_number(number))
        case ["block" | "power" | "button" as kind, name]:
            return _NAMED[kind]._replace(key=_read_name(name))
        case ["use", what, name]:
            return _USE._replace(key=(_read_subject(what), _read_name(name)))
        case ["lamp-test", *which]:
            return _LAMP_TEST._replace(key=read_lamp_test_topic(which))
        case ["clock"]:
            return _CLOCK
    raise DecodeError("no fact has such a topic", expected=expected)


def _read_number(text: str) -> int:
    expected = f"a number from {ACCESSORY_NUMBERS[0]} to {ACCESSORY_NUMBERS[-1]} in plain digits"
    if not (text.isascii() and text.isdigit()):
        raise DecodeError(f"`{cut(text, 20)}` is not an accessory number", expected=expected)
    plain = text.lstrip("0") or "0"
    if len(plain) > 4 or int(plain) not in ACCESSORY_NUMBERS:
        raise DecodeError(f"there is no accessory {cut(text, 20)}", expected=expected)
    if plain != text:
        # One accessory, one topic: else a broker would keep two retained copies of it that disagree.
        raise DecodeError(
            f"write accessory {cut(text, 20)} without leading zeros: `{plain}`", expected=expected
        )
    return int(text)


def _read_name(text: str) -> str:
    if text and len(text) <= LONGEST_NAME and text.isprintable():
        return text
    expected = f"a name of 1 to {LONGEST_NAME} printable characters without `/`"
    raise DecodeError("the topic has no name in its last place that can be used", expected=expected)


def _read_subject(text: str) -> Subject:
    if text in tuple(Subject):
        return Subject(text)
    expected = ", ".join(f"`{each.value}`" for each in Subject)
    raise DecodeError(f"`{cut(text, 20)}` is nothing that can be taken out of use", expected=expected)


def _read_use(text: str, _: Words) -> Any:
    if text.startswith("out:") and text.isprintable():
        return "out", cut(text.removeprefix("out:").strip(), LONGEST_REASON)
    raise DecodeError(f"`{cut(text, 30)}` does not say whether it is in use", expected=_USE.expected)


def _read_word(text: str, words: Words) -> Any:
    expected = _list(words)
    lower = text.lower()
    if lower.encode("utf-8") in words:
        raise DecodeError(f"write `{lower}` in lower case", expected=expected)
    raise DecodeError(f"`{cut(text, 30)}` is not a word that is understood here", expected=expected)


def _read_aspect(text: str, _: Words) -> Any:
    if text.isascii() and text.isdigit():
        plain = text.lstrip("0") or "0"
        if len(plain) <= 3 and int(plain) in ASPECT_NUMBERS:
            raise DecodeError(f"write the aspect without leading zeros: `{plain}`", expected=_ASPECTS)
    raise DecodeError(f"`{cut(text, 30)}` is not an aspect number", expected=_ASPECTS)


def _read_clock(text: str, _: Words) -> Any:
    return read_model_clock(text)


_RELEASED: Final = "released"


def _ordered(key: int, value: Position | str, at: Instant, source: str, authority: Authority) -> Event:
    if isinstance(value, Position):
        return AccessoryOrdered(at=at, source=source, number=key, position=value, authority=authority)
    if authority is Authority.STATE:
        # Said aloud instead of passed over: this copy has overwritten the order that would have helped.
        raise DecodeError(
            "a retained `released` only overwrites the kept order: publish it without the retain flag",
            expected=_ORDERED.expected,
        )
    return AccessoryReleased(at=at, source=source, number=key)


def _use(
    key: tuple[Subject, str], value: tuple[str, str], at: Instant, source: str, authority: Authority
) -> Event:
    (subject, name), (state, why) = key, value
    return UseReported(
        at=at,
        source=source,
        subject=subject,
        name=name,
        out=state != "in-use",
        absent=state == "absent",
        why=why,
        authority=authority,
    )


def _clock(_: None, value: ModelClock, at: Instant, source: str, authority: Authority) -> Event:
    return ClockReported(at=at, source=source, **value._asdict(), authority=authority)


def _words(*states: StrEnum, **others: Any) -> Words:
    found: dict[bytes, Any] = {state.value.encode(): state for state in states}
    found.update({word.encode(): value for word, value in others.items()})
    return MappingProxyType(found)


def _list(words: Words) -> str:
    *first, last = (f"`{word.decode()}`" for word in words)
    return f"{', '.join(first)} or {last}"


def _fact(make: _Make, live: Authority, words: Words, read: _Read = _read_word, expected: str = "") -> Fact:
    return Fact(make=make, key=None, words=words, live=live, read=read, expected=expected or _list(words))


_HOBBY_WORDS: Final = {"closed": Position.NORMAL, "thrown": Position.REVERSE}

_ORDERED: Final = _fact(
    _ordered,
    Authority.COMMAND,
    _words(Position.NORMAL, Position.REVERSE, **_HOBBY_WORDS, released=_RELEASED),
)
_PROVED: Final = _fact(makers.proved, Authority.FEEDBACK, _words(*Position, **_HOBBY_WORDS))
_ASPECT: Final = _fact(
    makers.aspect,
    Authority.COMMAND,
    MappingProxyType({str(number).encode(): number for number in ASPECT_NUMBERS}),
    _read_aspect,
    _ASPECTS,
)
_BLOCK: Final = _fact(makers.block, Authority.FEEDBACK, _words(*BlockState))
_POWER: Final = _fact(makers.power, Authority.FEEDBACK, _words(*PowerState))
_BUTTON: Final = _fact(makers.button, Authority.COMMAND, _words(*ButtonState))
_NAMED: Final = {"block": _BLOCK, "power": _POWER, "button": _BUTTON}
_USE: Final = _fact(
    _use,
    Authority.COMMAND,
    MappingProxyType({word.encode(): (word, "") for word in ("in-use", "absent", "out")}),
    _read_use,
    "`in-use`, `absent`, `out`, or `out:` and a reason",
)
_CLOCK: Final = _fact(_clock, Authority.FEEDBACK, MappingProxyType({}), _read_clock, CLOCK_EXPECTED)
_LAMP_TEST: Final = Fact(
    make=lamp_test_event,
    key=None,
    words=MappingProxyType({}),
    live=Authority.COMMAND,
    read=lambda text, _words: text,
    expected=LAMP_TEST_EXPECTED,
    longest=LONGEST_LAMP_TEST,
)
