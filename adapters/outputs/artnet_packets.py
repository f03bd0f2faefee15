"""The ArtDmx packet of Art-Net 4. Pure: values to bytes.

A packet is made once and sent again and again: its sender writes sequence and levels into it at the offsets that are
named here.
"""

from __future__ import annotations

import struct
from typing import Final

PORT: Final = 6454

PORT_ADDRESSES: Final = range(1 << 15)
"""Net (7 bits), sub-net (4) and universe (4) as one number."""

SEQUENCE: Final = 12
LEVELS: Final = 18
"""Offsets within a packet."""

SEQUENCES: Final = 255
"""A sequence is 1 to 255; 0 would say that nobody counts."""

_HEADER: Final = struct.Struct("<8sHxB")
_DMX: Final = 0x5000
_VERSION: Final = 14


def dmx_packet(port_address: int, slots: int) -> bytearray:
    """Return a packet with sequence 0 whose levels are all 0.

    Args:
        port_address: one of `PORT_ADDRESSES`.
        slots: how many levels it carries, up to 512; one that is odd is made even by a level of 0.
    """
    even = max(slots + slots % 2, 2)
    places = struct.pack(">BBBBH", 0, 0, port_address & 0xFF, port_address >> 8, even)
    return bytearray(_HEADER.pack(b"Art-Net", _DMX, _VERSION) + places + bytes(even))
