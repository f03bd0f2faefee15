"""Event and node numbers: how they are written, and the ranges that the standard has set aside.

Source: NMRA S-9.7.0.4, Event Identifiers (22 July 2024), sections 4 and 5; the bits of a range, S-9.7.3.1, section 4.
"""

from __future__ import annotations

import re
from typing import Final, NamedTuple

from bridge.events import ACCESSORY_NUMBERS

SENSORS: Final = range(4096)

_BYTES: Final = re.compile(r"[0-9A-Fa-f]{2}(?:\.[0-9A-Fa-f]{2})*")
_ADDRESSES: Final = len(ACCESSORY_NUMBERS)

NAMED: Final = {
    "emergency-off": 0x01000000_0000FFFF,
    "clear-emergency-off": 0x01000000_0000FFFE,
    "emergency-stop": 0x01000000_0000FFFD,
    "clear-emergency-stop": 0x01000000_0000FFFC,
}
"""Events that the standard names and an owner may write by name."""

DUPLICATE_NODE: Final = 0x01010000_00000201

ACTIVATE: Final = 0x01010200_00FF0000
DEACTIVATE: Final = 0x01010200_00FE0000
FEEDBACK_ACTIVE: Final = 0x01010200_00FD0000
FEEDBACK_INACTIVE: Final = 0x01010200_00FC0000
SENSOR_ACTIVE: Final = 0x01010200_00FB0000
SENSOR_INACTIVE: Final = 0x01010200_00FA0000
_OF_ADDRESS: Final = 0xFFF
"""What stands in the last bits: address and output of an accessory (11 and 1), or the number of a sensor."""

EXTENDED: Final = 0x01010200_01000000
_OF_EXTENDED: Final = 0x7FFFF  # 11 bits of address and 8 of the aspect

CLOCKS: Final = {
    "fast": 0x01010000_01000000,
    "real-time": 0x01010000_01010000,
    "alternate-1": 0x01010000_01020000,
    "alternate-2": 0x01010000_01030000,
}
"""The first of the 65,536 events of each clock that the standard names."""
OF_CLOCK: Final = 0xFFFF


class Output(NamedTuple):
    """One output of an accessory: its number by linear numbering, and whether it is that for normal."""

    number: int
    normal: bool


class Aspect(NamedTuple):
    """An extended accessory by its number, and the aspect that it was told to show."""

    number: int
    aspect: int


def dotted(number: int, length: int) -> str:
    """Return a number of `length` bytes as `01.02.03.04.05.06.00.01`."""
    return number.to_bytes(length, "big").hex(".").upper()


def read_dotted(text: object, length: int) -> int:
    """Return the number that `dotted` wrote.

    Raises:
        ValueError: it is not written so, or has another length.
    """
    if not isinstance(text, str) or not _BYTES.fullmatch(text) or text.count(".") + 1 != length:
        raise ValueError(f"it has {length} bytes in hex with dots between")
    return int(text.replace(".", ""), 16)


def output_of(event: int, offset: int = 0) -> Output:
    """Return the output that an event of one of the ranges from `ACTIVATE` to `FEEDBACK_INACTIVE` is about.

    The last 12 bits are `A << 1 | R`, with A = number + 3 in 11 bits, not complemented, and R = 1 for normal.

    Args:
        event: the event.
        offset: what is added to the number for a system that counts otherwise; it wraps as A does.
    """
    return Output(_number(event >> 1, offset), bool(event & 1))


def aspect_of(event: int, offset: int = 0) -> Aspect:
    """Return what an event of the range of extended accessories orders: 11 bits of A, 8 of the aspect."""
    return Aspect(_number(event >> 8, offset), event & 0xFF)


def _number(address: int, offset: int) -> int:
    return (address % _ADDRESSES - 4 + offset) % _ADDRESSES + 1


def base_of(event: int) -> int | None:
    """Return the first event of the range that an event lies in, or None where it lies in none that counts here."""
    if event & ~_OF_ADDRESS in _RANGES:
        return event & ~_OF_ADDRESS
    if event & ~_OF_EXTENDED == EXTENDED:
        return EXTENDED
    return None


_RANGES: Final = frozenset(
    {ACTIVATE, DEACTIVATE, FEEDBACK_ACTIVE, FEEDBACK_INACTIVE, SENSOR_ACTIVE, SENSOR_INACTIVE}
)

ACCESSORY_RANGES: Final = (
    (ACTIVATE, _OF_ADDRESS),
    (DEACTIVATE, _OF_ADDRESS),
    (FEEDBACK_ACTIVE, _OF_ADDRESS),
    (FEEDBACK_INACTIVE, _OF_ADDRESS),
    (EXTENDED, _OF_EXTENDED),
)
"""First event and mask of each range in which accessories are ordered and proved."""


def range_event(first: int, mask: int) -> int:
    """Return the event that stands for a range: its last bits are all 0 or all 1, and the one above is the other.

    Raises:
        ValueError: no event stands for just this range.
    """
    if not mask or mask & (mask + 1) or first & mask:
        raise ValueError(f"{first:#x} with {mask:#x} is no range")
    return first if first & (mask + 1) else first | mask


def mask_of(event: int) -> int:
    """Return the mask of a range: the run of equal bits at its end."""
    bits = event if event & 1 else ~event
    return ((bits + 1) & ~bits) - 1 & 0xFFFFFFFF_FFFFFFFF


def in_range(event: int, of: int) -> bool:
    """Return whether an event lies in the range that the event `of` stands for."""
    mask = mask_of(of)
    return event & ~mask == of & ~mask
