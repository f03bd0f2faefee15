"""An invented junction that the tests of the interlocking drive, and short ways to say what happens on it.

west ── points(63) ── east
             └────── branch      66 is a trap on the siding beside the branch
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

from bridge.commands import Command, Decision, Told
from bridge.engine import Engine
from bridge.events import (
    SECOND,
    AccessoryOrdered,
    AccessoryProved,
    Authority,
    BlockReported,
    BlockState,
    Event,
    LinkState,
    Position,
    PowerReported,
    PowerState,
    SourceReported,
    Subject,
    UseReported,
)
from bridge.service.memory import Memory
from bridge.service.state import StateFile
from tests.support.driving import layout as layout_of

JUNCTION: Final = """
layout: Heron Junction
sources:
  panel: {kind: mqtt}
  feedback: {kind: mqtt}
builds:
  mast: {chips: [ws2812b], lamps: {eye: {full-colour: 1}}}
nodes:
  junction:
    chains:
      - name: one
        fixtures: [{name: W, build: mast}, {name: E, build: mast}, {name: B, build: mast}, {name: A, build: mast}]
districts:
  main: {settle: 2 s}
blocks:
  west: {district: main}
  points: {district: main}
  east: {district: main}
  branch: {district: main}
turnouts:
  63: {feedback: true, block: points}
signals:
  W:
    commands: {71: {normal: stop, reverse: clear}}
    locking: {approach: [west], time: 20 s}
    routes:
      to-east: {turnouts: {63: normal}, sections: [points, east], conflicts: [E, B]}
      to-branch: {turnouts: {63: reverse}, flank: {66: normal}, sections: [points, branch], at-most: approach}
  E:
    commands: {72: {normal: stop, reverse: clear}}
    locking: {approach: [east], time: 20 s, refused: drop}
    routes:
      to-west: {turnouts: {63: normal}, sections: [points, west], conflicts: [W, B]}
  B:
    commands: {73: {normal: stop, reverse: approach}}
    locking: {time: 10 s}
    routes:
      to-west: {turnouts: {63: reverse}, flank: {66: normal}, sections: [points, west], conflicts: [W, E]}
  A:
    ahead: [{next: W}]
"""

AUTUMN: Final = 1_760_000_000.0
"""The wall time of a restart, in seconds since 1970."""

BLOCKS: Final = ("west", "points", "east", "branch")
ROUTES: Final = {"W": 71, "E": 72, "B": 73}
"""The accessory that orders each interlocked signal: reverse is better than stop."""


def powered(state: str) -> PowerReported:
    """Return what is said of the track power."""
    return PowerReported(at=0, source="feedback", district="main", state=PowerState(state))


def reported(name: str, state: str) -> BlockReported:
    """Return what is said of a block."""
    return BlockReported(at=0, source="feedback", name=name, state=BlockState(state))


def proved(number: int, position: str) -> AccessoryProved:
    """Return what is said of where a turnout stands."""
    return AccessoryProved(at=0, source="feedback", number=number, position=Position(position))


def ordered(number: int, position: str) -> AccessoryOrdered:
    """Return an order to an accessory."""
    return AccessoryOrdered(at=0, source="panel", number=number, position=Position(position))


class Junction:
    """The junction in the hands of its operator; instants are given in seconds.

    Attributes:
        engine: what drives it.
        commands: all that it returned.
    """

    def __init__(self, text: str = JUNCTION, *, awake: bool = True) -> None:
        """Make a junction; `awake` is one with its power on and settled, all blocks clear and 63 proved normal."""
        self.engine = Engine(layout_of(text))
        self.commands: list[Command] = [*self.engine.start()]
        if awake:
            self.power("on", 0)
            for block in BLOCKS:
                self.block(block, "clear", 0)
            self.stands(63, "normal", 0)
            self.order(66, "normal", 0)
            self.wait(10)

    def wait(self, until: float) -> None:
        """Let time pass."""
        end = round(until * SECOND)
        while (wake := self.engine.next_wake()) is not None and wake <= end:
            self.commands += self.engine.advance(wake)
        if self.engine.now < end:
            self.commands += self.engine.advance(end)

    def _do(self, event: Event) -> None:
        while (wake := self.engine.next_wake()) is not None and wake <= event.at:
            self.commands += self.engine.advance(wake)
        self.commands += self.engine.handle(event)

    def say(self, event: Event, at: float, *, copied: bool = False) -> None:
        """Tell an event at an instant, or a kept copy of it."""
        authority: dict[str, Any] = {"authority": Authority.STATE} if copied else {}
        self._do(replace(event, at=_ns(at), **authority))

    def power(self, state: str, at: float) -> None:
        """Report the track power."""
        self.say(powered(state), at)

    def block(self, name: str, state: str, at: float) -> None:
        """Report a block."""
        self.say(reported(name, state), at)

    def stands(self, number: int, position: str, at: float) -> None:
        """Prove a turnout."""
        self.say(proved(number, position), at)

    def order(self, number: int, position: str, at: float) -> None:
        """Order an accessory."""
        self.say(ordered(number, position), at)

    def use(self, what: str, name: str, at: float, why: str | None = None) -> None:
        """Take something out of use for a reason, or put it back for None."""
        subject, out = Subject(what), why is not None
        self._do(UseReported(at=_ns(at), source="panel", subject=subject, name=name, out=out, why=why or ""))

    def absent(self, what: str, name: str, at: float) -> None:
        """Say that something is not there at all."""
        self._do(
            UseReported(at=_ns(at), source="panel", subject=Subject(what), name=name, out=True, absent=True)
        )

    def lose(self, source: str, at: float) -> None:
        """Lose a source."""
        self._do(SourceReported(at=_ns(at), source=source, state=LinkState.LOST))

    def shows(self, signal: str) -> str:
        """Return the aspect of a signal."""
        return self.engine.choices()[signal].aspect

    def why(self, signal: str) -> str:
        """Return its reason."""
        return self.engine.choices()[signal].reason

    def locks(self) -> dict[str, str]:
        """Return what was told last of each lock."""
        return {each.name: each.state for each in self._told("lock")}

    def uses(self) -> dict[str, tuple[str, str]]:
        """Return what was told last of each thing that was taken out of use."""
        return {each.name: (each.state, each.reason) for each in self._told("out-of-use")}

    def _told(self, subject: str) -> list[Told]:
        return [each for each in self.commands if isinstance(each, Told) and each.subject == subject]

    def changes(self, signal: str) -> list[tuple[float, str]]:
        """Return when a signal was given which aspect."""
        return [
            (each.at / SECOND, each.aspect)
            for each in self.commands
            if isinstance(each, Decision) and each.device == signal and each.before != each.aspect
        ]


def begun_anew(before: Junction, text: str = JUNCTION, *, later: float = 0) -> Junction:
    """Return a junction after a restart, so many seconds later: it has what was kept, and knows nothing else."""
    with TemporaryDirectory() as place:
        Memory(StateFile(Path(place)), before.engine, lambda: AUTUMN).save()
        after = Junction(text, awake=False)
        memory = Memory(StateFile(Path(place)), after.engine, lambda: AUTUMN + later)
        locks, _dropped = memory.locks(0)
        for event in (*locks, *memory.recall(0)):
            after.say(event, 0)
    return after


def _ns(seconds: float) -> int:
    return round(seconds * SECOND)


def cleared(text: str = JUNCTION) -> Junction:
    """Return a junction whose signal W was cleared to the east at second 20."""
    junction = Junction(text)
    junction.order(ROUTES["W"], "reverse", 20)
    assert "clear" == junction.shows("W")
    return junction
