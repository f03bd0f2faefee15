"""What came in, made fit for a message."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.cut import cut


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (b"reverse", "reverse"),
        (b"reverse\n", "reverse\\n"),
        (b"\xff\x00", "\\xff\\x00"),
        ("Größe", "Größe"),
        ("\x1b[31m", "\\x1b[31m"),
        ("\ud800", "\\ud800"),
        (b"", ""),
    ],
)
def test_what_cannot_be_printed_is_shown_by_its_escape(value: str | bytes, shown: str) -> None:
    """Text stays as it is, everything else becomes an escape."""
    assert shown == cut(value)


def test_what_is_long_is_cut_and_its_length_named() -> None:
    """The first characters stand there, then how much it was."""
    assert "xxxx… (1000000 bytes)" == cut(b"x" * 1_000_000, 4)
    assert "xxxx… (5 characters)" == cut("x" * 5, 4)
    assert "xxxx" == cut("x" * 4, 4)


@given(st.one_of(st.binary(), st.text(st.characters())))
def test_whatever_comes_out_can_be_printed_anywhere(value: str | bytes) -> None:
    """The result is printable and can be written as UTF-8."""
    shown = cut(value)
    assert shown.isprintable()
    shown.encode()
