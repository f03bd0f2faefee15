"""Signals and lights: what each shows, and what it listens to."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, Final

from bridge.events import MILLISECOND, Position
from bridge.layout.entries import Desk
from bridge.layout.findings import Mark, choice, said
from bridge.layout.model import (
    ON,
    AspectRow,
    Change,
    CommandRow,
    Fixture,
    Light,
    Shown,
    Signal,
    WhenUnknown,
)
from bridge.layout.schema import CommandEntry, LightEntry, SignalEntry
from bridge.layout.text import Path
from bridge.layout.units import FULL_LEVEL, duration, percent

PLAIN_ASPECTS: Final = {"stop": "red", "restricting": "lunar", "approach": "yellow", "clear": "green"}
"""The aspects of a one-headed signal that names no others, the most restrictive first.

Red for stop, lunar or yellow for what may require a stop, green for proceed: 49 CFR 236.23(d).
"""

POSITION_WORDS: Final = {
    "normal": Position.NORMAL,
    "reverse": Position.REVERSE,
    "closed": Position.NORMAL,
    "thrown": Position.REVERSE,
}
"""The words for a position: those of NMRA S-9.2.1, and the hobby's own for a turnout."""

DARK: Final = "dark"
_NO_SPACE: Final = re.compile(r"([^\s%]{0,63}[^\s%0-9.])([0-9]{1,3}(?:\.[0-9]{1,3})?)%")
_NO_PERCENT: Final = re.compile(r"([^\s%]{1,64})\s+([0-9]{1,3}(?:\.[0-9]{1,3})?)")
SOFT_FADE: Final = 300 * MILLISECOND
LONGEST_FADE: Final = 60_000 * MILLISECOND

Fixtures = dict[str, Fixture | None]


def read_signals(desk: Desk, fixtures: Fixtures) -> list[Signal]:
    """Read the section `signals`."""
    sets = {key: _table(desk, value, path, required=False) for key, value, path in desk.section("aspects")}
    signals = []
    for key, data, path in desk.section("signals"):
        entry = desk.entry(SignalEntry, data, path)
        if entry is None:
            continue
        fixture = _fixture(desk, entry.fixture or key, path, fixtures, explicit=entry.fixture is not None)
        table = _aspects(desk, entry, fixture, sets, path)
        change = _change(desk, entry.change, (*path, "change"))
        commands = _commands(desk, entry.commands, table, (*path, "commands"))
        aspects = None if fixture is None or table is None else _rows(desk, table, fixture)
        if fixture is None or aspects is None or change is None:
            continue
        signals.append(Signal(key, fixture.name, aspects, commands, change, desk.key_mark(path)))
    return signals


def _when_unknown(entry: LightEntry) -> WhenUnknown:
    """A switch stays where it is while nobody is heard of; a button that nobody is heard to let go may be let go."""
    if entry.when_unknown is not None:
        return WhenUnknown(entry.when_unknown)
    return WhenUnknown.HOLD if entry.held_by is None else WhenUnknown.OFF


def read_lights(desk: Desk, fixtures: Fixtures) -> list[Light]:
    """Read the section `lights`."""
    lights = []
    for key, data, path in desk.section("lights"):
        entry = desk.entry(LightEntry, data, path)
        if entry is None:
            continue
        fixture = _fixture(desk, entry.fixture or key, path, fixtures, explicit=entry.fixture is not None)
        if (entry.switched_by is None) == (entry.held_by is None):
            has = "neither" if entry.held_by is None else "both"
            desk.error(
                path,
                f"a light needs `switched-by` (an accessory) or `held-by` (a button), and {key} has {has}",
            )
            continue
        lamps = _light_lamps(desk, entry, fixture, path)
        shows = _shown(desk, entry.shows, (*path, "shows"))
        change = _change(desk, entry.change, (*path, "change"))
        if fixture is None or lamps is None or shows is None or change is None:
            continue
        lights.append(
            Light(
                name=key,
                fixture=fixture.name,
                lamps=lamps,
                shows=shows,
                accessory=entry.switched_by,
                on_when=POSITION_WORDS[entry.on_when],
                button=entry.held_by,
                when_unknown=_when_unknown(entry),
                change=change,
                mark=desk.key_mark(path),
            )
        )
    return lights


