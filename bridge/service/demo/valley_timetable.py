"""Alder Junction and the valley line as tables: which way trains go round, and what they have to ask for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from bridge.events import MILLISECOND, SECOND, Instant, Position
from bridge.layout.controls import Needs

NORMAL: Final = Position.NORMAL
REVERSE: Final = Position.REVERSE

STOP: Final = "stop"


@dataclass(frozen=True, slots=True)
class Leg:
    """The way from one signal to the next.

    Attributes:
        signal: at its beginning.
        blocks: behind it, up to the next signal.
        order: the aspect that a signalman has to order, or empty where the signal works by itself.
        turnouts: how they must stand, by accessory number.
        asks: a train that comes into the last of the blocks is announced at a signal that lies so many legs further on.
    """

    signal: str
    blocks: tuple[str, ...]
    order: str = ""
    turnouts: Needs = ()
    asks: int = 0


@dataclass(frozen=True, slots=True)
class Working:
    """What a train does all day on the ring.

    Attributes:
        train: its name.
        legs: round and round, the last one leads to the first.
        begins: the index of the leg before which it stands in the morning.
        first: when it is ready for the first time.
        runs: how long it takes through a block, from and to, in milliseconds.
        stands: how long it stands in a station, by block, from and to, in milliseconds.
    """

    train: str
    legs: tuple[Leg, ...]
    begins: int
    first: Instant
    runs: tuple[int, int]
    stands: Mapping[str, tuple[int, int]]

    @property
    def start(self) -> str:
        """The block in which it stands in the morning."""
        return self.legs[self.begins - 1].blocks[-1]


_VALLEY: Final = (
    Leg("V1", ("meadow", "mill-lane", "valley-2")),
    Leg("V2", ("valley-3",)),
    Leg("V3", ("valley-4",), asks=2),
    Leg("V4", ("valley-5",)),
)
_FROM_MAIN: Final = Leg("AM", ("alder-east", "valley-1"), "clear", ((15, NORMAL),))
_FROM_BRANCH: Final = Leg("AB", ("alder-east", "valley-1"), "medium-clear", ((15, REVERSE),))
_TO_MAIN: Final = Leg("AW", ("alder-west", "alder-main"), "clear", ((14, NORMAL),), asks=1)
_TO_BRANCH: Final = Leg("AW", ("alder-west", "alder-branch"), "clear", ((14, REVERSE),), asks=1)

BY_THE_MAIN: Final = (_FROM_MAIN, *_VALLEY, _TO_MAIN)
BY_THE_BRANCH: Final = (_FROM_BRANCH, *_VALLEY, _TO_BRANCH)

WORKINGS: Final = (
    Working("the express", BY_THE_MAIN, 2, 2 * SECOND, (3000, 4200), {}),
    Working("the ore train", BY_THE_BRANCH, 0, 4 * SECOND, (4800, 6500), {"alder-branch": (4000, 8000)}),
    Working(
        "the railcar",
        (_FROM_MAIN, *_VALLEY, _TO_BRANCH, _FROM_BRANCH, *_VALLEY, _TO_MAIN),
        0,
        3 * SECOND,
        (3600, 5200),
        {"alder-main": (3000, 6000), "alder-branch": (2500, 4500)},
    ),
)

LEGS: Final = tuple(dict.fromkeys(leg for working in WORKINGS for leg in working.legs))
BLOCKS: Final = tuple(dict.fromkeys(block for leg in LEGS for block in leg.blocks))
INTERLOCKED: Final = tuple(dict.fromkeys(leg.signal for leg in LEGS if leg.order))
DISTRICTS: Final = ("alder", "valley")

SHORT: Final = frozenset({"alder-west", "alder-east", "mill-lane"})
THROUGH_SHORT: Final = 600 * MILLISECOND
"""A turnout is short, and so is a road."""

PATIENCE: Final = 5 * SECOND
"""A signal that a train waits for is ordered again after this."""

HASTY: Final = 0.45
"""How often a signalman orders a signal before the turnout has arrived."""
