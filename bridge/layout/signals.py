"""Signals: where each stands, what it can show, and what tells it."""

from __future__ import annotations

from dataclasses import dataclass

from bridge.layout.aspects import PLAIN_SEQUENCE, Table, give_to_heads, read_aspects, read_table
from bridge.layout.devices import Fixtures, find_fixture
from bridge.layout.entries import Desk
from bridge.layout.findings import choice
from bridge.layout.model import AspectRow, Block, Change, Fixture, Signal
from bridge.layout.read_controls import Known, is_block, is_signal, read_controls
from bridge.layout.read_routes import read_locking, read_routes
from bridge.layout.schema import SignalEntry
from bridge.layout.shown import read_change
from bridge.layout.text import Path


@dataclass(frozen=True, slots=True)
class _Draft:
    """A signal as far as it can be read without the others."""

    entry: SignalEntry
    path: Path
    fixture: Fixture | None
    names: tuple[str, ...]
    aspects: tuple[AspectRow, ...] | None
    sequence: tuple[str, ...]
    change: Change | None


def read_signals(desk: Desk, fixtures: Fixtures, blocks: list[Block]) -> list[Signal]:
    """Read the section `signals`: first each by itself, then what it has to do with others."""
    sets = {
        key: read_table(desk, value, path, required=False) for key, value, path in desk.section("aspects")
    }
    drafts: dict[str, _Draft] = {}
    for key, data, path in desk.section("signals"):
        entry = desk.entry(SignalEntry, data, path)
        if entry is None:
            desk.unread.add("signals")
        else:
            drafts[key] = _draft(desk, entry, key, path, fixtures, sets)
    tables = {name: (draft.names, draft.sequence) for name, draft in drafts.items()}
    names = [block.name for block in blocks]
    signals = [_signal(desk, name, draft, tables, names) for name, draft in drafts.items()]
    return [signal for signal in signals if signal is not None]


def _draft(
    desk: Desk, entry: SignalEntry, key: str, path: Path, fixtures: Fixtures, sets: dict[str, Table | None]
) -> _Draft:
    fixture = find_fixture(desk, entry.fixture or key, path, fixtures, explicit=entry.fixture is not None)
    table = read_aspects(desk, entry, fixture, sets, path)
    aspects = None if fixture is None or table is None else give_to_heads(desk, table, fixture)
    return _Draft(
        entry=entry,
        path=path,
        fixture=fixture,
        names=() if table is None else table.names,
        aspects=aspects,
        sequence=_sequence(desk, entry, table, path),
        change=read_change(desk, entry.change, (*path, "change")),
    )


def _sequence(desk: Desk, entry: SignalEntry, table: Table | None, path: Path) -> tuple[str, ...]:
    if entry.sequence is None:
        return PLAIN_SEQUENCE if entry.aspects is None else ()
    for place, aspect in enumerate(entry.sequence):
        if table is not None and aspect not in table.names:
            where = (*path, "sequence", place)
            desk.error(where, f"there is no aspect {aspect!r} here; {choice(aspect, table.names)}")
    return entry.sequence


def _signal(
    desk: Desk,
    name: str,
    draft: _Draft,
    tables: dict[str, tuple[tuple[str, ...], tuple[str, ...]]],
    blocks: list[str],
) -> Signal | None:
    entry, path = draft.entry, draft.path
    known = Known(draft.names, draft.sequence, tables, blocks)
    controls = read_controls(desk, entry, known, path)
    routes = read_routes(desk, name, entry, known, path)
    locking = read_locking(desk, entry, known, path)
    if entry.dark_under is not None:
        is_signal(desk, entry.dark_under, tables, (*path, "dark-under"))
    for place, block in enumerate(entry.lit_by or ()):
        is_block(desk, block, blocks, (*path, "lit-by", place))
    if draft.fixture is None or draft.aspects is None or draft.change is None:
        return None
    return Signal(
        name=name,
        fixture=draft.fixture.name,
        aspects=draft.aspects,
        sequence=draft.sequence,
        controls=controls,
        dark_under=entry.dark_under or "",
        lit_by=entry.lit_by or (),
        routes=routes,
        locking=locking,
        change=draft.change,
        mark=desk.key_mark(path),
    )
