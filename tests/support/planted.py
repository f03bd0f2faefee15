"""Wrong aspects with a planted cause: a small layout, what happened, and what an answer has to name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from adapters.contract import Raw
from bridge.events import (
    SECOND,
    AccessoryReleased,
    ButtonState,
    ClockReported,
    Event,
    PowerState,
)
from bridge.record.why.answer import Kind, Over
from tests.bridge.record.sessions import Session
from tests.support.driving import NORMAL, REVERSE, order
from tests.support.tracks import (
    CLEAR,
    block,
    power,
    proved,
    written,
)

PRESSED: Final = ButtonState.PRESSED
RELEASED: Final = ButtonState.RELEASED


@dataclass(frozen=True, slots=True)
class Nonsense:
    """Something that came in and meant nothing."""

    channel: str
    payload: bytes
    why: str
    source: str = "panel"


@dataclass(frozen=True, slots=True, kw_only=True)
class Planted:
    """One case.

    Attributes:
        name: what was planted.
        layout: the layout file.
        script: what happened, each with its second.
        device: what is asked about.
        at: when, in seconds.
        shows: its aspect then.
        cause: what is to blame, by its kind and name; None where what is to blame was passed over.
        with_it: what else may be named, because it is part of the same.
        passed: what was passed over and should be named, by kind and name.
        row: text of the row that has to be named, with its line.
        needs: for an aspect, things of which one set has to consist.
        impossible: words that have to stand in what could not be reached.
    """

    name: str
    layout: str
    script: Sequence[tuple[float, Event | Nonsense]]
    device: str
    at: float
    shows: str
    cause: tuple[Kind, str] | None = None
    with_it: frozenset[tuple[Kind, str]] = frozenset()
    passed: tuple[Over, str] | None = None
    row: str = ""
    needs: tuple[str, frozenset[str]] | None = None
    impossible: str = ""


def record(planted: Planted, path: Path) -> Session:
    """Record the session of a case; it goes on for some seconds after the moment that is asked about."""
    session = Session(path, planted.layout)
    for second, event in planted.script:
        at = round(second * SECOND)
        session.run_until(at)
        if isinstance(event, Nonsense):
            session.log.refused(at, event.source, Raw(event.channel, event.payload), event.why)
            continue
        raw = None if type(event).__name__ in ("SourceReported", "NodeReported") else Raw("rail/told", b"x")
        session.message(at, event, raw=raw)
    session.run_until(round(planted.at * SECOND) + 1)
    session.log.flush()
    return session


def needed(aspect: str, *things: str) -> tuple[str, frozenset[str]]:
    """Return what an aspect would have needed."""
    return aspect, frozenset(things)


def released(number: int) -> AccessoryReleased:
    """Return that the output of an accessory was let go."""
    return AccessoryReleased(at=0, source="bus", number=number)


def clock(hour: int, minute: int = 0, *, rate: int = 60, running: bool = True) -> ClockReported:
    """Return what the model clock says."""
    seconds = hour * 3600 + minute * 60
    return ClockReported(at=0, source="bus", seconds=seconds, rate_quarters=4 * rate, running=running)


SOURCES: Final = (
    "sources: {panel: {kind: mqtt}, bus: {kind: mqtt}, booster: {kind: mqtt, repeat-window: 2 s}}\n"
)

COMBINED: Final = written(
    {
        "C": "table: [{when: {61: normal, 62: normal}, show: clear}, {when: {61: normal, 62: reverse}, show: stop}, "
        "{when: {61: reverse}, show: approach}]"
    },
    SOURCES,
)

THROAT: Final = written(
    {
        "T1": "ahead: [{turnouts: {63: normal}, blocks: [east, west], next: T2}]",
        "T2": "ahead: [{blocks: [far], next: T3}]",
        "T3": "commands: {61: {normal: stop, reverse: clear}}",
    },
    SOURCES
    + "districts: {main: {settle: 2 s}}\n"
    + "blocks: {east: {district: main}, west: {clear-after: 4 s}, far: {}}\n"
    + "turnouts: {63: {feedback: true}}\n",
    {"T2": "remote"},
)

WELL: Final = (
    (1.0, power("main", PowerState.ON)),
    (1.0, block("east", CLEAR)),
    (1.0, block("west", CLEAR)),
    (1.0, block("far", CLEAR)),
    (1.0, proved(63, NORMAL)),
    (1.0, order(61, REVERSE)),
)
"""All is well at the throat: after some seconds T1 shows clear."""


def throat(name: str, *more: tuple[float, Event], at: float = 20.0, **rest: object) -> Planted:
    """Return a case at the throat, where all was well before."""
    return Planted(
        name=name,
        layout=THROAT,
        script=(*WELL, *more),
        **{"device": "T1", "at": at, "shows": "stop"} | rest,  # type: ignore[arg-type]  # values of many kinds
    )


JUNCTION: Final = written(
    {
        "W": "commands: {71: {normal: stop, reverse: clear}}, locking: {approach: [west], time: 20 s}, routes: "
        "{to-east: {turnouts: {63: normal}, sections: [points, east], conflicts: [E]}, "
        "to-branch: {turnouts: {63: reverse}, flank: {66: normal}, sections: [points, branch], at-most: approach}}",
        "E": "commands: {72: {normal: stop, reverse: clear}}, locking: {approach: [east], refused: drop}, routes: "
        "{to-west: {turnouts: {63: normal}, sections: [points, west], conflicts: [W]}}",
    },
    SOURCES
    + "blocks: {west: {}, points: {}, east: {}, branch: {}}\n"
    + "turnouts: {63: {feedback: true, block: points}}\n",
)

READY: Final = (
    *((1.0, block(name, CLEAR)) for name in ("west", "points", "east", "branch")),
    (1.0, proved(63, NORMAL)),
    (1.0, order(66, NORMAL)),
)


def junction(name: str, *more: tuple[float, Event], **rest: object) -> Planted:
    """Return a case at the junction, where all blocks are clear and the points lie straight."""
    given = {"device": "W", "at": 20.0, "shows": "stop"} | rest
    return Planted(name=name, layout=JUNCTION, script=(*READY, *more), **given)  # type: ignore[arg-type]  # as above


MILL_LANE: Final = """\
layout: Mill Lane
builds:
  flasher: {chips: [ws2811], lamps: {left: {channel: 1, colour: red}, right: {channel: 2, colour: red}}}
  letters: {chips: [ws2811], lamps: {letters: {channel: 1, colour: white}}}
