"""Lights that are no signals: what each shows, and what it listens to."""

from __future__ import annotations

from bridge.layout.devices import POSITION_WORDS, Fixtures, find_fixture
from bridge.layout.entries import Desk
from bridge.layout.findings import choice, said
from bridge.layout.model import Fixture, Light, Place, WhenUnknown
from bridge.layout.schema import RESTORED, LightEntry
from bridge.layout.shown import read_change, read_shown
from bridge.layout.text import Path


def read_lights(desk: Desk, fixtures: Fixtures) -> list[Light]:
    """Read the section `lights`."""
    lights = []
    for key, data, path in desk.section("lights"):
        entry = desk.entry(LightEntry, data, path)
        if entry is None:
            continue
        if (entry.switched_by is None) == (entry.held_by is None):
            has = "neither" if entry.held_by is None else "both"
            desk.error(
                path,
                f"a light needs `switched-by` (an accessory) or `held-by` (a button), and {key} has {has}",
            )
            continue
        lamps = _places(desk, entry, key, path, fixtures)
        shows = read_shown(desk, entry.shows, (*path, "shows"))
        if shows is not None and (shows.flashing or shows.alternating):
            desk.error((*path, "shows"), "a light does not flash: say how it looks when it is on")
            continue
        change = read_change(desk, entry.change, (*path, "change"))
        if lamps is None or shows is None or change is None:
            continue
        lights.append(
            Light(
                name=key,
                lamps=lamps,
                shows=shows,
                accessory=entry.switched_by,
                on_when=POSITION_WORDS[entry.on_when],
                button=entry.held_by,
                when_unknown=_when_unknown(entry),
                restores=entry.at_start == RESTORED,
                change=change,
                mark=desk.key_mark(path),
            )
        )
    return lights


def _when_unknown(entry: LightEntry) -> WhenUnknown:
    """A switch stays where it is while nobody is heard of; a button that nobody is heard to let go may be let go."""
    if entry.when_unknown is not None:
        return WhenUnknown(entry.when_unknown)
    return WhenUnknown.HOLD if entry.held_by is None else WhenUnknown.OFF


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
