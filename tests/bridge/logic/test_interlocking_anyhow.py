"""Interlocking in the hands of whoever does anything in any order."""

from __future__ import annotations

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from tests.support.junction import BLOCKS, ROUTES, Junction


class AnyOperation(RuleBasedStateMachine):
    """Whatever operator, trains and detectors do, in any order, the promises hold."""

    def __init__(self) -> None:
        super().__init__()
        self.junction = Junction(awake=False)
        self.at = 0.0
        self.blocks: dict[str, str] = dict.fromkeys(BLOCKS, "unknown")
        self.raw_63 = "unknown"

    @rule(pause=st.sampled_from([0.0, 0.5, 1.5, 2.0, 5.0, 6.5, 20.0, 30.0]))
    def time_passes(self, pause: float) -> None:
        self.at += pause
        self.junction.wait(self.at)

    @rule(block=st.sampled_from(BLOCKS), state=st.sampled_from(["occupied", "clear", "unknown"]))
    def a_block_is_reported(self, block: str, state: str) -> None:
        self.junction.block(block, state, self.at)
        self.blocks[block] = state

    @rule(state=st.sampled_from(["on", "off", "shorted"]))
    def the_power_is_reported(self, state: str) -> None:
        self.junction.power(state, self.at)

    @rule(position=st.sampled_from(["normal", "reverse", "moving", "unknown"]))
    def the_turnout_is_proved(self, position: str) -> None:
        self.junction.stands(63, position, self.at)
        self.raw_63 = position

    @rule(position=st.sampled_from(["normal", "reverse"]))
    def the_trap_is_ordered(self, position: str) -> None:
        self.junction.order(66, position, self.at)

    @rule(signal=st.sampled_from(sorted(ROUTES)), position=st.sampled_from(["normal", "reverse"]))
    def a_signal_is_ordered(self, signal: str, position: str) -> None:
        self.junction.order(ROUTES[signal], position, self.at)

    @precondition(lambda self: self.at > 0)
    @rule(source=st.sampled_from(["panel", "feedback"]))
    def a_source_is_lost(self, source: str) -> None:
        self.junction.lose(source, self.at)
        if source == "feedback":
            self.blocks = dict.fromkeys(BLOCKS, "unknown")
            self.raw_63 = "unknown"

    @invariant()
    def no_two_conflicting_signals_are_clear(self) -> None:
        """All three routes lie over the points, so one signal at the most is better than stop."""
        assert 1 >= sum(self.junction.shows(name) != "stop" for name in ROUTES)

    @invariant()
    def no_signal_is_clear_over_a_block_that_is_not(self) -> None:
        """A block that was last reported otherwise than clear keeps every signal over it at stop."""
        behind = {"W": ("points",), "E": ("points", "west"), "B": ("points", "west")}
        for name, blocks in behind.items():
            if self.junction.shows(name) != "stop":
                assert all(self.blocks[block] == "clear" for block in blocks)
                assert self.raw_63 == ("reverse" if name == "B" else self.raw_63)
                assert self.raw_63 in ("normal", "reverse")

    @invariant()
    def a_clear_signal_has_its_turnout_locked(self) -> None:
        """The lock that is published holds for as long as a signal is clear."""
        if any(self.junction.shows(name) != "stop" for name in ROUTES):
            assert "locked" == self.junction.locks()["63"]

    @invariant()
    def the_signal_in_rear_never_promises_more(self) -> None:
        """A, which has no block of its own, shows clear only where W is not at stop."""
        assert self.junction.shows("W") != "stop" or self.junction.shows("A") != "clear"


AnyOperation.TestCase.settings = settings(max_examples=150, stateful_step_count=40, deadline=None)
TestAnyOperation = AnyOperation.TestCase
