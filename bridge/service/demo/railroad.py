"""Pretend trains, and the people who work and watch them, as the messages that they cause.

Pure: a seed and a layout give one endless, ordered series of messages with their times. Nothing here waits
for anything or looks at a clock; `player.py` does, and sends them.

Everybody on the layout is a generator that says how long it is until he does something next. They are
advanced in the order of time, ties in the order in which they asked.
"""

from __future__ import annotations

import json
from collections.abc import Generator, Iterator
from dataclasses import dataclass
from heapq import heappop, heappush
from random import Random
from typing import Final, TypeAlias

from bridge.errors import LamproomError
from bridge.events import MILLISECOND, SECOND, Instant, Position
from bridge.layout.model import Layout
from bridge.service.demo import timetable as plan
from bridge.service.demo.timetable import Duty, Route

ROOT: Final = "layout"
"""The topic that facts stand below, unless a layout file says otherwise."""

Person: TypeAlias = Generator[Instant, None, None]
"""Yields the nanoseconds until it goes on."""

_MODEL_MINUTE: Final = 60 * SECOND // plan.CLOCK_RATE


@dataclass(frozen=True, slots=True)
class Message:
    """One message on its way to the broker; `at` counts nanoseconds from the beginning."""

    at: Instant
    topic: str
    payload: bytes
    retain: bool = False


def railroad(layout: Layout, seed: int) -> Iterator[Message]:
    """Return the messages of a day on the invented line, without end, in the order of their times.

    Args:
        layout: says by which accessory an aspect is ordered, and what switches a light.
        seed: another one gives another day.

    Raises:
        LamproomError: the layout is not that of the line: a signal or an aspect is missing.
    """
    return _Stage(layout, seed).play()


class _Stage:
    """Who is there, who goes on when, and what was said."""

    def __init__(self, layout: Layout, seed: int) -> None:
        self._seed = seed
        self._orders = _orders(layout)
        self._now: Instant = 0
        self._said: list[Message] = []
        self._turns: list[tuple[Instant, int, Person]] = []
        self._asked = 0
        self._taken: set[str] = {duty.rounds[0].start for duty in plan.DUTIES}  # blocks that are some train's
        self._stands: dict[int, Position] = dict.fromkeys(plan.TURNOUTS, Position.UNKNOWN)
        self._join(self._opening(), 0)
        self._join(self._clock(), 0)
        for duty in plan.DUTIES:
            self._join(self._train(duty, self._random(duty.train)), duty.first)
        for light in layout.lights:
            chance = self._random(light.name)
            if light.accessory is not None:
                switch = self._switch(light.accessory, chance)
                self._join(switch, chance.randrange(500, 7000) * MILLISECOND)
            elif light.button is not None:
                self._join(self._visitor(light.button, chance), 800 * MILLISECOND)

    def play(self) -> Iterator[Message]:
        while self._turns:
            self._now, _, person = heappop(self._turns)
            wait = next(person, None)
            if wait is not None:
                self._join(person, wait)
            yield from self._said
            self._said.clear()

    def _join(self, person: Person, wait: Instant) -> None:
        self._asked += 1
        heappush(self._turns, (self._now + wait, self._asked, person))

    def _random(self, name: str) -> Random:
        """Return chance of one's own, so that what one person does leaves the others' day as it was."""
        return Random(f"{self._seed}/{name}")  # noqa: S311 - a story, not a secret

    # ---- what is said --------------------------------------------------------------------------------------

    def _say(self, topic: str, payload: str, *, retain: bool = False) -> None:
        self._said.append(Message(self._now, f"{ROOT}/{topic}", payload.encode(), retain))

    def _order(self, accessory: int, position: Position) -> None:
        self._say(f"accessory/{accessory}/ordered", position.value)

    def _aspect(self, signal: str, aspect: str) -> None:
        self._order(*self._orders[signal, aspect])

    def _block(self, name: str, state: str) -> None:
        # Feedback is kept for those who come later. An order is not: it was for whoever was there.
        self._say(f"block/{name}", state, retain=True)

    # ---- who is there --------------------------------------------------------------------------------------

    def _opening(self) -> Person:
        for district in plan.DISTRICTS:
            self._say(f"power/{district}", "on", retain=True)
        for block in plan.BLOCKS:
            self._block(block, "occupied" if block in self._taken else "clear")
        for signal in plan.SIGNALS:
            self._aspect(signal, plan.STOP)
            yield 50 * MILLISECOND

    def _clock(self) -> Person:
        minutes = plan.CLOCK_STARTS // 60
        while True:
            hour, minute = divmod(minutes % (24 * 60), 60)
            told = {"time": f"{hour:02}:{minute:02}", "rate": plan.CLOCK_RATE, "running": True}
            self._say("clock", json.dumps(told), retain=True)
            minutes += 1
            yield _MODEL_MINUTE

    def _switch(self, accessory: int, chance: Random) -> Person:
        lit = False
        while True:
            lit = not lit
            self._order(accessory, Position.REVERSE if lit else Position.NORMAL)
            yield chance.randrange(8000, 26_000) * MILLISECOND

    def _visitor(self, button: str, chance: Random) -> Person:
        while True:
            self._say(f"button/{button}", "pressed")
            yield chance.randrange(1500, 5000) * MILLISECOND
            self._say(f"button/{button}", "released")
            yield chance.randrange(5000, 14_000) * MILLISECOND

    # ---- trains and their dispatcher -----------------------------------------------------------------------

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
            yield from self._throw(turnout, position)
        while any(self._stands[turnout] is not position for turnout, position in route.turnouts):
            yield 100 * MILLISECOND
        for step in reversed(route.steps):
            self._aspect(step.signal, step.aspect)
            yield plan.BETWEEN_ORDERS

    def _throw(self, turnout: int, position: Position) -> Person:
        if self._stands[turnout] is position:
            return
        self._order(turnout, position)
        self._stands[turnout] = Position.MOVING
        self._say(f"accessory/{turnout}/proved", Position.MOVING.value, retain=True)
        self._join(self._motor(turnout, position), plan.RELEASED_AFTER)
        yield plan.BETWEEN_ORDERS

    def _motor(self, turnout: int, position: Position) -> Person:
        self._say(f"accessory/{turnout}/ordered", "released")
        yield plan.TURNOUT_MOVES
        self._stands[turnout] = position
        self._say(f"accessory/{turnout}/proved", position.value, retain=True)

    def _run(self, route: Route, duty: Duty, chance: Random) -> Person:
        behind = route.start
        yield SECOND  # until the driver has seen it
        for step in route.steps:
            self._block(step.block, "occupied")
            yield plan.SIGNAL_DROPS_AFTER
            self._aspect(step.signal, plan.STOP)
            yield plan.TAIL_FOLLOWS_AFTER
            self._block(behind, "clear")
            self._taken.discard(behind)
            behind = step.block
            yield chance.randrange(*duty.runs) * MILLISECOND


def _orders(layout: Layout) -> dict[tuple[str, str], tuple[int, Position]]:
    """Return for each signal and aspect of the line the order that brings it about."""
    known = {
        (signal.name, aspect): (row.accessory, position)
        for signal in reversed(layout.signals)
        for row in reversed(signal.commands)
        for position, aspect in row.aspects.items()
    }
    needed = {
        (step.signal, aspect)
        for duty in plan.DUTIES
        for route in duty.rounds
        for step in route.steps
        for aspect in (plan.STOP, step.aspect)
    }
    missing = sorted(needed - known.keys())
    if missing:
        signal, aspect = missing[0]
        raise LamproomError(f"the pretend trains need a signal {signal} that can be ordered to {aspect}")
    return known
