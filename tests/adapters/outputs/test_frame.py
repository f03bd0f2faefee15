"""The frame on the wire."""

from __future__ import annotations

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.outputs.frame import (
    FORMAT,
    HEADER_LENGTH,
    KEEP_ALIVE,
    LAMP_TEST,
    LAST,
    Header,
    decode,
    encode,
    newer,
)
from bridge.errors import DecodeError

BITS32 = st.integers(0, 2**32 - 1)


def test_a_frame_has_its_fields_where_the_table_says() -> None:
    """Format, flags, two free bytes, term and sequence big-endian, then the levels from offset 12."""
    expected = bytes.fromhex("01 05 0000 00000201 0a0b0c0d") + b"\xff\x80\x00"
    assert expected == encode(KEEP_ALIVE | LAST, 513, 0x0A0B0C0D, b"\xff\x80\x00")
    assert (1, 12) == (FORMAT, HEADER_LENGTH)


def test_the_flags_are_bits_of_their_own() -> None:
    """Bit 0 keep-alive, bit 1 lamp test, bit 2 last."""
    assert (1, 2, 4) == (KEEP_ALIVE, LAMP_TEST, LAST)


@given(st.integers(0, 255), BITS32, BITS32, st.binary())
def test_what_is_encoded_is_decoded(flags: int, term: int, sequence: int, levels: bytes) -> None:
    """Header and levels come back as they were."""
    assert (Header(flags, term, sequence), levels) == decode(encode(flags, term, sequence, levels))


@pytest.mark.parametrize(
    ("flags", "term", "sequence"), [(256, 0, 0), (0, 2**32, 0), (0, 0, 2**32), (0, -1, 0)]
)
def test_a_number_that_its_field_cannot_hold_is_our_own_fault(flags: int, term: int, sequence: int) -> None:
    """It is not cut in silence."""
    with pytest.raises(struct.error):
        encode(flags, term, sequence, b"")


def test_the_free_bytes_may_hold_anything() -> None:
    """Who reads format 1 passes them over."""
    assert (Header(0, 7, 9), b"x") == decode(bytes.fromhex("01 00 ffff 00000007 00000009") + b"x")


@pytest.mark.parametrize(
    ("message", "reason"),
    [
        (b"", "a frame has at least 12 bytes, and this has 0"),
        (b"\x01" * 11, "a frame has at least 12 bytes, and this has 11"),
        (b"\x02" * 12, "the frame is of format 2"),
    ],
)
def test_what_is_no_frame_is_refused(message: bytes, reason: str) -> None:
    """Too short, or of a format that is not known here."""
    with pytest.raises(DecodeError) as refused:
        decode(message)
    assert reason == str(refused.value)


@given(st.binary())
def test_any_bytes_are_a_frame_or_refused(message: bytes) -> None:
    """Nothing but DecodeError comes out."""
    try:
        header, levels = decode(message)
    except DecodeError:
        return
    assert message[12:] == levels
    assert message[4:12] == struct.pack(">II", header.term, header.sequence)


@pytest.mark.parametrize(
    ("a", "b", "expected"),
    [
        (1, 0, True),
        (0, 1, False),
        (5, 5, False),
        # After the examples of RFC 1982, section 5.2, with 32 bits instead of 8: 0 > 255 and 44 > 200.
        (0, 2**32 - 1, True),
        (2**32 - 1, 0, False),
        (44, 2**32 - 100, True),
        (2**31 - 1, 0, True),
        (2**31, 0, False),  # exactly half the circle apart: left open by the RFC, and neither is newer here
        (0, 2**31, False),
        (2**31 + 1, 0, False),
    ],
)
def test_sequences_are_compared_by_rfc_1982(a: int, b: int, expected: bool) -> None:
    """A sequence that has wrapped is newer than one that has not."""
    assert expected is newer(a, b)


@given(BITS32, st.integers(1, 2**31 - 1))
def test_adding_to_a_sequence_makes_it_newer(sequence: int, step: int) -> None:
    """RFC 1982, section 3.1: that holds for every step of less than half the circle."""
    later = (sequence + step) % 2**32
    assert newer(later, sequence)
    assert not newer(sequence, later)
