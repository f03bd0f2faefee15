"""Mapped messages: what each convention becomes, and what is refused."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from adapters.events.facts import read_topic
from adapters.events.mapped.keys import MessageOptions, Tells
from adapters.events.mapped.kinds import KINDS
from adapters.events.mapped.mapping import Mapping, look_at_all
from bridge.errors import DecodeError
from bridge.events import Authority, Event, SourceReported, UseReported, event_from_data, event_to_data
from tests.support.mapped import AT, PAYLOADS, entries, mapping
from tests.support.spoiled import CONVENTIONS, spoiled

SET = "topic: 'y/{number}/set', tells: ordered, means: {T: reverse, C: normal}"


def told(
    mapped: Mapping, channel: str, payload: str | bytes, *, retained: bool = False
) -> list[tuple[Any, ...]]:
    """Return kind, which one, what of it and authority of each event."""
    data = payload if isinstance(payload, bytes) else payload.encode()
    found = []
    for event in mapped.decode(channel, data, AT, "yard", retained=retained):
        said = event_to_data(event)
        assert (AT, "yard") == (said.pop("at"), said.pop("source"))
        found.append(tuple(said.values()))
    return found


CASES: list[tuple[str, str, str | bytes, list[tuple[Any, ...]]]] = [
    (SET, "y/61/set", "T", [("accessory-ordered", 61, "reverse", "command")]),
    (SET, "y/061/set", " C\r\n", [("accessory-ordered", 61, "normal", "command")]),
    (f"{SET}, offset: 100", "y/1/set", "T", [("accessory-ordered", 101, "reverse", "command")]),
    (f"{SET}, offset: -100", "y/101/set", "T", [("accessory-ordered", 1, "reverse", "command")]),
    (f"{SET}, invert: true", "y/61/set", "T", [("accessory-ordered", 61, "normal", "command")]),
    (f"{SET}, invert: [61]", "y/61/set", "T", [("accessory-ordered", 61, "normal", "command")]),
    (f"{SET}, invert: [62]", "y/61/set", "T", [("accessory-ordered", 61, "reverse", "command")]),
    (
        f"{SET}, called: {{W7: 9}}, offset: 5",
        "y/W7/set",
        "T",
        [("accessory-ordered", 9, "reverse", "command")],
    ),
    (f"{SET}, authority: state", "y/61/set", "T", [("accessory-ordered", 61, "reverse", "state")]),
    (f"{SET}, otherwise: nothing", "y/61/set", "?", []),
    ("topic: y, tells: ordered, number: 8, means: {x: released}", "y", "x", [("accessory-released", 8)]),
    (
        "topic: 'y/{number}/{value}', tells: proved",
        "y/3/moving",
        b"\xff",
        [("accessory-proved", 3, "moving", "feedback")],
    ),
    ("topic: 'y/{number}', tells: aspect", "y/3", "255", [("aspect-ordered", 3, 255, "command")]),
    (
        "topic: 'y/{number}', tells: aspect, means: {go: 16, 0 to 3: 0}",
        "y/3",
        "2.5",
        [("aspect-ordered", 3, 0, "command")],
    ),
    ("topic: 'y/{name}', tells: block", "y/west", "occupied", [("block", "west", "occupied", "feedback")]),
    (
        "topic: 'y/{a}/{b}', tells: block, name: '{b} of {a}', called: {2 of x: two}, means: {1: occupied}",
        "y/x/2",
        "1.0",
        [("block", "two", "occupied", "feedback")],
    ),
    (
        "topic: y, tells: block, json: {name: /id, value: /on}, means: {true: occupied, null: unknown}",
        "y",
        '{"id": 12, "on": null}',
        [("block", "12", "unknown", "feedback")],
    ),
    (
        "topic: y, tells: block, each: /s, json: {name: /id, value: /v}, means: {1: occupied, 0: clear}",
        "y",
        '{"s": [{"id": "a", "v": 1}, {"id": "b", "v": "0"}]}',
        [("block", "a", "occupied", "feedback"), ("block", "b", "clear", "feedback")],
    ),
    (
        "topic: y, tells: proved, each: '', offset: 1, means: {1: reverse, 0: normal}",
        "y",
        "[1, 0]",
        [("accessory-proved", 1, "reverse", "feedback"), ("accessory-proved", 2, "normal", "feedback")],
    ),
    ("topic: y, tells: block, each: /s", "y", '{"s": {}}', []),
    (
        "topic: y, tells: power, bits: {0: a, 63: b}, means: {1: shorted, 0: on}",
        "y",
        str(2**63),
        [("power", "a", "on", "feedback"), ("power", "b", "shorted", "feedback")],
    ),
    (
        "topic: y, tells: button, text: 'in={value};', written: binary, bits: {1: bell},"  # noqa: ISC004 - one entry
        " means: {1: pressed, 0: nothing}",
        "y",
        "in=0b10;",
        [("button", "bell", "pressed", "command")],
    ),
    (
        "topic: y, tells: block, name: w, written: bytes, means: {0 to 511: clear, 512 or more: occupied}",
        "y",
        b"\x02\x00",
        [("block", "w", "occupied", "feedback")],
    ),
    (
        "topic: y, tells: block, name: w, means: {'': clear}, otherwise: occupied",
        "y",
        " ",
        [("block", "w", "clear", "feedback")],
    ),
    (
        "topic: y, tells: clock, text: '{minutes},{rate},{value}', means: {go: running}",
        "y",
        "405,6,go",
        [("clock", 24_300, 24, True, True, "feedback")],
    ),
    (
        "topic: y, tells: clock, text: '{minutes},{rate},{value}', means: {go: running}",
        "y",
        "405,0,go",
        [("clock", 24_300, None, False, True, "feedback")],
    ),
    (
        "topic: y, tells: clock, json: {seconds: /s, rate: /r}",
        "y",
        '{"s": 86399, "r": 0.25}',
        [("clock", 86_399, 1, True, False, "feedback")],
    ),
    ("topic: y, tells: clock, rate: 2.5", "y", "23:59:30", [("clock", 86_370, 10, True, False, "feedback")]),
    ("topic: y, tells: clock", "y", "23:59", [("clock", 86_340, None, None, True, "feedback")]),
    ("topic: 'y/{rate}', tells: clock", "y/2.5", b"\xff", [("clock", None, 10, True, False, "feedback")]),
    ("topic: 'y/{rate}', tells: clock", "y/0.0", b"\xff", [("clock", None, None, False, False, "feedback")]),
    (
        "topic: 'y', tells: clock, text: '{value}!'",
        "y",
        "stopped!",
        [("clock", None, None, False, False, "feedback")],
    ),
    (
        "topic: 'y/{name}', tells: use, of: signal, means: {broken: out}",
        "y/T4",
        "broken",
        [("use", "signal", "T4", True, False, "", "command")],
    ),
]


@pytest.mark.parametrize(("said", "channel", "payload", "expected"), CASES)
def test_a_message_becomes_what_its_entry_says(
    said: str, channel: str, payload: str | bytes, expected: list[tuple[Any, ...]]
) -> None:
    """One row for each key and for each place where something can stand."""
    assert expected == told(mapping(said), channel, payload)


REFUSED: list[tuple[str, str, str | bytes, str, str]] = [
    (SET, "y/61/set", "t", "`t` has no meaning here (`T` does: capitals count)", "`T` or `C`"),
    (SET, "y/61/set", "", "the payload is empty", "`T` or `C`"),
    (SET, "y/61/set", b"\xff", "not UTF-8", "`T` or `C`"),
    (SET, "y/61/set", b"T" * 1025, "longer than 1024 bytes", ""),
    (SET, "y/sixty/set", "T", "`sixty` is not the number of an accessory", "a number in plain digits"),
    (SET, "y/-1/set", "T", "`-1` is not the number", ""),
    (SET, "y/٣/set", "T", "is not the number", ""),
    (SET, "y/0/set", "T", "there is no accessory 0", "numbers from 1 to 2048"),
    (
        f"{SET}, offset: 100",
        "y/1949/set",
        "T",
        "no accessory 2049 (1949 and the offset 100)",
        "numbers from 0 to 1948",
    ),
    (f"{SET}, offset: 100", f"y/{'9' * 300}/set", "T", "is not the number", ""),
    (
        "topic: 'y/{number}', tells: aspect",
        "y/1",
        "256",
        "`256` has no meaning here",
        "an aspect number from 0 to 255",
    ),
    (
        "topic: y, tells: block, name: w, text: '{value} V'",
        "y",
        "5 A",
        "another form than `text` says",
        "`{value} V`",
    ),
    ("topic: y, tells: block, json: {name: /a, value: /b}", "y", '{"a": 1}', "none of the members", "/a, /b"),
    (
        "topic: y, tells: block, json: {name: /a, value: /b}",
        "y",
        '{"a": [], "b": 1}',
        "/a is a list, and no value",
        "",
    ),
    (
        "topic: y, tells: block, json: {name: /a, value: /b}",
        "y",
        '{"a": "\\n", "b": "clear"}',
        "is no name",
        "",
    ),
    ("topic: y, tells: block, each: '', json: {value: /v}", "y", '{"w": {}}', "'w' has no member /v", ""),
    ("topic: y, tells: block, each: ''", "y", "7", "`each` needs an object or a list, and `7` is none", ""),
    ("topic: y, tells: block, bits: {0: w}, means: {1: clear}", "y", "-1", "no whole number with bits", ""),
    ("topic: y, tells: block, bits: {0: w}, means: {1: clear}", "y", "1.5", "no whole number with bits", ""),
    (
        "topic: y, tells: block, bits: {0: w}, means: {1: clear}",
        "y",
        str(2**64),
        "no whole number with bits",
        "",
    ),
    ("topic: y, tells: block, name: w, written: hex, means: {16: clear}", "y", "xyz", "no hex number", ""),
    ("topic: y, tells: block, name: w, written: bytes, means: {16: clear}", "y", b"", "0 bytes came", ""),
    ("topic: y, tells: clock", "y", "24:00", "`24:00` is no time of day", "HH:MM or HH:MM:SS"),
    (
        "topic: y, tells: clock, text: '{minutes}'",
        "y",
        "1440",
        "is no time of day",
        "whole minutes since midnight",
    ),
    ("topic: y, tells: clock, json: {time: /t, rate: /r}", "y", '{"t": "06:00", "r": -1}', "is no rate", ""),
    ("topic: y, tells: block, each: ''", "y", '["clear"' + ', "clear"' * 512 + "]", "tells 513 facts", ""),
]


@pytest.mark.parametrize(("said", "channel", "payload", "message", "expected"), REFUSED)
def test_what_means_nothing_is_refused_in_words(
    said: str, channel: str, payload: str | bytes, message: str, expected: str
) -> None:
    """With what came, why it is refused, and what would be understood."""
    with pytest.raises(DecodeError) as caught:
        told(mapping(said), channel, payload)
    assert message in str(caught.value)
    assert caught.value.expected.startswith(expected)
    assert caught.value.received.startswith(channel[:100])
    assert 300 > len(caught.value.received)


@pytest.mark.parametrize("tells", ["ordered", "proved", "aspect", "block", "power", "button", "clock"])
@pytest.mark.parametrize("authority", ["", ", authority: state"])
def test_a_kept_copy_is_state_whatever_it_tells(tells: str, authority: str) -> None:
    """A copy is never an order: no key makes it one."""
    if tells == "button" and authority:
        return  # a button that is state would light nothing
    kind = KINDS[Tells(tells)]
    which = "" if tells == "clock" else ", number: 61" if kind.numbered else ", name: w"
    word = 7 if tells == "aspect" else next(iter(kind.words))
    means = "" if tells == "clock" else f", otherwise: {word}"
    mapped = mapping(f"topic: y, tells: {tells}{which}{means}{authority}")
    (event,) = told(mapped, "y", "06:00", retained=True)
    assert "state" == event[-1]
    ignoring = mapping(f"topic: y, tells: {tells}{which}{means}{authority}, kept: ignore")
    assert [] == told(ignoring, "y", "06:00", retained=True)
    assert 1 == len(told(ignoring, "y", "06:00"))


def test_the_copy_of_a_release_tells_nothing() -> None:
    """It has overwritten the copy of an order, and orders nothing itself."""
    assert [] == told(mapping("topic: y, tells: ordered, number: 8"), "y", "released", retained=True)


def test_all_entries_with_the_topic_are_asked_in_their_order() -> None:
    """A message may tell of several kinds of things; members that are not there are left to the others."""
    both = mapping(
        "topic: y, tells: block, name: w, json: {value: /a}",
        "topic: '{name}', tells: button, json: {value: /b}",
    )
    a, b = ("block", "w", "clear", "feedback"), ("button", "y", "pressed", "command")
    assert [a, b] == told(both, "y", '{"b": "pressed", "a": "clear"}')
    assert [b] == told(both, "y", '{"b": "pressed"}')
    with pytest.raises(DecodeError, match="none of the members") as caught:
        told(both, "y", "{}")
    assert "/a, /b" == caught.value.expected


def test_a_message_counts_as_a_whole() -> None:
    """What one entry refuses, no other tells."""
    both = mapping("topic: y, tells: block, name: w", "topic: y, tells: power, name: w")
    with pytest.raises(DecodeError, match="`clear` has no meaning"):
        told(both, "y", "clear")


def test_thresholds_with_nothing_between_them_have_a_dead_band() -> None:
    """A reading that wavers tells nothing until it has crossed both ends."""
    mapped = mapping(
        "topic: y, tells: block, name: w, means: {below 4: clear, 4 to 10: nothing, above 10: occupied}"
    )
    said = [told(mapped, "y", reading) for reading in ("3.999", "4", "7.25", "10", "10.000000001")]
    assert [["clear"], [], [], [], ["occupied"]] == [[event[2] for event in each] for each in said]


def test_the_words_without_means_are_those_of_the_facts() -> None:
    """One set of words in all of lamproom: what a plain fact understands, a mapped topic does."""
    own = {
        "ordered": "accessory/8/ordered",
        "proved": "accessory/8/proved",
        "block": "block/8",
        "power": "power/8",
        "button": "button/8",
    }
    for tells, topic in own.items():
        fact = read_topic("layout", f"layout/{topic}")
        which = "number: 8" if "accessory" in topic else "name: 8"
        mapped = mapping(f"topic: y, tells: {tells}, {which}")
        assert {*KINDS[Tells(tells)].words} == {word.decode() for word in fact.words}
        for word in fact.words:
            event = fact.event(word, AT, "yard", retained=False)
            assert (event,) == mapped.decode("y", word, AT, "yard", retained=False)


def sound(data: dict[str, Any]) -> Mapping | None:
    """Return an entry made ready, or None where it has faults."""
    try:
        said = MessageOptions.model_validate(data)
    except ValidationError:
        return None
    if look_at_all((said,)):
        return None
    return Mapping((said,))


def test_spoiled_messages_are_understood_or_refused() -> None:
    """Thirty thousand, of which some are sound; a million are those of `python -m tests.bench inputs`."""
    understood = 0
    for topic, payload, retained in spoiled(30_000):
        try:
            events = CONVENTIONS.decode(topic, payload, AT, "yard", retained=retained)
        except DecodeError as problem:
            assert str(problem).isprintable()  # noqa: PT017 - whatever came, it is a sentence
        else:
            understood += 1
            for event in events:
                look_at(event, retained=retained)
    assert 3_000 < understood < 20_000


@settings(max_examples=500)
@given(said=entries(), payload=PAYLOADS, retained=st.booleans(), data=st.data())
def test_any_entry_either_has_a_fault_or_decodes_anything(
    said: dict[str, Any], payload: bytes, *, retained: bool, data: st.DataObject
) -> None:
    """Facts that the log can carry, or DecodeError in words: never anything else, and never an order in a copy."""
    mapped = sound(said)
    if mapped is None:
        return
    (message,) = mapped.messages
    levels = [
        data.draw(st.sampled_from(["61", "W", "2048", "", "on"]))
        if level is None
        else level.fill(
            {part: data.draw(st.sampled_from(["61", "7", "on", "06:45", "x-y", "T"])) for part in level.parts}
        )
        for level in message.topic.levels
    ]
    channel = "/".join(levels)
    try:
        events = mapped.decode(channel, payload, AT, "yard", retained=retained)
    except DecodeError:
        return
    assert mapped.hears(channel)
    assert events == mapped.decode(channel, payload, AT, "yard", retained=retained)
    for event in events:
        look_at(event, retained=retained)


def look_at(event: Event, *, retained: bool) -> None:
    """Hold an event to what the engine wants of one."""
    assert (AT, "yard") == (event.at, event.source)
    assert event == event_from_data(event_to_data(event))
    assert not isinstance(event, SourceReported)
    authority = getattr(event, "authority", None)
    assert authority is not Authority.RESTORED
    if retained:
        assert authority is Authority.STATE or isinstance(event, UseReported)
