"""Messages between nodes: their types, and how they stand in frames.

Sources: NMRA S-9.7.3, Message Network, section 7.3, and S-9.7.3.1, Event Transport, sections 4 and 7. The types that
no table of facts of this project has (addressed enquiry, supported protocols, rejections) are from memory.
"""

from __future__ import annotations

from enum import IntEnum
from typing import Final, NamedTuple

from adapters.events.lcc.frames import Frame

FORMAT_1: Final = 0x9000  # a message with its type in the next 12 bits


class Mti(IntEnum):
    """Types of messages."""

    INITIALIZED = 0x100
    INITIALIZED_SIMPLE = 0x101
    VERIFY_GLOBAL = 0x490
    VERIFY = 0x488
    VERIFIED = 0x170
    VERIFIED_SIMPLE = 0x171
    REJECTED = 0x068
    TERMINATED = 0x0A8
    ASK_PROTOCOLS = 0x828
    PROTOCOLS = 0x668
    EVENT = 0x5B4
    EVENT_FIRST = 0xF16  # with a payload: the event, and the payload in the frames that follow
    PRODUCER_VALID = 0x544
    PRODUCER_INVALID = 0x545
    PRODUCER_UNKNOWN = 0x547
    PRODUCER_RANGE = 0x524
    CONSUMER_VALID = 0x4C4
    CONSUMER_INVALID = 0x4C5
    CONSUMER_UNKNOWN = 0x4C7
    CONSUMER_RANGE = 0x4A4
    IDENTIFY_PRODUCER = 0x914
    IDENTIFY_CONSUMER = 0x8F4
    IDENTIFY_GLOBAL = 0x970
    IDENTIFY = 0x968
    LEARN = 0x594
    DATAGRAM_REFUSED = 0xA48


_ADDRESSED: Final = 0x008

NAMES_ITSELF: Final = frozenset({Mti.INITIALIZED, Mti.INITIALIZED_SIMPLE, Mti.VERIFIED, Mti.VERIFIED_SIMPLE})
"""Messages whose data is the number of the node that sends them."""

REPORTS: Final = frozenset({Mti.EVENT, Mti.EVENT_FIRST})
"""Somebody says that something happens now."""

IDENTIFIED: Final = frozenset(
    {Mti.PRODUCER_VALID, Mti.PRODUCER_INVALID, Mti.CONSUMER_VALID, Mti.CONSUMER_INVALID}
)
"""Somebody says how it stands."""


class Message(NamedTuple):
    """One frame of a message.

    Attributes:
        mti: its type, 12 bits, one of `Mti` or none that is known here.
        data: what it carries, without the alias of the one that it is for.
        to: that alias, or None where it is for all.
        last: no more frames of it follow.
    """

    mti: int
    data: bytes
    to: int | None = None
    last: bool = True


def read_message(frame: Frame) -> Message | None:
    """Return the message that a frame belongs to; None for control frames, datagrams, streams and what is cut short."""
    if frame.content & 0xF000 != FORMAT_1:
        return None
    mti = frame.content & 0xFFF
    if mti >= 0xF00 or not mti & _ADDRESSED:
        return Message(mti, frame.data)
    if len(frame.data) < 2:
        return None
    return Message(mti, frame.data[2:], _alias(frame.data), last=not frame.data[0] & 0x10)


def _alias(data: bytes) -> int:
    return int.from_bytes(data[:2], "big") & 0xFFF


def to_all(mti: Mti, alias: int, number: int, length: int = 8) -> Frame:
    """Return a message for all: its data is an event, or a node's number with `length` 6."""
    return Frame(FORMAT_1 | mti, alias, number.to_bytes(length, "big"))


def to_one(mti: Mti, alias: int, to: int, data: bytes = b"") -> Frame:
    """Return a message of one frame for one node; it carries up to 6 bytes."""
    return Frame(FORMAT_1 | mti, alias, to.to_bytes(2, "big") + data)


def datagram_ends(frame: Frame) -> int | None:
    """Return the alias of the node for which a frame is the end of a datagram, or None."""
    return frame.content & 0xFFF if frame.content & 0xF000 in (0xA000, 0xD000) else None


def event_of(message: Message) -> int | None:
    """Return the event of a message that is a report or says how one stands, or None for any other."""
    if message.mti not in REPORTS and message.mti not in IDENTIFIED:
        return None
    return int.from_bytes(message.data, "big") if len(message.data) == 8 else None
