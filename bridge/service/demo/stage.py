"""Where the people and trains of the demo act: who goes on when, and what they do to the layout.

Pure: nothing here waits for anything or looks at a clock; `player.py` does. Everybody is a generator that says how
long it is until he goes on. They are advanced in the order of time, ties in the order in which they asked. Whoever
waits for something that he sees, a signal or a turnout, looks again after a moment.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass
from heapq import heappop, heappush
from random import Random
from typing import Final, TypeAlias

from bridge.events import MILLISECOND, BlockState, Instant, Position, PowerState
from bridge.layout.model import Layout
from bridge.service.demo.seen import Seen

ROOT: Final = "layout"
"""The topic that facts stand below, unless a layout file says otherwise."""

LOOK_AGAIN: Final = 250 * MILLISECOND
"""How long somebody who waits for something looks elsewhere."""

TURNOUT_MOVES: Final = 1200 * MILLISECOND
RELEASED_AFTER: Final = 200 * MILLISECOND
"""How long the command station keeps the coil of a turnout under current."""

BETWEEN_ORDERS: Final = 350 * MILLISECOND
"""Whoever works a lever frame has two hands."""

Person: TypeAlias = Generator[Instant, None, None]
"""Yields the nanoseconds until he goes on."""


@dataclass(frozen=True, slots=True)
class Message:
    """One message on its way to the broker; `at` counts nanoseconds from the beginning."""

    at: Instant
    topic: str
    payload: bytes
    retain: bool = False


class Stage:
    """Who goes on when, what was done, and how the layout stands for those who work on it.

    Attributes:
        seen: what the bridge shows.
        stands: where each turnout stands; one that was never thrown is not in it.

    Args:
        layout: says by which accessory an aspect is ordered.
        seed: another one gives another day.
    """

    def __init__(self, layout: Layout, seed: int) -> None:
        self.seen = Seen(layout)
        self.stands: dict[int, Position] = {}
        self._seed = seed
        self._orders = {
            (signal.name, aspect): (row.accessory, position)
            for signal in reversed(layout.signals)
            for row in reversed(signal.commands)
            for position, aspect in row.aspects.items()
        }
        self._now: Instant = 0
        self._said: list[Message] = []
        self._turns: list[tuple[Instant, int, Person]] = []
        self._asked = 0
        self._blocks: dict[str, BlockState] = {}
        self._blind: set[str] = set()  # blocks whose detector has a fault
        self._unpowered: set[str] = set()

    # ---- who goes on ---------------------------------------------------------------------------------------

    @property
    def due(self) -> Instant | None:
        """When somebody goes on next, or None where nobody is left."""
        return self._turns[0][0] if self._turns else None

    def step(self) -> list[Message]:
        """Let whoever is due go on, and return what that causes."""
        if self._turns:
            self._now, _, person = heappop(self._turns)
            wait = next(person, None)
            if wait is not None:
                self.join(person, wait)
        said, self._said = self._said, []
        return said

    def join(self, person: Person, wait: Instant = 0) -> None:
        """Let somebody begin after a while."""
        self._asked += 1
        heappush(self._turns, (self._now + wait, self._asked, person))

    def random(self, name: str) -> Random:
        """Return chance of one's own, so that what one person does leaves the others' day as it was."""
        return Random(f"{self._seed}/{name}")  # noqa: S311 - a story, not a secret

    # ---- what is done --------------------------------------------------------------------------------------

    def say(self, topic: str, payload: str, *, retain: bool = False) -> None:
        """Say something below the root."""
        self._said.append(Message(self._now, f"{ROOT}/{topic}", payload.encode(), retain))

    def order(self, accessory: int, position: Position) -> None:
        """Order an accessory. An order is not kept: it was for whoever was there."""
        self.say(f"accessory/{accessory}/ordered", position.value)

    def can_order(self, signal: str, aspect: str) -> bool:
        """Return whether any accessory orders a signal to an aspect."""
        return (signal, aspect) in self._orders

    def aspect(self, signal: str, aspect: str) -> None:
        """Order a signal to an aspect."""
        self.order(*self._orders[signal, aspect])

    def block(self, name: str, state: BlockState) -> None:
        """Have a block's detector see a train, or none. Feedback is kept for those who come later."""
        self._blocks[name] = state
        if name not in self._blind:
            self.say(f"block/{name}", state.value, retain=True)

    def blind(self, name: str) -> None:
        """Give a block's detector a fault: it knows nothing."""
        self._blind.add(name)
        self.say(f"block/{name}", BlockState.UNKNOWN.value, retain=True)

    def mend(self, name: str) -> None:
        """Take the fault away: the detector says what it sees."""
        self._blind.discard(name)
        self.block(name, self._blocks[name])

    def power(self, district: str, state: PowerState) -> None:
        """Report the track power of a district."""
        (self._unpowered.discard if state is PowerState.ON else self._unpowered.add)(district)
        self.say(f"power/{district}", state.value, retain=True)

    def powered(self, *districts: str) -> bool:
        """Return whether trains can move there."""
        return self._unpowered.isdisjoint(districts)

    def throw(self, turnout: int, position: Position) -> Person:
        """Throw a turnout that stands otherwise, unless it is locked; it arrives a while after this."""
        standing = self.stands.get(turnout, Position.UNKNOWN)
        if standing in (position, Position.MOVING) or self.seen.is_locked(turnout):
            return
        self.order(turnout, position)
        self._prove(turnout, Position.MOVING)
        self.join(self._motor(turnout, position), RELEASED_AFTER)
        yield BETWEEN_ORDERS

    def _motor(self, turnout: int, position: Position) -> Person:
        self.say(f"accessory/{turnout}/ordered", "released")
        yield TURNOUT_MOVES
        self._prove(turnout, position)

    def _prove(self, turnout: int, position: Position) -> None:
        self.stands[turnout] = position
        self.say(f"accessory/{turnout}/proved", position.value, retain=True)
