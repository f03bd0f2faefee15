"""The engine that runs, driven along a way that the proof has found: it has the last word."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from bridge.check.prove.story import TRACK, drive
from bridge.commands import Command, Decision
from bridge.engine import Engine
from bridge.events import SECOND, BlockReported, BlockState, Event, Instant, Position, RouteKept
from bridge.layout.model import Layout
from bridge.logic.gate import State

HOUR: Final = 3600 * SECOND


class Witness:
    """An engine after some events.

    Attributes:
        engine: the engine.
    """

    def __init__(self, layout: Layout, events: Sequence[Event], end: Instant) -> None:
        """Drive a new engine up to an instant."""
        self.engine = Engine(layout)
        self._signals = {signal.name: signal for signal in layout.signals}
        self._fell: dict[str, Instant] = {}
        self._note(self.engine.start())
        for event in events:
            if isinstance(event, RouteKept):  # a train may have seen the signal better until now
                self._fell[event.signal] = event.at
            self._note(self.engine.handle(event))
        self._note(self.engine.advance(end))

    def _note(self, commands: Sequence[Command]) -> None:
        for command in commands:
            if isinstance(command, Decision) and command.device in self._signals:
                rest = self._signals[command.device].rest
                if command.aspect == rest != command.before:
                    self._fell[command.device] = command.at

    def _gate(self, name: str) -> list[object]:
        gates: dict[str, list[object]] = self.engine.snapshot()["board"]["interlocking"]["gates"]
        return gates[name]

    def state(self, name: str) -> State:
        """Return how the gate of a signal stands."""
        return State(str(self._gate(name)[0]))

    def better(self, name: str, route: int | None = None) -> bool:
        """Return whether a signal is better than its most restrictive aspect, for that route where one is named."""
        signal = self._signals[name]
        if route is not None and self._gate(name)[1] != signal.routes[route].name:
            return False
        return self.engine.choices()[name].aspect != signal.rest

    def may_come(self, name: str) -> bool:
        """Return whether a train that saw a signal before it fell back may still come past it."""
        locking = self._signals[name].locking
        fell = self._fell.get(name)
        return fell is not None and self.engine.now < fell + (locking.stopping or locking.time)

    def lets_go(self, name: str) -> bool:
        """Return whether a route is let go of once its signal rests, all blocks are clear and an hour is over."""
        at = self.engine.now
        for event in drive(self._signals[name], at, wants=False):
            self.engine.handle(event)
        for block in self.engine.layout.blocks:
            clear = BlockReported(at=at, source=TRACK, name=block.name, state=BlockState.CLEAR)
            self.engine.handle(clear)
        self.engine.advance(at + HOUR)
        return self.state(name) is State.FREE

    def block(self, name: str) -> BlockState:
        """Return what counts of a block."""
        return BlockState(str(self.engine.snapshot()["board"]["track"]["blocks"][name][0]))

    def stands(self, number: int) -> Position:
        """Return where a turnout is known to stand."""
        known = self.engine.snapshot()["board"]["track"]["known"]["facts"]
        for subject, thing, value, *_more in known:
            if (subject, thing) == ("proved", number):
                return Position(str(value))
        return Position.UNKNOWN
