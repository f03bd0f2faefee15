"""DCC packets for accessory decoders: bytes to what they say, and back. Pure.

Sources: NMRA S-9.2 (2004) for the packet as such, NMRA S-9.2.1 (July 2012) parts A and D for accessories, OpenLCB
Event Identifiers TN (2024) 2.5.3.3 and 2.5.3.6 for the linear numbers and the aspect of eight bits. What is marked
"from memory" is as RCN-213 and RCN-214 of RailCommunity have it, and was not compared with their text.

    basic                 10AAAAAA 1AAACDDR                    EEEEEEEE
    extended              10AAAAAA 0AAA0AA1 XXXXXXXX           EEEEEEEE
    no operation          10AAAAAA 0AAA1AAT                    EEEEEEEE    from memory
    programming           10AAAAAA 1AAACDDR 1110KKVV VVVVVVVV DDDDDDDD EEEEEEEE
                          10AAAAAA 0AAA0AA1 1110KKVV VVVVVVVV DDDDDDDD EEEEEEEE
    programming, old      10AAAAAA 0AAA11VV DDDDDDDD           EEEEEEEE
    programming, long     as programming, with 1110KKSS, three bytes of V and up to four of D    from memory

The three highest bits of an address stand in the second byte, as their complement. `A = number + 3`, of 11 bits.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from functools import reduce
from operator import xor
from typing import ClassVar, Final, TypeAlias

from bridge.errors import DecodeError
from bridge.events import ACCESSORY_NUMBERS, ASPECT_NUMBERS, Position

PACKET_LENGTHS: Final = range(3, 16)
"""Bytes of a packet, its error byte included: up to 6 by S-9.2, up to 15 by its extensions (from memory)."""

BROADCAST_DECODER: Final = 511
"""S-9.2.1 part D: all basic accessory decoders act on it."""

BROADCAST_NUMBER: Final = 2044
"""S-9.2.1 part D: all extended accessory decoders act on it."""

IDLE: Final = bytes((0xFF, 0x00))
RESET: Final = bytes((0x00, 0x00))
ACCESSORY_BYTES: Final = range(0x80, 0xC0)
"""What the first byte of a packet for accessories is, S-9.2.1 part A."""

_SPAN: Final = len(ACCESSORY_NUMBERS)
_BYTE: Final = range(256)


def shift_number(number: int, offset: int) -> int:
    """Return a linear number as a system has it that counts `offset` further: 4 where its 5 is the linear 1.

    The numbers are a ring of 2048, so `-offset` undoes `offset`.
    """
    return (number - 1 + offset) % _SPAN + 1


def error_byte(content: bytes) -> int:
    """Return the byte that makes the exclusive or of a whole packet 0 (NMRA S-9.2)."""
    return reduce(xor, content, 0)


class Operation(IntEnum):
    """What programming does with a configuration variable: KK (S-9.2.1 part C, and from memory)."""

    RESERVED = 0
    VERIFY = 1
    BIT = 2  # one bit of it: 111KDBBB, K = 1 writes D to bit BBB, K = 0 verifies it
    WRITE = 3


@dataclass(frozen=True, slots=True)
class BasicAccessory:
    """An output of a pair is switched on or off.

    Attributes:
        number: linear, 1 to 2048.
        position: which output: R = 1 is normal, R = 0 reverse.
        active: C: the output is switched on, which is the order; or off, which releases it.
    """

    number: int
    position: Position
    active: bool = True

    @property
    def broadcast(self) -> bool:
        """Whether all basic accessory decoders act on it, each with its pair of the same place."""
        return decoder_of(self.number)[0] == BROADCAST_DECODER

    @property
    def emergency_stop(self) -> bool:
        """Whether it is the emergency stop of all basic accessories, `BF 86 39` (RCN-213, from memory)."""
        return self == _BASIC_STOP

    def content(self) -> bytes:
        """Return the packet without its error byte."""
        return _address(self.number, 0x80 | self.active << 3 | (self.position is Position.NORMAL))


@dataclass(frozen=True, slots=True)
class ExtendedAccessory:
    """A signal decoder is told an aspect.

    Attributes:
        number: linear, 1 to 2048.
        aspect: 0, absolute stop, to 255; RCN-213 also has it as output and time of a switch (from memory).
    """

    number: int
    aspect: int

    @property
    def broadcast(self) -> bool:
        """Whether all extended accessory decoders act on it."""
        return self.number == BROADCAST_NUMBER

    @property
    def emergency_stop(self) -> bool:
        """Whether it tells all extended accessory decoders to stop, `BF 07 00 B8`."""
        return self.broadcast and self.aspect == 0

    def content(self) -> bytes:
        """Return the packet without its error byte."""
        return _address(self.number, 0x01) + bytes((self.aspect,))


@dataclass(frozen=True, slots=True)
class AccessoryNop:
    """A decoder is addressed and told nothing, so that it may answer (RCN-213, from memory)."""

    number: int
    extended: bool

    def content(self) -> bytes:
        """Return the packet without its error byte."""
        return _address(self.number, 0x08 | self.extended)


@dataclass(frozen=True, slots=True)
class Programming:
    """A configuration variable of an accessory decoder is read or written while trains run.

    Attributes:
        number: linear; of a basic decoder as a whole, that of its first pair.
        extended: it is for an extended decoder.
        output: which output of a basic decoder, or None for the decoder as a whole.
        operation: what is done.
        variable: its number, from 1: up to 1024, or 2^24 in the long form.
        data: the value; in the long form up to four bytes.
        sequence: the number of a long form, 0 to 3, or None for the form of S-9.2.1.
    """

    number: int
    extended: bool
    output: Position | None
    operation: Operation
    variable: int
    data: bytes
    sequence: int | None = None

    def content(self) -> bytes:
        """Return the packet without its error byte."""
        side = self.output is Position.NORMAL
        form = 0x01 if self.extended else 0x80 | (self.output is not None) << 3 | side
        index = self.variable - 1
        if self.sequence is None:
            head = 0xE0 | self.operation << 2 | index >> 8
            return _address(self.number, form) + bytes((head, index & 0xFF)) + self.data
        head = 0xE0 | self.operation << 2 | self.sequence
        return _address(self.number, form) + bytes((head,)) + index.to_bytes(3, "big") + self.data


@dataclass(frozen=True, slots=True)
class OldProgramming:
    """A variable of an accessory decoder is written in the form that came first (S-9.2.1 appendix A).

    Attributes:
        decoder: 0 to 511.
        variable: 513 to 516.
        value: 0 to 255.
    """

    decoder: int
    variable: int
    value: int

    VARIABLES: ClassVar[range] = range(513, 517)

    def content(self) -> bytes:
        """Return the packet without its error byte."""
        high = ~(self.decoder >> 6) & 7
        second = high << 4 | 0x0C | self.variable - self.VARIABLES.start
        return bytes((0x80 | self.decoder & 0x3F, second, self.value))


@dataclass(frozen=True, slots=True)
class ReservedAccessory:
    """A packet for accessories of a form that the standard leaves free."""

    raw: bytes

    def content(self) -> bytes:
        """Return the packet without its error byte."""
        return self.raw


@dataclass(frozen=True, slots=True)
class OtherPacket:
    """A packet that is for no accessory: idle, reset, or for a locomotive."""

    raw: bytes

    def content(self) -> bytes:
        """Return the packet without its error byte."""
        return self.raw


Packet: TypeAlias = (
    BasicAccessory
    | ExtendedAccessory
    | AccessoryNop
    | Programming
    | OldProgramming
    | ReservedAccessory
    | OtherPacket
)

_BASIC_STOP: Final = BasicAccessory(BROADCAST_NUMBER, Position.REVERSE, active=False)


def encode(packet: Packet) -> bytes:
    """Return a packet as its bytes, the error byte last.

    Raises:
        ValueError: a value that the form has no room for.
    """
    _look_at(packet)
    content = packet.content()
    return content + bytes((error_byte(content),))


def decode(data: bytes) -> Packet:
    """Return what the bytes of a packet, its error byte last, say.

    Raises:
        DecodeError: too short, too long, or the error byte is wrong.
    """
    if len(data) not in PACKET_LENGTHS:
        expected = f"{PACKET_LENGTHS[0]} to {PACKET_LENGTHS[-1]} bytes, the last of them the error byte"
        raise DecodeError(f"{_count(data)} {'are' if len(data) != 1 else 'is'} no packet", expected=expected)
    content = data[:-1]
    right = error_byte(content)
    if data[-1] != right:
        raise DecodeError(
            f"the error byte is {data[-1]:02X}, and would be {right:02X}: the packet was damaged on its way",
            expected=f"{content.hex(' ').upper()} {right:02X}",
        )
    return _accessory(content) if content[0] in ACCESSORY_BYTES else OtherPacket(content)


def decoder_of(number: int) -> tuple[int, int]:
    """Return the decoder, 0 to 511, and the output pair, 0 to 3, of a linear number."""
    return divmod((number + 3) % _SPAN, 4)


def _accessory(content: bytes) -> Packet:
    second = content[1]
    number = _number(content)
    match len(content), second & 0x80, second & 0x08:
        case 2, 0x80, active:
            return BasicAccessory(number, _side(second), active=active != 0)
        case 2, 0, 0x08:
            return AccessoryNop(number, extended=bool(second & 1))
        case 3, 0, 0 if second & 0x01:
            return ExtendedAccessory(number, content[2])
        case 3, 0, 0x08 if second & 0x04:
            variable = OldProgramming.VARIABLES[second & 0x03]
            return OldProgramming(decoder_of(number)[0], variable, content[2])
        case length, _, _ if length >= 5 and content[2] >> 4 == 0xE:
            return _programming(content, number) or ReservedAccessory(content)
    return ReservedAccessory(content)


def _programming(content: bytes, number: int) -> Programming | None:
    second, head = content[1], content[2]
    extended = not second & 0x80
    if extended and second & 0x09 != 0x01:
        return None
    if not extended and not second & 0x08 and second & 0x07:
        return None  # 0000 stands for the decoder as a whole, 1DDD for an output: the others for nothing
    output = None if extended or not second & 0x08 else _side(second)
    operation = Operation(head >> 2 & 3)
    if len(content) == 5:
        variable = ((head & 3) << 8 | content[3]) + 1
        return Programming(number, extended, output, operation, variable, content[4:])
    if 6 <= len(content) <= 10:
        variable = int.from_bytes(content[3:6], "big") + 1
        return Programming(number, extended, output, operation, variable, content[6:], head & 3)
    return None


def _number(content: bytes) -> int:
    first, second = content[0], content[1]
    address = (~second & 0x70) << 4 | (first & 0x3F) << 2 | second >> 1 & 0x03
    return (address - 4) % _SPAN + 1


def _address(number: int, form: int) -> bytes:
    """Return the first two bytes: the address of a number, and the bits of the second that are not part of it."""
    decoder, pair = decoder_of(number)
    return bytes((0x80 | decoder & 0x3F, form | (~(decoder >> 6) & 7) << 4 | pair << 1))


def _side(second: int) -> Position:
    return Position.NORMAL if second & 1 else Position.REVERSE


def _look_at(packet: Packet) -> None:
    """Raise ValueError for a value that its form has no room for."""
    match packet:
        case BasicAccessory(number, position):
            _within("number", number, ACCESSORY_NUMBERS)
            if position not in {Position.NORMAL, Position.REVERSE}:
                raise ValueError(f"no output of a pair is {position.value}")
        case ExtendedAccessory(number, aspect):
            _within("number", number, ACCESSORY_NUMBERS)
            _within("aspect", aspect, ASPECT_NUMBERS)
        case AccessoryNop(number):
            _within("number", number, ACCESSORY_NUMBERS)
        case Programming():
            _look_at_programming(packet)
        case OldProgramming(decoder, variable, value):
            _within("decoder", decoder, range(512))
            _within("variable", variable, OldProgramming.VARIABLES)
            _within("value", value, _BYTE)
        case ReservedAccessory(content) | OtherPacket(content):
            _within("length", len(content) + 1, PACKET_LENGTHS)


def _look_at_programming(packet: Programming) -> None:
    _within("number", packet.number, ACCESSORY_NUMBERS)
    long = packet.sequence is not None
    _within("variable", packet.variable, range(1, 2**24 + 1) if long else range(1, 1025))
    _within("length of the data", len(packet.data), range(5) if long else range(1, 2))
    _within("sequence", packet.sequence or 0, range(4))
    if packet.extended and packet.output is not None:
        raise ValueError("an extended decoder has no outputs of its own")
    if not packet.extended and packet.output is None and decoder_of(packet.number)[1]:
        raise ValueError(
            f"{packet.number} is not the first pair of its decoder, which stands for it as a whole"
        )


def _within(what: str, value: int, allowed: range) -> None:
    if value not in allowed:
        raise ValueError(f"the {what} is {value}, and not from {allowed[0]} to {allowed[-1]}")


def _count(data: bytes) -> str:
    return f"{len(data)} byte{'' if len(data) == 1 else 's'}"
