"""The proof speaks of the engine that runs: step by step both come to the same, on layouts and events by chance."""

from __future__ import annotations

from typing import Any, Final

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bridge.check import check_text
from bridge.check.prove.asking import FOR_A_TIME, Hold
from bridge.check.prove.machine import Machine, Step
from bridge.check.prove.parts import BLOCKS, NO_YES, POSITIONS, Outside
from bridge.check.prove.story import GAP, drive
from bridge.engine import Engine
from bridge.events import (
    AccessoryProved,
    BlockReported,
    BlockState,
    Event,
    Instant,
    Position,
    RouteKept,
    Subject,
    UseReported,
)
from bridge.layout.model import Layout, Signal
from bridge.logic.gate import State
from bridge.logic.selection import Obeying
from tests.support.proving import small

NAMES: Final = ("A", "B", "C")
PLACES: Final = ("p", "q", "r", "s")
TURNOUTS: Final = (21, 22)

flags = st.booleans()
places = st.lists(st.sampled_from(PLACES), min_size=1, max_size=3, unique=True)
few = st.lists(st.sampled_from(PLACES), max_size=1)
stand = st.dictionaries(st.sampled_from(TURNOUTS), st.sampled_from(["normal", "reverse"]), max_size=2)


@st.composite
def routes(draw: st.DrawFn, others: list[str]) -> str:
    """Make one route."""
    turnouts = draw(stand)
    flank = {number: place for number, place in draw(stand).items() if number not in turnouts}
    return (
        f"{{turnouts: {_map(turnouts)}, flank: {_map(flank)}, sections: [{', '.join(draw(places))}], "
        f"clear: [{', '.join(draw(few))}], "
        f"conflicts: [{', '.join(draw(st.lists(st.sampled_from(others), max_size=1)))}]"
        f"{', at-most: stop' if draw(st.integers(0, 7)) == 0 else ''}}}"
    )


@st.composite
def locking(draw: st.DrawFn) -> str:
    """Make how a signal locks its routes."""
    refused, reclear = draw(st.sampled_from(["hold", "drop"])), str(draw(flags)).lower()
    return (
        f"{{approach: [{', '.join(draw(few))}], time: {draw(st.sampled_from([0, 4, 5, 20]))} s, "
        f"refused: {refused}, reclear: {reclear}}}"
    )


def _map(needs: dict[int, str]) -> str:
    return "{" + ", ".join(f"{number}: {place}" for number, place in needs.items()) + "}"


@st.composite
def layouts(draw: st.DrawFn) -> str:
    """Make a layout of two or three signals whose routes lie over each other."""
    names = NAMES[: draw(st.integers(2, 3))]
    lines = [
        "blocks: {" + ", ".join(f"{place}: {{clear-after: 0 s}}" for place in PLACES) + "}",
        "turnouts:",
        *(f"  {number}: {{block: {draw(st.sampled_from(PLACES))}}}" for number in TURNOUTS),
        "signals:",
    ]
    for place, name in enumerate(names):
        others = [other for other in names if other != name]
        told = draw(
            st.sampled_from(
                [
                    f"commands: {{{71 + place}: {{normal: stop, reverse: clear}}}}",
                    f"buttons: {{held: {{go-{name}: clear}}}}",
                    f"commands: {{{71 + place}: {{normal: stop, reverse: clear}}}}",
                ]
            )
        )
        lines += [
            f"  {name}:",
            f"    {told}",
            f"    locking: {draw(locking())}",
            "    routes:",
            *(f"      way-{each}: {draw(routes(others))}" for each in range(draw(st.integers(1, 2)))),
        ]
    return small("\n".join(lines) + "\n", *names)


