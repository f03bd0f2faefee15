"""DCC packets as text: bytes in hexadecimal, and the stream of bits on the rails. Pure.

On the rails a packet is a preamble of ones, a start bit 0 before each byte, and a 1 behind the last (NMRA S-9.2).
"""

from __future__ import annotations

import re
from typing import Final

from adapters.cut import cut
from adapters.events.dcc_packets import PACKET_LENGTHS
from bridge.errors import DecodeError

HEARD_PREAMBLE: Final = 10
"""Ones below which a decoder must not take a packet, NMRA S-9.2."""

EXPECTED: Final = "the bytes of a packet in hexadecimal, such as `81 F9 78`, or its bits with their preamble"

_BYTES: Final = re.compile(r"(?:0[xX])?([0-9A-Fa-f]{2})(?:\s*[,;:-]?\s*)")
_BITS: Final = re.compile(r"[01\s]*")
_FEWEST_BITS: Final = HEARD_PREAMBLE + 9 * PACKET_LENGTHS[0] + 1
"""Of the shortest packet: more digits than the longest packet has in hexadecimal, so the two cannot be confused."""


def read_text(text: str) -> bytes:
    """Return the bytes of a packet from a line of text: hexadecimal, or the bits as they stand on the rails.

    Pairs of digits, large or small, may follow each other or be apart by spaces or one of `, ; : -`, and each may
    have `0x` before it.

    Raises:
        DecodeError: it is neither.
    """
    digits = "".join(text.split())
    if len(digits) >= _FEWEST_BITS and _BITS.fullmatch(digits):
        return from_bits(digits)
    found, place = bytearray(), 0
    stripped = text.strip()
    while place < len(stripped):
        pair = _BYTES.match(stripped, place)
        if pair is None:
            rest = cut(stripped[place : place + 20])
            raise DecodeError(f"`{rest}` is not a byte in hexadecimal", expected=EXPECTED)
        found.append(int(pair[1], 16))
        place = pair.end()
    return bytes(found)


def write_text(packet: bytes) -> str:
    """Return the bytes of a packet in hexadecimal."""
    return packet.hex(" ").upper()


def from_bits(bits: str) -> bytes:
    """Return the bytes of the one packet in a row of bits; spaces between them mean nothing.

    Raises:
        DecodeError: a preamble too short to be one, or a packet that ends early or not at its end.
    """
    row = "".join(bits.split())
    if _BITS.fullmatch(row) is None:
        raise DecodeError("a row of bits has only 0 and 1", expected=EXPECTED)
    body = row.lstrip("1")
    preamble = len(row) - len(body)
    if preamble < HEARD_PREAMBLE:
        raise DecodeError(
            f"the preamble has {preamble} ones, and a decoder takes none of fewer than {HEARD_PREAMBLE}",
            expected=EXPECTED,
        )
    found, place = bytearray(), 0
    while body[place : place + 1] == "0":
        byte = body[place + 1 : place + 9]
        if len(byte) < 8:
            break
        found.append(int(byte, 2))
        place += 9
    if body[place:] != "1":
        where = "the bits end within the packet" if len(body) - place < 9 else "bits follow behind the packet"
        raise DecodeError(f"{where}: after each byte comes a 0, and after the last a 1", expected=EXPECTED)
    return bytes(found)
