"""Members of JSON payloads: by RFC 6901, and bounded."""

from __future__ import annotations

import json
import time
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given

from adapters.events.mapped import members
from adapters.events.mapped.members import DEEPEST, LONGEST_JSON, MISSING, look, read_json, read_pointer
from bridge.errors import DecodeError
from tests.support.mapped import JSON_VALUES
from tests.support.waiting import PATIENCE

# RFC 6901, section 5: the document and what each pointer evaluates to.
DOCUMENT = {
    "foo": ["bar", "baz"],
    "": 0,
    "a/b": 1,
    "c%d": 2,
    "e^f": 3,
    "g|h": 4,
    "i\\j": 5,
    'k"l': 6,
    " ": 7,
    "m~n": 8,
}
EVALUATES_TO = {
    "": DOCUMENT,
    "/foo": ["bar", "baz"],
    "/foo/0": "bar",
    "/": 0,
    "/a~1b": 1,
    "/c%d": 2,
    "/e^f": 3,
    "/g|h": 4,
    "/i\\j": 5,
    '/k"l': 6,
    "/ ": 7,
    "/m~0n": 8,
}


@pytest.mark.parametrize("pointer", EVALUATES_TO)
def test_pointers_evaluate_as_published(pointer: str) -> None:
    """The table of RFC 6901, section 5."""
    assert EVALUATES_TO[pointer] == look(read_json(json.dumps(DOCUMENT).encode()), read_pointer(pointer))


@pytest.mark.parametrize("pointer", ["/none", "/foo/2", "/foo/-", "/foo/01", "/foo/0/x", "//x", "/~01"])
def test_what_is_not_there_is_missing(pointer: str) -> None:
    """`~01` is `~1` and no slash (RFC 6901, section 4), and an index has no zeros before it."""
    assert MISSING is look(DOCUMENT, read_pointer(pointer))


@pytest.mark.parametrize(
    ("pointer", "message"),
    [
        ("state.on", "such as /state/on"),
        (5, "such as /5"),
        ("/a~b", "write ~0 for it"),
        ("/a" * 17, "too deep"),
    ],
)
def test_what_is_no_pointer_is_refused_with_a_remedy(pointer: Any, message: str) -> None:
    """The usual slip is dots."""
    with pytest.raises(ValueError, match=message):
        read_pointer(pointer)


@pytest.mark.parametrize(
    ("payload", "message"),
    [
        (b"", "no JSON"),
        (b"{", "no JSON"),
        (b'{"a": 1, "b": {"a": 2, "a": 3}}', "'a' stands twice"),
        (b"NaN", "NaN is no number"),
        (b"[-Infinity]", "-Infinity is no number"),
        (b"1" * 41, "too long"),
        (b"1e9999999999999999999", "too large"),
        (b"\xff", "not UTF-8"),
        (b" " * (LONGEST_JSON + 1), f"longer than {LONGEST_JSON} bytes"),
        (b"[" * (DEEPEST + 1) + b"]" * (DEEPEST + 1), "nested deeper"),
        (b'{"a":' * 3000, "nested deeper"),
    ],
)
def test_what_cannot_be_read_is_refused(payload: bytes, message: str) -> None:
    """Each for its own reason, and none by what the stack happens to bear."""
    with pytest.raises(DecodeError, match=message):
        read_json(payload)


def test_brackets_inside_text_are_no_depth() -> None:
    """Also where a quote is written inside it."""
    text = '[{"' * 40 + "\\"
    assert [text] == read_json(json.dumps([text]).encode())


def test_numbers_are_exact() -> None:
    """A tenth is a tenth, and a large number is no infinity."""
    assert [Decimal("0.1"), Decimal("1E+400"), Decimal(2)] == read_json(b"[0.1, 1e400, 2]")


@given(JSON_VALUES)
def test_what_python_reads_is_read_the_same(value: Any) -> None:
    """By the decoder of the standard library, except for what is no JSON (RFC 8259) or too much."""
    text = json.dumps(value)
    exact = json.loads(text, parse_int=Decimal, parse_float=Decimal)
    try:
        assert exact == read_json(text.encode())
    except DecodeError as problem:
        reason = str(problem)
    else:
        return
    assert any(word in reason for word in ("no number", "deeper", "too long"))


@pytest.mark.parametrize(
    ("head", "piece"), [(b'"', b'\\"'), (b"", b'"\\'), (b"", b"{"), (b"", b'[""'), (b"[1", b"0")]
)
def test_no_payload_takes_long(head: bytes, piece: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is made to be costly, sixteen times as long as a payload may be, takes this thread a tenth of a second.

    Two hundred times as much would be allowed on the busiest machine; time that grows by the square is 85 seconds.
    """
    longest = 16 * LONGEST_JSON
    monkeypatch.setattr(members, "LONGEST_JSON", longest)
    payload = (b"[" * 17 + head + piece * longest)[:longest]
    begun = time.thread_time()
    with pytest.raises(DecodeError):
        read_json(payload)
    assert PATIENCE > time.thread_time() - begun
