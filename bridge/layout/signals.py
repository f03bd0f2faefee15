"""Signals: where each stands, what it can show, and what tells it."""

from __future__ import annotations

from dataclasses import dataclass

from bridge.layout.aspects import give_to_heads, read_aspects, use_heads
from bridge.layout.devices import Fixtures, find_fixture
from bridge.layout.entries import Desk
from bridge.layout.findings import choice, said
from bridge.layout.model import AspectRow, Block, Change, Fixture, Signal
from bridge.layout.read_controls import Known, is_block, is_other, read_controls
from bridge.layout.read_routes import read_locking, read_routes
from bridge.layout.schema import RESTORED, SignalEntry
from bridge.layout.shown import read_change
from bridge.layout.tables import Sets, Table, read_sets
from bridge.layout.text import Path


@dataclass(frozen=True, slots=True)
class _Draft:
    """A signal as far as it can be read without the others."""

    entry: SignalEntry
    path: Path
    fixture: Fixture | None
    table: Table
    aspects: tuple[AspectRow, ...] | None
    change: Change | None


def read_signals(desk: Desk, fixtures: Fixtures, blocks: list[Block]) -> list[Signal]:
    """Read the section `signals`: first each by itself, then what it has to do with others."""
    sets = read_sets(desk)
    drafts: dict[str, _Draft] = {}
    for key, data, path in desk.section("signals"):
        entry = desk.entry(SignalEntry, data, path)
        if entry is None:
            desk.unread.add("signals")
        else:
            drafts[key] = _draft(desk, entry, key, path, fixtures, sets)
    tables = {name: (draft.table.names, draft.table.sequence) for name, draft in drafts.items()}
    names = [block.name for block in blocks]
    signals = [_signal(desk, name, draft, tables, names) for name, draft in drafts.items()]
    return [signal for signal in signals if signal is not None]


def _draft(desk: Desk, entry: SignalEntry, key: str, path: Path, fixtures: Fixtures, sets: Sets) -> _Draft:
    fixture = find_fixture(
        desk, entry.fixture or key, path, fixtures, (*path, "fixture") if entry.fixture is not None else None
    )
    fixture = use_heads(desk, entry, fixture, path)
    table = read_aspects(desk, entry, fixture, sets, path)
    aspects = None if fixture is None or table is None else give_to_heads(desk, table, fixture)
    return _Draft(
        entry=entry,
        path=path,
        fixture=fixture,
        table=table or Table((), (), sound=False),
        aspects=aspects,
        change=read_change(desk, entry.change, (*path, "change")),
    )


def _signal(
    desk: Desk,
    name: str,
    draft: _Draft,
    tables: dict[str, tuple[tuple[str, ...], tuple[str, ...]]],
    blocks: list[str],
) -> Signal | None:
    entry, path, table = draft.entry, draft.path, draft.table
    known = Known(name, table.names, table.sequence, tables, blocks, table.absent)
    controls = read_controls(desk, entry, known, path)
    routes = read_routes(desk, name, entry, known, path)
    locking = read_locking(desk, entry, known, path)
    if entry.dark_under is not None:
        is_other(desk, entry.dark_under, known, (*path, "dark-under"), "be dark under")
    for place, block in enumerate(entry.lit_by or ()):
        is_block(desk, block, blocks, (*path, "lit-by", place))
    if draft.fixture is None or draft.aspects is None or draft.change is None:
        return None
    return Signal(
        name=name,
        fixture=draft.fixture.name,
        aspects=draft.aspects,
        sequence=table.sequence,
        controls=controls,
        dark_under=entry.dark_under or "",
        lit_by=entry.lit_by or (),
        routes=routes,
        locking=locking,
        restores=entry.at_start == RESTORED,
        change=draft.change,
        mark=desk.key_mark(path),
        heads=tuple(head.name for head in draft.fixture.heads),
        flash=table.flash,
        plate=entry.plate,
        matched=entry.matched,
        arm=_arm(desk, entry, draft.aspects[0].name, known, path),
        zone=entry.zone or "",
        lost=draft.fixture.lost,
    )


def _arm(desk: Desk, entry: SignalEntry, rest: str, known: Known, path: Path) -> dict[str, str]:
    """Return where the arm stands for each aspect; it has to be said of the most restrictive at least."""
    arm = entry.arm or {}
    for aspect in arm:
        if aspect not in known.aspects:
            desk.key_error(
                (*path, "arm", aspect),
                f"there is no aspect {said(aspect)} here; {choice(aspect, known.aspects)}",
            )
    if arm and rest not in arm:
        desk.error((*path, "arm"), f"say also where the arm stands for {rest}, the most restrictive aspect")
    return arm
