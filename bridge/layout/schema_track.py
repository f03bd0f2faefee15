"""The keys of what a layout file says of the track: blocks, power districts, turnouts and level crossings."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field

from bridge.layout.schema import Entry
from bridge.layout.units import Duration, FlashRate, Name, Truth, at_most, one_of


class BlockEntry(Entry):
    """A block and how its detector's reports are taken.

    Attributes:
        district: the power district that it lies in.
        occupied_after: how long it has to be reported occupied.
        clear_after: how long it has to be reported clear; 1.5 s if left out, 10 s for a spot detector.
        detector: `block` sees a train anywhere in the block, `spot` only one place of it.
        fouls: blocks in which a train would be hit by one in here, such as the other track of a crossing.
    """

    district: Name | None = None
    occupied_after: Annotated[Duration, at_most("100 ms")] = 0
    clear_after: Annotated[Duration, at_most("60 s")] | None = None
    detector: Annotated[str, one_of("block", "spot")] = "block"
    fouls: tuple[Name, ...] = ()


class DistrictEntry(Entry):
    """A power district; `settle` is how long its power has to be on before its blocks are believed."""

    settle: Annotated[Duration, at_most("60 s")] = 2_000_000_000


class TurnoutEntry(Entry):
    """A turnout.

    Attributes:
        feedback: it counts as standing where it is proved to stand, and never where it was ordered.
        block: the block that it lies in.
        fouls: for a position, the blocks into whose side a vehicle runs that comes over it then.
    """

    feedback: Truth = False
    block: Name | None = None
    fouls: dict[
        Annotated[str, one_of("normal", "reverse", "closed", "thrown")],
        Annotated[tuple[Name, ...], Field(min_length=1)],
    ] = Field(default_factory=dict)


class CrossingTrackEntry(Entry):
    """One track over a road.

    Attributes:
        island: the block that the road crosses.
        approaches: for one side or both, its blocks in the order in which a train comes through them.
    """

    island: Name
    approaches: Annotated[
        tuple[Annotated[tuple[Name, ...], Field(min_length=1)], ...], Field(min_length=1, max_length=2)
    ]


class GatesEntry(Entry):
    """The gates of a crossing: what is left out is as its rules have it.

    Attributes:
        start_after: from the red lights to the start of the gates.
        lower: how long they take to come down.
        raise_: how long they take to rise.
    """

    start_after: Annotated[Duration, at_most("60 s")] | None = None
    lower: Annotated[Duration, at_most("60 s")] | None = None
    raise_: Annotated[Duration, at_most("60 s")] | None = Field(default=None, alias="raise")


class ExitGatesEntry(Entry):
    """The gates on the road's way out; `lower` is how long they take to come down once the others are down."""

    lower: Annotated[Duration, at_most("60 s")] | None = None


class PostEntry(Entry):
    """One post, arm or sign of a crossing.

    Attributes:
        fixture: the fixture that it uses; its own name if left out.
        heads: the heads of the fixture that it uses; all if left out.
        aspects: what it shows, if not as the rules have it.
        change: how one aspect gives way to the next.
    """

    fixture: Name | None = None
    heads: Annotated[tuple[Name, ...], Field(min_length=1)] | None = None
    aspects: Any = None
    change: Any = None


class CrossingEntry(Entry):
    """One level crossing; its posts, arms and signs are validated one by one.

    Attributes:
        rules: the rules of its region.
        tracks: the tracks over the road, by name.
        amber: how long the steady lights before the red ones show.
        flash_rate: how often a minute each lamp flashes.
        gates: its gates.
        exit_gates: its gates on the road's way out, if it has any.
        time_out: how long a train may stand in an approach until it no longer keeps the road closed.
        posts: fixtures with the lights for the road, by name.
        arms: fixtures with the lights on the arms of the gates, by name.
        signs: fixtures that tell of a second train, by name.
    """

    rules: Name
    tracks: Annotated[dict[Name, CrossingTrackEntry], Field(min_length=1)]
    amber: Annotated[Duration, at_most("60 s")] | None = None
    flash_rate: FlashRate | None = None
    gates: GatesEntry | None = None
    exit_gates: ExitGatesEntry | None = None
    time_out: Duration | None = None
    posts: dict[Name, Any] = Field(default_factory=dict)
    arms: dict[Name, Any] = Field(default_factory=dict)
    signs: dict[Name, Any] = Field(default_factory=dict)
