"""How a clock of the bus writes what it tells: the last two bytes of its events, NMRA S-9.7.4.5 (25 April 2021)."""

from __future__ import annotations

from typing import Final

ROLL_OVER: Final = 0xF003
"""The day rolls over."""


def time_code(hour: int, minute: int) -> int:
    """Return the code of a time of day."""
    return hour << 8 | minute


def rate_code(quarters: int) -> int:
    """Return the code of a rate in quarters, -2048 to 2047: a sign and eleven bits."""
    return 0x4000 | quarters & 0xFFF
