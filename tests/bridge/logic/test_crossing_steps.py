"""A crossing under trains and times of any kind: what must never be, and what must come in the end."""

from __future__ import annotations

import json
from fractions import Fraction
from itertools import pairwise
from typing import Final

from hypothesis import given
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from bridge.events import SECOND
from bridge.layout.crossings import RED, Phase
from bridge.logic import crossing as logic
from bridge.logic.crossing import GATES, UP
from tests.support.crossings import AMBER, BLOCKS, MILL_LANE, OPEN, Watched

LAYOUTS: Final = {"red at once": MILL_LANE, "amber first": AMBER, "no gates": OPEN}
ISLANDS: Final = ("ux", "dx")
STATES: Final = st.sampled_from(["o", "c", "?"])
TIMES: Final = st.integers(1, 12 * SECOND) | st.sampled_from([SECOND, 3 * SECOND, 8 * SECOND, 9 * SECOND])


class AnyTrains(RuleBasedStateMachine):
    """One crossing, any reports of its blocks, and any times between them."""

    def __init__(self) -> None:
        super().__init__()
        self.watched = Watched()
        self.blocks = dict.fromkeys(BLOCKS, "c")
        self.checked = 0

    @initialize(layout=st.sampled_from(sorted(LAYOUTS)))
    def begin(self, layout: str) -> None:
        """Take one of the crossings."""
        self.watched = Watched(LAYOUTS[layout])
        self.layout = LAYOUTS[layout]

    @rule(block=st.sampled_from(BLOCKS), state=STATES)
    def report(self, block: str, state: str) -> None:
        """Have a block reported."""
        self.blocks[block] = state
        self.watched.say(f"{block} {state}")

    @rule(time=TIMES)
    def wait(self, time: int) -> None:
        """Let time pass."""
        self.watched.wait(time)

    @rule()
    def keep(self) -> None:
        """Keep the crossing and take it up again elsewhere."""
        fresh = logic.Crossing(self.layout)
        fresh.set_state(json.loads(json.dumps(self.watched.crossing.state())))
        assert fresh.state() == self.watched.crossing.state()
        self.watched.crossing = fresh

    @rule()
    def all_clear(self) -> None:
        """With no train and everything known the road opens, and stays open."""
        for block in BLOCKS:
            self.report(block, "c")
        self.watched.wait(20 * SECOND)
        assert Phase.IDLE is self.watched.phase
        assert self.watched.crossing.next_due() is None

    @invariant()
    def a_taken_road_is_closed(self) -> None:
        """Where a train is on the road, or may be, the lights are on, or their time of amber is running."""
        if any(self.blocks[island] != "c" for island in ISLANDS):
            assert self.watched.red or Phase.AMBER is self.watched.phase

    @invariant()
    def what_is_not_known_is_a_train(self) -> None:
        """A block of which nothing is known closes the road: 49 CFR 234.203, 236.5."""
        if "?" in self.blocks.values():
            assert self.watched.phase not in (Phase.IDLE, Phase.RISING)

    @invariant()
    def steps_keep_their_order(self) -> None:
        """Gates start after their time of red, and red ends only with the gates up: 49 CFR 234.223, MUTCD 8C.04."""
        seen = self.watched.seen
        for place in range(max(self.checked, 1), len(seen)):
            (before, began), (after, at) = seen[place - 1 : place + 1]
            if after is Phase.LOWERING and GATES[before] == UP:
                assert before is Phase.WARNING
                assert at - began >= 3 * SECOND
            if before in RED and after not in RED:
                # At the very instant at which gates were to start they have not moved yet.
                unmoved = before is Phase.LOWERING and at == began
                assert GATES[before] == UP or before is Phase.RISING or unmoved
        self.checked = len(seen)


TestAnyTrains = AnyTrains.TestCase


@given(st.lists(st.tuples(TIMES, st.sampled_from(["ua o", "ua c", "da o", "da c"])), max_size=30))
def test_red_never_ends_before_the_gates_are_up(story: list[tuple[int, str]]) -> None:
    """However often gates turn round, they are all the way up when the lights go out, by exact arithmetic."""
    watched = Watched()
    assert MILL_LANE.gates is not None
    for time, report in story:
        watched.wait(time)
        watched.say(report)
    watched.say("ua c", "da c")
    watched.wait(60 * SECOND)
    height = Fraction(1)
    for (phase, began), (after, ended) in pairwise(watched.seen):
        if phase is Phase.LOWERING:
            height = max(height - Fraction(ended - began, MILL_LANE.gates.lowering), Fraction(0))
        elif phase is Phase.RISING:
            height = min(height + Fraction(ended - began, MILL_LANE.gates.raising), Fraction(1))
        if after is Phase.IDLE:
            assert 1 == height
    assert Phase.IDLE is watched.phase
