"""All states that a machine may come to, layer by layer: what is found is found by the fewest steps."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple, TypeAlias

from oxidd.bdd import BDDFunction

from bridge.check.prove.machine import Machine, Step
from bridge.errors import EngineError
from bridge.events import BlockState

Progress: TypeAlias = Callable[[int], None]
"""Is told again and again how many nodes there are; it may raise `TooLarge`."""


class TooLarge(Exception):  # noqa: N818 - it is no error of anyone
    """A group has more to look at than was allowed."""


class Move(NamedTuple):
    """A step and the state to which it led, each variable by its number."""

    step: Step
    state: list[bool | None]


class Space:
    """What a machine may come to.

    Attributes:
        machine: the machine.
        steps: what may happen in it.
        layers: the states that take one step more than those of the layer before.
        reached: all of them.
    """

    def __init__(self, machine: Machine, steps: tuple[Step, ...] | None = None) -> None:
        """Begin at the start of a machine; `steps` leaves out some of what may happen."""
        self.machine = machine
        self.steps = machine.steps if steps is None else steps
        self.layers: list[BDDFunction] = [machine.start]
        self.reached = machine.start

    def grow(self, progress: Progress) -> Iterator[BDDFunction]:
        """Yield layer after layer, the first as well, until there is nothing new."""
        machine = self.machine
        while True:
            yield self.layers[-1]
            progress(machine.made.manager.approx_num_inner_nodes())
            after = machine.made.some(machine.happens(step, self.layers[-1]) for step in self.steps)
            new = machine.settle(after) & ~self.reached
            if not new.satisfiable():
                return
            self.layers.append(new)
            self.reached |= new

    def fill(self, progress: Progress) -> None:
        """Find all that can be reached, without layers: what a step leads to is taken up at once."""
        machine, before = self.machine, None
        things: dict[tuple[str, str], list[Step]] = {}
        for step in self.steps:
            things.setdefault((step.kind, step.name), []).append(step)
        while before != self.reached:
            before = self.reached
            for steps in things.values():
                after = machine.made.some(machine.happens(step, self.reached) for step in steps)
                self.reached |= machine.settle(after)
                progress(machine.made.manager.approx_num_inner_nodes())

    def way(self, goal: BDDFunction, layer: int) -> list[Move]:
        """Return a way to some state of a goal in a layer, with as many steps as the number of the layer."""
        moves: list[Move] = []
        target = self._one(self.layers[layer] & goal)
        for place in range(layer, 0, -1):
            step, before = self._step_to(target, self.layers[place - 1])
            moves.append(Move(step, self._values(target)))
            target = before
        return moves[::-1]

    def _step_to(self, target: BDDFunction, layer: BDDFunction) -> tuple[Step, BDDFunction]:
        machine = self.machine
        after = [(step, machine.happens(step, layer)) for step in self.steps]
        found = target
        while found.satisfiable():
            for step, states in after:
                met = states & found
                if met.satisfiable():
                    before = machine.before_step(step, self._one(met)) & layer
                    return step, self._one(before)
            found = machine.before(found)
        raise EngineError("a state that was reached cannot be reached")

    def _one(self, states: BDDFunction) -> BDDFunction:
        """Return one of these states, with every variable said."""
        return states.pick_cube_dd_set(self.machine.no_to_all)

    def _values(self, state: BDDFunction) -> list[bool | None]:
        values = state.pick_cube()
        if values is None:
            raise EngineError("there is no such state")
        return values

    def can_come_to(self, goal: BDDFunction, progress: Progress) -> BDDFunction:
        """Return the reached states from which a goal can be reached without any block becoming occupied.

        So no other train is needed to free what is locked. The goal is approached from behind, step by step, each
        decision of each gate taken back by itself.
        """
        machine, reached = self.machine, self.reached
        can = new = goal & reached
        quiet = [step for step in self.steps if step.value != BlockState.OCCUPIED.value]
        while new.satisfiable() and can != reached:
            progress(machine.made.manager.approx_num_inner_nodes())
            unsettled = self._unsettled_before(new)
            back = machine.made.some(machine.before_step(step, unsettled) for step in quiet)
            new = back & reached & ~can
            can |= new
        return can

    def _unsettled_before(self, states: BDDFunction) -> BDDFunction:
        """Return all states on the way to rest that end in some of these, and these themselves."""
        found = new = states
        while new.satisfiable():
            new = self.machine.before(new) & ~found
            found |= new
        return found
