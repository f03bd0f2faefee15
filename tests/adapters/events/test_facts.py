"""What a topic and its payload mean."""

from __future__ import annotations

from typing import Any

import pytest

from adapters.events.facts import LONGEST_PAYLOAD, read_topic
from adapters.events.makers import LONGEST_NAME
from bridge.errors import DecodeError
from bridge.events import (
    AccessoryOrdered,
    AccessoryProved,
    AccessoryReleased,
    AspectOrdered,
    Authority,
    BlockReported,
    BlockState,
    ButtonReported,
    ButtonState,
    ClockReported,
    Event,
    Position,
    PowerReported,
    PowerState,
    Subject,
    UseReported,
)

AT = 5


def read(topic: str, payload: bytes, *, retained: bool = False) -> Event:
    return read_topic("layout", f"layout/{topic}").event(payload, AT, "bus", retained=retained)


def fact(kind: type[Event], **values: Any) -> Event:
    return kind(at=AT, source="bus", **values)


FACTS = [
    ("accessory/61/ordered", b"normal", AccessoryOrdered, {"number": 61, "position": Position.NORMAL}),
    ("accessory/61/ordered", b"reverse", AccessoryOrdered, {"number": 61, "position": Position.REVERSE}),
    ("accessory/61/ordered", b"closed", AccessoryOrdered, {"number": 61, "position": Position.NORMAL}),
    ("accessory/61/ordered", b"thrown", AccessoryOrdered, {"number": 61, "position": Position.REVERSE}),
    ("accessory/1/proved", b"normal", AccessoryProved, {"number": 1, "position": Position.NORMAL}),
    ("accessory/2048/proved", b"reverse", AccessoryProved, {"number": 2048, "position": Position.REVERSE}),
    ("accessory/7/proved", b"closed", AccessoryProved, {"number": 7, "position": Position.NORMAL}),
    ("accessory/7/proved", b"thrown", AccessoryProved, {"number": 7, "position": Position.REVERSE}),
    ("accessory/7/proved", b"moving", AccessoryProved, {"number": 7, "position": Position.MOVING}),
    ("accessory/7/proved", b"unknown", AccessoryProved, {"number": 7, "position": Position.UNKNOWN}),
    ("aspect/37", b"0", AspectOrdered, {"number": 37, "aspect": 0}),
    ("aspect/37", b"255", AspectOrdered, {"number": 37, "aspect": 255}),
    ("block/Tarn throat", b"occupied", BlockReported, {"name": "Tarn throat", "state": BlockState.OCCUPIED}),
    ("block/B1", b"clear", BlockReported, {"name": "B1", "state": BlockState.CLEAR}),
    ("block/B1", b"unknown", BlockReported, {"name": "B1", "state": BlockState.UNKNOWN}),
    ("power/yard", b"on", PowerReported, {"district": "yard", "state": PowerState.ON}),
    ("power/yard", b"off", PowerReported, {"district": "yard", "state": PowerState.OFF}),
    ("power/yard", b"shorted", PowerReported, {"district": "yard", "state": PowerState.SHORTED}),
    ("use/signal/T4", b"out", UseReported, {"subject": Subject.SIGNAL, "name": "T4", "out": True}),
    (
        "use/block/Tarn throat",
        b"out: rail lifted",
        UseReported,
        {"subject": Subject.BLOCK, "name": "Tarn throat", "out": True, "why": "rail lifted"},
    ),
    ("use/turnout/63", b"in-use", UseReported, {"subject": Subject.TURNOUT, "name": "63", "out": False}),
    (
        "use/node/tarn-yard",
        b"absent",
        UseReported,
        {"subject": Subject.NODE, "name": "tarn-yard", "out": True, "absent": True},
    ),
    ("use/source/panel", b"out:", UseReported, {"subject": Subject.SOURCE, "name": "panel", "out": True}),
    ("button/shed", b"pressed", ButtonReported, {"name": "shed", "state": ButtonState.PRESSED}),
    ("button/shed", b"released", ButtonReported, {"name": "shed", "state": ButtonState.RELEASED}),
    (
        "clock",
        b'{"time": "06:45", "rate": 2.5}',
        ClockReported,
        {"seconds": 24_300, "rate_quarters": 10, "running": True},
    ),
]

COMMANDS = (AccessoryOrdered, AspectOrdered, ButtonReported, UseReported)


@pytest.mark.parametrize(("topic", "payload", "kind", "values"), FACTS)
def test_a_live_message_is_a_command_or_feedback_by_its_topic(
    topic: str, payload: bytes, kind: type[Event], values: dict[str, Any]
) -> None:
    """Orders, aspects and buttons are commands; what somebody saw is feedback."""
    authority = Authority.COMMAND if kind in COMMANDS else Authority.FEEDBACK
    assert fact(kind, **values, authority=authority) == read(topic, payload)


@pytest.mark.parametrize(("topic", "payload", "kind", "values"), FACTS)
def test_a_retained_copy_is_state_whatever_its_topic(
    topic: str, payload: bytes, kind: type[Event], values: dict[str, Any]
) -> None:
    """The same message, kept from earlier, commands nothing and reports nothing new."""
    assert fact(kind, **values, authority=Authority.STATE) == read(topic, payload, retained=True)


@pytest.mark.parametrize(("topic", "payload", "kind", "values"), FACTS)
def test_white_space_around_a_payload_is_passed_over(
    topic: str, payload: bytes, kind: type[Event], values: dict[str, Any]
) -> None:
    """`echo` and text fields add a line end, and it means nothing."""
    assert read(topic, payload) == read(topic, b" \t" + payload + b"\r\n")
    assert isinstance(read(topic, payload + b"\n"), kind)
    assert values


