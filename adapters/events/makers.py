"""From what was said to the fact: which one, what of it, when, by whom, and what it may be used for."""

from __future__ import annotations

from typing import Final

from bridge.events import (
    AccessoryProved,
    AspectOrdered,
    Authority,
    BlockReported,
    BlockState,
    ButtonReported,
    ButtonState,
    Instant,
    Position,
    PowerReported,
    PowerState,
)

LONGEST_NAME: Final = 64
"""Characters of the name of a block, a district or a button."""


def proved(
    number: int, position: Position, at: Instant, source: str, authority: Authority
) -> AccessoryProved:
    """Return that an accessory is known to be somewhere."""
    return AccessoryProved(at=at, source=source, number=number, position=position, authority=authority)


def aspect(number: int, shown: int, at: Instant, source: str, authority: Authority) -> AspectOrdered:
    """Return that an extended accessory was told to show an aspect, by its number."""
    return AspectOrdered(at=at, source=source, number=number, aspect=shown, authority=authority)


def block(name: str, state: BlockState, at: Instant, source: str, authority: Authority) -> BlockReported:
    """Return that a detector reported its block."""
    return BlockReported(at=at, source=source, name=name, state=state, authority=authority)


def power(district: str, state: PowerState, at: Instant, source: str, authority: Authority) -> PowerReported:
    """Return that track power of a district was reported."""
    return PowerReported(at=at, source=source, district=district, state=state, authority=authority)


def button(name: str, state: ButtonState, at: Instant, source: str, authority: Authority) -> ButtonReported:
    """Return that a push button was pressed or let go."""
    return ButtonReported(at=at, source=source, name=name, state=state, authority=authority)
