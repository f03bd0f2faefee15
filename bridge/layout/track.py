"""The track as far as signals hear of it: power districts, blocks and turnouts."""

from __future__ import annotations

from typing import Any, Final

from bridge.events import MILLISECOND, Position
from bridge.layout.devices import POSITION_WORDS
from bridge.layout.entries import Desk
from bridge.layout.findings import choice
from bridge.layout.model import Block
from bridge.layout.read_controls import is_block
from bridge.layout.schema_track import BlockEntry, DistrictEntry, TurnoutEntry
from bridge.layout.text import Path
from bridge.layout.trackside import District, Turnout
from bridge.layout.units import accessory

CLEAR_AFTER: Final = {"block": 1_500 * MILLISECOND, "spot": 10_000 * MILLISECOND}
"""How long a detector has to report clear before it is believed (common practice, no source). A detector that sees one
place only says nothing of a train that has just passed it, so it is believed much later."""


def read_districts(desk: Desk) -> list[District]:
    """Read the section `districts`."""
    found = []
    for key, data, path in desk.section("districts"):
        entry = desk.entry(DistrictEntry, _or_nothing(data), path)
        if entry is None:
            desk.unread.add("districts")
        else:
            found.append(District(key, entry.settle, desk.key_mark(path)))
    return found


def read_blocks(desk: Desk, districts: list[District]) -> list[Block]:
    """Read the section `blocks`."""
    names = [district.name for district in districts]
    found = []
    for key, data, path in desk.section("blocks"):
        entry = desk.entry(BlockEntry, _or_nothing(data), path)
        if entry is None:
            desk.unread.add("blocks")
            continue
        district = entry.district or ""
        if district and district not in names and "districts" not in desk.unread:
            desk.error(
                (*path, "district"), f"no power district is called {district!r}; {choice(district, names)}"
            )
        clear_after = CLEAR_AFTER[entry.detector] if entry.clear_after is None else entry.clear_after
        mark = desk.key_mark(path)
        found.append(Block(key, district, entry.occupied_after, clear_after, mark, entry.fouls))
    blocks = [block.name for block in found]
    for block in found:
        for place, other in enumerate(block.fouls):
            where = ("blocks", block.name, "fouls", place)
            if is_block(desk, other, blocks, where) and other == block.name:
                desk.error(where, f"{other} cannot foul itself: leave it out")
    return found


def read_turnouts(desk: Desk, blocks: list[Block]) -> list[Turnout]:
    """Read the section `turnouts`, whose keys are accessory numbers."""
    names = [block.name for block in blocks]
    found = []
    for key, data, path in desk.section("turnouts"):
        entry = desk.entry(TurnoutEntry, _or_nothing(data), path)
        number = _number(desk, key, path)
        if entry is not None and number is not None:
            if entry.block is not None:
                is_block(desk, entry.block, names, (*path, "block"))
            fouls: list[tuple[Position, str]] = []
            for word, fouled in entry.fouls.items():
                for place, block in enumerate(fouled):
                    is_block(desk, block, names, (*path, "fouls", word, place))
                    fouls.append((POSITION_WORDS[word], block))
            mark = desk.key_mark(path)
            found.append(Turnout(number, entry.feedback, entry.block or "", mark, tuple(fouls)))
    return found


def _or_nothing(data: Any) -> Any:
    """A name with nothing behind it is an entry in which nothing is said."""
    return {} if data is None else data


def _number(desk: Desk, key: str, path: Path) -> int | None:
    try:
        return accessory(key)
    except ValueError as problem:
        desk.key_error(path, str(problem))
        return None