def unique_devices(desk: Desk, signals: list[Signal], lights: list[Light]) -> None:
    """Note every light that has the name of a signal: both are told about under that name."""
    names = {signal.name: signal.mark for signal in signals}
    for light in lights:
        if light.name in names:
            line = names[light.name].line
            desk.error_at(
                light.mark, f"{light.name!r} is already a signal (line {line}): give the light another name"
            )


def _fixture(desk: Desk, wanted: str, path: Path, fixtures: Fixtures, *, explicit: bool) -> Fixture | None:
    if wanted in fixtures:
        return fixtures[wanted]
    if "nodes" in desk.unread:
        return None
    where = desk.mark((*path, "fixture")) if explicit else desk.key_mark(path)
    hint = "" if explicit else "; a device of another name says which with `fixture`"
    desk.error_at(where, f"no fixture is called {said(wanted)}; {choice(wanted, fixtures)}{hint}")
    return None


@dataclass(frozen=True, slots=True)
class _Row:
    """An aspect as it was written: what each head shows by the head's name, or "" where none is named."""

    name: str
    shown: dict[str, tuple[Shown, ...]]
    path: Path


@dataclass(frozen=True, slots=True)
class _Table:
    """The aspects of a signal, or of several; `names` has also those that could not be read."""

    names: tuple[str, ...]
    rows: tuple[_Row, ...]
    sound: bool
    required: bool


def _aspects(
    desk: Desk, entry: SignalEntry, fixture: Fixture | None, sets: dict[str, _Table | None], path: Path
) -> _Table | None:
    where = (*path, "aspects")
    if entry.aspects is None:
        if fixture is not None and len(fixture.heads) > 1:
            heads = ", ".join(head.name for head in fixture.heads)
            desk.key_error(path, f"this signal has the heads {heads}: say with `aspects` what each shows")
            return None
        mark = desk.key_mark(path)
        rows = (
            _Row(each, {"": (Shown(word, FULL_LEVEL, mark),)}, path) for each, word in PLAIN_ASPECTS.items()
        )
        return _Table(tuple(PLAIN_ASPECTS), tuple(rows), sound=True, required=False)
    if not isinstance(entry.aspects, str):
        return _table(desk, entry.aspects, where, required=True)
    if entry.aspects not in sets and "aspects" not in desk.unread:
        desk.error(where, f"no set of aspects is called {said(entry.aspects)}; {choice(entry.aspects, sets)}")
    return sets.get(entry.aspects)


def _table(desk: Desk, data: Any, path: Path, *, required: bool) -> _Table | None:
    if not isinstance(data, dict) or not data:
        desk.error(path, "aspects are a mapping, the most restrictive first, such as `stop: red`")
        return None
    rows, sound = [], True
    for aspect, shows in data.items():
        where = (*path, aspect)
        by_head = shows if isinstance(shows, dict) else {"": shows}
        shown = {
            head: _items(desk, each, (*where, head) if isinstance(shows, dict) else where)
            for head, each in by_head.items()
        }
        if not by_head:
            desk.error(where, f"say what each head shows, or {DARK}")
        read = {head: items for head, items in shown.items() if items is not None}
        if desk.named(aspect, where) and read and len(read) == len(shown):
            rows.append(_Row(aspect, read, where))
        else:
            sound = False
    return _Table(tuple(data), tuple(rows), sound, required)


def _rows(desk: Desk, table: _Table, fixture: Fixture) -> tuple[AspectRow, ...] | None:
    """Give what was written to the heads that the fixture has."""
    rows = []
    for row in table.rows:
        heads = _heads(desk, row, fixture)
        if heads is not None:
            mark = desk.mark(row.path) if row.path[-1] == row.name else desk.key_mark(row.path)
            rows.append(AspectRow(row.name, heads, mark, table.required))
    return tuple(rows) if table.sound and len(rows) == len(table.names) else None


