"""Level crossings: the tracks over the road, the gates, and how long each step of closing it takes."""

from __future__ import annotations

from dataclasses import dataclass

from bridge.events import Word
from bridge.layout.findings import Mark


class Phase(Word):
    """How far the closing of a crossing has got."""

    IDLE = "idle"  # no train is near: everything is dark and the gates are up
    AMBER = "amber"  # the steady warning before the red one
    WARNING = "warning"  # the red lights are on and the gates still up
    LOWERING = "lowering"
    DOWN = "down"
    RISING = "rising"  # the red lights stay on until the gates are up


RED: tuple[Phase, ...] = (Phase.WARNING, Phase.LOWERING, Phase.DOWN, Phase.RISING)
"""Whenever a crossing is in one of these, its red lights are on."""

NOT_RAISED: tuple[Phase, ...] = (Phase.LOWERING, Phase.DOWN, Phase.RISING)
"""Whenever a crossing is in one of these, a gate of it is not fully raised."""


@dataclass(frozen=True, slots=True)
class CrossingTrack:
    """One track over the road.

    Attributes:
        name: unique on its crossing.
        island: the block that the road crosses.
        approaches: for one side or for both, its blocks in the order in which a train comes through them.
    """

    name: str
    island: str
    approaches: tuple[tuple[str, ...], ...]

    @property
    def blocks(self) -> tuple[str, ...]:
        """All of its blocks, the island first."""
        return (self.island, *(block for side in self.approaches for block in side))


@dataclass(frozen=True, slots=True)
class Gates:
    """Gates without feedback: times in nanoseconds.

    Attributes:
        start_after: from the red lights to the start of the gates.
        lowering: how long they take to come down.
        raising: how long they take to rise.
    """

    start_after: int
    lowering: int
    raising: int


@dataclass(frozen=True, slots=True)
class ExitGates:
    """Gates on the road's way out, without feedback: times in nanoseconds.

    Attributes:
        lowering: how long they take to come down, once the others are down.
        raising: how long they take to rise, as the others do.
    """

    lowering: int
    raising: int


@dataclass(frozen=True, slots=True)
class Crossing:
    """One level crossing; times in nanoseconds.

    Attributes:
        name: unique among the crossings.
        tracks: the tracks over the road.
        amber: how long the steady warning before the red one is; 0 where there is none.
        gates: its gates, or None.
        exits: gates on the road's way out, or None.
        time_out: how long a train may stand in an approach until it no longer keeps the road closed; None for ever.
        posts: the names of the devices that show what it does.
        mark: its place in the file.
    """

    name: str
    tracks: tuple[CrossingTrack, ...]
    amber: int
    gates: Gates | None
    time_out: int | None
    posts: tuple[str, ...]
    mark: Mark
    exits: ExitGates | None = None
