"""Tables of aspects as they are written: rows of one's own, or those of a set with some changed and some added."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

from bridge.layout.entries import Desk
from bridge.layout.findings import choice, said, warning
from bridge.layout.model import DARK, Flash, Shown
from bridge.layout.rules import RULE_SETS
from bridge.layout.rules.book import Plate, RuleRow, RuleSet
from bridge.layout.schema import FlashEntry, PlacedEntry, TableEntry
from bridge.layout.shown import read_items
from bridge.layout.text import Path

KEYS: Final = tuple(each.alias or own for own, each in TableEntry.model_fields.items())
"""Keys of a table that are no aspects."""

USUAL_RATES: Final = range(35, 81)
"""Flashes a minute that nobody takes for a fault or for a crossing: common practice, no source."""

PLATED: Final = {"stop": Plate.WITHOUT, "stop-and-proceed": Plate.WITH}
"""Aspects that only the number plate tells apart where their lights are the same."""


@dataclass(frozen=True, slots=True)
class Row:
    """An aspect as it was written, or as a rule book has it.

    Attributes:
        name: what it is called.
        path: where it was written, or where the set was asked for.
        shown: what each head shows by the head's name, or "" where none is named.
        rule: the row of a rule book, instead of `shown`.
        plate: what it has to do with the number plate.
        required: whether it has to be possible.
    """

    name: str
    path: Path
    shown: dict[str, tuple[Shown, ...]] = field(default_factory=dict)
    rule: RuleRow | None = None
    plate: Plate = Plate.EITHER
    required: bool = False

    def lights(self) -> dict[str, list[tuple[str, int, bool, bool]]]:
        """Return what was written, without its places in the file."""
        return {
            head: [(item.word, item.level, item.flashing, item.alternating) for item in items]
            for head, items in self.shown.items()
        }


@dataclass(frozen=True, slots=True)
class Table:
    """The aspects of a signal, or of several, the most restrictive first.

    Attributes:
        names: what they are called; also those that could not be read.
        rows: those that could be read.
        sound: whether all could.
        flash: how lamps flash.
        sequence: the aspects of an automatic block, by the number of clear sections ahead.
        absent: why a signal has none of the other aspects of its set, by name.
    """

    names: tuple[str, ...]
    rows: tuple[Row, ...]
    sound: bool
    flash: Flash = field(default_factory=Flash)
    sequence: tuple[str, ...] = ()
    absent: dict[str, str] = field(default_factory=dict)


Sets = dict[str, Table | None]
"""The sets of aspects that were read so far; None for one with an error."""


def no_aspect(aspect: str, names: Iterable[str], absent: Mapping[str, str]) -> str:
    """Return the message for an aspect that is not among these."""
    return absent.get(aspect) or f"there is no aspect {aspect!r} here; {choice(aspect, names)}"


def of_rules(rules: RuleSet, path: Path) -> Table:
    """Return the aspects of a rule book, asked for at a place of the file."""
    rows = tuple(Row(each.name, path, rule=each, plate=each.plate) for each in rules.rows)
    names = tuple(each.name for each in rules.rows)
    return Table(names, rows, sound=True, flash=rules.flash, sequence=rules.sequence)


def read_sets(desk: Desk) -> Sets:
    """Read the section `aspects`; a set may begin with one that stands above it."""
    sets: Sets = {}
    for key, value, path in desk.section("aspects"):
        sets[key] = read_table(desk, value, path, sets, required=False)
    return sets


def read_table(desk: Desk, data: Any, path: Path, sets: Sets, *, required: bool) -> Table | None:
    """Read a table of aspects, the most restrictive first; None where it is no table, which is noted."""
    if not isinstance(data, dict) or not any(key == "from" or key not in KEYS for key in data):
        desk.error(path, "aspects are a mapping, the most restrictive first, such as `stop: red`")
        return None
    entry = desk.entry(TableEntry, {key: data[key] for key in KEYS if key in data}, path)
    base = _base(desk, entry, path, sets)
    table = _Rows(desk, path, base, required=required)
    for aspect, shows in data.items():
        if aspect not in KEYS:
            table.take(aspect, shows)
    if entry is None or base is None:
        return None
    read = table.whole()
    if entry.flash is not None:
        read = replace(read, flash=read_flash(desk, entry.flash, (*path, "flash")))
    if entry.sequence is not None:
        read = replace(read, sequence=check_sequence(desk, entry.sequence, read, (*path, "sequence")))
    return read


def _base(desk: Desk, entry: TableEntry | None, path: Path, sets: Sets) -> Table | None:
    """Return the aspects that a table begins with, none if it does not say; None where they could not be read."""
    if entry is None or entry.from_ is None:
        return Table((), (), sound=True)
    where = (*path, "from")
    if entry.from_ in sets:
        return sets[entry.from_]
    if entry.from_ in RULE_SETS:
        return of_rules(RULE_SETS[entry.from_], where)
    names = [*sets, *RULE_SETS]
    desk.error(
        where, f"no set of aspects above this one is called {said(entry.from_)}; {choice(entry.from_, names)}"
    )
    return None


class _Rows:
    """A table while it is read: the names in their order, and the rows by name."""

    def __init__(self, desk: Desk, path: Path, base: Table | None, *, required: bool) -> None:
        self._desk, self._path, self._base, self._required = desk, path, base, required
        self._names = list(base.names) if base is not None else []
        self._rows = {row.name: row for row in base.rows} if base is not None else {}
        self._plates = {name: row.plate for name, row in self._rows.items()}
        self._sound = base is not None and base.sound

    def take(self, aspect: str, shows: Any) -> None:
        """Read one aspect and put it into its place."""
        where = (*self._path, aspect)
        inner, after = where, None
        if isinstance(shows, dict) and "after" in shows:
            entry = self._desk.entry(PlacedEntry, shows, where)
            if entry is None:
                self._sound = False
                return
            shows, after, inner = entry.shows, entry.after, (*where, "shows")
        if not self._place(aspect, after, where):
            self._sound = False
        row = self._row(aspect, shows, where, inner)
        if row is None:
            self._sound = False
        else:
            self._rows[aspect] = row

    def whole(self) -> Table:
        """Return the table."""
        rows = dict(self._rows)
        pair = [rows[name] for name in PLATED if name in rows and rows[name].rule is None]
        if len(pair) == len(PLATED) and pair[0].lights() == pair[1].lights():
            rows |= {row.name: replace(row, plate=PLATED[row.name]) for row in pair}
        base = self._base or Table((), (), sound=False)
        return Table(
            names=tuple(self._names),
            rows=tuple(rows[name] for name in self._names if name in rows),
            sound=self._sound,
            flash=base.flash,
            sequence=base.sequence,
        )

    def _place(self, aspect: str, after: str | None, where: Path) -> bool:
        """Put the name of an aspect where it belongs: behind another, where it was, or at the end."""
        others = [name for name in self._names if name != aspect]
        placed = self._base is None or bool(self._base.names)
        if after in others and placed:
            others.insert(others.index(after) + 1, aspect)
            self._names = others
            return True
        if aspect not in self._names:
            self._names.append(aspect)
        if after is None or self._base is None:
            return True
        if placed:
            self._desk.error((*where, "after"), f"there is no aspect {after!r} here; {choice(after, others)}")
        else:
            text = "`after` belongs into a set that begins with `from`: here the aspects stand in their own order"
            self._desk.key_error((*where, "after"), text)
        return False

    def _row(self, aspect: str, shows: Any, where: Path, inner: Path) -> Row | None:
        desk = self._desk
        by_head = shows if isinstance(shows, dict) else {"": shows}
        shown = {
            head: read_items(desk, each, (*inner, head) if isinstance(shows, dict) else inner)
            for head, each in by_head.items()
        }
        if not by_head:
            desk.error(inner, f"say what each head shows, or {DARK}")
        read = {head: items for head, items in shown.items() if items is not None}
        if not desk.named(aspect, where) or not read or len(read) != len(shown):
            return None
        if aspect == DARK and any(read.values()):
            desk.error(inner, f"{DARK} is the aspect without any light: call one with light something else")
            return None
        return Row(aspect, inner, read, plate=self._plates.get(aspect, Plate.EITHER), required=self._required)


def read_flash(desk: Desk, entry: FlashEntry, path: Path) -> Flash:
    """Return how lamps flash, and note a rate that looks like something else."""
    if entry.rate not in USUAL_RATES:
        low, high = USUAL_RATES[0], USUAL_RATES[-1]
        text = f"{entry.rate} flashes a minute do not look like a signal: usual are {low} to {high}"
        desk.findings.append(warning(desk.mark((*path, "rate")), text))
    return Flash(entry.rate, entry.lit)


def check_sequence(desk: Desk, sequence: tuple[str, ...], table: Table, path: Path) -> tuple[str, ...]:
    """Return the aspects of an automatic block, and note where they do not get better one by one."""
    sound = True
    for index, aspect in enumerate(sequence):
        where = (*path, index)
        if aspect not in table.names:
            desk.error(where, no_aspect(aspect, table.names, table.absent))
            sound = False
        elif not index and aspect != table.names[0]:
            text = "with no clear section ahead a signal shows its most restrictive aspect: begin with "
            desk.error(where, text + said(table.names[0]))
            sound = False
        elif index and sound and table.names.index(aspect) <= table.names.index(sequence[index - 1]):
            before = sequence[index - 1]
            text = f"with more clear sections ahead the aspect gets better, and {said(aspect)} is not better than "
            desk.error(where, f"{text}{said(before)}: put them in the order of the aspects")
            sound = False
    # Where it has an error nobody is told besides that it is missing.
    return sequence if sound else table.names
