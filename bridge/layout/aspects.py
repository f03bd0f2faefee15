"""Tables of aspects: what each head of a signal shows for each of them."""

from __future__ import annotations

from dataclasses import replace

from bridge.layout.entries import Desk
from bridge.layout.findings import choice, count, said
from bridge.layout.model import DARK, AspectRow, Fixture, Shown
from bridge.layout.rules import RULE_SETS
from bridge.layout.rules.book import Plate
from bridge.layout.rules.plain import PLAIN
from bridge.layout.schema import SignalEntry
from bridge.layout.schema_track import PostEntry
from bridge.layout.tables import Row, Sets, Table, check_sequence, of_rules, read_flash, read_table
from bridge.layout.text import Path
from bridge.layout.units import FULL_LEVEL


def read_aspects(
    desk: Desk, entry: SignalEntry, fixture: Fixture | None, sets: Sets, path: Path
) -> Table | None:
    """Return the aspects of a signal: its own, those of a set, or the plain ones; None and a note where it has none."""
    table = _asked_for(desk, entry, fixture, sets, path)
    if table is None:
        return None
    table = _on_the_mast(table, fixture, plate=entry.plate)
    if entry.plate and not any(row.plate is Plate.WITH for row in table.rows) and table.sound:
        desk.key_error(
            (*path, "plate"),
            "none of these aspects needs a number plate: leave it out, or add the aspect stop-and-proceed",
        )
        return None
    if not table.names and fixture is not None:
        what = f"says nothing of signals with {count(len(fixture.heads), 'head')}"
        desk.error((*path, "aspects"), f"{said(entry.aspects)} {what}: name those it is for with `heads`")
        return None
    if entry.flash is not None:
        table = replace(table, flash=read_flash(desk, entry.flash, (*path, "flash")))
    if entry.sequence is not None:
        table = replace(table, sequence=check_sequence(desk, entry.sequence, table, (*path, "sequence")))
    return table


def _asked_for(
    desk: Desk, entry: SignalEntry, fixture: Fixture | None, sets: Sets, path: Path
) -> Table | None:
    where = (*path, "aspects")
    if entry.aspects is None:
        if fixture is not None and len(fixture.heads) > 1:
            heads = ", ".join(head.name for head in fixture.heads)
            desk.key_error(path, f"this signal has the heads {heads}: say with `aspects` what each shows")
            return None
        return of_rules(PLAIN, path)
    if not isinstance(entry.aspects, str):
        return read_table(desk, entry.aspects, where, sets, required=True)
    if entry.aspects in sets:
        return sets[entry.aspects]
    if entry.aspects in RULE_SETS:
        return of_rules(RULE_SETS[entry.aspects], path)
    if "aspects" not in desk.unread:
        names = [*sets, *RULE_SETS]
        desk.error(
            where, f"no set of aspects is called {said(entry.aspects)}; {choice(entry.aspects, names)}"
        )
    return None


def _on_the_mast(table: Table, fixture: Fixture | None, *, plate: bool) -> Table:
    """Return what is left for a signal with or without a number plate, and with as many heads as it has."""
    absent = {}
    for row in table.rows:
        if row.plate is (Plate.WITHOUT if plate else Plate.WITH):
            why = "its number plate makes another aspect of it" if plate else "it has no number plate"
            absent[row.name] = f"this signal cannot show {said(row.name)}: {why} (`plate`)"
        elif row.rule is not None and fixture is not None and row.rule.form(len(fixture.heads)) is None:
            heads = count(len(fixture.heads), "head")
            absent[row.name] = f"this signal cannot show {said(row.name)}: its rules have none with {heads}"
    rows = tuple(row for row in table.rows if row.name not in absent)
    sequence = table.sequence
    if sequence and sequence[0] in absent and rows:
        sequence = (rows[0].name, *sequence[1:])
    sequence = tuple(name for name in sequence if name not in absent)
    return replace(
        table,
        names=tuple(name for name in table.names if name not in absent),
        rows=rows,
        sequence=sequence if len(sequence) > 1 else (),
        absent=absent,
    )


def give_to_heads(desk: Desk, table: Table, fixture: Fixture) -> tuple[AspectRow, ...] | None:
    """Give what was written to the heads that the signal uses."""
    rows = []
    for row in table.rows:
        heads = _heads(desk, row, fixture)
        if heads is not None:
            mark = desk.key_mark(row.path) if row.rule is not None else desk.mark(row.path)
            rows.append(AspectRow(row.name, heads, mark, row.required))
    return tuple(rows) if table.sound and len(rows) == len(table.names) else None


def _heads(desk: Desk, row: Row, fixture: Fixture) -> tuple[tuple[str, tuple[Shown, ...]], ...] | None:
    names = [head.name for head in fixture.heads]
    if row.rule is not None:
        mark = desk.key_mark(row.path)
        return tuple(
            (
                head,
                tuple(Shown(each.word, FULL_LEVEL, mark, each.flashing, each.alternating) for each in words),
            )
            for head, words in zip(names, row.rule.form(len(names)) or (), strict=True)
        )
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


def use_heads(
    desk: Desk, entry: SignalEntry | PostEntry, fixture: Fixture | None, path: Path
) -> Fixture | None:
    """Return the fixture with only those heads that a device uses; None and a note where it has none of them."""
    if fixture is None or entry.heads is None:
        return fixture
    names = [head.name for head in fixture.heads]
    sound = True
    for index, head in enumerate(entry.heads):
        where = (*path, "heads", index)
        if not names[0]:
            desk.error(where, f"{fixture.name} has one head without a name: leave `heads` out")
        elif head not in names:
            desk.error(where, f"{fixture.name} has no head {said(head)}; {choice(head, names)}")
        elif head in entry.heads[:index]:
            desk.error(where, f"the head {said(head)} stands here twice: keep one")
        else:
            continue
        sound = False
    return fixture.only(entry.heads) if sound else None
