"""The proof of a whole layout: group by group, claim by claim, and what the engine says to each counter-example."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from typing import Final, TypeAlias

from oxidd.bdd import BDDFunction
from oxidd.util import DDMemoryError

from bridge.check.prove.asking import Tried
from bridge.check.prove.claims import Bad, Claim, Fault, claims
from bridge.check.prove.machine import Machine
from bridge.check.prove.parts import Outside, fouling
from bridge.check.prove.space import Space, TooLarge
from bridge.check.prove.story import Story, story
from bridge.check.prove.witness import Witness
from bridge.errors import EngineError
from bridge.layout.model import Layout

MOST_SECTIONS: Final = 12
"""Sections of one route that are looked at; a longer one has too many ways to be let go of."""

Watch: TypeAlias = Callable[[tuple[str, ...], int, int], None]
"""Is told again and again of which signals how many claims are settled, of how many; it may raise `TooLarge`."""


@dataclass(frozen=True)
class Failure:
    """A counter-example.

    Attributes:
        words: what goes wrong.
        story: how.
        confirmed: the engine does it too.
        remedy: what the owner may write so that it does not, or empty.
    """

    words: str
    story: Story
    confirmed: bool
    remedy: str = ""


@dataclass(frozen=True)
class Group:
    """What came of one group.

    Attributes:
        signals: its interlocked signals, in the order of the file.
        claims: how many claims were proved.
        failures: what was found to be wrong.
        too_large: where it could not be finished, why.
    """

    signals: tuple[str, ...]
    claims: int
    failures: tuple[Failure, ...]
    too_large: str = ""

    @property
    def proved(self) -> bool:
        """Whether everything was proved."""
        return not self.failures and not self.too_large


def groups(layout: Layout) -> tuple[tuple[str, ...], ...]:
    """Return the interlocked signals in groups of which none has anything to do with another."""
    house = Tried(layout).house
    fouls = fouling(layout)
    sections = {
        name: {section for route in gate.signal.routes for section in route.sections}
        for name, gate in house.gates.items()
    }
    found: list[tuple[str, ...]] = []
    left = list(house.gates)
    while left:
        group, new = set[str](), [left[0]]
        while new:
            name = new.pop()
            group.add(name)
            fouled = {block for section in sections[name] for block in fouls.get(section, ())}
            near = [*house.neighbours[name], *(each for each in left if sections[each] & fouled)]
            new += [each for each in near if each not in group]
        found.append(tuple(name for name in house.gates if name in group))
        left = [name for name in left if name not in group]
    return tuple(found)


def prove_layout(layout: Layout, watch: Watch) -> Iterator[Group]:
    """Prove one group of signals after the other, and yield what came of each."""
    tried = Tried(layout)
    for group in groups(layout):
        yield _Proof(layout, group, tried, watch).run()


class _Proof:
    """The proof of one group."""

    def __init__(self, layout: Layout, group: tuple[str, ...], tried: Tried, watch: Watch) -> None:
        self._layout = layout
        self._group = group
        self._tried = tried
        self._watch = watch
        self._done = 0
        self._claims = tuple(claims(layout, group))

    def run(self) -> Group:
        failures: list[Failure] = []
        proved = 0
        space: Space | None = None
        try:
            for name in self._group:
                self._limit(name)
            for done, claim in enumerate(self._claims):
                self._done = done
                self._progress(0)
                if space is None or tuple(space.machine.signals) != claim.signals:
                    space = self._space(claim.signals, Outside.FREE)
                failure = self._settle(claim, space)
                if failure is None:
                    proved += 1
                else:
                    failures.append(failure)
        except (TooLarge, EngineError) as why:  # it is too large, or never comes to rest
            return Group(self._group, proved, tuple(failures), str(why))
        except DDMemoryError:
            return Group(self._group, proved, tuple(failures), "the diagrams need more room than there is")
        return Group(self._group, proved, tuple(failures))

    def _limit(self, name: str) -> None:
        longest = max(len(route.sections) for route in self._tried.house.gates[name].signal.routes)
        if longest > MOST_SECTIONS:
            raise TooLarge(f"a route of {name} has {longest} sections, and {MOST_SECTIONS} are the most")

    def _progress(self, nodes: int) -> None:
        del nodes
        self._watch(self._group, self._done, len(self._claims))

    def _space(self, names: tuple[str, ...], outside: Outside) -> Space:
        space = Space(Machine(self._layout, names, outside, self._tried))
        space.fill(self._progress)
        return space

    def _settle(self, claim: Claim, space: Space) -> Failure | None:
        """Return what is wrong, if something is."""
        if claim.always is not None:
            (name,) = claim.signals
            words = (
                f"the route of {name} is locked, and nothing lets go of it again unless another train comes"
            )
            stuck = partial(self._stuck, claim.always)
            if not stuck(space).satisfiable():
                return None
            return self._example(claim, words, stuck, lambda seen: not seen.lets_go(name))
        for fault in claim.faults:
            bad = partial(_reached, fault)
            if bad(space).satisfiable():
                found = self._example(claim, fault.words, bad, fault.seen)
                if found is not None:
                    return replace(found, remedy=fault.remedy)
        return None

    def _stuck(self, goal: Bad, space: Space) -> BDDFunction:
        """Return the states from which a goal cannot be reached any more."""
        return space.reached & ~space.can_come_to(goal(space.machine), self._progress)

    def _example(
        self, claim: Claim, words: str, bad: Callable[[Space], BDDFunction], seen: Callable[[Witness], bool]
    ) -> Failure | None:
        """Look for a way to a fault while all others are at rest, and where there is none, among all of the group.

        Others that may do anything were allowed too much, so what was found with them need not be possible. A way
        that begins with a locked route from before a restart is shown only where there is none without.
        """
        for names in dict.fromkeys((claim.signals, self._group)):
            space = self._space(names, Outside.IDLE)
            goal = bad(space)
            if not goal.satisfiable():
                continue
            steps = space.machine.steps
            for layered in (
                Space(space.machine, tuple(step for step in steps if step.kind != "kept")),
                Space(space.machine),
            ):
                for layer, states in enumerate(layered.grow(self._progress)):
                    if (states & goal).satisfiable():
                        told = story(space.machine, layered.way(goal, layer))
                        confirmed = told.possible and seen(Witness(self._layout, told.events, told.end))
                        return Failure(words, told, confirmed)
        return None


def _reached(fault: Fault, space: Space) -> BDDFunction:
    return fault.bad(space.machine) & space.reached
