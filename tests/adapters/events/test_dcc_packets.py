"""Accessory packets are what the standards say, and every packet is read back as what it was made from."""

from __future__ import annotations

import random
from itertools import product
from typing import Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.events.dcc_packets import (
    AccessoryNop,
    BasicAccessory,
    ExtendedAccessory,
    OldProgramming,
    Operation,
    OtherPacket,
    Packet,
    Programming,
    ReservedAccessory,
    decode,
    decoder_of,
    encode,
    error_byte,
    shift_number,
)
from bridge.errors import DecodeError
from bridge.events import ACCESSORY_NUMBERS, ASPECT_NUMBERS, Position

NORMAL, REVERSE = Position.NORMAL, Position.REVERSE

# By the rules of NMRA S-9.2.1 (July 2012) part D and the polarity of OpenLCB Event Identifiers TN (2024) 2.5.3.3.
# Number, decoder, pair, normal, reverse.
BASIC: Final = [
    (1, 1, 0, "81 F9 78", "81 F8 79"),
    (2, 1, 1, "81 FB 7A", "81 FA 7B"),
    (4, 1, 3, "81 FF 7E", "81 FE 7F"),
    (5, 2, 0, "82 F9 7B", "82 F8 7A"),
    (37, 10, 0, "8A F9 73", "8A F8 72"),
    (38, 10, 1, "8A FB 71", "8A FA 70"),
    (252, 63, 3, "BF FF 40", "BF FE 41"),
    (256, 64, 3, "80 EF 6F", "80 EE 6E"),
    (257, 65, 0, "81 E9 68", "81 E8 69"),
    (2041, 511, 0, "BF 89 36", "BF 88 37"),
    (2044, 511, 3, "BF 8F 30", "BF 8E 31"),
    (2045, 0, 0, "80 F9 79", "80 F8 78"),
    (2048, 0, 3, "80 FF 7F", "80 FE 7E"),
]

# The same, part D for the form and 2.5.3.6 for eight bits of aspect. Number, aspect, packet.
EXTENDED: Final = [
    (1, 0, "81 71 00 F0"),
    (1, 5, "81 71 05 F5"),
    (1, 255, "81 71 FF 0F"),
    (2, 5, "81 73 05 F7"),
    (4, 0, "81 77 00 F6"),
    (5, 5, "82 71 05 F6"),
    (37, 5, "8A 71 05 FE"),
    (2044, 0, "BF 07 00 B8"),
    (2045, 0, "80 71 00 F1"),
]

# OpenLCB Event Identifiers TN (2024) 2.5.3.6: the first two bytes of an extended packet.
PUBLISHED_ADDRESSES: Final = {
    1: "10000001 01110001",
    2: "10000001 01110011",
    3: "10000001 01110101",
    4: "10000001 01110111",
    2043: "10111111 00000101",
    2044: "10111111 00000111",
    2045: "10000000 01110001",
    2048: "10000000 01110111",
}


@pytest.mark.parametrize(("number", "decoder", "pair", "normal", "reverse"), BASIC)
def test_basic_packets(number: int, decoder: int, pair: int, normal: str, reverse: str) -> None:
    """A basic accessory packet is made and read as the standard says, both outputs."""
    assert (decoder, pair) == decoder_of(number)
    for position, text in ((NORMAL, normal), (REVERSE, reverse)):
        packet = BasicAccessory(number, position)
        assert bytes.fromhex(text) == encode(packet)
        assert packet == decode(bytes.fromhex(text))
        assert (decoder == 511) == packet.broadcast


@pytest.mark.parametrize(("text", "position"), [("81 F1 70", NORMAL), ("81 F0 71", REVERSE)])
def test_released_output(text: str, position: Position) -> None:
    """With C = 0 an output is released (S-9.2.1 part D)."""
    packet = BasicAccessory(1, position, active=False)
    assert bytes.fromhex(text) == encode(packet)
    assert packet == decode(bytes.fromhex(text))


