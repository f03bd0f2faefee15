"""Lamp tests in plain text: which topics and payloads mean one, and what is said of all others."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.events.facts import read_topic
from bridge.errors import DecodeError
from bridge.events import Event, LampTestAsked, LampTestConfirmed, LampTestEnded, LampTestWay


def read(topic: str, payload: str, *, retained: bool = False) -> Event:
    return read_topic("layout", f"layout/lamp-test/{topic}").event(
        payload.encode(), 7, "bus", retained=retained
    )


def asked(way: str, area: str, seconds: int = 0, picture: str = "", mark: str = "") -> LampTestAsked:
    return LampTestAsked(
        at=7, source="bus", way=LampTestWay(way), area=area, seconds=seconds, picture=picture, mark=mark
    )


@pytest.mark.parametrize(
    ("topic", "payload", "event"),
    [
        ("chips/all", "start", asked("chips", "all")),
        ("channels/tarn-yard/throat", "60", asked("channels", "tarn-yard/throat", 60)),
        ("together/tarn-yard", "60 s a1", asked("together", "tarn-yard", 60, mark="a1")),
        ("blink/T4", " 3600 seconds ", asked("blink", "T4", 3600)),
        ("blink/Boat shed", "start a-1", asked("blink", "Boat shed", mark="a-1")),
        ("picture/a/b", "00FF7f", asked("picture", "a/b", picture="00ff7f")),
        ("picture/a/b", "00ff 90 m", asked("picture", "a/b", 90, "00ff", "m")),
        ("confirm/a/b", "17", LampTestConfirmed(at=7, source="bus", chain="a/b", mark="17")),
        ("next/a/b", "17", LampTestEnded(at=7, source="bus", chain="a/b", mark="17")),
        ("end", "17", LampTestEnded(at=7, source="bus", mark="17")),
        ("end", "any", LampTestEnded(at=7, source="bus")),
    ],
)
def test_what_can_be_said(topic: str, payload: str, event: Event) -> None:
    """Each is what a person can type with any MQTT client."""
    assert event == read(topic, payload)


@pytest.mark.parametrize(
    ("topic", "payload", "why"),
    [
        ("chips", "start", "no lamp test has such a topic"),
        ("chips/a/b/c", "start", "no lamp test has such a topic"),
        ("chips/", "start", "no lamp test has such a topic"),
        ("end/a", "any", "no lamp test has such a topic"),
        ("sparkle/a", "start", "no lamp test has such a topic"),
        ("chips/all", "", "the payload is empty"),
        ("chips/all", "soon", "`soon` is no whole number of seconds"),
        ("chips/all", "0", "`0` is no whole number of seconds"),
        ("chips/all", "60 a b", "`a b` is no mark of a lamp test"),
        ("confirm/a/b", "17 18", "`17 18` is no mark of a lamp test"),
        ("end", "all of them", "`all of them` is no mark of a lamp test"),
        ("chips/all", "x" * 200_000, "the payload is longer than 130064 bytes"),
    ],
)
def test_what_means_nothing_is_told_with_what_would(topic: str, payload: str, why: str) -> None:
    """The message says what is wrong, and beside it stands what is understood."""
    with pytest.raises(DecodeError) as caught:
        read(topic, payload)
    assert str(caught.value).startswith(why)
    assert caught.value.expected


@pytest.mark.parametrize("topic", ["chips/all", "confirm/a/b", "end"])
def test_a_kept_copy_is_refused(topic: str) -> None:
    """Whoever kept it may stand before the layout no more."""
    with pytest.raises(DecodeError, match="a retained copy neither starts nor confirms nor ends a lamp test"):
        read(topic, "17", retained=True)


@given(
    st.lists(st.sampled_from(["chips", "picture", "confirm", "end", "all", "", "é", "a"]), max_size=4),
    st.text(max_size=20),
)
def test_whatever_comes_is_an_event_or_one_kind_of_error(levels: list[str], payload: str) -> None:
    """Nothing that somebody may publish gets any further."""
    found: Any = None
    try:
        found = read("/".join(levels), payload)
    except DecodeError:
        return
    assert (7, "bus") == (found.at, found.source)
