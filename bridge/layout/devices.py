"""What signals and lights have in common: the fixture they use, the words they are ordered by, a name of their own."""

from __future__ import annotations

from typing import Final

from bridge.events import Position
from bridge.layout.entries import Desk
from bridge.layout.findings import Mark, choice, said
from bridge.layout.model import Fixture, Light, Signal
from bridge.layout.text import Path

POSITION_WORDS: Final = {
    "normal": Position.NORMAL,
    "reverse": Position.REVERSE,
    "closed": Position.NORMAL,
    "thrown": Position.REVERSE,
}
"""The words for a position: those of NMRA S-9.2.1, and the hobby's own for a turnout."""

Fixtures = dict[str, Fixture | None]


def unique_devices(desk: Desk, signals: list[Signal], lights: list[Light]) -> None:
    """Note every light and every post of a crossing with the name of a signal: all are told about by their names."""
    names: dict[str, Mark] = {}
    for signal in signals:
        if signal.name in names:
            line = names[signal.name].line
            desk.error_at(
                signal.mark, f"{signal.name!r} is already a signal (line {line}): give the post another name"
            )
        names.setdefault(signal.name, signal.mark)
    for light in lights:
        if light.name in names:
            line = names[light.name].line
            desk.error_at(
                light.mark, f"{light.name!r} is already a signal (line {line}): give the light another name"
            )


def find_fixture(
    desk: Desk, wanted: str, path: Path, fixtures: Fixtures, said_at: Path | None
) -> Fixture | None:
    """Return the fixture that a device uses, or None and note that there is none of that name.

    Args:
        desk: what it is noted on.
        wanted: the name.
        path: the device.
        fixtures: all there are.
        said_at: where the device says which it uses; None if it goes by its own name.
    """
    if wanted in fixtures:
        return fixtures[wanted]
    if "nodes" in desk.unread:
        return None
    where = desk.mark(said_at) if said_at is not None else desk.key_mark(path)
    hint = "" if said_at is not None else "; a device of another name says which with `fixture`"
    desk.error_at(where, f"no fixture is called {said(wanted)}; {choice(wanted, fixtures)}{hint}")
    return None