@pytest.mark.parametrize(("number", "aspect", "text"), EXTENDED)
def test_extended_packets(number: int, aspect: int, text: str) -> None:
    """An extended accessory packet is made and read as the standard says."""
    packet = ExtendedAccessory(number, aspect)
    assert bytes.fromhex(text) == encode(packet)
    assert packet == decode(bytes.fromhex(text))


@pytest.mark.parametrize(("number", "bits"), PUBLISHED_ADDRESSES.items())
def test_published_addresses(number: int, bits: str) -> None:
    """The address of an extended packet has the bits that are published."""
    assert bits == " ".join(f"{byte:08b}" for byte in encode(ExtendedAccessory(number, 0))[:2])


@pytest.mark.parametrize(
    ("aspect", "bits"), [(0x04, "0000-0100"), (0x3A, "0011-1010"), (0x9F, "1001-1111"), (0x40, "0100-0000")]
)
def test_aspects_of_nem_672(aspect: int, bits: str) -> None:
    """The aspects that NEM 672 (2015), section 3.4 and note 4, gives as examples pass whole, all eight bits."""
    data = encode(ExtendedAccessory(37, aspect))
    assert bits.replace("-", "") == f"{data[2]:08b}"
    assert ExtendedAccessory(37, aspect) == decode(data)


def test_every_basic_packet_there_and_back() -> None:
    """All 2048 numbers, both outputs, on and off: 8192 packets, each another one, and each read back."""
    made = {}
    for number, position, active in product(ACCESSORY_NUMBERS, (NORMAL, REVERSE), (True, False)):
        packet = BasicAccessory(number, position, active)
        data = encode(packet)
        assert packet == decode(data)
        assert 0 == error_byte(data)
        made[data] = packet
    assert 8192 == len(made)


def test_every_extended_packet_there_and_back() -> None:
    """All 2048 numbers with all 256 aspects are read back, and none like another."""
    made = {
        encode(ExtendedAccessory(*each)): each
        for each in product(ACCESSORY_NUMBERS, (0, 1, 31, 32, 127, 255))
    } | {encode(ExtendedAccessory(*each)): each for each in product((1, 64, 2044, 2048), ASPECT_NUMBERS)}
    assert 2048 * 6 + 4 * 250 == len(made)
    assert all(ExtendedAccessory(*each) == decode(data) for data, each in made.items())


def test_addresses_by_another_way() -> None:
    """The eleven bits that a decoder puts together from a packet are `number + 3`, worked out bit by bit."""
    for number in ACCESSORY_NUMBERS:
        first, second, _ = (f"{byte:08b}" for byte in encode(BasicAccessory(number, NORMAL)))
        high = second[1:4].translate(str.maketrans("01", "10"))
        assert ("10", "1") == (first[:2], second[0])
        assert (number + 3) % 2048 == int(high + first[2:] + second[5:7], 2)


def test_emergency_stops() -> None:
    """The emergency stops are told apart: extended by S-9.2.1 (broadcast, aspect 0), basic by RCN-213 from memory."""
    stop = decode(bytes.fromhex("BF 07 00 B8"))
    assert isinstance(stop, ExtendedAccessory)
    assert stop.emergency_stop
    assert stop.broadcast
    basic = decode(bytes.fromhex("BF 86 39"))
    assert isinstance(basic, BasicAccessory)
    assert basic.emergency_stop
    assert basic.broadcast
    assert not ExtendedAccessory(2044, 1).emergency_stop
    assert not ExtendedAccessory(2043, 0).emergency_stop
    assert not BasicAccessory(2044, REVERSE).emergency_stop
    assert not BasicAccessory(252, REVERSE).broadcast


@given(st.sampled_from(ACCESSORY_NUMBERS), st.integers(-4096, 4096))
def test_offsets_undo_each_other(number: int, offset: int) -> None:
    """An offset and its negative are inverses for every number, and lead to no number outside."""
    there = shift_number(number, offset)
    assert there in ACCESSORY_NUMBERS
    assert number == shift_number(there, -offset)


