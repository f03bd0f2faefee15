"""What stands along the track beside blocks and signals: power districts and turnouts."""

from __future__ import annotations

from dataclasses import dataclass

from bridge.events import Position
from bridge.layout.findings import Mark


@dataclass(frozen=True, slots=True)
class District:
    """A power district; its blocks are unknown until its power has been on for `settle` nanoseconds."""

    name: str
    settle: int
    mark: Mark


@dataclass(frozen=True, slots=True)
class Turnout:
    """An accessory that is a turnout.

    Attributes:
        accessory: its number.
        feedback: only what is proved counts, and never what was ordered.
        block: the block that it lies in, or empty: its lock is let go of with that section of a route.
        mark: its place in the file.
        fouls: the positions in which what comes over it runs into the side of a block, each with such a block.
    """

    accessory: int
    feedback: bool
    block: str
    mark: Mark
    fouls: tuple[tuple[Position, str], ...] = ()