nodes:
  lane: {chains: [{name: road, fixtures: [{name: north, build: flasher}, {name: again, build: letters}]}]}
blocks: {ua: {}, ux: {}, ub: {}, da: {}, dx: {}, db: {}}
crossings:
  mill-lane:
    rules: north-america
    tracks: {up: {island: ux, approaches: [[ua], [ub]]}, down: {island: dx, approaches: [[da], [db]]}}
    gates: {}
    posts: {north: {}}
    signs: {again: {}}
"""

VILLAGE: Final = """\
layout: Hollow Green
sources: {panel: {kind: mqtt}, bus: {kind: mqtt}}
builds:
  lamp: {chips: [sk6812-rgbw], lamps: {lamp: {full-colour: 1}}}
  mast: {chips: [ws2812b], lamps: {eye: {full-colour: 1}}}
nodes:
  green:
    chains:
      - name: street
        fixtures:
          - {name: Inn, build: lamp}
          - {name: Mill, build: lamp}
          - {name: Church, build: lamp}
          - {name: Hut, build: lamp}
          - {name: Shed, build: lamp}
          - {name: G1, build: mast}
blocks: {siding: {}}
zones:
  houses: {level: 100%, change: 1 s, rows: [{when: {accessory: 90}, level: 0%}]}
still: {when: {accessory: 91}}
signals:
  G1: {commands: {61: {normal: stop, reverse: flashing}}, aspects: {stop: red, flashing: flashing yellow}}
lights:
  Inn: {when: {accessory: 80}, zone: houses}
  Mill: {when: {clock: '18:00 to 23:00'}}
  Church: {when: {any: [{accessory: 81}, {not: {block: siding, is: occupied}}]}}
  Hut: {when: {all: [{accessory: 82}, {not: {accessory: 83}}]}}
  Shed: {when: {button: shed}}
"""
