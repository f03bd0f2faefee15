"""Text with named parts: one way to read it, and the MQTT filter that fits."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.client import topic_matches_sub

from adapters.events.mapped.patterns import covers, overlap, read_pattern, read_topic_pattern

LEVEL = st.sampled_from(["a", "b", "ab", ""])
FILTER = st.lists(st.one_of(LEVEL, st.just("+")), min_size=1, max_size=4).flatmap(
    lambda levels: st.sampled_from(["/".join(levels) or "a", "/".join([*levels, "#"])])
)
TOPIC = st.lists(LEVEL, min_size=1, max_size=5).map("/".join).filter(bool)


@pytest.mark.parametrize(
    ("pattern", "text", "parts"),
    [
        ("{value}", "ON", {"value": "ON"}),
        ("{value} V", "12.5 V", {"value": "12.5"}),
        ("{value} V", "12.5V", None),
        ("{value} V", " V", None),
        ("throw {number} {value}", "throw 61 over", {"number": "61", "value": "over"}),
        ("{area}-{track}", "yard-west-2", {"area": "yard", "track": "west-2"}),
        ("{a}--{b}", "x---y", {"a": "x", "b": "-y"}),
        ("{a}-", "x--", {"a": "x-"}),
        ("plain", "plain", {}),
        ("plain", "plainer", None),
        ("", "", {}),
    ],
)
def test_a_text_is_read_from_the_left(pattern: str, text: str, parts: dict[str, str] | None) -> None:
    """A part ends where what stands behind it comes for the first time, and is never empty."""
    assert parts == read_pattern(pattern).find(text)


@given(
    st.lists(st.sampled_from(["-", " ", "mA", "/", "x"]), min_size=2, max_size=5),
    st.data(),
)
def test_what_is_filled_in_is_found_again(between: list[str], data: st.DataObject) -> None:
    """Whatever stands in the parts, as long as it has nothing of what ends it: filling and finding are one."""
    parts = [f"p{number}" for number in range(len(between) - 1)]
    pattern = read_pattern(
        between[0] + "".join(f"{{{part}}}{letters}" for part, letters in zip(parts, between[1:], strict=True))
    )
    values = {part: data.draw(st.text("abc0.", min_size=1, max_size=5)) for part in parts}
    assert values == pattern.find(pattern.fill(values))


@given(
    st.lists(st.sampled_from(["{a}", "{b}", "{c}", "-", "xy", "x"]), max_size=6).map("".join),
    st.text("xy-ab", max_size=12),
)
def test_no_text_is_read_otherwise_than_it_is_written(pattern: str, text: str) -> None:
    """What is found, filled in again, is the text: nothing is left out and nothing is made up."""
    try:
        read = read_pattern(pattern)
    except ValueError:
        return
    found = read.find(text)
    assert found is None or text == read.fill(found)


@pytest.mark.parametrize(
    ("topic", "expected"),
    [
        ("yard/{number}/set", "yard/+/set"),
        ("yard/W{number}/set", "yard/+/set"),
        ("+/{name}", "+/+"),
        ("yard/#", "yard/#"),
        ("#", "#"),
        ("a//b", "a//b"),
    ],
)
def test_a_topic_becomes_the_narrowest_filter(topic: str, expected: str) -> None:
    """MQTT has no filter for a part of a level, so such a level is any."""
    assert expected == read_topic_pattern(topic).filter


@given(FILTER, TOPIC)
def test_a_topic_without_parts_matches_as_in_mqtt(topic_filter: str, topic: str) -> None:
    """By the matching of paho, a client of its own (MQTT 3.1.1, section 4.7)."""
    assert topic_matches_sub(topic_filter, topic) == (
        read_topic_pattern(topic_filter).find(topic) is not None
    )


@given(FILTER, FILTER, TOPIC)
def test_covering_and_overlapping_are_what_they_say(one: str, other: str, topic: str) -> None:
    """What one filter covers it matches as well; what both match makes them overlap."""
    both = topic_matches_sub(one, topic), topic_matches_sub(other, topic)
    if covers(one, other):
        assert not both[1] or both[0]
        assert overlap(one, other)
    if all(both):
        assert overlap(one, other)
        assert overlap(other, one)


@pytest.mark.parametrize(
    ("topic", "message"),
    [
        ("", "the topic is empty: write one"),
        ("$SYS/x", "begins with `$`"),
        ("a/b+/c", "`+` stands for a whole level"),
        ("a/#/c", "`#` for all that follow at the end"),
        ("a/{number/set}", "is no name of a part"),
        ("a/{number/set", "a brace alone"),
        ("a/{number}/{number}", "{number} stands twice"),
        ("a/{Number}", "is no name of a part"),
        ("a/{}", "is no name of a part"),
        ("a/{x}{y}", "does not say where {x} ends"),
        ("a/\n", "cannot be printed"),
        ("a" * 300, "too long"),
        ("/".join(f"{{p{number}}}" for number in range(9)), "has 9 parts"),
    ],
)
def test_a_topic_that_cannot_be_meant_is_refused_with_a_remedy(topic: str, message: str) -> None:
    """Each in words that say what to write."""
    with pytest.raises(ValueError, match=r".") as caught:
        read_topic_pattern(topic)
    assert message in str(caught.value)