@pytest.mark.parametrize("offset", [-4, 0, 4])
def test_usual_offsets_over_all_numbers(offset: int) -> None:
    """The offsets that are met (one of four is known from a club's page) map all numbers onto all numbers."""
    shifted = [shift_number(number, offset) for number in ACCESSORY_NUMBERS]
    assert set(ACCESSORY_NUMBERS) == set(shifted)
    assert list(ACCESSORY_NUMBERS) == [shift_number(number, -offset) for number in shifted]


def test_an_offset_of_four_over_the_first_addresses() -> None:
    """Where decoders are counted from 0, the linear 1 is called 5, and 2045 to 2048 are called 1 to 4."""
    assert [5, 6, 7, 8] == [shift_number(number, 4) for number in (1, 2, 3, 4)]
    assert [1, 2, 3, 4] == [shift_number(number, 4) for number in (2045, 2046, 2047, 2048)]
    assert [2045, 2046, 2047, 2048, 1] == [shift_number(number, -4) for number in (1, 2, 3, 4, 5)]


# S-9.2.1 (July 2012) parts C and D, appendix A for the old form; RCN-213 and RCN-214 from memory where it says so.
OTHERS: Final[list[tuple[str, Packet]]] = [
    ("81 F8 EC 1C 05", Programming(1, False, REVERSE, Operation.WRITE, 29, b"\x05")),
    ("81 F0 EC 1C 05", Programming(1, False, None, Operation.WRITE, 29, b"\x05")),
    ("81 F0 E4 00 00", Programming(1, False, None, Operation.VERIFY, 1, b"\x00")),
    ("81 FB EB FF F9", Programming(2, False, NORMAL, Operation.BIT, 1024, b"\xf9")),
    ("81 71 EE 00 FF", Programming(1, True, None, Operation.WRITE, 513, b"\xff")),
    ("81 7C 05", OldProgramming(1, 513, 5)),
    ("BF 0F 05", OldProgramming(511, 516, 5)),
    ("81 78", AccessoryNop(1, extended=False)),  # from memory
    ("81 7B", AccessoryNop(2, extended=True)),  # from memory
    ("81 71 ED 00 01 00 07", Programming(1, True, None, Operation.WRITE, 257, b"\x07", 1)),  # from memory
    ("81 F0 E7 00 00 00", Programming(1, False, None, Operation.VERIFY, 1, b"", 3)),  # from memory
    ("81 70 00", ReservedAccessory(b"\x81\x70\x00")),
    ("81 70", ReservedAccessory(b"\x81\x70")),
    ("81 78 00", ReservedAccessory(b"\x81\x78\x00")),
    ("81 F9 00", ReservedAccessory(b"\x81\xf9\x00")),
    ("81 F1 EC 1C 05", ReservedAccessory(b"\x81\xf1\xec\x1c\x05")),
    ("81 79 EC 1C 05", ReservedAccessory(b"\x81\x79\xec\x1c\x05")),
    ("FF 00", OtherPacket(b"\xff\x00")),
    ("00 00", OtherPacket(b"\x00\x00")),
    ("03 3F 80", OtherPacket(b"\x03\x3f\x80")),
    ("C0 03 3F 80", OtherPacket(b"\xc0\x03\x3f\x80")),
    ("7F F9", OtherPacket(b"\x7f\xf9")),
]


@pytest.mark.parametrize(("text", "packet"), OTHERS)
def test_other_packets_are_told_apart(text: str, packet: Packet) -> None:
    """Programming, empty, reserved and foreign packets are none of them taken for an order, and read back."""
    content = bytes.fromhex(text)
    data = content + bytes((error_byte(content),))
    assert packet == decode(data)
    assert data == encode(packet)


@pytest.mark.parametrize("text", ["", "81", "81 F9", "81" * 16])
def test_a_length_that_no_packet_has_is_refused(text: str) -> None:
    """Fewer bytes than a packet needs, or more than any has, are refused with what was expected."""
    with pytest.raises(DecodeError, match="no packet") as problem:
        decode(bytes.fromhex(text))
    assert "3 to 15 bytes" in problem.value.expected