def test_an_output_let_go_is_a_release() -> None:
    """A live `released` is an event of its own, which orders nothing."""
    assert fact(AccessoryReleased, number=61) == read("accessory/61/ordered", b"released")


@pytest.mark.parametrize(
    ("topic", "payload", "message"),
    [
        ("block/B1", b"Occupied", "write `occupied` in lower case"),
        ("accessory/61/ordered", b"THROWN", "write `thrown` in lower case"),
        ("accessory/61/ordered", b"moving", "`moving` is not a word that is understood here"),
        ("accessory/61/proved", b"released", "`released` is not a word that is understood here"),
        ("block/B1", b"1", "`1` is not a word that is understood here"),
        ("block/B1", b"", "the payload is empty, which says nothing"),
        ("block/B1", b" \n", "the payload is empty, which says nothing"),
        ("block/B1", b"\xff\xfe", "the payload is not UTF-8 text"),
        ("block/B1", "ﬁ\x00".encode(), "`ﬁ\\x00` is not a word that is understood here"),
        (
            "block/B1",
            b"clear" + b" " * LONGEST_PAYLOAD,
            f"the payload is longer than {LONGEST_PAYLOAD} bytes",
        ),
        ("aspect/37", b"256", "`256` is not an aspect number"),
        ("aspect/37", b"-1", "`-1` is not an aspect number"),
        ("aspect/37", b"+1", "`+1` is not an aspect number"),
        ("aspect/37", b"1.0", "`1.0` is not an aspect number"),
        ("aspect/37", "\u00b2".encode(), "`\u00b2` is not an aspect number"),
        ("aspect/37", b"012", "write the aspect without leading zeros: `12`"),
        ("aspect/37", b"00", "write the aspect without leading zeros: `0`"),
        ("clock", b"{", "the clock's message is not a JSON object"),
        ("accessory/007/ordered", b"normal", "write accessory 007 without leading zeros: `7`"),
        ("accessory/0/ordered", b"normal", "there is no accessory 0"),
        ("accessory/2049/ordered", b"normal", "there is no accessory 2049"),
        ("aspect/" + "9" * 100, b"0", "there is no accessory 99999999999999999999… (100 characters)"),
        ("accessory/-1/ordered", b"normal", "`-1` is not an accessory number"),
        ("accessory/ 1/ordered", b"normal", "` 1` is not an accessory number"),
        ("accessory/\u0661/ordered", b"normal", "`\u0661` is not an accessory number"),
        ("accessory//ordered", b"normal", "`` is not an accessory number"),
        ("accessory/61", b"normal", "no fact has such a topic"),
        ("accessory/61/set", b"normal", "no fact has such a topic"),
        ("Block/B1", b"clear", "no fact has such a topic"),
        ("block/a/b", b"clear", "no fact has such a topic"),
        ("block/", b"clear", "the topic has no name in its last place that can be used"),
        ("block/a\x1b", b"clear", "the topic has no name in its last place that can be used"),
        (
            "block/" + "n" * (LONGEST_NAME + 1),
            b"clear",
            "the topic has no name in its last place that can be used",
        ),
        ("block/" + "/" * 600, b"clear", "the topic is longer than 512 characters"),
    ],
)
def test_what_means_nothing_is_refused_with_the_remedy(topic: str, payload: bytes, message: str) -> None:
    """The message names the value, and what would be understood comes with it."""
    with pytest.raises(DecodeError) as refused:
        read(topic, payload)
    assert message == str(refused.value)
    assert refused.value.expected


def test_the_words_that_are_understood_come_with_a_refusal() -> None:
    """All of them, in the order of the table."""
    with pytest.raises(DecodeError) as refused:
        read("accessory/61/ordered", b"left")
    assert "`normal`, `reverse`, `closed`, `thrown` or `released`" == refused.value.expected


def test_a_retained_release_is_refused() -> None:
    """It says nothing of the accessory, and its sender has to know that it overwrote the kept order."""
    with pytest.raises(DecodeError, match="publish it without the retain flag"):
        read("accessory/61/ordered", b"released", retained=True)


@pytest.mark.parametrize("topic", ["layout", "layouts/block/a", "other/layout/block/a", ""])
def test_a_topic_that_is_not_below_the_root_is_refused(topic: str) -> None:
    """A subscription to `<root>/#` brings the root's own topic too, and it holds no fact."""
    with pytest.raises(DecodeError, match="the topic is not below `layout/`"):
        read_topic("layout", topic)


@pytest.mark.parametrize(
    ("topic", "payload", "says"),
    [
        ("use/signl/T4", b"out", "`signl` is nothing that can be taken out of use"),
        ("use/signal/T4", b"perhaps", "`perhaps` does not say whether it is in use"),
        ("use/signal/T4", b"out: a\x07bell", "does not say whether it is in use"),
        ("use/signal/", b"out", "no name in its last place"),
        ("use/signal", b"out", "no fact has such a topic"),
    ],
)
def test_what_does_not_take_out_of_use_is_refused(topic: str, payload: bytes, says: str) -> None:
    """Each is refused with what would be understood."""
    with pytest.raises(DecodeError, match=says):
        read(topic, payload)


def test_a_long_reason_is_cut() -> None:
    """A reason goes onto screens: of a very long one the beginning is kept, and its length."""
    event = read("use/signal/T4", b"out: " + b"x" * 400)
    assert isinstance(event, UseReported)
    assert event.why.startswith("x" * 120)
    assert event.why.endswith("(400 characters)")
