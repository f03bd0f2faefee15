"""A packet as it stands on the rails, NMRA S-9.2: the other way round from what lamproom reads."""

from __future__ import annotations

from typing import Final

SENT_PREAMBLE: Final = 14
"""Ones that a command station sends at least before a packet."""


def on_the_rails(packet: bytes, preamble: int = SENT_PREAMBLE) -> str:
    """Return ones, a 0 before each byte, and a 1 behind the last; as `1` and `0` without spaces."""
    return "1" * preamble + "".join(f"0{byte:08b}" for byte in packet) + "1"
