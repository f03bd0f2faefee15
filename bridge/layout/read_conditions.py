"""Conditions as they are written: each is looked at by itself, and every name in it is looked up."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import Any, Final, TypeVar

from bridge.events import SECOND, BlockState
from bridge.layout.conditions import (
    AccessoryStands,
    AllOf,
    Always,
    AnyOf,
    BlockEntered,
    BlockIs,
    ButtonHeld,
    ButtonRuns,
    ButtonToggled,
    Condition,
    Hours,
    LightIsOn,
    Not,
    NumberOrdered,
    SignalShows,
)
from bridge.layout.devices import POSITION_WORDS
from bridge.layout.entries import Desk
from bridge.layout.findings import choice, said
from bridge.layout.model import Block, Signal
from bridge.layout.read_controls import is_block, is_signal
from bridge.layout.schema_when import (
    AccessoryWhen,
    AllWhen,
    AnyWhen,
    BlockWhen,
    ButtonWhen,
    ClockWhen,
    DaylightEntry,
    LightWhen,
    NotWhen,
    SignalWhen,
)
from bridge.layout.text import Path
from bridge.layout.units import aspect_number, name, time_of_day

ALWAYS: Final = "always"

_BETWEEN: Final = re.compile(r"(\S+) to (\S+)\Z")

Value = TypeVar("Value")


@dataclass(frozen=True, slots=True)
class Nameable:
    """What conditions may name.

    Attributes:
        blocks: the names of the blocks.
        signals: the aspects of each signal; none where they could not be read.
        lights: the names of the lights.
        daylight: `dawn` and `dusk` in seconds of the model day, if the file says when they are.
    """

    blocks: Collection[str]
    signals: Mapping[str, tuple[str, ...]]
    lights: Collection[str]
    daylight: Mapping[str, int]


def nameable(desk: Desk, blocks: list[Block], signals: list[Signal]) -> Nameable:
    """Return what the conditions of this file may name, also where it has an error of its own."""
    aspects: dict[str, tuple[str, ...]] = dict.fromkeys(_names(desk, "signals"), ())
    aspects |= {signal.name: tuple(row.name for row in signal.aspects) for signal in signals}
    return Nameable([block.name for block in blocks], aspects, _names(desk, "lights"), _daylight(desk))


def _names(desk: Desk, section: str) -> list[str]:
    data = desk.document.data.get(section)
    return [str(key) for key in data] if isinstance(data, dict) else []


def _daylight(desk: Desk) -> dict[str, int]:
    path = ("daylight",)
    data = desk.document.data.get("daylight")
    if data is None:
        return {}
    entry = desk.entry(DaylightEntry, data, path)
    if entry is None:
        desk.unread.add("daylight")
        return {}
    if entry.dawn == entry.dusk:
        desk.error(path, "dawn and dusk are one time here: between them it is light")
        desk.unread.add("daylight")
        return {}
    return {"dawn": entry.dawn, "dusk": entry.dusk}


def read_condition(desk: Desk, wanted: Any, path: Path, names: Nameable) -> Condition | None:
    """Read a condition; None if it has an error, which is noted."""
    if wanted == ALWAYS:
        return Always()
    if not isinstance(wanted, dict):
        several = "; join several with `all` or `any`" if isinstance(wanted, list) else ""
        example = "such as {accessory: 70}"
        desk.error(path, f"{said(wanted)} is no condition: write {ALWAYS}, or a mapping, {example}{several}")
        return None
    given = [key for key in wanted if key in _READERS]
    if len(given) == 1:
        return _READERS[given[0]](desk, wanted, path, names)
    if given:
        both = " and ".join(given)
        desk.error(
            path, f"a condition goes by one thing, and {both} stand here: join them with `all` or `any`"
        )
    elif wanted:
        first = next(iter(wanted))
        desk.key_error((*path, first), f"no condition goes by {said(first)}; {choice(first, _READERS)}")
    else:
        desk.error(path, f"nothing stands here: {choice('', _READERS)}")
    return None


def _accessory(desk: Desk, data: Any, path: Path, names: Nameable) -> Condition | None:
    del names
    entry = desk.entry(AccessoryWhen, data, path)
    if entry is None:
        return None
    given = [key for key in ("ordered", "proved", "aspect-number") if key in data]
    if len(given) > 1:
        desk.error(
            path, f"an accessory is {', '.join(given[:-1])} or {given[-1]}, and not all at once: keep one"
        )
        return None
    if given == ["aspect-number"]:
        numbers = _several(desk, entry.aspect_number, (*path, "aspect-number"), aspect_number)
        return None if numbers is None else NumberOrdered(entry.accessory, numbers)
    if given and data[given[0]] is None:
        desk.error((*path, given[0]), f"{said(None)} does not fit: name a position, such as reverse")
        return None
    position = POSITION_WORDS[entry.proved or entry.ordered or "reverse"]
    return AccessoryStands(entry.accessory, position, proved=entry.proved is not None)


def _block(desk: Desk, data: Any, path: Path, names: Nameable) -> Condition | None:
    entry = desk.entry(BlockWhen, data, path)
    if entry is None or not is_block(desk, entry.block, names.blocks, (*path, "block")):
        return None
    if (entry.is_ is None) == (entry.entered is None):
        has = "neither stands" if entry.is_ is None else "both stand"
        desk.error(
            path, f"say `is: occupied`, `is: clear` or, for a while after it, `entered: 20 s`; {has} here"
        )
        return None
    if entry.is_ is not None:
        return BlockIs(entry.block, BlockState(entry.is_))
    if not _lasts(desk, entry.entered, (*path, "entered")):
        return None
    return BlockEntered(entry.block, entry.entered or 0)


def _button(desk: Desk, data: Any, path: Path, names: Nameable) -> Condition | None:
    del names
    entry = desk.entry(ButtonWhen, data, path)
    if entry is None:
        return None
    if entry.runs is None:
        return ButtonToggled(entry.button) if entry.toggles else ButtonHeld(entry.button)
    if entry.toggles:
        desk.error(path, "a button toggles, or what it begins `runs` for a time: keep one of the two")
        return None
    if not _lasts(desk, entry.runs, (*path, "runs")):
        return None
    return ButtonRuns(entry.button, entry.runs)


def _lasts(desk: Desk, time: int | None, path: Path) -> bool:
    if time == 0:
        desk.error(path, "this lasts no time at all: write a duration, such as 20 s")
    return time != 0


def _signal(desk: Desk, data: Any, path: Path, names: Nameable) -> Condition | None:
    entry = desk.entry(SignalWhen, data, path)
    if entry is None or not is_signal(desk, entry.signal, names.signals, (*path, "signal")):
        return None
    aspects = _several(desk, entry.shows, (*path, "shows"), name)
    known = names.signals[entry.signal]
    for place, aspect in enumerate(aspects or ()):
        if known and aspect not in known:
            where = (*path, "shows", place) if isinstance(entry.shows, list) else (*path, "shows")
            desk.error(where, f"{entry.signal} has no aspect {said(aspect)}; {choice(aspect, known)}")
            return None
    return None if aspects is None else SignalShows(entry.signal, aspects)


def _light(desk: Desk, data: Any, path: Path, names: Nameable) -> Condition | None:
    entry = desk.entry(LightWhen, data, path)
    if entry is None:
        return None
    if entry.light not in names.lights:
        if "lights" not in desk.unread:
            text = f"no light is called {said(entry.light)}; {choice(entry.light, names.lights)}"
            desk.error((*path, "light"), text)
        return None
    return LightIsOn(entry.light)


def _clock(desk: Desk, data: Any, path: Path, names: Nameable) -> Condition | None:
    entry = desk.entry(ClockWhen, data, path)
    if entry is None:
        return None
    where = (*path, "clock")
    found = _BETWEEN.match(entry.clock) if isinstance(entry.clock, str) else None
    if found is None:
        example = "two times with `to` between them, such as 18:00 to 23:30 or dusk to dawn"
        desk.error(where, f"{said(entry.clock)} does not fit: write {example}")
        return None
    start, end = (_time(desk, word, where, names) for word in found.groups())
    if start is None or end is None:
        return None
    if start == end:
        desk.error(where, f"{said(entry.clock)} is no time at all, or all day: write two times, or {ALWAYS}")
        return None
    return Hours(start, end, entry.spread // SECOND)


def _time(desk: Desk, word: str, path: Path, names: Nameable) -> int | None:
    if word in ("dawn", "dusk"):
        if word not in names.daylight and "daylight" not in desk.unread:
            example = "`daylight: {dawn: 06:10, dusk: 19:40}`"
            desk.error(path, f"nothing says when {word} is: write {example} at the top of the file")
        return names.daylight.get(word)
    try:
        return time_of_day(word)
    except ValueError as problem:
        desk.error(path, f"{problem}, or dawn or dusk")
        return None


def _all(desk: Desk, data: Any, path: Path, names: Nameable) -> Condition | None:
    entry = desk.entry(AllWhen, data, path)
    parts = None if entry is None else _parts(desk, entry.all_, (*path, "all"), names)
    return None if parts is None else AllOf(parts)


def _any(desk: Desk, data: Any, path: Path, names: Nameable) -> Condition | None:
    entry = desk.entry(AnyWhen, data, path)
    parts = None if entry is None else _parts(desk, entry.any_, (*path, "any"), names)
    return None if parts is None else AnyOf(parts)


def _not(desk: Desk, data: Any, path: Path, names: Nameable) -> Condition | None:
    entry = desk.entry(NotWhen, data, path)
    part = None if entry is None else read_condition(desk, entry.not_, (*path, "not"), names)
    return None if part is None else Not(part)


def _parts(desk: Desk, wanted: tuple[Any, ...], path: Path, names: Nameable) -> tuple[Condition, ...] | None:
    parts = [read_condition(desk, each, (*path, place), names) for place, each in enumerate(wanted)]
    sound = tuple(part for part in parts if part is not None)
    return sound if len(sound) == len(parts) else None


def _several(desk: Desk, wanted: Any, path: Path, read: Callable[[Any], Value]) -> tuple[Value, ...] | None:
    """Read one value, or a list of several; None if one has an error, which is noted."""
    if wanted == []:
        desk.error(path, "nothing stands here: at least one is needed")
        return None
    found: list[Value] = []
    listed = wanted if isinstance(wanted, list) else [wanted]
    for place, each in enumerate(listed):
        try:
            found.append(read(each))
        except ValueError as problem:
            desk.error((*path, place) if isinstance(wanted, list) else path, str(problem))
    return tuple(found) if len(found) == len(listed) else None


_READERS: Final[Mapping[str, Callable[[Desk, Any, Path, Nameable], Condition | None]]] = {
    "accessory": _accessory,
    "block": _block,
    "button": _button,
    "signal": _signal,
    "light": _light,
    "clock": _clock,
    "all": _all,
    "any": _any,
    "not": _not,
}
"""The key by which a condition is known, and what reads it."""
