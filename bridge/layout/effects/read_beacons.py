"""Light characters and the beacons of aviation, from the words of a layout file."""

from __future__ import annotations

from typing import Any, Final

from bridge.layout.effects.character_times import HUNDREDTH, phases
from bridge.layout.effects.characters import NotationError, parse_character
from bridge.layout.effects.families import Beacon, Effect, Phase
from bridge.layout.effects.morse import BEHIND, MORSE, length, marks
from bridge.layout.effects.own_lamps import OwnLamps, shows_colour
from bridge.layout.effects.ranges import in_range
from bridge.layout.effects.schema import AirportBeaconEntry, CharacterEntry, CodeBeaconEntry
from bridge.layout.entries import Desk
from bridge.layout.findings import count, said
from bridge.layout.rules.lamps import (
    AIRPORT_BEACON,
    BEACON_COLOURS,
    CODE_BEACON,
    CODE_COLOURS,
    HELIPORT_BEACON,
    MINUTE,
)
from bridge.layout.text import Path
from bridge.layout.units import seconds

LIGHT_CHARACTER: Final = "light-character"


def read_character(
    desk: Desk, kind: str, data: Any, lamps: OwnLamps, path: Path, *, plain: bool = False
) -> Effect | None:
    """Read a light character; `plain` where its notation stands alone."""
    entry = desk.entry(CharacterEntry, data, path)
    if entry is None:
        return None
    where = path if plain else (*path, "character")
    for key, time in (("flash", entry.flash), ("eclipse", entry.eclipse)):
        if time is not None and (time % HUNDREDTH or not 10 <= time // HUNDREDTH <= 3000):
            desk.error(
                (*path, key),
                f"{seconds(time)} does not fit: write 0.1 s to 30 s, in whole hundredths of a second",
            )
            return None
    if not isinstance(entry.character, str):
        desk.error(where, f"{said(entry.character)} is no light character: write one, such as Fl(2) 10s")
        return None
    try:
        character = parse_character(entry.character)
        found = phases(
            character,
            None if entry.flash is None else entry.flash // HUNDREDTH,
            None if entry.eclipse is None else entry.eclipse // HUNDREDTH,
        )
    except NotationError as problem:
        desk.error_at(desk.document.inside(where, problem.column), str(problem))
        return None
    sectors = () if character.alternating or len(character.colours) < 2 else character.colours
    if sectors and len(sectors) != len(lamps):
        desk.error_at(
            desk.document.inside(where, character.at["colours"]),
            f"{count(len(sectors), 'colour')} without Al are sectors, one lamp each, and this light has "
            f"{count(len(lamps), 'lamp')}: write Al before the class if one light changes between them",
        )
        return None
    return _beacon(desk, kind, found, lamps, path, sectors=sectors, in_step=entry.in_step)


def _beacon(
    desk: Desk,
    kind: str,
    found: tuple[Phase, ...],
    lamps: OwnLamps,
    path: Path,
    *,
    sectors: tuple[str, ...] = (),
    in_step: bool = False,
) -> Beacon:
    """Return a beacon; where several lamps have its colours by their names, each shows its own colour alone."""
    hues = tuple(dict.fromkeys(phase.hue for phase in found if phase.hue))
    only = [shows_colour(name, hues) if len(hues) > 1 and len(lamps) > 1 else "" for name in lamps.names]
    return Beacon(kind, found, tuple(only), sectors, in_step, desk.key_mark(path))


def read_airport(desk: Desk, kind: str, data: Any, lamps: OwnLamps, path: Path) -> Effect | None:
    """Read the beacon of an airport."""
    entry = desk.entry(AirportBeaconEntry, data, path)
    if entry is None:
        return None
    figure = HELIPORT_BEACON if entry.place == "heliport" else AIRPORT_BEACON
    rate = figure.usual if entry.rate is None else entry.rate
    if not entry.beyond_range and not in_range(
        desk, (*path, "rate"), "the rate of this beacon", rate, figure
    ):
        return None
    each = MINUTE // rate // HUNDREDTH * HUNDREDTH
    flash = min(15 * HUNDREDTH, each // 6 // HUNDREDTH * HUNDREDTH)
    found = list[Phase]()
    for hue in BEACON_COLOURS[entry.place]:
        found.append(Phase(flash, 100, hue))
        twice = entry.place == "military" and hue == "white"
        if twice:
            found += [Phase(flash, 0), Phase(flash, 100, hue)]
        found.append(Phase(each - flash * (3 if twice else 1), 0))
    return _beacon(desk, kind, tuple(found), lamps, path)


def read_code(desk: Desk, kind: str, data: Any, lamps: OwnLamps, path: Path) -> Effect | None:
    """Read a beacon that gives letters."""
    entry = desk.entry(CodeBeaconEntry, data, path)
    if entry is None:
        return None
    letters = str(entry.letters)
    if not 1 <= len(letters) <= 4 or any(letter not in MORSE for letter in letters):
        desk.error(
            (*path, "letters"), f"{said(entry.letters)} does not fit: write 1 to 4 capital letters or figures"
        )
        return None
    rate = CODE_BEACON.usual if entry.rate is None else entry.rate
    if not entry.beyond_range and not in_range(
        desk, (*path, "rate"), "the rate of a code beacon", rate, CODE_BEACON
    ):
        return None
    dots = length(letters) + BEHIND
    period = MINUTE // rate // HUNDREDTH * HUNDREDTH
    dot = min(50, period // HUNDREDTH // dots) * HUNDREDTH
    if dot < 10 * HUNDREDTH:
        desk.error(
            (*path, "letters"),
            f"{said(letters)} takes {dots} dots, and at {rate} times a minute each would be shorter than 0.1 s: "
            "write fewer letters",
        )
        return None
    hue = CODE_COLOURS[entry.place]
    found = [
        each for lit, gap in marks(letters) for each in (Phase(lit * dot, 100, hue), Phase(gap * dot, 0))
    ]
    found[-1] = Phase(period - length(letters) * dot, 0)
    return _beacon(desk, kind, tuple(found), lamps, path)
