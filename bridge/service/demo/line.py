"""The trains between Fernhollow and Tarn and in the yard, and the dispatcher who orders every signal for them."""

from __future__ import annotations

from random import Random

from bridge.events import MILLISECOND, SECOND, BlockState, Instant
from bridge.service.demo import timetable as plan
from bridge.service.demo.stage import BETWEEN_ORDERS, LOOK_AGAIN, Person, Stage
from bridge.service.demo.timetable import Duty, Route, Step


class Line:
    """Everybody on the old line.

    Args:
        stage: where they act.
    """

    def __init__(self, stage: Stage) -> None:
        self._stage = stage
        self._taken = {duty.rounds[0].start for duty in plan.DUTIES}  # blocks that are some train's
        for duty in plan.DUTIES:
            stage.join(self._train(duty, stage.random(duty.train)), duty.first)

    def _train(self, duty: Duty, chance: Random) -> Person:
        while True:
            for route in duty.rounds:
                yield from self._set(route)
                yield from self._run(route, duty, chance)
                yield chance.randrange(*duty.waits) * MILLISECOND

    def _set(self, route: Route) -> Person:
        """Wait until the whole way is free, take it, lay it, and clear its signals, the farthest first.

        A single line is taken from end to end: two trains that meet in the middle of it would stand there.
        """
        wanted = route.blocks - {route.start}
        while wanted & self._taken:
            yield SECOND
        self._taken |= wanted
        for turnout, position in route.turnouts:
            yield from self._stage.throw(turnout, position)
        while any(self._stage.stands.get(turnout) is not position for turnout, position in route.turnouts):
            yield 100 * MILLISECOND
        for step in reversed(route.steps):
            self._stage.aspect(step.signal, step.aspect)
            yield BETWEEN_ORDERS

    def _run(self, route: Route, duty: Duty, chance: Random) -> Person:
        behind = route.start
        yield SECOND  # until the driver has seen it
        for step in route.steps:
            yield from self._wait_at(step)
            self._stage.block(step.block, BlockState.OCCUPIED)
            yield plan.SIGNAL_DROPS_AFTER
            self._stage.aspect(step.signal, plan.STOP)
            yield plan.TAIL_FOLLOWS_AFTER
            self._stage.block(behind, BlockState.CLEAR)
            self._taken.discard(behind)
            behind = step.block
            yield chance.randrange(*duty.runs) * MILLISECOND

    def _wait_at(self, step: Step) -> Person:
        """Stand at a signal until it can be passed. One that has forgotten its order is given it again."""
        waited: Instant = 0
        while not self._stage.seen.may_pass(step.signal):
            yield LOOK_AGAIN
            waited += LOOK_AGAIN
            if waited >= plan.PATIENCE:
                waited = 0
                self._stage.aspect(step.signal, step.aspect)
