"""Lights that are no signals: what each shows, and what it listens to."""

from __future__ import annotations

from bridge.layout.conditions import ButtonHeld, Condition, leaves
from bridge.layout.devices import Fixtures, find_fixture
from bridge.layout.entries import Desk
from bridge.layout.findings import choice, said
from bridge.layout.model import Fixture, Light, WhenUnknown
from bridge.layout.read_conditions import Nameable, read_condition
from bridge.layout.schema import RESTORED, LightEntry
from bridge.layout.shown import read_change, read_shown
from bridge.layout.text import Path


def read_lights(desk: Desk, fixtures: Fixtures, names: Nameable) -> list[Light]:
    """Read the section `lights`."""
    lights = []
    for key, data, path in desk.section("lights"):
        entry = desk.entry(LightEntry, data, path)
        if entry is None:
            continue
        fixture = find_fixture(desk, entry.fixture or key, path, fixtures, explicit=entry.fixture is not None)
        when = _when(desk, entry, path, names)
        lamps = _light_lamps(desk, entry, fixture, path)
        shows = read_shown(desk, entry.shows, (*path, "shows"))
        if shows is not None and (shows.flashing or shows.alternating):
            desk.error((*path, "shows"), "a light does not flash: say how it looks when it is on")
            continue
        change = read_change(desk, entry.change, (*path, "change"))
        if fixture is None or lamps is None or shows is None or change is None or when is None:
            continue
        lights.append(
            Light(
                name=key,
                fixture=fixture.name,
                lamps=lamps,
                shows=shows,
                when=when,
                when_unknown=_when_unknown(entry, when),
                restores=entry.at_start == RESTORED,
                change=change,
                mark=desk.key_mark(path),
                zone=entry.zone or "",
            )
        )
    return lights


def _when(desk: Desk, entry: LightEntry, path: Path, names: Nameable) -> Condition | None:
    if "when" in entry.model_fields_set:
        return read_condition(desk, entry.when, (*path, "when"), names)
    desk.key_error(
        path, "nothing says when this light is on: give it `when`, such as {accessory: 70}, or always"
    )
    return None


def _when_unknown(entry: LightEntry, when: Condition) -> WhenUnknown:
    """A switch stays where it is while nobody is heard of; a button that nobody is heard to let go may be let go."""
    if entry.when_unknown is not None:
        return WhenUnknown(entry.when_unknown)
    held = any(isinstance(leaf, ButtonHeld) for leaf in leaves(when))
    return WhenUnknown.OFF if held else WhenUnknown.HOLD


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
