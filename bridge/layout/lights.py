"""Lights that are no signals: what each shows, and what it listens to."""

from __future__ import annotations

from collections.abc import Sequence

from bridge.layout.conditions import ButtonHeld, Condition, leaves
from bridge.layout.devices import Fixtures, find_fixture
from bridge.layout.effects.families import Effect
from bridge.layout.effects.read import read_effect
from bridge.layout.entries import Desk
from bridge.layout.findings import choice, said
from bridge.layout.model import Fixture, Light, Place, WhenUnknown
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
        when = _when(desk, entry, path, names)
        lamps = _places(desk, entry, key, path, fixtures)
        shows = read_shown(desk, entry.shows, (*path, "shows"))
        if shows is not None and (shows.flashing or shows.alternating):
            desk.error((*path, "shows"), "a light does not flash: say how it looks when it is on")
            continue
        change = read_change(desk, entry.change, (*path, "change"))
        effect, sound = _effect(desk, entry, lamps or (), path)
        if lamps is None or not sound or shows is None or change is None or when is None:
            continue
        lights.append(
            Light(
                name=key,
                lamps=lamps,
                shows=shows,
                effect=effect,
                spread=entry.spread,
                when=when,
                when_unknown=_when_unknown(entry, when),
                restores=entry.at_start == RESTORED,
                change=change,
                mark=desk.key_mark(path),
                zone=entry.zone or "",
                lost=_lost(lamps, fixtures),
            )
        )
    return lights


def _lost(lamps: Sequence[Place], fixtures: Fixtures) -> str:
    """Return why none of the lamps can be relied upon; empty as long as one can: that one goes on."""
    found = [fixture.lamp_lost(head, lamp) for name, head, lamp in lamps if (fixture := fixtures[name])]
    return found[0] if found and all(found) else ""


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


def _effect(desk: Desk, entry: LightEntry, lamps: Sequence[Place], path: Path) -> tuple[Effect | None, bool]:
    """Return what a light does, and whether that could be read."""
    if entry.effect is None or not lamps:
        return None, True
    names = [".".join(filter(None, place)) for place in lamps]
    effect = read_effect(desk, entry.effect, (*path, "effect"), names)
    return effect, effect is not None


def _places(
    desk: Desk, entry: LightEntry, name: str, path: Path, fixtures: Fixtures
) -> tuple[Place, ...] | None:
    """Return the lamps of a light, fixture by fixture; None if one cannot be found, which is noted."""
    if entry.fixtures is not None and entry.fixture is not None:
        desk.error((*path, "fixtures"), "`fixture` says already where it is: say one of the two")
        return None
    wanted = entry.fixtures or (entry.fixture or name,)
    explicit = entry.fixtures is not None or entry.fixture is not None
    places, sound = list[Place](), True
    for index, each in enumerate(wanted):
        where = (*path, "fixtures", index) if entry.fixtures is not None else (*path, "fixture")
        fixture = find_fixture(desk, each, path, fixtures, where if explicit else None)
        found = None if fixture is None else _light_lamps(desk, entry, fixture, path)
        sound = sound and found is not None
        places += found or ()
    return tuple(dict.fromkeys(places)) if sound else None


def _light_lamps(desk: Desk, entry: LightEntry, fixture: Fixture, path: Path) -> list[Place] | None:
    places = [Place(fixture.name, head.name, lamp.name) for head in fixture.heads for lamp in head.lamps]
    if entry.lamps is None:
        return places
    chosen, sound = list[Place](), True
    names = [f"{place.head}.{place.lamp}" if place.head else place.lamp for place in places]
    for index, wanted in enumerate(entry.lamps):
        found = [place for place, name in zip(places, names, strict=True) if wanted in (place.lamp, name)]
        if not found:
            sound = False
            where = (*path, "lamps", index)
            desk.error(where, f"{fixture.name} has no lamp {said(wanted)}; {choice(wanted, names)}")
        chosen += found
    return chosen if sound else None