def _heads(desk: Desk, row: _Row, fixture: Fixture) -> tuple[tuple[str, tuple[Shown, ...]], ...] | None:
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


def _items(desk: Desk, shows: Any, path: Path) -> tuple[Shown, ...] | None:
    if shows == DARK:
        return ()
    listed = shows if isinstance(shows, list) else [shows]
    if not listed:
        desk.error(path, f"nothing stands here: name a lamp or a colour, or write {DARK}")
        return None
    paths = [(*path, index) for index in range(len(listed))] if isinstance(shows, list) else [path]
    items = [_shown(desk, each, where) for each, where in zip(listed, paths, strict=True)]
    sound = [item for item in items if item is not None]
    return tuple(sound) if len(sound) == len(items) else None


def _shown(desk: Desk, shows: Any, path: Path) -> Shown | None:
    """Read `yellow`, `white 60%` or `60%`."""
    text = shows.strip() if isinstance(shows, str) else ""
    word, level = text, FULL_LEVEL
    glued = _NO_SPACE.fullmatch(text)
    bare = None if text in desk.lamp_names else _NO_PERCENT.fullmatch(text)
    if glued is not None:
        desk.error(path, f"{said(shows)} does not fit: a space is missing, write {glued[1]} {glued[2]}%")
        return None
    if bare is not None:
        desk.error(
            path, f"{said(shows)} does not fit: a level has a per cent sign, write {bare[1]} {bare[2]}%"
        )
        return None
    if text.endswith("%"):
        *words, figure = text[:-1].rsplit(None, 1)
        word = words[0] if words else ON
        try:
            level = percent(f"{figure}%")
        except ValueError as problem:
            desk.error(path, str(problem))
            return None
    if not text or "%" in word:
        wanted = "name a lamp or a colour, with a level if you like, such as yellow or white 60%"
        desk.error(path, f"{said(shows)} does not fit: {wanted}")
        return None
    return Shown(word, level, desk.mark(path))


def _change(desk: Desk, wanted: Any, path: Path) -> Change | None:
    if wanted is None or wanted == "cut":
        return Change()
    if wanted == "fade":
        return Change(SOFT_FADE)
    if isinstance(wanted, str) and wanted.startswith("fade "):
        try:
            time = duration(wanted.removeprefix("fade ").strip())
        except ValueError as problem:
            desk.error(path, str(problem))
            return None
        if time > LONGEST_FADE:
            desk.error(path, f"{said(wanted)} is too long: a fade takes 1 min at the most")
            return None
        return Change(time)
    desk.error(path, f"{said(wanted)} is no change: write cut, fade, or fade and a time, such as fade 400 ms")
    return None


def _commands(
    desk: Desk, commands: dict[int, CommandEntry], table: _Table | None, path: Path
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


def _light_lamps(
    desk: Desk, entry: LightEntry, fixture: Fixture | None, path: Path
) -> tuple[tuple[str, str], ...] | None:
    if fixture is None:
        return None
    lamps = [(head.name, lamp.name) for head in fixture.heads for lamp in head.lamps]
    if entry.lamps is None:
        return tuple((head, lamp) for head, lamp in lamps)
    chosen, sound = list[tuple[str, str]](), True
    names = [f"{head}.{lamp}" if head else lamp for head, lamp in lamps]
    for index, wanted in enumerate(entry.lamps):
        found = [(head, lamp) for head, lamp in lamps if wanted in (lamp, f"{head}.{lamp}")]
        if not found:
            sound = False
            where = (*path, "lamps", index)
            desk.error(where, f"{fixture.name} has no lamp {said(wanted)}; {choice(wanted, names)}")
        chosen += found
    return tuple(dict.fromkeys(chosen)) if sound else None
