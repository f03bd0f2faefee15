from __future__ import annotations

import json
from dataclasses import MISSING, FrozenInstanceError, fields
from typing import Any, Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.errors import DecodeError
from bridge.events import (
    ACCESSORY_NUMBERS,
    ASPECT_NUMBERS,
    EVENT_KINDS,
    AccessoryOrdered,
    AccessoryReleased,
    Authority,
    ClockReported,
    Event,
    Position,
    event_from_data,
    event_to_data,
)
from tests.support.driving import REVERSE, order

# What one field of each name may hold; a field that is not here is found by its type.
ASK: Final[dict[str, st.SearchStrategy[Any]]] = {
    "at": st.integers(0, 2**63 - 1),
    "number": st.sampled_from(ACCESSORY_NUMBERS),
    "aspect": st.sampled_from(ASPECT_NUMBERS),
    "seconds": st.integers(0, 86_399),
    "rate_quarters": st.integers(-2048, 2047),
}


def events(kind: type[Event]) -> st.SearchStrategy[Event]:
    """Make events of one kind; what can be ordered is normal and reverse."""
    asked = {field.name: ASK[field.name] for field in fields(kind) if field.name in ASK}
    if kind is ClockReported:  # each part may be told by itself
        asked |= {name: st.none() | asked[name] for name in ("seconds", "rate_quarters")}
    if kind is AccessoryOrdered:
        asked["position"] = st.sampled_from([Position.NORMAL, Position.REVERSE])
    if any(field.name == "authority" for field in fields(kind)):
        asked["authority"] = st.sampled_from(Authority)
    return st.builds(kind, **asked)


any_event = st.sampled_from(list(EVENT_KINDS.values())).flatmap(events)
scalars = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8)
junk = st.recursive(
    scalars,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
)
words = st.sampled_from([*EVENT_KINDS, "kind", "at", "source", "number", "position", "authority", "state"])


@pytest.mark.parametrize("kind", EVENT_KINDS.values(), ids=EVENT_KINDS)
@given(data=st.data())
def test_round_trip(kind: type[Event], data: st.DataObject) -> None:
    """An event of any kind written as data, through JSON, is read back as the very same event."""
    event = data.draw(events(kind))

    plain = json.loads(json.dumps(event_to_data(event)))

    assert event == event_from_data(plain)
    assert type(event) is type(event_from_data(plain))
    assert "kind" == next(iter(plain))


def test_data_is_plain() -> None:
    """What the log keeps of an event are words and numbers only."""
    assert {
        "kind": "accessory-ordered",
        "at": 5,
        "source": "panel",
        "number": 61,
        "position": "reverse",
        "authority": "command",
    } == event_to_data(order(61, REVERSE, 5))
    assert {str, int} == {type(value) for value in event_to_data(order(61, REVERSE, 5)).values()}


@given(st.dictionaries(words | st.text(max_size=8), junk | words, max_size=8))
def test_junk_gives_a_decode_error_or_an_event(data: dict[str, Any]) -> None:
    """Arbitrary data gives an event or DecodeError, and nothing else."""
    try:
        event = event_from_data(data)
    except DecodeError:
        return
    assert event == event_from_data(event_to_data(event))


@given(any_event, st.data())
def test_one_wrong_field_gives_a_decode_error_or_another_event(event: Event, draw: st.DataObject) -> None:
    """An event with one field replaced by anything is read as what it says, or refused."""
    data = event_to_data(event)
    field = draw.draw(st.sampled_from(sorted(data)))
    data[field] = draw.draw(junk)
    try:
        read = event_from_data(data)
    except DecodeError as error:
        assert error.received or error.expected  # noqa: PT017 - most fields are refused, a name is not
        return
    assert data == event_to_data(read)


@given(any_event, st.data())
def test_field_missing_or_too_many_is_refused(event: Event, draw: st.DataObject) -> None:
    """Each field without a usual value has to be there, and no other may be."""
    data = event_to_data(event)
    with pytest.raises(DecodeError):
        event_from_data({**data, "mood": "cheerful"})

    needed = [field.name for field in fields(event) if field.default is MISSING]
    del data[draw.draw(st.sampled_from(["kind", *needed]))]
    with pytest.raises(DecodeError):
        event_from_data(data)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("at", -1),
        ("at", 2**63),
        ("at", True),
        ("at", 1.0),
        ("number", 0),
        ("number", 2049),
        ("number", "61"),
        ("source", 7),
        ("position", "sideways"),
        ("position", "moving"),  # can be proved, but not ordered
        ("position", ["normal"]),
        ("authority", None),
        ("kind", ["accessory-ordered"]),
        ("kind", None),
    ],
)
def test_value_that_no_event_has_is_refused(field: str, value: Any) -> None:
    """A value of another type, out of range, or that makes no sense is refused with what was received."""
    with pytest.raises(DecodeError):
        event_from_data({**event_to_data(order(61, REVERSE)), field: value})


def test_refusal_says_what_and_why() -> None:
    """The message names the kind, the field, its value and what is allowed."""
    data = {**event_to_data(order(61, REVERSE)), "number": 2049}

    with pytest.raises(DecodeError, match="this is no accessory-ordered event") as caught:
        event_from_data(data)
    assert "number is 2049, and not from 1 to 2048" in str(caught.value)
    assert "2049" in caught.value.received


def test_events_are_frozen() -> None:
    """A fact that came in does not change any more."""
    event = AccessoryReleased(at=0, source="panel", number=61)

    with pytest.raises(FrozenInstanceError):
        event.number = 62  # type: ignore[misc] # this is what is tried
