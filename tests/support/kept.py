"""An invented layout with a fault at a time planted in its file, and sessions in which such a fault shows itself."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from random import Random
from typing import Final

from bridge.events import (
    SECOND,
    AccessoryOrdered,
    AccessoryProved,
    AspectOrdered,
    Authority,
    BlockReported,
    BlockState,
    ButtonReported,
    ButtonState,
    Event,
    Instant,
    LinkState,
    Position,
    PowerReported,
    PowerState,
    RouteKept,
    SourceReported,
)
from bridge.record.lines import End, Input, line_bytes
from bridge.record.writer import make_header
from tests.bridge.record.sessions import STARTED
from tests.support.driving import layout as layout_of

SOUND: Final = """\
layout: Withy Beds & Upper Sallow
sources:
  panel: {kind: mqtt, repeat-window: 400 ms}
  feedback: {kind: mqtt}
builds:
  mast: {chips: [ws2812b], lamps: {eye: {full-colour: 1}}}
nodes:
  beds:
    chains:
      - name: one
        fixtures:
          - {name: T1, build: mast}
          - {name: T2, build: mast}
          - {name: W, build: mast}
          - {name: E, build: mast}
          - {name: N, build: mast}
          - {name: K, build: mast}
          - {name: D, build: mast}
          - {name: kiln, build: mast}
          - {name: wharf, build: mast}
districts:
  main: {settle: 2 s}
blocks:
  west: {district: main}
  points: {district: main}
  east: {district: main}
  sidings: {district: main, detector: spot, clear-after: 20 s}
turnouts:
  63: {feedback: true, block: points}
signals:
  T1: {commands: {61: {normal: stop, reverse: approach}, 62: {reverse: clear}}}
  T2: {ahead: [{blocks: [sidings], beyond: clear}]}
  W:
    commands: {71: {normal: stop, reverse: clear}}
    locking: {approach: [west], time: 20 s}
    routes:
      to-east: {turnouts: {63: normal}, sections: [points, east], conflicts: [E]}
  E:
    commands: {72: {normal: stop, reverse: clear}}
    locking: {approach: [east], time: 20 s}
    routes:
      to-west: {turnouts: {63: normal}, sections: [points, west], conflicts: [W]}
  N: {aspect-number: {accessory: 37, aspects: {0: stop, 4: approach, 15: clear}}}
  K: {commands: {74: {normal: stop, reverse: clear}}}
  D: {follows: {signal: T1, shows: {stop: approach, approach: approach, clear: clear}}}
lights:
  kiln: {when: {accessory: 70}, when-unknown: off}
  wharf: {when: {button: wharf, runs: 30 s}}
