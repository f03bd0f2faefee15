"""Signals: where each stands, and what it listens to."""

from __future__ import annotations

from bridge.events import Position
from bridge.layout.aspects import Table, give_to_heads, read_aspects, read_table
from bridge.layout.devices import POSITION_WORDS, Fixtures, find_fixture
from bridge.layout.entries import Desk
from bridge.layout.findings import Mark, choice
from bridge.layout.model import CommandRow, Signal
from bridge.layout.schema import CommandEntry, SignalEntry
from bridge.layout.shown import read_change
from bridge.layout.text import Path


def read_signals(desk: Desk, fixtures: Fixtures) -> list[Signal]:
    """Read the section `signals`."""
    sets = {
        key: read_table(desk, value, path, required=False) for key, value, path in desk.section("aspects")
    }
    signals = []
    for key, data, path in desk.section("signals"):
        entry = desk.entry(SignalEntry, data, path)
        if entry is None:
            continue
        fixture = find_fixture(desk, entry.fixture or key, path, fixtures, explicit=entry.fixture is not None)
        table = read_aspects(desk, entry, fixture, sets, path)
        change = read_change(desk, entry.change, (*path, "change"))
        commands = _commands(desk, entry.commands, table, (*path, "commands"))
        aspects = None if fixture is None or table is None else give_to_heads(desk, table, fixture)
        if fixture is None or aspects is None or change is None:
            continue
        signals.append(Signal(key, fixture.name, aspects, commands, change, desk.key_mark(path)))
    return signals


def _commands(
    desk: Desk, commands: dict[int, CommandEntry], table: Table | None, path: Path
) -> tuple[CommandRow, ...]:
    known = table.names if table is not None else ()
    rows = []
    for number, entry in commands.items():
        where = (*path, str(number))
        orders: dict[Position, str] = {}
        marks: dict[Position, Mark] = {}
        for word, position in POSITION_WORDS.items():
            aspect = getattr(entry, word)
            if aspect is None:
                continue
            inner = (*where, word)
            if position in marks:
                other = marks[position].line
                desk.key_error(
                    inner, f"{word} and {position} are one position, already said in line {other}: keep one"
                )
                continue
            marks[position] = desk.mark(inner)
            if known and aspect not in known:
                desk.error(inner, f"there is no aspect {aspect!r} here; {choice(aspect, known)}")
                continue
            orders[position] = aspect
        if not marks:
            desk.error(
                where, f"accessory {number} orders nothing here: give normal, reverse or both an aspect"
            )
        rows.append(CommandRow(number, orders, marks, desk.key_mark(where)))
    return tuple(rows)
