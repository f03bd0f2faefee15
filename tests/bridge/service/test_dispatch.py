from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode

from adapters.contract import Raw
from bridge.service.dispatch import REMEMBERED_TOPICS, Dispatch, check_filter


class Receiver:
    """Stands for a receiver; two of them are told apart by their names."""

    def __init__(self, name: str) -> None:
        self.name = name

    def __call__(self, raw: Raw) -> None:
        raise NotImplementedError

    def __repr__(self) -> str:
        return self.name


FIRST = Receiver("first")
SECOND = Receiver("second")


@pytest.mark.parametrize(
    ("topic_filter", "topic", "matches"),
    [
        # MQTT 3.1.1, section 4.7, and its own examples
        ("sport/tennis/player1/#", "sport/tennis/player1", True),
        ("sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", True),
        ("sport/tennis/+", "sport/tennis/player1/ranking", False),
        ("sport/+", "sport", False),
        ("sport/+", "sport/", True),
        ("+/+", "/finance", True),
        ("+", "/finance", False),
        ("#", "$SYS/monitor/Clients", False),
        ("+/monitor/Clients", "$SYS/monitor/Clients", False),
        ("$SYS/#", "$SYS/monitor/Clients", True),
        ("ACCOUNTS", "Accounts", False),
    ],
)
def test_filter_reaches_topics_that_it_matches(topic_filter: str, topic: str, matches: bool) -> None:
    """A filter reaches exactly the topics that the standard says it does."""
    dispatch = Dispatch()
    dispatch.add(topic_filter, FIRST, 0)

    assert ((FIRST,) if matches else ()) == dispatch.receivers(topic)


def test_receivers_in_the_order_they_asked_each_once() -> None:
    """Receivers come in the order in which they asked, once also where several of their filters match."""
    dispatch = Dispatch()
    dispatch.add("layout/#", SECOND, 0)
    dispatch.add("layout/block/+", FIRST, 0)
    dispatch.add("layout/block/yard", SECOND, 0)

    assert (SECOND, FIRST) == dispatch.receivers("layout/block/yard")


def test_one_filter_stands_once_with_the_highest_quality() -> None:
    """A filter shared by two receivers stands once, with the higher quality of service of the two."""
    dispatch = Dispatch()
    dispatch.add("layout/#", FIRST, 1)
    dispatch.add("layout/#", SECOND, 0)

    assert {"layout/#": 1} == dispatch.subscriptions
    assert (FIRST, SECOND) == dispatch.receivers("layout/x")


def test_later_filter_counts_for_topics_already_seen() -> None:
    """A topic looked up before gets the receivers that came later, although lookups are remembered."""
    dispatch = Dispatch()
    dispatch.add("layout/#", FIRST, 0)
    dispatch.receivers("layout/x")
    dispatch.add("layout/x", SECOND, 0)

    assert (FIRST, SECOND) == dispatch.receivers("layout/x")


def test_strangers_topics_do_not_fill_memory() -> None:
    """However many topics come in, only a bounded number is remembered."""
    dispatch = Dispatch()
    dispatch.add("layout/#", FIRST, 0)
    for number in range(REMEMBERED_TOPICS + 10):
        dispatch.receivers(f"layout/{number}")

    assert len(dispatch._remembered) <= REMEMBERED_TOPICS
    assert (FIRST,) == dispatch.receivers("layout/0")


@pytest.mark.parametrize(
    "topic_filter", ["", "a/#/b", "a#", "a/b+", "+a/b", "##", "a\0b", "\ud800", "x" * 65536]
)
def test_what_is_no_filter_is_refused(topic_filter: str) -> None:
    """A filter against the standard is refused when it is asked for, and changes nothing."""
    dispatch = Dispatch()

    with pytest.raises(ValueError, match="topic filter"):
        dispatch.add(topic_filter, FIRST, 0)
    assert {} == dispatch.subscriptions


def test_quality_of_service_is_0_1_or_2() -> None:
    """Another quality of service is refused."""
    with pytest.raises(ValueError, match="must be 0, 1 or 2"):
        Dispatch().add("layout/#", FIRST, 3)


@given(st.text(alphabet="a/+#$\0é", max_size=12))
def test_filters_are_judged_as_the_library_judges_them(topic_filter: str) -> None:
    """A filter that passes here passes paho too: there a wrong one would fail in the midst of connecting."""
    judge = Client(CallbackAPIVersion.VERSION2)
    try:
        check_filter(topic_filter)
    except ValueError:
        return
    code, _ = judge.subscribe(topic_filter)

    assert MQTTErrorCode.MQTT_ERR_NO_CONN == code  # there was nothing else to object to


def test_long_topics_are_not_remembered() -> None:
    """They reach their receivers like others, and a stranger who invents them fills no memory."""
    dispatch = Dispatch()
    dispatch.add("layout/#", FIRST, 0)
    for number in range(100):
        assert (FIRST,) == dispatch.receivers(f"layout/{number}/{'x' * 60_000}")
    assert [] == list(dispatch._remembered)
    assert (FIRST,) == dispatch.receivers(f"layout/{'x' * 500}")
    assert 1 == len(dispatch._remembered)


def test_a_receiver_that_asks_again_is_no_second_one() -> None:
    """A source asks each time that it begins to listen."""
    dispatch = Dispatch()

    def receive(raw: Raw) -> None:
        del raw

    for _ in range(3):
        dispatch.add("layout/#", receive, 0)
    assert [("layout/#", receive)] == dispatch._entries