class Both:
    """An engine and the machine of the proof, driven side by side."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.engine = Engine(layout)
        self.engine.start()
        self.signals: dict[str, Signal] = {signal.name: signal for signal in layout.signals}
        self.machine = Machine(layout, self.signals, Outside.IDLE)
        self.state = self.machine.start

    def step(self, step: Step) -> None:
        """Let something happen; what is due before it happens first."""
        at = self.engine.now + GAP
        self.time(at)
        for event in self._events(step, at):
            self.engine.handle(event)
        self._follow(step)

    def _events(self, step: Step, at: Instant) -> list[Event]:
        if step.kind == "block":
            return [BlockReported(at=at, source="track", name=step.name, state=BlockState(str(step.value)))]
        if step.kind == "turnout":
            where = Position(str(step.value))
            return [AccessoryProved(at=at, source="track", number=int(step.name), position=where)]
        if step.kind == "kept":
            return [RouteKept(at=at, source="memory", signal=step.name, route=str(step.value))]
        if step.kind == "use":
            return [
                UseReported(
                    at=at, source="desk", subject=Subject.SIGNAL, name=step.name, out=bool(step.value)
                )
            ]
        return list(drive(self.signals[step.name], at, wants=bool(step.value)))

    def _follow(self, step: Step) -> None:
        self.state = self.machine.settle(self.machine.happens(step, self.state))
        self.compare()

    def time(self, until: Instant | None) -> None:
        """Let timers run out that are due by an instant, or just the next."""
        while (due := self.engine.next_wake()) is not None and (until is None or due <= until):
            over = self._over(due)
            self.engine.advance(due)
            if over:
                self._run_out(over)
            if until is None:
                return

    def _over(self, due: Instant) -> dict[int, bool]:
        """Return the variables by which just these timers have run out."""
        found: dict[int, bool] = {}
        for name, data in self._gates().items():
            gate, locking = self.machine.gates[name], self.signals[name].locking
            first = data[2] if data[0] in FOR_A_TIME else None
            second = None
            if data[0] == State.PASSED:
                first = None if data[5] is None else data[5] + locking.longer_than_release
                second = None if data[6] is None else data[6] + locking.time
            over = first == due, second == due
            for field, value in zip((*gate.over, gate.now), (*over, any(over)), strict=True):
                found[field.bits[0]] = value
        return found if any(found.values()) else {}

    def _run_out(self, over: dict[int, bool]) -> None:
        for name, gate in self.machine.gates.items():
            if over[gate.over[0].bits[0]]:
                stopped = self.machine.happens(Step("stopped", name, ""), self.state)
                self.state = stopped if stopped.satisfiable() else self.state
        ran_out = self.machine.made.put(self.state, over)
        assert ran_out == ran_out & self.machine.happens(Step("time", "", ""), self.state)
        self.state = self.machine.settle(ran_out)
        self.compare()

    def _gates(self) -> dict[str, list[Any]]:
        gates: dict[str, list[Any]] = self.engine.snapshot()["board"]["interlocking"]["gates"]
        return gates

    def locked(self) -> dict[str, tuple[tuple[str, ...], int]]:
        """Return the sections of each locked route by its signal, and how many of them were let go of."""
        return {
            name: (route.sections, data[4] if data[0] == State.PASSED else 0)
            for name, data in self._gates().items()
            for route in self.signals[name].routes
            if route.name == data[1]
        }

    def compare(self) -> None:
        """Hold everything that both know against each other."""
        cube = self.state.pick_cube()
        assert cube is not None
        values = [(bit, bool(value)) for bit, value in enumerate(cube)]
        board = self.engine._board
        for name, data in self._gates().items():
            gate, signal = self.machine.gates[name], self.signals[name]
            names = [route.name for route in signal.routes]
            passed = data[0] == State.PASSED
            hold = Hold(State(data[0]), names.index(data[1]) if data[1] else -1, data[4] if passed else 0)
            assert gate.hold.read(cube) == hold
            if passed:
                sections = signal.routes[hold.route].sections
                seen = [each in data[3] for each in sections[hold.gone :]]
                assert [field.read(cube) for field in gate.seen[hold.gone : len(sections)]] == seen
            runs = [part.eval(values) for part in self.machine.runs[name]]
            first = data[5] if passed else data[2] if data[0] in FOR_A_TIME else None
            assert [first is not None, passed and data[6] is not None] == runs
            device = next(each for each in board.devices if each.name == name)
            order = [part.choice.causes for part in device.controls if isinstance(part, Obeying)]
            orders = [event for causes in order for event in causes]
            # A train that is found after a restart may use up an order that never was: the first is new all the same.
            if orders or not signal.commands:
                assert gate.used.read(cube) == (bool(orders) and orders == data[7])
            better = self.engine.choices()[name].aspect != signal.rest
            assert self.machine.better(name).eval(values) is better


def restart(both: Both, data: st.DataObject) -> None:
    """Let some routes have been locked before, also such as exclude each other: the file may have been changed."""
    for signal in both.signals.values():
        kept = data.draw(st.sampled_from([None, *signal.routes]))
        if kept is not None:
            step = Step("kept", signal.name, kept.name)
            assert both.state == both.state & both.machine.begun
            both.step(step)


def one_step(both: Both, data: st.DataObject) -> None:
    """Let anything happen."""
    machine = both.machine
    told = ["told" if signal.commands else "by-itself" for signal in both.signals.values()]
    steps = [Step("block", name, state.value) for name in machine.blocks for state in BLOCKS]
    steps += [Step("turnout", str(number), place.value) for number in machine.turnouts for place in POSITIONS]
    steps += [
        Step(kind, name, wants) for kind, name in zip(told, both.signals, strict=True) for wants in NO_YES
    ]
    steps += [Step("use", name, out) for name in both.signals for out in NO_YES]
    both.step(data.draw(st.sampled_from(steps)))


def set_route(both: Both, data: st.DataObject) -> None:
    """Let a signal clear for one of its routes, if nothing is in the way."""
    signal = both.signals[data.draw(st.sampled_from(list(both.signals)))]
    route = data.draw(st.sampled_from(signal.routes))
    for number, position in (*route.turnouts, *route.flank):
        both.step(Step("turnout", str(number), position.value))
    for block in (*route.sections, *route.clear, *signal.locking.approach):
        both.step(Step("block", block, BlockState.CLEAR.value))
    both.step(Step("use", signal.name, value=False))
    for wants in (False, True):
        both.step(Step("told" if signal.commands else "by-itself", signal.name, wants))


def run_train(both: Both, data: st.DataObject) -> None:
    """Let a train come into a section of a locked route, or leave it, mostly in order."""
    locked = [name for name, route in both.locked().items() if route]
    if not locked:
        return
    name = data.draw(st.sampled_from(locked))
    sections, gone = both.locked()[name]
    section = data.draw(st.sampled_from(sections[gone : gone + 2] or sections))
    state = data.draw(st.sampled_from([BlockState.OCCUPIED, BlockState.CLEAR]))
    both.step(Step("block", section, state.value))


def let_time_pass(both: Both, data: st.DataObject) -> None:
    """Let the next timer run out."""
    del data
    both.time(None)


HAPPENS: Final = (one_step, set_route, set_route, run_train, run_train, run_train, let_time_pass)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(text=layouts(), data=st.data())
def test_the_machine_of_the_proof_does_what_the_engine_does(text: str, data: st.DataObject) -> None:
    """Gates, what they saw, their timers and orders are the same after every event and every timer."""
    layout = check_text(text).layout
    assert layout is not None
    both = Both(layout)
    if data.draw(flags):
        restart(both, data)
    for happens in data.draw(st.lists(st.sampled_from(HAPPENS), min_size=10, max_size=40)):
        happens(both, data)
