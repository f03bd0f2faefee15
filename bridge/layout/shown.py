"""What a lamp shows, and how one picture gives way to the next, in the words of the layout file."""

from __future__ import annotations

import re
from typing import Any, Final

from bridge.events import MILLISECOND
from bridge.layout.entries import Desk
from bridge.layout.findings import said
from bridge.layout.model import DARK, ON, Change, Shown, Way
from bridge.layout.text import Path
from bridge.layout.units import FULL_LEVEL, duration, percent, seconds

FLASHING: Final = "flashing"
"""Stands before what flashes."""

ALTERNATING: Final = "alternating"
"""Stands before what flashes by turns with that."""

_NO_SPACE: Final = re.compile(r"([^\s%]{0,63}[^\s%0-9.])([0-9]{1,3}(?:\.[0-9]{1,3})?)%")
_NO_PERCENT: Final = re.compile(r"([^\s%]{1,64})\s+([0-9]{1,3}(?:\.[0-9]{1,3})?)")
USUAL_CHANGE: Final = {
    Way.FADE: 300 * MILLISECOND,
    Way.FILAMENT: 250 * MILLISECOND,
    Way.DARK: 150 * MILLISECOND,
    Way.RED: 200 * MILLISECOND,
}
"""How long each way takes unless told otherwise. A filament: nine tenths of its light after 250 ms (UMTRI-93-37)."""

LONGEST_CHANGE: Final = {
    Way.FADE: 60_000 * MILLISECOND,
    Way.FILAMENT: 3_000 * MILLISECOND,
    Way.DARK: 3_000 * MILLISECOND,
    Way.RED: 3_000 * MILLISECOND,
}
"""And how long at the most: a signal must not be without its light for long."""


def read_items(desk: Desk, shows: Any, path: Path) -> tuple[Shown, ...] | None:
    """Read what a head shows: one word, several in a list, or `dark`; None if that has an error, which is noted."""
    if shows == DARK:
        return ()
    listed = shows if isinstance(shows, list) else [shows]
    if not listed:
        desk.error(path, f"nothing stands here: name a lamp or a colour, or write {DARK}")
        return None
    paths = [(*path, index) for index in range(len(listed))] if isinstance(shows, list) else [path]
    items = [read_shown(desk, each, where) for each, where in zip(listed, paths, strict=True)]
    sound = [item for item in items if item is not None]
    return tuple(sound) if len(sound) == len(items) else None


def read_shown(desk: Desk, shows: Any, path: Path) -> Shown | None:
    """Read `yellow`, `white 60%`, `flashing green`, `alternating red` or `60%`; None and a note otherwise."""
    text = shows.strip() if isinstance(shows, str) else ""
    beat = text.split(None, 1)[0] if text else ""
    if beat not in (FLASHING, ALTERNATING) or text in desk.lamp_names:
        beat = ""
    else:
        text = text.removeprefix(beat).lstrip()
        if text in ("", DARK):
            desk.error(path, f"{said(shows)} does not fit: name what flashes, such as {beat} green")
            return None
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
    return Shown(word, level, desk.mark(path), beat == FLASHING, beat == ALTERNATING)


def read_change(desk: Desk, wanted: Any, path: Path) -> Change | None:
    """Read a way to change, with its time where that is not the usual one; None if it is none, which is noted."""
    if wanted is None or wanted == Way.CUT:
        return Change()
    text = wanted.strip() if isinstance(wanted, str) else ""
    way = next((way for way in USUAL_CHANGE if text == way or text.startswith(f"{way} ")), None)
    if way is None:
        ways = ", ".join(USUAL_CHANGE)
        text = f"{said(wanted)} is no change: write cut, or one of {ways}, and a time if you like, such as fade 400 ms"
        desk.error(path, text)
        return None
    rest = text.removeprefix(way).strip()
    try:
        time = duration(rest) if rest else USUAL_CHANGE[way]
    except ValueError as problem:
        desk.error(path, str(problem))
        return None
    if not time:
        return Change()
    longest = LONGEST_CHANGE[way]
    if time > longest:
        desk.error(path, f"{said(wanted)} is too long: {way} takes {seconds(longest)} at the most")
        return None
    return Change(way, time)
