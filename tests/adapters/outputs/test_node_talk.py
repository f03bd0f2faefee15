"""What nodes say."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.outputs.node_talk import (
    LONGEST_ANNOUNCEMENT,
    Announcement,
    Shown,
    frame_topic,
    node_topic,
    read_announcement,
    read_shown,
    shown_topic,
    write_announcement,
    write_shown,
)
from bridge.errors import DecodeError

BITS32 = st.integers(0, 2**32 - 1)


def test_each_chain_and_node_has_its_topics() -> None:
    """Node first, then chain."""
    assert "lamproom/frame/tarn-yard/throat" == frame_topic("tarn-yard", "throat")
    assert "lamproom/shown/tarn-yard/throat" == shown_topic("tarn-yard", "throat")
    assert "lamproom/node/tarn-yard" == node_topic("tarn-yard")


def test_an_acknowledgement_is_two_decimal_numbers() -> None:
    """Term, one space, sequence."""
    assert b"513 17" == write_shown(Shown(513, 17))
    assert Shown(513, 17) == read_shown(b"513 17")
    assert Shown(513, 17) == read_shown(b"513 17\r\n")


@given(BITS32, BITS32)
def test_every_acknowledgement_is_understood(term: int, sequence: int) -> None:
    """Both numbers over their whole range."""
    assert Shown(term, sequence) == read_shown(write_shown(Shown(term, sequence)))


@pytest.mark.parametrize(
    "payload",
    [
        b"",
        b"513",
        b"513  17",
        b"513 17 1",
        b"-1 17",
        b"0x1 2",
        b"4294967296 0",
        b"0 4294967296",
        b"\xff",
        b"1 " * 500_000,
    ],
)
def test_what_is_no_acknowledgement_is_refused(payload: bytes) -> None:
    """The payload comes along, cut."""
    with pytest.raises(DecodeError) as refused:
        read_shown(payload)
    assert len(refused.value.received) < 120
    assert "513 17" in refused.value.expected


def test_an_announcement_says_who_is_here() -> None:
    """The term where the node gives it; keys of its own are passed over."""
    payload = b'{"state": "here", "term": 513, "uptime": 12.7, "heap": 90112, "term2": [1]}'
    assert Announcement("here", 513) == read_announcement(payload)
    assert Announcement("here") == read_announcement(b'{"state": "here"}')
    assert Announcement("gone") == read_announcement(b'{"state":"gone"}')
    assert Announcement("here", 0, "e661") == read_announcement(b'{"state":"here","term":0,"board":"e661"}')


def test_an_announcement_is_written_as_it_is_read() -> None:
    """With a node's own figures after what is known here."""
    payload = write_announcement(Announcement("here", 513), heap=90112)
    assert {"state": "here", "term": 513, "heap": 90112} == json.loads(payload)
    assert b'{"state": "gone"}' == write_announcement(Announcement("gone"))


@given(st.sampled_from(["here", "gone"]), st.none() | BITS32)
def test_every_announcement_is_understood(state: str, term: int | None) -> None:
    """Both states, with and without figures."""
    announcement = Announcement("here" if state == "here" else "gone", term)
    assert announcement == read_announcement(write_announcement(announcement))


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"", "empty"),
        (b"here", "not JSON"),
        (b"\xff", "not JSON"),
        (b"[" * 4000, "not JSON"),
        (b"9" * 4096, '"state"'),
        (b'"here"', '"state"'),
        (b"{}", '"state"'),
        (b'{"state": "Here"}', '"state"'),
        (b'{"state": ["here"]}', '"state"'),
        (b'{"state": "here", "term": -1}', '"term"'),
        (b'{"state": "here", "term": 4294967296}', '"term"'),
        (b'{"state": "here", "term": true}', '"term"'),
        (b'{"state": "here", "term": "513"}', '"term"'),
        (b'{"state": "here", "board": 7}', '"board"'),
        (b'{"state": "here", "board": ""}', '"board"'),
        (b'{"state": "here", "board": "a\\nb"}', '"board"'),
        (b'{"state": "here", "board": "' + b"x" * 65 + b'"}', '"board"'),
        (b'{"state": "here"}' + b" " * LONGEST_ANNOUNCEMENT, "longer than"),
    ],
)
def test_what_is_no_announcement_is_refused(payload: bytes, reason: str) -> None:
    """The message names the part that is wrong."""
    with pytest.raises(DecodeError) as refused:
        read_announcement(payload)
    assert reason in str(refused.value)
    assert refused.value.expected


@given(
    st.binary()
    | st.text().map(str.encode)
    | st.recursive(st.none() | st.floats(), st.lists).map(json.dumps).map(str.encode)
)
def test_any_bytes_are_understood_or_refused(payload: bytes) -> None:
    """Nothing but DecodeError comes out of either reader."""
    for read in (read_shown, read_announcement):
        try:
            read(payload)
        except DecodeError as error:
            refused = error.received
            refused.encode()
