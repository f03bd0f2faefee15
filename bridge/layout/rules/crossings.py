"""What is usual or prescribed at a level crossing, region by region, each value with what it rests on.

A value is a usual one, and the least and the most that are allowed; where nothing is said of a limit, there is none.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Final

from bridge.events import SECOND
from bridge.layout.crossings import NOT_RAISED, RED, Phase
from bridge.layout.rules.book import Evidence, RuleRow

STOP: Final = "stop"
AMBER: Final = "amber"
LIT: Final = "lit"
"""The aspects of a post, beside dark: those of its lights, and that of an arm or a sign."""

PLACES: Final = ("left", "right", "tip", "middle", "base")
"""Lamps that are called by their place and not by a colour."""

_COMMON: Final = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Figure:
    """One value of a rule set.

    Attributes:
        usual: the value where the owner says nothing.
        least: the least that is allowed, or None where nothing says so.
        most: the most that is allowed, or None where nothing says so.
        source: what this rests on.
        evidence: how well it is known.
    """

    usual: int
    least: int | None
    most: int | None
    source: str
    evidence: Evidence

    def allows(self, value: int) -> bool:
        """Return whether a value lies within the limits."""
        return (self.least is None or self.least <= value) and (self.most is None or value <= self.most)


@dataclass(frozen=True, slots=True)
class CrossingRules:
    """The rules of one region; times in nanoseconds, the rate in flashes a minute.

    Attributes:
        name: what they are called in a layout file.
        stop: the red lights.
        amber: the steady lights before them, or None where there are none.
        arm: the lights of a gate arm; None where all of its lamps are simply lit.
        arm_lit: when those are lit.
        flash_rate: how often each lamp flashes.
        amber_time: how long the steady lights before the red ones show.
        gate_start: from the red lights to the start of the gates.
        gate_lowering: how long the gates take to come down.
        gate_raising: how long they take to rise.
        exit_lowering: how long gates on the road's way out take to come down, once the others are down.
    """

    name: str
    stop: RuleRow
    amber: RuleRow | None
    arm: RuleRow | None
    arm_lit: Collection[Phase]
    flash_rate: Figure
    amber_time: Figure | None
    gate_start: Figure
    gate_lowering: Figure
    gate_raising: Figure
    exit_lowering: Figure


_PAIR: Final = "flashing left + alternating right"
_NI: Final = "S.R. (NI) 2023/9 Sch. 2 para 11"
_EBO: Final = "EBO Anlage 5 to para 11"
_RAISING: Final = Figure(8 * SECOND, None, None, _COMMON, Evidence.MEMORY)
_EXITS: Final = Figure(8 * SECOND, None, None, _COMMON, Evidence.MEMORY)

NORTH_AMERICA: Final = CrossingRules(
    name="north-america",
    stop=RuleRow(STOP, (_PAIR,), Evidence.SEEN, "49 CFR 234.217(c)"),
    amber=None,
    # The two inner lamps alternate with the lights on the post, the one at the tip does not flash.
    arm=RuleRow(LIT, ("tip + flashing middle + alternating base",), Evidence.SEEN, "Minn. R. 8830.1550"),
    arm_lit=RED,  # the lights of the arms stop together with those of the post: MUTCD 8C.04 p.04
    flash_rate=Figure(50, 35, 65, "49 CFR 234.217(c)", Evidence.SEEN),
    amber_time=None,
    gate_start=Figure(3 * SECOND, 3 * SECOND, None, "49 CFR 234.223", Evidence.SEEN),
    # 20 s of warning, 3 s until they may start, and down 5 s before the train: what is left is 12 s.
    gate_lowering=Figure(
        9 * SECOND, None, 12 * SECOND, "worked out from 49 CFR 234.223 and 234.225", Evidence.SEEN
    ),
    gate_raising=_RAISING,
    # 49 CFR 234.223 is about the gates of the way in alone.
    exit_lowering=_EXITS,
)

GREAT_BRITAIN: Final = CrossingRules(
    name="great-britain",
    stop=RuleRow(STOP, (_PAIR,), Evidence.SEEN, _NI),
    amber=RuleRow(AMBER, ("amber",), Evidence.SEEN, _NI),
    arm=None,
    arm_lit=NOT_RAISED,  # S.R. (NI) 2016/404 Sch. 2
    flash_rate=Figure(
        75,
        60,
        90,
        "TSRGD 1994 reg. 30(6), which has it for motorways; for crossings no source",
        Evidence.MEMORY,
    ),
    # "About 3 s": half a second more or less is taken for that.
    amber_time=Figure(3 * SECOND, 5 * SECOND // 2, 7 * SECOND // 2, _NI, Evidence.SEEN),
    gate_start=Figure(5 * SECOND, 4 * SECOND, 6 * SECOND, _NI, Evidence.SEEN),
    gate_lowering=Figure(8 * SECOND, 6 * SECOND, 10 * SECOND, _NI, Evidence.SEEN),
    gate_raising=_RAISING,
    exit_lowering=Figure(8 * SECOND, 6 * SECOND, 10 * SECOND, _NI, Evidence.SEEN),
)

GERMANY: Final = CrossingRules(
    name="germany",
    stop=RuleRow(STOP, ("red",), Evidence.SEEN, _EBO),
    amber=RuleRow(AMBER, ("yellow",), Evidence.SEEN, _EBO),
    arm=None,
    arm_lit=NOT_RAISED,  # common practice, no source
    flash_rate=Figure(60, None, None, _COMMON, Evidence.MEMORY),
    amber_time=Figure(3 * SECOND, SECOND, None, _COMMON, Evidence.MEMORY),
    gate_start=Figure(5 * SECOND, None, None, _COMMON, Evidence.MEMORY),
    gate_lowering=Figure(8 * SECOND, None, None, _COMMON, Evidence.MEMORY),
    gate_raising=_RAISING,
    exit_lowering=_EXITS,
)

CROSSING_RULES: Final[dict[str, CrossingRules]] = {
    each.name: each for each in (NORTH_AMERICA, GREAT_BRITAIN, GERMANY)
}
"""The rules of each region by the name that a layout file calls them by."""
