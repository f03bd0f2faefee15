"""Signals that are told in every way and mixture of ways, in the hands of whoever says anything in any order."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import Any, Final

import pytest
from hypothesis import Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

from bridge.commands import Command, Decision
from bridge.engine import Engine
from bridge.events import (
    MILLISECOND,
    AccessoryProved,
    Authority,
    BlockReported,
    BlockState,
    ButtonState,
    Event,
    LinkState,
    NodeReported,
    Position,
    PowerReported,
    PowerState,
    SourceReported,
    Subject,
    UseReported,
)
from tests.support.broken_mixtures import BROKEN
from tests.support.broken_rules import Break
from tests.support.driving import NORMAL, REVERSE, button, order
from tests.support.mixed_track import SidedTrack
from tests.support.mixtures import ASPECTS, MIXTURES, Oracle, mixed, oracle, orders_for, worst
from tests.support.tracks import driven, number_ordered, run_to

SOURCES: Final = ("panel", "tower")
TOLD: Final = ("X", "P", "Q")
ALL: Final = ("X", "P", "Q", "M", "N")
IN_USE: Final = (
    (Subject.SIGNAL, "X"),
    (Subject.SIGNAL, "P"),
    (Subject.SIGNAL, "M"),
    (Subject.SIGNAL, "N"),
    (Subject.BLOCK, "east"),
    (Subject.TURNOUT, "65"),
    (Subject.TURNOUT, "63"),
    (Subject.SOURCE, "tower"),
    (Subject.NODE, "far"),
)
BEST: Final = (
    order(61, REVERSE),
    order(63, REVERSE),
    order(64, REVERSE),
    order(65, NORMAL),
    order(71, REVERSE),
    order(73, REVERSE),
    number_ordered(37, 15),
    button("crash", ButtonState.RELEASED),
    button("slow", ButtonState.RELEASED),
    button("green", ButtonState.PRESSED),
)
_ENGINES: dict[tuple[str, ...], Engine] = {}


def fresh(kinds: tuple[str, ...]) -> Engine:
    """Return a started engine for a mixture, whose layout is read once."""
    known = _ENGINES.get(kinds)
    _ENGINES[kinds] = known or driven(mixed(kinds))
    engine = Engine(_ENGINES[kinds].layout)
    engine.start()
    return engine


class AnyWord(RuleBasedStateMachine):
    """Whatever is said by anybody in any order, each signal shows the most restrictive of what that means."""

    def __init__(self, kinds: tuple[str, ...]) -> None:
        super().__init__()
        self.kinds = kinds
        self.engine = fresh(kinds)
        self.track = SidedTrack()
        self.oracles: list[Oracle] = [oracle(kind) for kind in kinds]
        self.at = 0
        self.said = orders_for(kinds)

    # ---- what may happen ---------------------------------------------------------------------------------------

    def tell(self, event: Event) -> None:
        """Tell engine and oracles an event that only makes things worse or is news, and look at what follows."""
        self.at += 40 * MILLISECOND  # longer than contacts bounce, which has tests of its own
        event = replace(event, at=self.at)
        self.look(run_to(self.engine, self.at))
        self.look(self.engine.handle(event))
        self.track.now = self.at
        if f"source/{event.source}" not in self.track.out:
            self.track.hear(event)
            for each in self.oracles:
                each.hear(event)

    def look(self, commands: list[Command]) -> None:
        """Each change says why, and by which events."""
        for each in commands:
            if isinstance(each, Decision) and each.before != each.aspect:
                assert each.reason
                assert each.causes, (
                    f"{each.device} shows {each.aspect} because {each.reason}: no event is named"
                )
                assert sorted(set(each.causes)) == list(each.causes)
                assert 0 < each.causes[0] <= each.causes[-1] <= self.engine.events

    def lose(self, source: str) -> None:
        self.track.lose(source)
        for each in self.oracles:
            each.lose(source)

    def shows(self) -> dict[str, str]:
        choices = self.engine.choices()
        return {name: choices[name].aspect for name in ALL}

    def never_better(self, event: Event) -> None:
        """Tell something bad: no signal at all may improve by it."""
        self.look(run_to(self.engine, self.at + 40 * MILLISECOND))
        before = self.shows()
        self.tell(event)
        for name, aspect in self.shows().items():
            assert ASPECTS.index(aspect) <= ASPECTS.index(before[name]), (name, before[name], aspect)

    @rule(data=st.data(), source=st.sampled_from(SOURCES))
    def somebody_orders(self, data: st.DataObject, source: str) -> None:
        self.tell(replace(data.draw(st.sampled_from(self.said)), source=source))

    @rule(data=st.data(), source=st.sampled_from(SOURCES), copies=st.integers(1, 4))
    def the_broker_gives_copies(self, data: st.DataObject, source: str, copies: int) -> None:
        """Copies in any order; some twice."""
        for _ in range(copies):
            said = data.draw(st.sampled_from(self.said))
            self.tell(replace(said, source=source, authority=Authority.STATE))  # type: ignore[call-arg] # all have it

    @rule(block=st.sampled_from(["east", "siding", "points"]), state=st.sampled_from(["clear", "occupied"]))
    def a_block_is_reported(self, block: str, state: str) -> None:
        self.tell(BlockReported(at=0, source="tower", name=block, state=BlockState(state)))

    @rule(block=st.sampled_from(["east", "siding", "points"]), state=st.sampled_from(BlockState))
    def a_block_is_told_in_a_copy(self, block: str, state: BlockState) -> None:
        event = BlockReported(at=0, source="tower", name=block, state=state, authority=Authority.STATE)
        self.tell(event)

    @rule(block=st.sampled_from(["east", "siding", "points"]))
    def a_detector_does_not_know(self, block: str) -> None:
        self.never_better(BlockReported(at=0, source="tower", name=block, state=BlockState.UNKNOWN))

    @rule()
    def all_is_well(self) -> None:
        """Everything in use, power on, all blocks clear, the turnout straight, and time to believe it."""
        for what in IN_USE:
            self.its_owner_takes_it_out_of_use(what, "in")
        self.a_node_is_silent(LinkState.UP)
        self.tell(PowerReported(at=0, source="tower", district="main", state=PowerState.ON))
        for block in ("east", "siding", "points"):
            self.tell(BlockReported(at=0, source="tower", name=block, state=BlockState.CLEAR))
        if "ahead" in self.kinds:
            self.tell(AccessoryProved(at=0, source="tower", number=65, position=Position.NORMAL))
        self.time_passes(5000)

    @rule()
    def all_is_told_the_best(self) -> None:
        """The best order or button of each way, one after the other."""
        for event in BEST:
            if event in self.said:
                self.tell(event)

    @rule(block=st.sampled_from(["east", "siding", "points"]), pause=st.sampled_from([100, 1400, 2000]))
    def a_train_passes(self, block: str, pause: int) -> None:
        self.a_block_is_reported(block, "occupied")
        self.is_as_told()
        self.a_block_is_reported(block, "clear")
        self.time_passes(pause)

    @rule(position=st.sampled_from(Position), copied=st.booleans())
    def a_turnout_is_proved(self, position: Position, copied: bool) -> None:
        authority = Authority.STATE if copied else Authority.FEEDBACK
        self.tell(AccessoryProved(at=0, source="tower", number=65, position=position, authority=authority))

    @rule(state=st.sampled_from([PowerState.OFF, PowerState.SHORTED]))
    def the_power_fails(self, state: PowerState) -> None:
        self.never_better(PowerReported(at=0, source="tower", district="main", state=state))

    @rule(copied=st.booleans())
    def the_power_is_on(self, copied: bool) -> None:
        authority = Authority.STATE if copied else Authority.FEEDBACK
        self.tell(
            PowerReported(at=0, source="tower", district="main", state=PowerState.ON, authority=authority)
        )

    @rule(source=st.sampled_from(SOURCES))
    def a_source_is_lost(self, source: str) -> None:
        self.never_better(SourceReported(at=0, source=source, state=LinkState.LOST))
        self.lose(source)

    @rule(source=st.sampled_from(SOURCES))
    def a_source_is_back(self, source: str) -> None:
        before = self.shows()
        self.tell(SourceReported(at=0, source=source, state=LinkState.UP))
        assert (
            before["X"] == self.shows()["X"] or self.track.now
        )  # it says nothing by itself: see `is_as_told`

    @rule(state=st.sampled_from(LinkState))
    def a_node_is_silent(self, state: LinkState) -> None:
        event = NodeReported(at=0, source="nodes", node="far", state=state)
        if state is LinkState.LOST:
            self.never_better(event)
            self.track.silent.add("far")
        else:
            self.tell(event)
            self.track.silent.discard("far")

    @rule(what=st.sampled_from(IN_USE), how=st.sampled_from(["out", "absent", "in"]))
    def its_owner_takes_it_out_of_use(self, what: tuple[Subject, str], how: str) -> None:
        subject, name = what
        out, absent = how != "in", how == "absent"
        event = UseReported(at=0, source="desk", subject=subject, name=name, out=out, absent=absent)
        self.tell(event)
        self.track.use(f"{subject}/{name}", self.at, out=out, absent=absent)
        if out and subject is Subject.SOURCE:
            self.lose(name)

    @rule(pause=st.sampled_from([100, 1460, 1500, 1960, 2000, 3500, 5000]))
    def time_passes(self, pause: int) -> None:
        self.at += pause * MILLISECOND
        self.look(run_to(self.engine, self.at))
        self.track.now = self.at

    # ---- what must be true -------------------------------------------------------------------------------------

    def means(self) -> str:
        """Return the most restrictive of what all oracles say."""
        return worst([each.says(self.track) for each in self.oracles])

    @invariant()
    def is_as_told(self) -> None:
        """X shows the most restrictive of what its controls say, and nothing else."""
        told = "stop" if "signal/X" in self.track.out else self.means()
        choice = self.engine.choices()["X"]
        assert told == choice.aspect, choice.reason

    @invariant()
    def a_gate_never_makes_it_better(self) -> None:
        """An interlocked signal shows no better than it was told, whatever its route would allow."""
        told = ASPECTS.index(self.means())
        for name in ("P", "Q"):
            assert ASPECTS.index(self.shows()[name]) <= told

    @invariant()
    def a_conflict_never_shows(self) -> None:
        """Of two signals in conflict one is at stop."""
        shows = self.shows()
        assert "stop" in (shows["P"], shows["Q"])

    @invariant()
    def what_a_route_needs_is_known(self) -> None:
        """No interlocked signal is better than stop without power, over a block or a turnout that is not known."""
        shows = self.shows()
        if shows["P"] != "stop":
            assert self.track.is_clear("points")
            assert self.track.is_clear("east")
            assert "normal" == self.track.stands(65)
            assert "signal/P" not in self.track.out
        if shows["Q"] != "stop":
            assert self.track.is_clear("siding")

    @invariant()
    def every_aspect_says_why(self) -> None:
        """Whatever a signal shows, it has a reason; and with anything better than stop go the events it rests on."""
        for choice in self.engine.choices().values():
            assert choice.reason
            assert choice.causes or choice.aspect in {"stop", "restricting"}

    def teardown(self) -> None:
        """A snapshot of what came of it goes on as it would have."""
        other = Engine(self.engine.layout)
        other.restore(self.engine.snapshot())
        assert self.engine.choices() == other.choices()


def run(kinds: tuple[str, ...], examples: int, *, quick: bool = False) -> None:
    """Let the machine look for a sequence that breaks a promise; `quick` leaves out making it short."""
    phases = [Phase.generate] if quick else [each for each in Phase if each is not Phase.explain]
    chosen = settings(
        max_examples=examples,
        stateful_step_count=30,
        deadline=None,
        derandomize=quick,
        database=None if quick else settings.default.database,  # type: ignore[union-attr] # there is a default
        phases=phases,
    )
    machine: Any = partial(AnyWord, kinds)  # whatever makes a machine will do, by its documentation
    run_state_machine_as_test(machine, settings=chosen)


@pytest.mark.parametrize("kinds", MIXTURES, ids="+".join)
def test_whatever_is_said_the_promises_hold(kinds: tuple[str, ...]) -> None:
    """Told in one way, in two or in three at once, a signal keeps its promises whatever is said in whatever order."""
    run(kinds, {1: 40, 2: 25, 3: 10}[len(kinds)])


@pytest.mark.parametrize(
    ("mixture", "broken"),
    [
        pytest.param(mixture, broken, id=f"{mixture}-{place}")
        for place, (mixture, broken) in enumerate(BROKEN)
    ],
)
def test_a_broken_promise_is_found(mixture: str, broken: Break, monkeypatch: pytest.MonkeyPatch) -> None:
    """With one promise broken in the code, the machine finds a sequence that shows it."""
    broken(monkeypatch)
    with pytest.raises(AssertionError):
        run(tuple(mixture.split("+")), 200, quick=True)