def test_every_wrong_error_byte_is_refused() -> None:
    """Of the 256 values of the last byte one is right; each other is refused with the right one."""
    for last in range(256):
        data = bytes((0x81, 0xF9, last))
        if last == 0x78:
            assert BasicAccessory(1, NORMAL) == decode(data)
            continue
        with pytest.raises(DecodeError, match=f"the error byte is {last:02X}, and would be 78"):
            decode(data)


def test_every_single_bit_that_falls_over_is_noticed() -> None:
    """One wrong bit anywhere in a packet never gives another order."""
    for data in (encode(BasicAccessory(37, REVERSE)), encode(ExtendedAccessory(37, 5))):
        for bit in range(8 * len(data)):
            spoiled = int.from_bytes(data, "big") ^ 1 << bit
            with pytest.raises(DecodeError, match="error byte"):
                decode(spoiled.to_bytes(len(data), "big"))


@pytest.mark.parametrize(
    ("packet", "message"),
    [
        (BasicAccessory(0, NORMAL), "the number is 0, and not from 1 to 2048"),
        (BasicAccessory(2049, NORMAL), "the number is 2049"),
        (BasicAccessory(1, Position.MOVING), "no output of a pair is moving"),
        (ExtendedAccessory(1, 256), "the aspect is 256, and not from 0 to 255"),
        (AccessoryNop(-1, extended=True), "the number is -1"),
        (OldProgramming(512, 513, 0), "the decoder is 512"),
        (OldProgramming(1, 512, 0), "the variable is 512, and not from 513 to 516"),
        (OldProgramming(1, 513, 256), "the value is 256"),
        (Programming(1, True, NORMAL, Operation.WRITE, 1, b"\x00"), "has no outputs of its own"),
        (Programming(2, False, None, Operation.WRITE, 1, b"\x00"), "2 is not the first pair of its decoder"),
        (Programming(1, True, None, Operation.WRITE, 1025, b"\x00"), "the variable is 1025"),
        (Programming(1, True, None, Operation.WRITE, 1, b""), "the length of the data is 0"),
        (Programming(1, True, None, Operation.WRITE, 1, b"", 4), "the sequence is 4"),
        (OtherPacket(b"\x00"), "the length is 2, and not from 3 to 15"),
    ],
)
def test_what_does_not_fit_is_not_made(packet: Packet, message: str) -> None:
    """A value that a form has no room for is refused, and never cut to fit."""
    with pytest.raises(ValueError, match=message):
        encode(packet)


CONTENTS: Final = st.binary(min_size=2, max_size=14)
ACCESSORY_CONTENTS: Final = st.builds(
    lambda first, rest: bytes((0x80 | first,)) + rest, st.integers(0, 63), st.binary(min_size=1, max_size=13)
)
PROGRAMMING_CONTENTS: Final = st.builds(
    lambda first, second, head, rest: bytes((0x80 | first, second, 0xE0 | head)) + rest,
    st.integers(0, 63),
    st.integers(0, 255),
    st.integers(0, 15),
    st.binary(min_size=2, max_size=8),
)


@given(CONTENTS | ACCESSORY_CONTENTS | PROGRAMMING_CONTENTS)
def test_whatever_is_whole_is_read_and_written_back(content: bytes) -> None:
    """Every packet with the right error byte means something, and that is written as the same bytes."""
    data = content + bytes((error_byte(content),))
    assert data == encode(decode(data))


def test_a_flood_of_noise_raises_nothing_else() -> None:
    """Of 200,000 random and spoiled packets each is read, and written back the same, or refused as such."""
    chance = random.Random(9210)  # noqa: S311 - the same noise each time
    good = [encode(packet) for packet in (BasicAccessory(61, REVERSE), ExtendedAccessory(2044, 0))]
    read = refused = 0
    for round_ in range(200_000):
        data = (
            bytearray(chance.choice(good)) if round_ % 2 else bytearray(chance.randbytes(chance.randrange(8)))
        )
        if data and round_ % 3:
            data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
        try:
            packet = decode(bytes(data))
        except DecodeError:
            refused += 1
        else:
            assert encode(packet) == bytes(data)
            read += 1
    assert 200_000 == read + refused
    assert min(read, refused) > 10_000
