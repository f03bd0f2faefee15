"""A frame as it goes to a node: twelve bytes of header, then the levels of the whole chain.

    offset  size  field (integers big-endian)
    0       1     format, 1
    1       1     flags: bit 0 keep-alive, bit 1 lamp test, bit 2 last frame before shutdown
    2       2     0, kept free
    4       4     term: epoch x 256 + number of the bridge
    8       4     sequence, wraps
    12      n     levels in the order they leave on the data line

A node ignores an unknown format, an older term, and an older sequence within a term. Every frame is whole and
carries the newest levels, a keep-alive too.
"""

from __future__ import annotations

import struct
from typing import Final, NamedTuple

from adapters.cut import cut
from bridge.errors import DecodeError

FORMAT: Final = 1

KEEP_ALIVE: Final = 1
LAMP_TEST: Final = 2
LAST: Final = 4

TERMS: Final = range(1 << 32)
SEQUENCES: Final = range(1 << 32)

_HEADER: Final = struct.Struct(">BBxxII")
_MASK: Final = len(SEQUENCES) - 1

HEADER_LENGTH: Final = _HEADER.size


class Header(NamedTuple):
    """What stands before the levels. Flags that are not known here are kept as they came."""

    flags: int
    term: int
    sequence: int


def encode(flags: int, term: int, sequence: int, levels: bytes) -> bytes:
    """Return a frame.

    Args:
        flags: `KEEP_ALIVE`, `LAMP_TEST` and `LAST`, or-ed.
        term: the bridge's term, 32 bits.
        sequence: 32 bits; the caller wraps it.
        levels: one byte a channel, for the whole chain.

    Raises:
        struct.error: a number that its field cannot hold.
    """
    return _HEADER.pack(FORMAT, flags, term, sequence) + levels


def decode(message: bytes) -> tuple[Header, bytes]:
    """Return header and levels of a frame. The free bytes may hold anything: a later format note may use them.

    Raises:
        DecodeError: too short, or of another format.
    """
    if len(message) < HEADER_LENGTH:
        raise DecodeError(
            f"a frame has at least {HEADER_LENGTH} bytes, and this has {len(message)}",
            received=cut(message),
            expected="a header of 12 bytes, then the levels",
        )
    form, flags, term, sequence = _HEADER.unpack_from(message)
    if form != FORMAT:
        raise DecodeError(
            f"the frame is of format {form}",
            received=cut(message[:HEADER_LENGTH]),
            expected=f"format {FORMAT}",
        )
    return Header(flags, term, sequence), message[HEADER_LENGTH:]


def newer(a: int, b: int) -> bool:
    """Return whether sequence `a` comes after `b`: serial number arithmetic of RFC 1982, with 32 bits.

    For two numbers exactly half the circle apart the RFC leaves the order open; neither is newer here.
    """
    return 0 < (a - b) & _MASK < 1 << 31
