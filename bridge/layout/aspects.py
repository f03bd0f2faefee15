"""Tables of aspects: what each head of a signal shows for each of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from bridge.layout.entries import Desk
from bridge.layout.findings import choice, said
from bridge.layout.model import AspectRow, Fixture, Shown
from bridge.layout.schema import SignalEntry
from bridge.layout.shown import DARK, read_items
from bridge.layout.text import Path
from bridge.layout.units import FULL_LEVEL

PLAIN_ASPECTS: Final = {"stop": "red", "restricting": "lunar", "approach": "yellow", "clear": "green"}
"""The aspects of a one-headed signal that names no others, the most restrictive first.

Red for stop, lunar or yellow for what may require a stop, green for proceed: 49 CFR 236.23(d).
"""

PLAIN_SEQUENCE: Final = ("stop", "approach", "clear")
"""Those of automatic signalling: no section clear, one, and more (49 CFR 236.204, 236.205; common practice)."""


@dataclass(frozen=True, slots=True)
class Row:
    """An aspect as it was written: what each head shows by the head's name, or "" where none is named."""

    name: str
    shown: dict[str, tuple[Shown, ...]]
    path: Path


@dataclass(frozen=True, slots=True)
class Table:
    """The aspects of a signal, or of several; `names` has also those that could not be read."""

    names: tuple[str, ...]
    rows: tuple[Row, ...]
    sound: bool
    required: bool


def read_aspects(
    desk: Desk, entry: SignalEntry, fixture: Fixture | None, sets: dict[str, Table | None], path: Path
) -> Table | None:
    """Return the aspects of a signal: its own, those of a set, or the plain ones; None and a note where it has none."""
    where = (*path, "aspects")
    if entry.aspects is None:
        if fixture is not None and len(fixture.heads) > 1:
            heads = ", ".join(head.name for head in fixture.heads)
            desk.key_error(path, f"this signal has the heads {heads}: say with `aspects` what each shows")
            return None
        mark = desk.key_mark(path)
        rows = (
            Row(each, {"": (Shown(word, FULL_LEVEL, mark),)}, path) for each, word in PLAIN_ASPECTS.items()
        )
        return Table(tuple(PLAIN_ASPECTS), tuple(rows), sound=True, required=False)
    if not isinstance(entry.aspects, str):
        return read_table(desk, entry.aspects, where, required=True)
    if entry.aspects not in sets and "aspects" not in desk.unread:
        desk.error(where, f"no set of aspects is called {said(entry.aspects)}; {choice(entry.aspects, sets)}")
    return sets.get(entry.aspects)


def read_table(desk: Desk, data: Any, path: Path, *, required: bool) -> Table | None:
    """Read a table of aspects, the most restrictive first; None where it is no table, which is noted."""
    if not isinstance(data, dict) or not data:
        desk.error(path, "aspects are a mapping, the most restrictive first, such as `stop: red`")
        return None
    rows, sound = [], True
    for aspect, shows in data.items():
        where = (*path, aspect)
        by_head = shows if isinstance(shows, dict) else {"": shows}
        shown = {
            head: read_items(desk, each, (*where, head) if isinstance(shows, dict) else where)
            for head, each in by_head.items()
        }
        if not by_head:
            desk.error(where, f"say what each head shows, or {DARK}")
        read = {head: items for head, items in shown.items() if items is not None}
        if desk.named(aspect, where) and read and len(read) == len(shown):
            rows.append(Row(aspect, read, where))
        else:
            sound = False
    return Table(tuple(data), tuple(rows), sound, required)


def give_to_heads(desk: Desk, table: Table, fixture: Fixture) -> tuple[AspectRow, ...] | None:
    """Give what was written to the heads that the fixture has."""
    rows = []
    for row in table.rows:
        heads = _heads(desk, row, fixture)
        if heads is not None:
            mark = desk.mark(row.path) if row.path[-1] == row.name else desk.key_mark(row.path)
            rows.append(AspectRow(row.name, heads, mark, table.required))
    return tuple(rows) if table.sound and len(rows) == len(table.names) else None


def _heads(desk: Desk, row: Row, fixture: Fixture) -> tuple[tuple[str, tuple[Shown, ...]], ...] | None:
    names = [head.name for head in fixture.heads]
    shown = row.shown
    if "" in shown and len(names) == 1:
        return ((names[0], shown[""]),)
    if "" in shown:
        heads = ", ".join(names)
        desk.error(row.path, f"{fixture.name} has the heads {heads}: say what each of them shows, or {DARK}")
        return None
    strange = [head for head in shown if head not in names]
    for head in strange:
        allowed = choice(head, names) if names[0] else f"it has one head without a name: `{row.name}: red`"
        desk.key_error((*row.path, head), f"{fixture.name} has no head {said(head)}; {allowed}")
    missing = [head for head in names if head not in shown]
    if missing and not strange:
        desk.error(row.path, f"say also what {' and '.join(missing)} shows, or {DARK}")
    if missing or strange:
        return None
    return tuple((head, shown[head]) for head in names)
