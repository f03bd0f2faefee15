"""What a gate decides, as relations between how it stands and how it will, made of all cases that were tried."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, NamedTuple

from oxidd.bdd import BDDFunction

from bridge.check.prove import asking
from bridge.check.prove.asking import Case, Hold, Question, Stance, Timer
from bridge.check.prove.parts import Outside, Parts
from bridge.events import BlockState
from bridge.logic.gate import State
from bridge.logic.known import SIGNAL

_OF_OTHERS: Final = (asking.BETTER, asking.LOCKED, asking.KEPT, asking.AGAINST)


class Rule(NamedTuple):
    """A part of what a gate may decide.

    Attributes:
        relation: from how it stands to how it will.
        wakes: who has to decide after it.
        alone: it is decided without asking for any gate that is not in the machine.
    """

    relation: BDDFunction
    wakes: dict[int, bool]
    alone: bool


class _Alike(NamedTuple):
    """What cases have in common that lead from the same to the same."""

    before: Stance
    wants: bool
    after: tuple[Hold, bool, bool, bool, bool]
    alone: bool


class Rules:
    """What the gate of one signal decides.

    Attributes:
        rules: what it may decide.
        runs: that its first and its second timer run, when no gate is due.
    """

    def __init__(self, parts: Parts, name: str) -> None:
        self._parts = parts
        self._made = parts.made
        self._name = name
        self._signal = parts.signals[name]
        self._gate = parts.gates[name]
        self.runs = (self._made.false, self._made.false)
        self.rules = self._make_rules()

    def _make_rules(self) -> list[Rule]:
        """Return what a gate decides, and note when its timers run.

        What leads from the same to the same is put together first, and only then becomes part of the whole.
        """
        gate = self._gate
        started: tuple[list[BDDFunction], list[BDDFunction]] = ([], [])
        outside = {
            question
            for case in self._parts.tried.cases(self._name)
            for question in case.answers
            if question[0] in _OF_OTHERS and self._parts.is_outside(self._name, question)
        }
        alike: dict[_Alike, tuple[Case, list[BDDFunction]]] = {}
        for case, answered in self._answered():
            for place in (0, 1):
                if _starts(case, place):
                    started[place].append(gate.hold.is_(case.before.hold) & answered)
            alone = self._parts.outside is Outside.IDLE or outside.isdisjoint(case.answers)
            after = (case.after.hold, case.spent, case.entered, case.changed, case.better)
            _case, ways = alike.setdefault(_Alike(case.before, case.wants, after, alone), (case, []))
            ways.append(answered)
        self.runs = (self._made.some(started[0]), self._made.some(started[1]))
        parts: dict[tuple[bool, bool, bool], list[BDDFunction]] = {}
        for key, (case, ways) in alike.items():
            whole = self._stands(case) & self._made.some(ways)
            whole &= self._will_stand(case) & self._remembered(case)
            announced = self._parts.is_better(self._name, case.before.hold) is not case.better
            parts.setdefault((case.changed, announced, key.alone), []).append(whole)
        return [
            Rule(self._made.some(each), self._wakes(changed=changed, announced=announced), alone)
            for (changed, announced, alone), each in parts.items()
        ]

    def _answered(self) -> Iterator[tuple[Case, BDDFunction]]:
        """Yield every case that may be, with what its answers say; it has most of them in common with the next."""
        known: dict[tuple[int, Question, str], BDDFunction] = {}
        said: list[tuple[int, Question, str]] = []
        so_far = [self._made.true]
        for case in self._parts.tried.cases(self._name):
            route = case.before.hold.route
            asked = [(route, question, answer) for question, answer in case.answers.items()]
            same = 0
            while same < min(len(asked), len(said)) and asked[same] == said[same]:
                same += 1
            del so_far[same + 1 :]
            for each in asked[same:]:
                if each not in known:
                    known[each] = self._parts.answer(self._name, *each)
                so_far.append(so_far[-1] & known[each])
            said = asked
            if so_far[-1].satisfiable():
                yield case, so_far[-1]

    def _stands(self, case: Case) -> BDDFunction:
        gate, before = self._gate, case.before
        wants = gate.wants.is_(True) & gate.out.is_(False)
        found = gate.hold.is_(before.hold) & (wants if case.wants else ~wants)
        for over, timer in zip(gate.over, (before.first, before.second), strict=True):
            found &= over.is_(timer is Timer.OVER)
        return found

    def _will_stand(self, case: Case) -> BDDFunction:
        gate, after = self._gate, case.after
        used = self._made.true if case.spent else gate.used.is_(True)
        return gate.hold.will_be(after.hold) & gate.used.will_be(True).equiv(used)

    def _remembered(self, case: Case) -> BDDFunction:
        """Return what is remembered of the train after a decision."""
        gate, hold = self._gate, case.after.hold
        found = self._will_come(case)
        for place, field in enumerate(gate.seen):
            seen = self._made.false
            if hold.state is State.PASSED and hold.gone <= place < len(
                self._parts.sections(self._name, hold)
            ):
                section = self._parts.sections(self._name, hold)[place]
                if case.entered:
                    first = self._made.true if place == 0 else self._made.false
                    seen = first | self._parts.blocks[section].is_(BlockState.OCCUPIED)
                    if case.before.hold.state is State.KEPT:
                        sections = self._parts.sections(self._name, hold)[place:]
                        seen = self._made.some(
                            self._parts.blocks[each].is_(BlockState.OCCUPIED) for each in sections
                        )
                else:
                    seen = self._parts.seen_now(self._name, hold.route, place)
            found &= field.will_be(True).equiv(seen)
        return found

    def _will_come(self, case: Case) -> BDDFunction:
        """Say whether a train still comes: one that was near when the signal fell back, till it has come or stopped."""
        gate, before, after = self._gate, case.before.hold, case.after.hold
        locking = self._signal.locking
        will = gate.coming.will_be(True)
        if after.state is State.PASSED or not (locking.stopping or locking.time):
            return ~will
        if before == after or not self._parts.is_better(self._name, before):
            return will.equiv(gate.coming.is_(True))
        near = (
            self._made.some(~self._parts.blocks[block].is_(BlockState.CLEAR) for block in locking.approach)
            if locking.approach
            else self._made.true
        )
        return will.equiv(near)

    def _wakes(self, *, changed: bool, announced: bool) -> dict[int, bool]:
        """Return who has to decide after a gate."""
        gates, house = self._parts.gates, self._parts.tried.house
        names = set(house.neighbours[self._name]) if changed else set[str]()
        if announced:
            names |= {each for each, gate in house.gates.items() if (SIGNAL, self._name) in gate.keys}
        return {gates[each].next.bits[0]: True for each in sorted(names) if each in gates}


def _starts(case: Case, place: int) -> bool:
    """Whether a timer of a gate that stays as it is would be started, if it did not run."""
    before, after = case.before, case.after
    off = before.first is before.second is Timer.OFF
    return off and before.hold == after.hold and (after.first, after.second)[place] is Timer.RUNS
