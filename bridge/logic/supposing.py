"""What would come of something that did not happen: a part of the logic is made anew, and told of it.

It is made of the devices near the one that is asked about, as far as that goes by them, so that a trial costs as much
in a large layout as in a small one. What lies further away is taken to stay as it is.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any, Final, NamedTuple

from bridge.events import Event, Instant
from bridge.layout.conditions import BlockEntered, ButtonRuns, ButtonToggled
from bridge.layout.model import Layout
from bridge.logic.asked import Asked
from bridge.logic.board import Board
from bridge.logic.device import STILLED
from bridge.logic.known import ANOTHER, BLOCK, BUTTON, CROSSING, LIGHT, ORDERED, PROVED, SIGNAL, Key
from bridge.logic.moments import moment_key
from bridge.logic.reasons import Choice

LARGEST: Final = 40
"""Devices that are taken to be near: the aspects of a rule book reach over a few signals only."""

MOST_TIMERS: Final = 10_000
"""Timers that run out in one trial: what sets itself again and again is left alone then."""

_MOMENTS: Final = ButtonToggled | ButtonRuns | BlockEntered


class Present(NamedTuple):
    """How things stand.

    Attributes:
        layout: all of it.
        asked: answers for it.
        board: what the board's `snapshot` gave.
        now: the instant.
        events: how many events there were.
    """

    layout: Layout
    asked: Asked
    board: dict[str, Any]
    now: Instant
    events: int


class Stage(NamedTuple):
    """How the thing that is asked about stands from an instant on."""

    at: Instant
    choice: Choice


class Trial(NamedTuple):
    """What came of something.

    Attributes:
        stages: how the thing stood right after it, and after each timer that ran out.
        picture: how everything near stands in the end: two trials with the same one led to the same.
    """

    stages: tuple[Stage, ...]
    picture: tuple[tuple[str, str], ...]


class Supposing:
    """Tries what would come of events, each time from the present on.

    Attributes:
        devices: those that are reckoned with: the one that is asked about first, then by how near they are.
        cut: there are more behind them, which are taken to stay as they are.
    """

    def __init__(self, present: Present, name: str, *, whole: bool = False) -> None:
        self._name, self._now, self._events = name, present.now, present.events
        self.devices, self.cut = _near(present, name)
        if whole:
            self.cut = False
            self._layout, self._data = present.layout, present.board
        else:
            self._layout = _part(present, name, self.devices)
            self._data = _part_of_state(present, Board(self._layout))

    def tell(self, steps: Sequence[Sequence[Event]], wait: Instant) -> Trial:
        """Return what would come of events.

        Args:
            steps: what happens together; what comes of it has settled before the next step.
            wait: how long timers may run, after each step.
        """
        board = Board(self._layout)
        board.restore(self._data)
        stages: list[Stage] = []
        at, number = self._now, self._events
        for events in steps or [()]:
            for event in events:
                number += 1
                board.hear(replace(event, at=at), number)
            stages.append(Stage(at, board.asked.state_of(self._name)))
            for due in _timers(board, at + wait):
                at = due
                stages.append(Stage(at, board.asked.state_of(self._name)))
        shown = [each.shown for each in (*board.devices, *board.masters)]
        shown += [each.choice for each in board.devices]
        shown += [board.asked.state_of(each.name) for each in self._layout.crossings]
        return Trial(tuple(stages), tuple((each.aspect, each.reason) for each in shown))


def _timers(board: Board, until: Instant) -> Iterator[Instant]:
    for _ in range(MOST_TIMERS):
        due = board.next_due()
        if due is None or due > until:
            return
        board.perform(due)
        yield due


def _near(present: Present, name: str) -> tuple[tuple[str, ...], bool]:
    """Return the devices and crossings that a thing goes by, the nearest first, and whether there are more."""
    found = {name: None}
    ahead = [name]
    for each in ahead:
        nexts = [str(key[1]) for key in present.asked.keys(each) if key[0] in _OTHERS]
        for other in (*nexts, *present.asked.neighbours(each)):
            if other not in found:
                if len(found) >= LARGEST:
                    return tuple(found), True
                found[other] = None
                ahead.append(other)
    return tuple(found), False


_OTHERS: Final = (SIGNAL, LIGHT, CROSSING, ANOTHER)


def _part(present: Present, name: str, near: Sequence[str]) -> Layout:
    """Return the part of a layout that some devices go by."""
    layout, names = present.layout, set(near)
    signals = []
    for signal in layout.signals:
        if signal.name in names:
            kept = (_within(route.conflicts, names) for route in signal.routes)
            routes = [
                replace(route, conflicts=conflicts)
                for route, conflicts in zip(signal.routes, kept, strict=True)
            ]
            signals.append(replace(signal, routes=tuple(routes)))
    keys = {key for each in near for key in present.asked.keys(each)}
    blocks = [each for each in layout.blocks if (BLOCK, each.name) in keys]
    districts = {each.district for each in blocks}
    fixtures = {signal.fixture for signal in signals}
    chains, unbuilt = (
        [
            replace(chain, fixtures=tuple(each for each in chain.fixtures if each.name in fixtures))
            for chain in some
        ]
        for some in (layout.chains, layout.unbuilt)
    )
    return replace(
        layout,
        signals=tuple(signals),
        lights=tuple(each for each in layout.lights if each.name in names),
        crossings=tuple(each for each in layout.crossings if each.name in names),
        zones=tuple(each for each in layout.zones if each.name == name),
        still=layout.still if name == STILLED else None,
        blocks=tuple(blocks),
        districts=tuple(each for each in layout.districts if each.name in districts),
        turnouts=tuple(
            each for each in layout.turnouts if {(ORDERED, each.accessory), (PROVED, each.accessory)} & keys
        ),
        chains=tuple(chain for chain in chains if chain.fixtures),
        unbuilt=tuple(chain for chain in unbuilt if chain.fixtures),
    )


def _within(names: tuple[str, ...], wanted: set[str]) -> tuple[str, ...]:
    return tuple(name for name in names if name in wanted)


def _part_of_state(present: Present, board: Board) -> dict[str, Any]:
    """Return the part of a state that belongs to a board of a part of the layout."""
    data, own = present.board, board.snapshot()
    every = (*board.devices, *board.masters)
    keys: set[Key] = {key for each in every for key in each.keys}
    keys |= {(kind, each.name) for each in board.devices for kind in (SIGNAL, LIGHT)}
    leaves = [leaf for each in every for leaf in each.leaves if isinstance(leaf, _MOMENTS)]
    moments = {moment_key(leaf) for leaf in leaves}
    begin: set[Key] = {
        (BLOCK, leaf.block) if isinstance(leaf, BlockEntered) else (BUTTON, leaf.button) for leaf in leaves
    }
    keys |= begin | moments | {(BLOCK, name) for name in own["track"]["blocks"]}
    keys |= {(kind, name) for name in own["crossings"] for kind in (CROSSING, ANOTHER)}
    known = data["track"]["known"]
    listed = {
        part: [row for row in known[part] if (row[0], row[1]) in keys] for part in ("facts", "copies", "lost")
    }
    masters = dict(
        zip([*(zone.name for zone in present.layout.zones), STILLED], data["masters"], strict=False)
    )
    locked = data["interlocking"]
    names = own["devices"].keys()
    return {
        "track": data["track"]
        | {
            part: _picked(data["track"][part], own["track"][part])
            for part in ("districts", "blocks", "buttons")
        }
        | {"known": known | listed},
        "interlocking": locked
        | {
            "gates": _picked(locked["gates"], own["interlocking"]["gates"]),
            "held": [each for each in locked["held"] if each in own["interlocking"]["gates"]],
        },
        "crossings": _picked(data["crossings"], own["crossings"]),
        "moments": {
            part: [row for row in data["moments"][part] if (row[0], row[1]) in own_keys]
            for part, own_keys in (("were", begin), ("due", moments))
        },
        "devices": _picked(data["devices"], own["devices"]),
        "masters": [masters[each.name] for each in board.masters],
        "stuck": [each for each in data["stuck"] if each in names],
        "lost": data["lost"],
        "out-of-use": data["out-of-use"],
    }


def _picked(data: dict[str, Any], wanted: Iterable[str]) -> dict[str, Any]:
    return {name: data[name] for name in wanted}
