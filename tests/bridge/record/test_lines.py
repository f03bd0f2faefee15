"""What a line of the log says is what was written, and nothing else comes out of reading one."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import bridge
from bridge.commands import Cause, Decision, Note, Told
from bridge.errors import DecodeError
from bridge.record.digests import text_digest
from bridge.record.lines import (
    End,
    Frame,
    Header,
    Input,
    Line,
    Lost,
    Refused,
    Rendered,
    _data,
    line_bytes,
    pack,
)
from bridge.record.parse import LAST_INSTANT, parse_line
from tests.bridge.record.sessions import events

ats = st.integers(0, LAST_INSTANT)
words = st.text(max_size=12)
counts = st.integers(1, 2**40)
digests = st.dictionaries(words, st.binary(min_size=16, max_size=16).map(bytes.hex), max_size=3)


def header_of(text: str, layout: str) -> Header:
    return Header("2026", "0.1.0", "3.11", "2.4", layout, "a.yaml", text_digest(text), text, "00ff")


@st.composite
def inputs(draw: st.DrawFn) -> Input:
    raw = draw(st.none() | st.tuples(words, st.binary(max_size=20), st.booleans()))
    made = tuple(draw(st.lists(events, max_size=2)))
    took = draw(st.none() | ats)
    plain = Input(draw(counts), draw(ats), draw(words), made, took=took)
    return plain if raw is None else Input(plain.number, plain.at, plain.source, made, *raw, took)


lines: st.SearchStrategy[Line] = st.one_of(
    st.builds(header_of, st.text(), words),
    inputs(),
    st.builds(Refused, counts, ats, words, words, st.binary(max_size=20), counts, words, st.booleans()),
    st.builds(Decision, ats, words, words, words, words, st.lists(counts, max_size=3).map(tuple)),
    st.builds(Told, ats, words, words, words, words, st.lists(counts, max_size=3).map(tuple)),
    st.builds(Note, ats, words, counts),
    st.builds(Frame, words, ats, st.sampled_from(Cause), st.binary(max_size=20)),
    st.builds(Rendered, st.lists(ats).map(tuple), st.none() | digests),
    st.builds(Lost, counts, ats),
    st.builds(End, ats, counts, digests),
)


@given(lines)
def test_a_line_is_read_as_it_was_written(line: Line) -> None:
    """Every kind of line comes back from its bytes, and takes one line of UTF-8."""
    data = line_bytes(line)
    assert [data] == data.splitlines(keepends=True)
    assert data.decode("utf-8")
    assert line == parse_line(data)


@given(lines | st.builds(Note, ats, st.text(st.characters(exclude_categories=())), counts))
def test_a_line_is_written_as_the_standard_library_writes_json(line: Line) -> None:
    """In its shortest form, with all that is Unicode as it is: whichever of two did it, the bytes are these."""
    text = json.dumps(_data(line), ensure_ascii=False, separators=(",", ":"))
    assert text.encode("utf-8", "backslashreplace") + b"\n" == line_bytes(line)
    assert line == parse_line(line_bytes(line))


def test_a_lone_surrogate_survives() -> None:
    """A name with a byte that was never UTF-8 is written as ASCII, and comes back."""
    line = Note(1, "odd \udc80 name", 2)
    assert b'{"note":"odd \\udc80 name","at":1,"event":2}\n' == line_bytes(line)
    assert line == parse_line(line_bytes(line))


def test_a_payload_is_readable_where_it_can_be() -> None:
    """Clean UTF-8 stands as text, anything else in base64, and a kept copy says so."""
    clean = Input(1, 5, "bus", (), "layout/clock", "größe".encode(), retained=True)
    assert (
        '{"in":1,"at":5,"source":"bus","channel":"layout/clock","raw":"größe","retained":true,"events":[]}\n'
        == (line_bytes(clean).decode())
    )
    other = Input(1, 5, "bus", (), "x", b"\xff")
    assert {"base64": "/w=="} == json.loads(line_bytes(other))["raw"]


@pytest.mark.parametrize(
    ("instants", "packed"),
    [
        ((), []),
        ((7,), [7]),
        ((7, 9), [7, 9]),
        ((7, 9, 11), [[7, 2, 3]]),
        ((0, 7, 9, 11, 20), [0, [7, 2, 3], 20]),
        ((5, 5, 5), [5, 5, 5]),
    ],
)
def test_even_runs_of_instants_are_short(instants: tuple[int, ...], packed: list[Any]) -> None:
    """Three or more instants at even distances take three numbers."""
    assert packed == pack(instants)


@given(st.binary(max_size=60))
def test_bytes_are_a_line_or_refused(data: bytes) -> None:
    """Arbitrary bytes give a line or a DecodeError, and no other error."""
    refused_or_line(data)


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=5,
)


@given(lines, st.data())
def test_a_bent_line_is_a_line_or_refused(line: Line, data: st.DataObject) -> None:
    """A line of the log with one value replaced, dropped or added gives a line or a DecodeError."""
    said = json.loads(line_bytes(line))
    target = said
    key = data.draw(st.sampled_from(sorted(target)))
    while isinstance(target[key], dict) and target[key] and data.draw(st.booleans()):
        target = target[key]
        key = data.draw(st.sampled_from(sorted(target)))
    if isinstance(target[key], list) and target[key] and data.draw(st.booleans()):
        target[key][0] = data.draw(json_values)
    else:
        target[key] = data.draw(json_values)
    refused_or_line(json.dumps(said).encode())
    del target[key]
    refused_or_line(json.dumps(said).encode())
    said["more"] = 1
    with pytest.raises(DecodeError):
        parse_line(json.dumps(said).encode())


@given(
    st.recursive(json_values, lambda inner: st.fixed_dictionaries({"kind": inner, "at": inner}), max_leaves=3)
)
def test_a_bent_event_is_refused(event: Any) -> None:
    """What stands in the place of an event, and is none, is refused."""
    with pytest.raises(DecodeError):
        parse_line(json.dumps({"in": 1, "at": 1, "source": "bus", "events": [event]}).encode())


def refused_or_line(data: bytes) -> None:
    """Read a line, and what was made of it once more, if it is one."""
    try:
        line = parse_line(data)
    except DecodeError:
        return
    assert line == parse_line(line_bytes(line))


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("nonsense", "this is not JSON: "),
        ("[" * 100_000, "this is not JSON: "),
        ('{"at": 1, "note": ""}', "no line of a session log begins with 'at'"),
        ("{}", "no line of a session log begins with None"),
        ('{"note":"x","at":-1,"event":1}', "'at' is -1, and not a whole number from 0"),
        ('{"note":"x","at":true,"event":1}', "'at' is True, and not a whole number from 0"),
        ('{"note":"x","at":9223372036854775808,"event":1}', "'at' is 9223372036854775808, and not"),
        ('{"note":"x","event":1}', "'at' is missing"),
        ('{"rendered":[[0,1,1000000000000]]}', "a run of 1000000000000 instants is not believed"),
        ('{"frame":"a/b","at":1,"cause":"whim","levels":""}', "no frame has the cause 'whim'"),
        ('{"frame":"a/b","at":1,"cause":"last","levels":"0g"}', "'levels' is not hexadecimal"),
        ('{"log":"another","format":1}', "this is not a session log of lamproom"),
        (
            '{"log":"lamproom","format":4,"news":[]}',
            f"this log has format 4, and lamproom {bridge.__version__} reads formats up to 3",
        ),
    ],
)
def test_a_refusal_says_why(text: str, why: str) -> None:
    """A line that cannot be read says what is wrong with it."""
    with pytest.raises(DecodeError) as caught:
        parse_line(text.encode())
    assert str(caught.value).startswith(why)


def test_a_damaged_layout_is_found() -> None:
    """The layout file within a header must agree with its digest."""
    header = header_of("layout: Mossbank\n", "Mossbank")
    said = json.loads(line_bytes(header))
    said["layout"]["digest"] = "00" * 16
    with pytest.raises(DecodeError, match="does not agree with its own digest"):
        parse_line(json.dumps(said).encode())
