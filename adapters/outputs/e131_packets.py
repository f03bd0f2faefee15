"""The packets of ANSI E1.31-2018, streaming ACN. Pure: values to bytes.

A packet is made once and sent again and again: its sender writes sequence, options and levels into it at the offsets
that are named here. All numbers are big-endian.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable
from ipaddress import IPv4Address, IPv6Address
from typing import Final
from uuid import UUID

PORT: Final = 5568
"""ACN_SDT_MULTICAST_PORT, appendix A."""

UNIVERSES: Final = range(1, 64_000)
"""Section 6.2.7."""

PRIORITIES: Final = range(201)
"""Section 6.2.3."""

LONGEST_NAME: Final = 63
"""Bytes of a source name: it ends with a NUL within 64, section 6.2.2."""

DISCOVERY: Final = 64_214
"""E131_DISCOVERY_UNIVERSE, appendix A: where sources say which universes they send."""

DISCOVERY_EVERY_S: Final = 10
"""E131_UNIVERSE_DISCOVERY_INTERVAL, appendix A."""

PAGE: Final = 512
"""Universes that one discovery packet lists at the most, section 8.5."""

SEQUENCE: Final = 111
OPTIONS: Final = 112
LEVELS: Final = 126
"""Offsets within a data packet."""

SYNC_SEQUENCE: Final = 44
"""Offset within a synchronization packet."""

TERMINATED: Final = 0x40
"""The option by which a source says that it ends, section 6.2.6."""

_PREAMBLE: Final = b"\x00\x10\x00\x00ASC-E1.17\x00\x00\x00"
_DATA: Final = 4
_EXTENDED: Final = 8
_FLAGS: Final = 0x7000
_ROOT: Final = struct.Struct(">HI16s")
_FRAMING: Final = struct.Struct(">HI64sBHBBH")
_DMP: Final = struct.Struct(">HBBHHHB")
_SYNC: Final = struct.Struct(">HIBHH")
_LISTING: Final = struct.Struct(">HI64sI")
_LIST: Final = struct.Struct(">HIBB")


def data_packet(
    cid: UUID, source_name: str, universe: int, slots: int, *, priority: int = 100, sync: int = 0
) -> bytearray:
    """Return a packet with sequence 0 whose levels are all 0.

    Args:
        cid: who sends it.
        source_name: for people; at most `LONGEST_NAME` bytes of UTF-8.
        universe: one of `UNIVERSES`.
        slots: how many levels it carries, up to 512.
        priority: one of `PRIORITIES`; of several sources of a universe the highest counts.
        sync: universe of the synchronization packet that receivers are to wait for, 0 for none.
    """
    length = LEVELS + slots
    name = source_name.encode()
    return bytearray(
        _PREAMBLE
        + _ROOT.pack(_FLAGS | (length - 16), _DATA, cid.bytes)
        + _FRAMING.pack(_FLAGS | (length - 38), 2, name, priority, sync, 0, 0, universe)
        + _DMP.pack(_FLAGS | (length - 115), 2, 0xA1, 0, 1, slots + 1, 0)
        + bytes(slots)
    )


def sync_packet(cid: UUID, universe: int) -> bytearray:
    """Return a synchronization packet with sequence 0, section 6.3: what was sent for it is to be shown now."""
    length = 49
    return bytearray(
        _PREAMBLE
        + _ROOT.pack(_FLAGS | (length - 16), _EXTENDED, cid.bytes)
        + _SYNC.pack(_FLAGS | (length - 38), 1, 0, universe, 0)
    )


def discovery_packets(cid: UUID, source_name: str, universes: Iterable[int]) -> list[bytearray]:
    """Return the packets that list a source's universes, in order: as many pages as it takes, sections 6.4 and 8.

    Args:
        cid: whose they are.
        source_name: for people; at most `LONGEST_NAME` bytes of UTF-8.
        universes: what it sends.
    """
    found = sorted(set(universes))
    pages = [found[begin : begin + PAGE] for begin in range(0, len(found), PAGE)] or [[]]
    return [_page(cid, source_name, page, number, len(pages) - 1) for number, page in enumerate(pages)]


def _page(cid: UUID, source_name: str, universes: list[int], number: int, last: int) -> bytearray:
    length = 120 + 2 * len(universes)
    return bytearray(
        _PREAMBLE
        + _ROOT.pack(_FLAGS | (length - 16), _EXTENDED, cid.bytes)
        + _LISTING.pack(_FLAGS | (length - 38), 2, source_name.encode(), 0)
        + _LIST.pack(_FLAGS | (length - 112), 1, number, last)
        + struct.pack(f">{len(universes)}H", *universes)
    )


def group_of(universe: int, version: int = 4) -> str:
    """Return the multicast group of a universe: by IPv4, section 9.3.1, or by IPv6, section 9.3.2."""
    if version == 6:
        return str(IPv6Address((0xFF18 << 112) + (0x8300 << 16) + universe))
    return str(IPv4Address((239 << 24) + (255 << 16) + universe))