"""


def ordered(number: int, position: str, source: str = "panel", authority: str = "command") -> Event:
    """Return an order; its instant is set where it is put into a session."""
    where, how = Position(position), Authority(authority)
    return AccessoryOrdered(at=0, source=source, number=number, position=where, authority=how)


def block(name: str, state: str) -> Event:
    """Return what is said of a block."""
    return BlockReported(at=0, source="feedback", name=name, state=BlockState(state))


def proved(number: int, position: str) -> Event:
    """Return where a turnout is seen to stand."""
    return AccessoryProved(at=0, source="feedback", number=number, position=Position(position))


def numbered(number: int, aspect: int) -> Event:
    """Return an aspect number that is ordered."""
    return AspectOrdered(at=0, source="panel", number=number, aspect=aspect)


def pressed(name: str, state: str = "pressed") -> Event:
    """Return what is said of a button."""
    return ButtonReported(at=0, source="panel", name=name, state=ButtonState(state))


POWER: Final = PowerReported(at=0, source="feedback", district="main", state=PowerState.ON)
LOST: Final = SourceReported(at=0, source="panel", state=LinkState.LOST, why="it said goodbye")
LOCKED: Final = RouteKept(at=0, source="memory", signal="E", route="to-west")


@dataclass(frozen=True, slots=True)
class Fault:
    """A mistake in the layout file, and what happens for it to show itself.

    Attributes:
        sound: how the file should be.
        faulty: how it is.
        device: what shows it.
        should: what that should show.
        showed: what it does show.
        script: seconds after the one before, and what happens; the fault shows itself at the end.
        lasts: seconds after the last of it until the session ends.
        most: events that a case may have at the most.
    """

    sound: str
    faulty: str
    device: str
    should: str
    showed: str
    script: tuple[tuple[float, Event], ...]
    lasts: float = 10
    most: int = 3

    @property
    def text(self) -> str:
        """The layout file with the fault in it."""
        assert SOUND.count(self.sound) == 1
        return SOUND.replace(self.sound, self.faulty)


AWAKE: Final = (
    (1, POWER),
    (3, block("west", "clear")),
    (0, block("points", "clear")),
    (0, block("east", "clear")),
)

FAULTS: Final = {
    "a wrong row": Fault(
        "61: {normal: stop, reverse: approach}",
        "61: {normal: stop, reverse: clear}",
        "T1",
        "approach",
        "clear",
        ((1, ordered(62, "reverse")), (4, ordered(61, "normal")), (3, ordered(61, "reverse"))),
        most=1,
    ),
    "a filter that is too short": Fault(
        "detector: spot, clear-after: 20 s",
        "detector: spot, clear-after: 2 s",
        "T2",
        "stop",
        "clear",
        ((1, POWER), (4, block("sidings", "occupied")), (9, block("sidings", "clear"))),
        lasts=15,
        most=2,
    ),
    "a section that is left out": Fault(
        "sections: [points, east], conflicts",
        "sections: [east], conflicts",
        "W",
        "stop",
        "clear",
        (*AWAKE, (1, proved(63, "normal")), (5, block("points", "occupied")), (3, ordered(71, "reverse"))),
        most=5,
    ),
    "a lock that is not kept long enough": Fault(
        "locking: {approach: [west], time: 20 s}",
        "locking: {approach: [west], time: 1 s}",
        "E",
        "stop",
        "clear",
        (
            *AWAKE,
            (1, proved(63, "normal")),
            (5, ordered(71, "reverse")),
            (2, block("west", "occupied")),
            (2, ordered(71, "normal")),
            (0.5, block("west", "clear")),
            (0.5, ordered(72, "reverse")),
        ),
        most=10,
    ),
    "a light that is on while nobody knows": Fault(
        "when-unknown: off",
        "when-unknown: on",
        "kiln",
        "off",
        "on",
        ((1, ordered(70, "reverse")), (2, ordered(70, "normal")), (8, LOST)),
        most=2,
    ),
    "a wrong aspect number": Fault(
        "4: approach, 15: clear",
        "4: clear, 15: approach",
        "N",
        "approach",
        "clear",
        ((1, numbered(37, 15)), (1, numbered(37, 0)), (2, numbered(37, 4))),
        most=1,
    ),
    "an order that is taken up again": Fault(
        "74: {normal: stop, reverse: clear}}}",
        "74: {normal: stop, reverse: clear}}, at-start: restored}",
        "K",
        "stop",
        "clear",
        ((0, ordered(74, "reverse", authority="restored")),),
        most=1,
    ),
    "a follower that follows wrongly": Fault(
        "{stop: approach, approach: approach, clear: clear}",
        "{stop: approach, approach: clear, clear: clear}",
        "D",
        "not clear",
        "clear",
        ((1, ordered(61, "normal")), (3, ordered(61, "reverse"))),
        most=1,
    ),
    "a run that is too long": Fault(
        "runs: 30 s",
        "runs: 50 s",
        "wharf",
        "off",
        "on",
        ((1, pressed("wharf")), (1, pressed("wharf", "released")), (38, pressed("other"))),
        most=1,
    ),
}


def noise(count: int, seed: int) -> list[tuple[float, Event]]:
    """Return a busy session of so many events, none of which brings any of the faults to light by itself."""
    chance = Random(seed)  # noqa: S311 - the same every time
    made: list[tuple[float, Event]] = []
    for _ in range(count):
        event = chance.choice(
            (
                ordered(chance.randrange(100, 140), chance.choice(("normal", "reverse"))),
                ordered(61, "normal"),
                block(f"far-{chance.randrange(20)}", chance.choice(("occupied", "clear"))),
                block("sidings", "occupied"),
                block(chance.choice(("west", "points", "east")), "occupied"),
                pressed(f"button-{chance.randrange(9)}"),
                numbered(37, 0),
                numbered(38, chance.randrange(200)),
                proved(63, chance.choice(("normal", "moving"))),
                ordered(71, "normal"),
                ordered(72, "normal"),
            )
        )
        made.append((chance.choice((0.02, 0.4, 1, 2.75)), event))
    return made


def timed(script: list[tuple[float, Event]]) -> list[Event]:
    """Return events at their instants."""
    at = 0
    found = []
    for gap, event in script:
        at += round(gap * SECOND)
        found.append(replace(event, at=at))
    return found


def write_log(path: Path, text: str, events: list[Event], length: Instant, file: str = "withy.yaml") -> None:
    """Write the log of a session: its inputs, which is all that matters for keeping a case."""
    header = make_header(layout_of(text), text, file=file, started=STARTED)
    lines = [line_bytes(header)]
    lines += [
        line_bytes(Input(number, event.at, event.source, (event,)))
        for number, event in enumerate(events, start=1)
    ]
    lines.append(line_bytes(End(length, len(events), {})))
    path.write_bytes(b"".join(lines))


def recorded(
    path: Path, fault: Fault, *, before: int = 0, seed: int = 1, file: str = "withy.yaml"
) -> Instant:
    """Write a session of noise and then of a fault; return when the last of it happened."""
    head = noise(before, seed)
    at_start = fault.script[0][0] == 0  # what was kept over a restart is told first
    events = timed([*fault.script, *head] if at_start else [*head, *fault.script])
    since = events[len(fault.script) - 1 if at_start else -1].at
    write_log(path, fault.text, events, events[-1].at + round(fault.lasts * SECOND), file)
    return since
