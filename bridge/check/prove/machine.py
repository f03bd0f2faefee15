"""A group of interlocked signals as one machine: its states, what may happen, and what comes of it.

Time has no length here: a timer may run out at any moment from its start. An event makes gates due to decide, and they
decide in the rounds of the engine's own board, until none is due any more.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import cached_property
from typing import NamedTuple

from oxidd.bdd import BDDFunction, BDDSubstitution

from bridge.check.prove import asking
from bridge.check.prove.asking import Tried
from bridge.check.prove.parts import BLOCKS, NO_YES, POSITIONS, Outside, Parts
from bridge.check.prove.rules import Rules
from bridge.check.prove.symbols import AND, Variables
from bridge.errors import EngineError
from bridge.events import BlockState, Position
from bridge.layout.model import Layout
from bridge.logic.gate import State
from bridge.logic.known import BLOCK, ORDERED, PROVED, Key


class Step(NamedTuple):
    """Something that may happen to a group.

    Attributes:
        kind: `block`, `turnout`, `told` (a signal, by a new order), `by-itself` (a signal is told otherwise without
            one), `use` (a signal is taken out of use, or put back into it), `woken` (a signal has to decide, since
            others may have changed), `kept` (it has just begun, and a route of a signal was locked before a restart),
            `time` (some timers have run out) or `stopped` (a train that was near no longer comes).
        name: of what; of `time` nothing.
        value: what it is then; of `time` nothing; of `kept` the route.
    """

    kind: str
    name: str
    value: str | bool


class Machine(Parts):
    """Some interlocked signals, what may happen to them, and what all others may do to them.

    Attributes:
        runs: for each gate, that its first and its second timer run, when no gate is due.
    """

    def __init__(
        self,
        layout: Layout,
        names: Iterable[str],
        outside: Outside,
        tried: Tried | None = None,
        made: Variables | None = None,
    ) -> None:
        """Make a machine; `tried` keeps from one to the next what gates may decide."""
        super().__init__(layout, names, outside, tried or Tried(layout), made or Variables())
        rules = {name: Rules(self, name) for name in self.signals}
        self._rules = {name: each.rules for name, each in rules.items()}
        self.runs = {name: each.runs for name, each in rules.items()}
        pairs = {
            name: [pair for field in fields.stepped for pair in zip(field.bits, field.then, strict=True)]
            for name, fields in self.gates.items()
        }
        self._back = {
            name: self.made.renaming((then, bit) for bit, then in each) for name, each in pairs.items()
        }
        self._on = {name: self.made.renaming(each) for name, each in pairs.items()}

    # ---- decisions -----------------------------------------------------------------------------------------

    def _decided(self, name: str) -> dict[int, bool]:
        gate = self.gates[name]
        return {gate.now.bits[0]: False, gate.over[0].bits[0]: False, gate.over[1].bits[0]: False}

    def _decide(self, name: str, states: BDDFunction) -> BDDFunction:
        bits = self.made.cube(bit for field in self.gates[name].stepped for bit in field.bits)
        found = self.made.false
        for rule in self._rules[name]:
            stepped = states.apply_exists(AND, rule.relation, bits)
            stepped = stepped.substitute(self._back[name])
            found |= self.made.put(stepped, self._decided(name) | rule.wakes)
        return found

    def _before_deciding(self, name: str, states: BDDFunction) -> BDDFunction:
        gate = self.gates[name]
        bits = self.made.cube(bit for field in gate.stepped for bit in field.then)
        found = self.made.false
        for rule in self._rules[name]:
            if not rule.alone:
                continue
            then = self.made.before_put(states, self._decided(name) | rule.wakes)
            found |= then.substitute(self._on[name]).apply_exists(AND, rule.relation, bits)
        return found & gate.now.is_(True)

    # ---- rounds --------------------------------------------------------------------------------------------

    @cached_property
    def _rounds(self) -> tuple[tuple[BDDFunction, ...], BDDFunction]:
        """For each gate, that it is the next to decide in this round; and that the next round begins."""
        turns = []
        nobody = self.made.true
        for gate in self.gates.values():
            turns.append(nobody & gate.now.is_(True))
            nobody &= gate.now.is_(False)
        return tuple(turns), nobody

    def settle(self, states: BDDFunction) -> BDDFunction:
        """Let gates decide until none is due, and return how all stand then.

        Raises:
            EngineError: they never come to rest.
        """
        resting = self.made.false
        for _ in range(4 * len(self.gates) + 4):
            for name, gate in self.gates.items():
                due = states & gate.now.is_(True)
                if due.satisfiable():
                    states = (states & gate.now.is_(False)) | self._decide(name, due)
            resting |= states & self.settled
            states = self._next_round(states & ~self.settled)
            if not states.satisfiable():
                return resting
        raise EngineError(f"the signals {', '.join(self.gates)} never come to rest")

    def _next_round(self, states: BDDFunction) -> BDDFunction:
        nexts = [gate.next.bits[0] for gate in self.gates.values()]
        nows = [gate.now.bits[0] for gate in self.gates.values()]
        begun = states.exists(self.made.cube(nows)).substitute(self._to_now)
        return self.made.put(begun, dict.fromkeys(nexts, False))

    @cached_property
    def _to_now(self) -> BDDSubstitution:
        return self.made.renaming((gate.next.bits[0], gate.now.bits[0]) for gate in self.gates.values())

    @cached_property
    def _to_next(self) -> BDDSubstitution:
        return self.made.renaming((gate.now.bits[0], gate.next.bits[0]) for gate in self.gates.values())

    def before(self, states: BDDFunction) -> BDDFunction:
        """Return the states of which one decision, or the beginning of a round, makes some of these.

        No decision counts that asks for a gate outside: so what is found is so whatever those do.
        """
        turns, nobody = self._rounds
        found = [
            self._before_deciding(name, states) & turn for name, turn in zip(self.gates, turns, strict=True)
        ]
        nexts = {gate.next.bits[0]: False for gate in self.gates.values()}
        begun = self.made.before_put(states, nexts)
        found.append(begun.substitute(self._to_next) & nobody & ~self.settled)
        return self.made.some(found)

    # ---- what may happen -------------------------------------------------------------------------------------

    @cached_property
    def steps(self) -> tuple[Step, ...]:
        """Everything that may happen, one at a time."""
        return tuple(self._all_steps())

    def _all_steps(self) -> Iterator[Step]:
        # What stands on lamps that are not built, or have died, is never told to clear: it is as out of use for good.
        used = {name: signal for name, signal in self.signals.items() if not signal.lost}
        for name, signal in used.items():
            if asking.by_order(signal.controls):
                yield Step("told", name, True)
                yield Step("told", name, False)
        for number in self.turnouts:
            yield from (Step("turnout", str(number), position.value) for position in POSITIONS)
        for block in self.blocks:
            yield from (Step("block", block, state.value) for state in BLOCKS)
        for name, signal in used.items():
            if any(not asking.by_order((control,)) for control in signal.controls):
                yield from (Step("by-itself", name, wants) for wants in NO_YES)
        for name in used:
            yield from (Step("use", name, out) for out in NO_YES)
        if self.outside is Outside.FREE:
            yield from (Step("woken", name, "") for name in self.signals)
        for name, signal in self.signals.items():
            yield from (Step("kept", name, route.name) for route in signal.routes)
        yield Step("time", "", "")
        yield from (Step("stopped", name, "") for name in self.signals)

    def happens(self, step: Step, states: BDDFunction) -> BDDFunction:
        """Return settled states as they are right after a step, before any gate has decided."""
        if step.kind == "time":
            over = [field.bits[0] for gate in self.gates.values() for field in (*gate.over, gate.now)]
            return states.exists(self.made.cube(over)) & self._time
        return self.made.put(states & self._may(step), self._sets(step))

    def before_step(self, step: Step, states: BDDFunction) -> BDDFunction:
        """Return the settled states of which a step makes some of these."""
        if step.kind == "time":
            over = [field.bits[0] for gate in self.gates.values() for field in (*gate.over, gate.now)]
            none = self.made.every(self.made.is_(bit, False) for bit in over)
            return states.apply_exists(AND, self._time, self.made.cube(over)) & none & self.settled
        # Nobody is due and no timer is over before a step, and `put` of `before_put` has to know that.
        return self.made.before_put(states, self._sets(step)) & self._may(step) & self._quiet

    @cached_property
    def _quiet(self) -> BDDFunction:
        return self.settled & self.made.every(
            field.is_(False) for gate in self.gates.values() for field in gate.over
        )

    def _may(self, step: Step) -> BDDFunction:
        if step.kind == "kept":
            return self.begun & self.gates[step.name].hold.is_(asking.FREE)
        return self.gates[step.name].coming.is_(True) if step.kind == "stopped" else self.made.true

    def _sets(self, step: Step) -> dict[int, bool]:
        match step.kind:
            case "block":
                values = self.blocks[step.name].setting(BlockState(str(step.value)))
                keys: set[Key] = {(BLOCK, step.name)}
            case "turnout":
                values = self.turnouts[int(step.name)].setting(Position(str(step.value)))
                keys = {(ORDERED, int(step.name)), (PROVED, int(step.name))}
            case "use":
                gate = self.gates[step.name]
                return gate.out.setting(step.value) | gate.now.setting(True)
            case "kept":
                return self._keeps(step.name, str(step.value))
            case "stopped":
                return self.gates[step.name].coming.setting(False)
            case "woken":
                return self.gates[step.name].now.setting(True)
            case _:
                gate = self.gates[step.name]
                values = gate.wants.setting(step.value) | gate.now.setting(True)
                return values | (gate.used.setting(False) if step.kind == "told" else {})
        due = [name for name in self.gates if keys & set(self.tried.house.gates[name].keys)]
        return values | {self.gates[name].now.bits[0]: True for name in due}

    def _keeps(self, name: str, route: str) -> dict[int, bool]:
        """Return what follows from a route's lock from before a restart: a train may have seen its signal better."""
        gate, signal = self.gates[name], self.signals[name]
        index = [each.name for each in signal.routes].index(route)
        values = gate.hold.setting(asking.Hold(State.KEPT, index, 0)) | gate.now.setting(True)
        values |= gate.coming.setting(bool(signal.locking.stopping or signal.locking.time))
        neighbours = [each for each in self.tried.house.neighbours[name] if each in self.gates]
        return values | {self.gates[each].next.bits[0]: True for each in neighbours}

    @cached_property
    def _time(self) -> BDDFunction:
        """That some timers have run out, each of which was running, and that those gates are due.

        A route that is locked for a time is not let go of before a train that was near could have stopped, where its
        time is as long as that: the timer began no earlier than the train was to stop.
        """
        found, nothing = self.made.true, self.made.true
        for name, gate in self.gates.items():
            locking = self.signals[name].locking
            ran_out = self.made.false
            for runs, over in zip(self.runs[name], gate.over, strict=True):
                found &= over.is_(True).imp(runs)
                ran_out |= over.is_(True)
            found &= gate.now.is_(True).equiv(ran_out)
            nothing &= ~ran_out
            if locking.time >= locking.stopping:
                found &= ~(self.timed(name) & gate.coming.is_(True) & gate.over[0].is_(True))
        return found & ~nothing
