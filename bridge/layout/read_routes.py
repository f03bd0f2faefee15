"""The routes of a signal, read from its entry; every name in them is looked up."""

from __future__ import annotations

from typing import Final

from bridge.events import SECOND
from bridge.layout.entries import Desk
from bridge.layout.read_controls import Known, is_aspect, is_block, is_signal, needs
from bridge.layout.routes import Locking, Refused, Route
from bridge.layout.schema import LockingEntry, RouteEntry, SignalEntry
from bridge.layout.text import Path

SHORTEST_RELEASE: Final = 5 * SECOND
"""A loss of detection of 5 s or less must release nothing: 49 CFR 236.309."""


def read_routes(desk: Desk, name: str, entry: SignalEntry, known: Known, path: Path) -> tuple[Route, ...]:
    """Read the routes of the signal `name`; what has an error in it is noted."""
    return tuple(
        _route(desk, name, key, each, known, (*path, "routes", key))
        for key, each in (entry.routes or {}).items()
    )


def _route(desk: Desk, signal: str, name: str, entry: RouteEntry, known: Known, path: Path) -> Route:
    for word, blocks in (("sections", entry.sections), ("clear", entry.clear)):
        for place, block in enumerate(blocks):
            is_block(desk, block, known.blocks, (*path, word, place))
    for place, section in enumerate(entry.sections):
        if section in entry.sections[:place]:
            desk.error((*path, "sections", place), f"{section} is already a section of this route")
    for place, other in enumerate(entry.conflicts):
        where = (*path, "conflicts", place)
        if is_signal(desk, other, known.signals, where) and other == signal:
            desk.error(where, f"{signal} cannot be in conflict with itself: leave it out")
    for number in entry.flank:
        if number in entry.turnouts:
            desk.key_error(
                (*path, "flank", str(number)), f"accessory {number} is already a turnout in this route"
            )
    if entry.at_most is not None:
        is_aspect(desk, entry.at_most, known, (*path, "at-most"))
    return Route(
        name=name,
        turnouts=needs(entry.turnouts),
        flank=needs(entry.flank),
        sections=entry.sections,
        clear=entry.clear,
        conflicts=entry.conflicts,
        at_most=entry.at_most or "",
        mark=desk.key_mark(path),
    )


def read_locking(desk: Desk, entry: SignalEntry, known: Known, path: Path) -> Locking:
    """Read how a signal locks its routes."""
    locking = entry.locking or LockingEntry()
    where = (*path, "locking")
    if entry.locking is not None and entry.routes is None:
        desk.key_error(where, "this signal has no `routes` that could be locked")
    for place, block in enumerate(locking.approach):
        is_block(desk, block, known.blocks, (*where, "approach", place))
    if locking.release < SHORTEST_RELEASE:
        desk.error(
            (*where, "release"), "that is too short: a train may lose contact for 5 s (49 CFR 236.309)"
        )
    return Locking(
        approach=locking.approach,
        time=locking.time,
        release=locking.release,
        refused=Refused(locking.refused),
        reclear=locking.reclear,
        stopping=locking.stopping,
    )
