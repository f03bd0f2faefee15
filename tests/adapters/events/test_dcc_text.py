"""Packets as text and as bits, and what is said of them."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.events.dcc_packets import decode, error_byte
from adapters.events.dcc_text import from_bits, read_text, write_text
from adapters.events.dcc_words import describe
from bridge.errors import DecodeError
from tests.support.rails import SENT_PREAMBLE, on_the_rails

PACKET = bytes.fromhex("81F978")
BITS = "11111111111111 0 10000001 0 11111001 0 01111000 1"

PACKETS = st.binary(min_size=3, max_size=15)


def test_the_whole_stream_of_a_packet() -> None:
    """Accessory 1 normal is these 42 bits on the rails: preamble of 14, start bits and end bit of NMRA S-9.2."""
    assert 42 == len(BITS.replace(" ", ""))
    assert BITS.replace(" ", "") == on_the_rails(PACKET)
    assert PACKET == from_bits(BITS)
    assert PACKET == read_text(BITS)


@given(PACKETS, st.integers(SENT_PREAMBLE, 40))
def test_bits_there_and_back(packet: bytes, preamble: int) -> None:
    """Any packet is read from its bits as it was, whatever the length of its preamble."""
    assert packet == from_bits(on_the_rails(packet, preamble))
    assert packet == read_text(on_the_rails(packet, preamble))


@pytest.mark.parametrize(("ones", "good"), [(9, False), (10, True), (12, True)])
def test_the_shortest_preamble(ones: int, good: bool) -> None:
    """A decoder takes no preamble of fewer than 10 ones, and asks for no more than 12 (NMRA S-9.2)."""
    bits = "1" * ones + on_the_rails(PACKET).lstrip("1")
    if good:
        assert PACKET == from_bits(bits)
    else:
        with pytest.raises(DecodeError, match="the preamble has 9 ones"):
            from_bits(bits)


def test_every_cut_of_a_stream_is_noticed() -> None:
    """A stream that ends early, goes on, or has something else than bits, is refused with the reason."""
    bits = on_the_rails(PACKET)
    for end in range(15, len(bits)):
        with pytest.raises(DecodeError, match="the bits end within the packet"):
            from_bits(bits[:end])
    with pytest.raises(DecodeError, match="bits follow behind"):
        from_bits(bits + "0" * 9 + "11")
    with pytest.raises(DecodeError, match="only 0 and 1"):
        from_bits(bits + "2")
    with pytest.raises(DecodeError, match="the preamble has 0 ones"):
        from_bits("")


@pytest.mark.parametrize(
    "text",
    [
        "81 F9 78",
        "81f978",
        "  81  F9\t78 ",
        "0x81, 0xF9, 0x78",
        "0x81F978",
        "81:f9:78",
        "81-F9-78",
        "81;F9;78",
    ],
)
def test_ways_of_writing_bytes(text: str) -> None:
    """Digits large or small, apart or together, with or without `0x`."""
    assert PACKET == read_text(text)


@given(PACKETS)
def test_text_there_and_back(packet: bytes) -> None:
    """Bytes are read from their text as they were."""
    assert packet == read_text(write_text(packet)) == read_text(packet.hex())


@pytest.mark.parametrize(
    "text", ["81 F9 7", "81 F", "8 1F978", "hello", "81 F9 78 ok", "81,,F9", "€", "81 F9 0x"]
)
def test_what_is_no_text_of_bytes_is_refused(text: str) -> None:
    """A line that is something else is refused with what would have been understood."""
    with pytest.raises(DecodeError, match="is not a byte in hexadecimal") as problem:
        read_text(text)
    assert "`81 F9 78`" in problem.value.expected


anything = st.one_of(
    st.text(max_size=30),
    st.text("0123456789abcdefABCDEFxX ,;:-", max_size=30),
    st.from_regex(r"((0[xX])?[0-9A-Fa-f]{2}\s?[,;:-]?\s?){1,6}", fullmatch=True),
)


@given(anything)
def test_any_text_is_bytes_or_refused(text: str) -> None:
    """Whatever somebody types, nothing but a DecodeError comes of it; and bytes have the digits that were typed."""
    try:
        packet = read_text(text)
    except DecodeError:
        return
    assert re.sub(r"0x|[\s,;:-]", "", text.lower()) == packet.hex()
    assert packet == read_text(write_text(packet))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("81 F9", "basic accessory packet: accessory 1 (decoder 1, pair 0) is ordered normal"),
        (
            "81 F0",
            (
                "basic accessory packet: the output for reverse of accessory 1 (decoder 1, pair 0) is released, which"
                " orders nothing"
            ),
        ),
        (
            "BF 88",
            (
                "basic accessory packet: all basic accessories on pair 0 of their decoders (broadcast, as number 2041)"
                " are ordered reverse"
            ),
        ),
        ("BF 86", "basic accessory packet: emergency stop of all basic accessories"),
        ("81 71 05", "extended accessory packet: accessory 1 is ordered to show aspect 5"),
        ("81 71 00", "extended accessory packet: accessory 1 is ordered to show aspect 0, absolute stop"),
        (
            "BF 07 05",
            (
                "extended accessory packet: all extended accessories (broadcast, as number 2044) are ordered to show"
                " aspect 5"
            ),
        ),
        (
            "BF 07 00",
            (
                "extended accessory packet: all extended accessories (broadcast, as number 2044) are ordered to show"
                " aspect 0, absolute stop: the emergency stop"
            ),
        ),
        (
            "81 F0 EC 1C 05",
            "programming: a value is written to variable 29 of accessory decoder 1 (05), and nothing is ordered",
        ),
        (
            "81 F9 E4 1C 05",
            (
                "programming: a value is compared with variable 29 of the output for normal of accessory 1 (05), and"
                " nothing is ordered"
            ),
        ),
        (
            "81 71 E8 1C F9",
            (
                "programming: one bit is written or compared in variable 29 of extended accessory 1 (F9), and nothing"
                " is ordered"
            ),
        ),
        (
            "81 7C 05",
            "programming in the old form: 5 is written to variable 513 of accessory decoder 1, and nothing is ordered",
        ),
        (
            "81 78",
            "no operation for basic accessory 1: its decoder may answer, and nothing is ordered",
        ),
        (
            "81 70",
            "a packet for accessories of a form that the standard leaves free: nothing is ordered by it",
        ),
        ("FF 00", "idle packet; it is not for an accessory"),
        ("00 00", "reset packet for all decoders; it is not for an accessory"),
        ("00 60", "packet for all locomotives: speed forward; it is not for an accessory"),
        (
            "03 3F 80",
            "packet for locomotive 3: an advanced operation, such as speed in 128 steps; it is not for an accessory",
        ),
        (
            "C3 E8 90",
            "packet for locomotive 1000 (long address): functions of group one; it is not for an accessory",
        ),
        ("FE 01 02", "packet of a form that the standard keeps for itself; it is not for an accessory"),
        ("C0 03", "packet of a form that the standard keeps for itself; it is not for an accessory"),
    ],
)
def test_what_a_packet_is_said_to_be(text: str, said: str) -> None:
    """Each kind of packet has a sentence of its own; instructions to locomotives are those of S-9.2.1 part C."""
    content = bytes.fromhex(text)
    assert said == describe(decode(content + bytes((error_byte(content),))))


@given(st.binary(min_size=2, max_size=14))
def test_something_is_said_of_any_packet(content: bytes) -> None:
    """No packet leaves its reader without a sentence."""
    assert describe(decode(content + bytes((error_byte(content),))))
