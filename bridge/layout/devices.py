"""Signals and lights: what each shows, and what it listens to."""

from __future__ import annotations

import re
from typing import Any, Final

from bridge.events import MILLISECOND, Position
from bridge.layout.entries import Desk
from bridge.layout.findings import Mark, choice
from bridge.layout.model import (
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
from bridge.layout.units import FULL_LEVEL, duration, name, percent

PLAIN_ASPECTS: Final = {"stop": "red", "restricting": "lunar", "approach": "yellow", "clear": "green"}
"""The aspects of a one-headed signal that names no others, the most restrictive first.

Red for stop, lunar or yellow for what may require a stop, green for proceed: 49 CFR 236.23(d).
"""

DARK: Final = "dark"
SOFT_FADE: Final = 300 * MILLISECOND
LONGEST_FADE: Final = 60_000 * MILLISECOND

_SHOWN: Final = re.compile(r"(?P<word>[^%]*?)(?:(?:^|\s+)(?P<level>[0-9.]+ ?%))?\Z")

Fixtures = dict[str, Fixture | None]


def read_signals(desk: Desk, fixtures: Fixtures) -> list[Signal]:
    """Read the section `signals`."""
    sets = {key: (value, path) for key, value, path in desk.section("aspects")}
    signals = []
    for key, data, path in desk.section("signals"):
        entry = desk.entry(SignalEntry, data, path)
        own = _named(desk, key, path)
        if entry is None or own is None:
            continue
        fixture = _fixture(desk, entry.fixture or own, path, fixtures, explicit=entry.fixture is not None)
        aspects = _aspects(desk, entry, fixture, sets, path)
        change = _change(desk, entry.change, (*path, "change"))
        commands = _commands(desk, entry.commands, aspects, (*path, "commands"))
        if fixture is None or not aspects or change is None:
            continue
        signals.append(Signal(own, fixture.name, aspects, commands, change, desk.key_mark(path)))
    return signals


def read_lights(desk: Desk, fixtures: Fixtures) -> list[Light]:
    """Read the section `lights`."""
    lights = []
    for key, data, path in desk.section("lights"):
        entry = desk.entry(LightEntry, data, path)
        own = _named(desk, key, path)
        if entry is None or own is None:
            continue
        fixture = _fixture(desk, entry.fixture or own, path, fixtures, explicit=entry.fixture is not None)
        if (entry.switched_by is None) == (entry.held_by is None):
            desk.error(
                path, f"the light {own!r} needs either `switched-by` (an accessory) or `held-by` (a button)"
            )
            continue
        lamps = _light_lamps(desk, entry, fixture, path)
        shows = _shown(desk, entry.shows, (*path, "shows"))
        change = _change(desk, entry.change, (*path, "change"))
        if fixture is None or lamps is None or shows is None or change is None:
            continue
        lights.append(
            Light(
                name=own,
                fixture=fixture.name,
                lamps=lamps,
                shows=shows,
                accessory=entry.switched_by,
                on_when=Position(entry.on_when),
                button=entry.held_by,
                when_unknown=WhenUnknown(entry.when_unknown),
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


def _named(desk: Desk, key: str, path: Path) -> str | None:
    try:
        return name(key)
    except ValueError as problem:
        desk.key_error(path, str(problem))
        return None


def _fixture(desk: Desk, wanted: str, path: Path, fixtures: Fixtures, *, explicit: bool) -> Fixture | None:
    if wanted in fixtures:
        return fixtures[wanted]
    where = desk.mark((*path, "fixture")) if explicit else desk.key_mark(path)
    hint = "" if explicit else "; a device of another name says which with `fixture`"
    desk.error_at(where, f"no fixture is called {wanted!r}; {choice(wanted, fixtures)}{hint}")
    return None


def _aspects(
    desk: Desk,
    entry: SignalEntry,
    fixture: Fixture | None,
    sets: dict[str, tuple[Any, Path]],
    path: Path,
) -> tuple[AspectRow, ...]:
    where = (*path, "aspects")
    if entry.aspects is None:
        if fixture is not None and len(fixture.heads) > 1:
            heads = ", ".join(head.name for head in fixture.heads)
            desk.key_error(path, f"this signal has the heads {heads}: say with `aspects` what each shows")
            return ()
        mark = desk.key_mark(path)
        return tuple(
            AspectRow(aspect, (("", (Shown(word, FULL_LEVEL, mark),)),), mark, required=False)
            for aspect, word in PLAIN_ASPECTS.items()
        )
    if isinstance(entry.aspects, str):
        if entry.aspects not in sets:
            desk.error(where, f"no set of aspects is called {entry.aspects!r}; {choice(entry.aspects, sets)}")
            return ()
        rows, where = sets[entry.aspects]
        return _rows(desk, rows, fixture, where, required=False)
    return _rows(desk, entry.aspects, fixture, where, required=True)


def _rows(
    desk: Desk, rows: Any, fixture: Fixture | None, path: Path, *, required: bool
) -> tuple[AspectRow, ...]:
    if not isinstance(rows, dict) or not rows:
        desk.error(path, "aspects are a mapping, the most restrictive first: `stop: red`")
        return ()
    if fixture is None:
        return ()
    result = []
    for aspect, shows in rows.items():
        heads = _heads(desk, shows, fixture, (*path, aspect))
        if heads is not None:
            result.append(AspectRow(aspect, heads, desk.mark((*path, aspect)), required))
    return tuple(result)


def _heads(
    desk: Desk, shows: Any, fixture: Fixture, path: Path
) -> tuple[tuple[str, tuple[Shown, ...]], ...] | None:
    names = [head.name for head in fixture.heads]
    if not isinstance(shows, dict):
        if len(names) > 1:
            desk.error(
                path, f"{fixture.name} has the heads {', '.join(names)}: say what each shows, or {DARK}"
            )
            return None
        shows = {names[0]: shows}
        inner = {names[0]: path}
    else:
        inner = {head: (*path, head) for head in shows}
    for head in shows:
        if head not in names:
            known = [each for each in names if each]
            desk.key_error(inner[head], f"{fixture.name} has no head {head!r}; {choice(head, known)}")
            return None
    missing = [head for head in names if head not in shows]
    if missing:
        desk.error(path, f"say also what {', '.join(missing)} shows, or {DARK}")
        return None
    result = []
    for head in names:
        items = _items(desk, shows[head], inner[head])
        if items is None:
            return None
        result.append((head, items))
    return tuple(result)


def _items(desk: Desk, shows: Any, path: Path) -> tuple[Shown, ...] | None:
    if shows == DARK:
        return ()
    listed = shows if isinstance(shows, list) else [shows]
    paths = [(*path, index) for index in range(len(listed))] if isinstance(shows, list) else [path]
    items = [_shown(desk, each, where) for each, where in zip(listed, paths, strict=True)]
    sound = [item for item in items if item is not None]
    return tuple(sound) if len(sound) == len(items) and items else None


def _shown(desk: Desk, said: Any, path: Path) -> Shown | None:
    match = _SHOWN.match(said.strip()) if isinstance(said, str) else None
    if match is None or not said.strip():
        desk.error(
            path,
            f"{said!r} does not fit: name a lamp or a colour, with a level if you like: yellow, white 60%",
        )
        return None
    try:
        level = percent(match["level"]) if match["level"] else FULL_LEVEL
    except ValueError as problem:
        desk.error(path, str(problem))
        return None
    return Shown(match["word"].strip() or "on", level, desk.mark(path))


def _change(desk: Desk, said: Any, path: Path) -> Change | None:
    if said is None or said == "cut":
        return Change()
    if said == "fade":
        return Change(SOFT_FADE)
    if isinstance(said, str) and said.startswith("fade "):
        try:
            time = duration(said.removeprefix("fade ").strip())
        except ValueError as problem:
            desk.error(path, str(problem))
            return None
        if time > LONGEST_FADE:
            desk.error(path, "a fade takes 1 min at the most")
            return None
        return Change(time)
    desk.error(path, f"there is no change {said!r}: write cut, fade, or fade and a time, such as fade 400 ms")
    return None


def _commands(
    desk: Desk, commands: dict[int, CommandEntry], aspects: tuple[AspectRow, ...], path: Path
) -> tuple[CommandRow, ...]:
    known = [row.name for row in aspects]
    rows = []
    for number, entry in commands.items():
        where = (*path, str(number))
        orders: dict[Position, str] = {}
        marks: dict[Position, Mark] = {}
        for position in (Position.NORMAL, Position.REVERSE):
            aspect = getattr(entry, position.value)
            if aspect is None:
                continue
            if known and aspect not in known:
                desk.error(
                    (*where, position.value), f"there is no aspect {aspect!r} here; {choice(aspect, known)}"
                )
                continue
            orders[position] = aspect
            marks[position] = desk.mark((*where, position.value))
        if entry.normal is None and entry.reverse is None:
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
    chosen = []
    for index, wanted in enumerate(entry.lamps):
        found = [(head, lamp) for head, lamp in lamps if wanted in (lamp, f"{head}.{lamp}")]
        if not found:
            names = [f"{head}.{lamp}" if head else lamp for head, lamp in lamps]
            desk.error(
                (*path, "lamps", index), f"{fixture.name} has no lamp {wanted!r}; {choice(wanted, names)}"
            )
            return None
        chosen += found
    return tuple(dict.fromkeys(chosen))
