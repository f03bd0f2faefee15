"""The trains on the valley line, and the signalmen of Alder Junction.

A train passes a signal when it sees it clear and has power, and else it waits. The ring has one direction and more
places than trains, and whoever is asked serves in the order of asking: so somebody can always go on.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from random import Random

from bridge.events import MILLISECOND, BlockState, Instant, Position
from bridge.layout.model import Layout
from bridge.service.demo import valley_timetable as plan
from bridge.service.demo.stage import LOOK_AGAIN, Person, Stage
from bridge.service.demo.timetable import SIGNAL_DROPS_AFTER, TAIL_FOLLOWS_AFTER
from bridge.service.demo.valley_timetable import Leg, Working


@dataclass(eq=False, slots=True)
class _Request:
    """A train that was announced at an interlocked signal."""

    leg: Leg
    passed: bool = False


class Valley:
    """Everybody on the valley line.

    Args:
        stage: where they act.
        layout: says in which power district a block lies.
    """

    def __init__(self, stage: Stage, layout: Layout) -> None:
        self._stage = stage
        self._district = {block.name: block.district for block in layout.blocks}
        # One signalman for each lever frame. He serves one train at a time.
        self._waiting: dict[int, deque[_Request]] = {}
        self._chance = stage.random("signalmen of Alder")
        for working in plan.WORKINGS:
            stage.join(self._train(working, stage.random(working.train)), working.first)

    def _train(self, working: Working, chance: Random) -> Person:
        requests: dict[int, _Request] = {}
        here = working.start
        place = working.begins
        while True:
            leg = working.legs[place % len(working.legs)]
            self._ask(requests, working, place)
            while not (self._stage.seen.may_pass(leg.signal) and self._powered(here, leg.blocks[0])):
                yield LOOK_AGAIN
            for block in leg.blocks:
                yield from self._ride(0, here, block)
                self._stage.block(block, BlockState.OCCUPIED)
                if place in requests:
                    requests.pop(place).passed = True
                yield from self._ride(TAIL_FOLLOWS_AFTER, here, block)
                self._stage.block(here, BlockState.CLEAR)
                here = block
                if leg.asks and block == leg.blocks[-1] and block not in working.stands:
                    self._ask(requests, working, place + leg.asks)
                runs = chance.randrange(*working.runs) * MILLISECOND
                yield from self._ride(plan.THROUGH_SHORT if block in plan.SHORT else runs, here)
            if here in working.stands:
                yield chance.randrange(*working.stands[here]) * MILLISECOND
            place += 1

    def _ride(self, takes: Instant, *blocks: str) -> Person:
        """Let time pass, and then as much as it takes until there is power."""
        if takes:
            yield takes
        while not self._powered(*blocks):
            yield LOOK_AGAIN

    def _powered(self, *blocks: str) -> bool:
        return self._stage.powered(*(self._district[block] for block in blocks))

    def _ask(self, requests: dict[int, _Request], working: Working, place: int) -> None:
        """Announce a train at a signal that somebody has to order, unless it was announced already."""
        leg = working.legs[place % len(working.legs)]
        if leg.order and place not in requests:
            request = requests[place] = _Request(leg)
            lever, _position = leg.turnouts[0]
            waiting = self._waiting.setdefault(lever, deque())
            waiting.append(request)
            self._stage.join(self._signalman(request, waiting))

    def _signalman(self, request: _Request, waiting: deque[_Request]) -> Person:
        """Lay the way for one train, order its signal, again where need be, and put it back behind the train."""
        while waiting[0] is not request:
            yield LOOK_AGAIN
        stage, leg = self._stage, request.leg
        hasty = self._chance.random() < plan.HASTY
        for turnout, position in leg.turnouts:
            while stage.stands.get(turnout) is not position:
                yield from stage.throw(turnout, position)
                if hasty and stage.stands.get(turnout) is Position.MOVING:
                    hasty = False
                    stage.aspect(leg.signal, leg.order)
                yield LOOK_AGAIN
        waited = plan.PATIENCE
        while not request.passed:
            if waited >= plan.PATIENCE and not stage.seen.may_pass(leg.signal):
                stage.aspect(leg.signal, leg.order)
                waited = 0
            yield LOOK_AGAIN
            waited += LOOK_AGAIN
        yield SIGNAL_DROPS_AFTER
        stage.aspect(leg.signal, plan.STOP)
        waiting.popleft()
