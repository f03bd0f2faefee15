"""The packet of DDP, the Distributed Display Protocol of 3waylabs. Pure: values to bytes.

A packet is made once and sent again and again: its sender writes sequence and levels into it at the offsets that are
named here. All numbers are big-endian.
"""

from __future__ import annotations

import struct
from typing import Final

PORT: Final = 4048

LONGEST: Final = 1440
"""Bytes of levels that a packet should have at the most: 480 chips of three channels, or 360 of four."""

PUSH: Final = 0x01
"""The flag by which a receiver shows what it has got so far."""

SEQUENCE: Final = 1
LEVELS: Final = 10
"""Offsets within a packet."""

SEQUENCES: Final = 15
"""A sequence is 1 to 15; 0 would say that nobody counts."""

RGB: Final = 0x0B
RGBW: Final = 0x1B
UNDEFINED: Final = 0x00
"""Data types `C R TTT SSS`: type 1 or 3 with 8 bits an element, or none said."""

DESTINATIONS: Final = range(1, 246)
"""Ids of outputs; 1 is the usual one, and those from 246 on have meanings of their own."""

OFFSETS: Final = range(1 << 32)

_VERSION: Final = 0x40
_HEADER: Final = struct.Struct(">BBBBIH")


def ddp_packet(destination: int, offset: int, size: int, *, kind: int, push: bool) -> bytearray:
    """Return a packet with sequence 0 whose levels are all 0.

    Args:
        destination: one of `DESTINATIONS`.
        offset: bytes of the destination before the first of these levels.
        size: how many levels it carries.
        kind: `RGB`, `RGBW` or `UNDEFINED`.
        push: it is the last of a frame.
    """
    flags = _VERSION | (PUSH if push else 0)
    return bytearray(_HEADER.pack(flags, 0, kind, destination, offset, size) + bytes(size))
