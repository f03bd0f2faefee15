"""The invented line of the demo as tables: where trains can go, and what the dispatcher orders for it.

Signals and lights go by their names here. Which accessory orders an aspect stands in the layout file, and is
looked up there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from bridge.events import MILLISECOND, SECOND, Instant, Position

NORMAL: Final = Position.NORMAL
REVERSE: Final = Position.REVERSE

STOP: Final = "stop"


@dataclass(frozen=True, slots=True)
class Step:
    """One signal of a route, the aspect that lets a train pass it, and the block behind it."""

    signal: str
    aspect: str
    block: str


@dataclass(frozen=True, slots=True)
class Route:
    """A way from one track to another.

    Attributes:
        start: the block in which a train begins.
        turnouts: how they must stand, by accessory number.
        steps: the signals in the order in which a train passes them.
    """

    start: str
    turnouts: tuple[tuple[int, Position], ...]
    steps: tuple[Step, ...]

    @property
    def blocks(self) -> frozenset[str]:
        """Every block that no other train may use meanwhile."""
        return frozenset({self.start, *(step.block for step in self.steps)})


@dataclass(frozen=True, slots=True)
class Duty:
    """What a train does all day.

    Attributes:
        train: its name.
        rounds: the routes that it runs, one after another and then again.
        first: when it is ready for the first time.
        waits: how long it stands between two routes, from and to, in milliseconds.
        runs: how long it takes through a block, from and to, in milliseconds.
    """

    train: str
    rounds: tuple[Route, ...]
    first: Instant
    waits: tuple[int, int]
    runs: tuple[int, int]


THE_LOCAL: Final = Duty(
    train="the local",
    rounds=(
        Route(
            "F1",
            ((11, NORMAL), (12, NORMAL)),
            (Step("F1E", "clear", "line-west"), Step("GE", "clear", "line-east"), Step("TE", "clear", "T1")),
        ),
        Route(
            "T1",
            ((12, NORMAL), (11, NORMAL)),
            (
                Step("T1W", "clear", "line-east"),
                Step("GW", "approach", "line-west"),
                Step("FW", "approach", "F1"),
            ),
        ),
    ),
    first=500 * MILLISECOND,
    waits=(3000, 6000),
    runs=(3500, 5500),
)

THE_GOODS: Final = Duty(
    train="the goods",
    rounds=(
        Route(
            "T2",
            ((12, REVERSE), (11, REVERSE)),
            (
                Step("T2W", "approach", "line-east"),
                Step("GW", "clear", "line-west"),
                Step("FW", "diverging-approach", "F2"),
            ),
        ),
        Route(
            "F2",
            ((11, REVERSE), (12, REVERSE)),
            (
                Step("F2E", "approach", "line-west"),
                Step("GE", "approach", "line-east"),
                Step("TE", "approach", "T2"),
            ),
        ),
    ),
    first=6 * SECOND,
    waits=(4000, 9000),
    runs=(5000, 7500),
)

THE_SHUNTER: Final = Duty(
    train="the shunter",
    rounds=(
        Route("Y1", ((13, NORMAL),), (Step("D2", "restricting", "spur"),)),
        Route("spur", ((13, REVERSE),), (Step("D1", "restricting", "Y2"),)),
        Route("Y2", ((13, REVERSE),), (Step("D3", "restricting", "spur"),)),
        Route("spur", ((13, NORMAL),), (Step("D1", "restricting", "Y1"),)),
    ),
    first=3 * SECOND,
    waits=(2500, 7000),
    runs=(3000, 5000),
)

DUTIES: Final = (THE_LOCAL, THE_GOODS, THE_SHUNTER)

STEPS: Final = tuple(step for duty in DUTIES for route in duty.rounds for step in route.steps)
SIGNALS: Final = tuple(dict.fromkeys(step.signal for step in STEPS))
BLOCKS: Final = tuple(sorted({block for duty in DUTIES for route in duty.rounds for block in route.blocks}))
DISTRICTS: Final = ("fernhollow", "tarn")

SIGNAL_DROPS_AFTER: Final = 400 * MILLISECOND
TAIL_FOLLOWS_AFTER: Final = 1800 * MILLISECOND
"""How long a train stands in two blocks."""

PATIENCE: Final = 8 * SECOND
"""A train that waits so long at a signal that was cleared for it tells the dispatcher."""

CLOCK_STARTS: Final = 19 * 3600
"""Seconds of the model day. Dusk is when one looks at lights."""

CLOCK_RATE: Final = 120
"""A model day passes in twelve minutes."""

CLOCK_TOLD_EACH: Final = 30 * 60
"""Seconds of the model day after which the clock is told again; in between everybody reckons on."""
