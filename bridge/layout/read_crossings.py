"""Level crossings, read from their entries: the tracks over the road, the times and their limits."""

from __future__ import annotations

from collections.abc import Collection

from bridge.events import SECOND
from bridge.layout.crossings import Crossing, CrossingTrack, ExitGates, Gates
from bridge.layout.devices import Fixtures
from bridge.layout.entries import Desk
from bridge.layout.findings import choice, said, warning
from bridge.layout.model import Block, Signal
from bridge.layout.read_controls import is_block
from bridge.layout.read_posts import read_posts
from bridge.layout.rules.crossings import CROSSING_RULES, CrossingRules, Figure
from bridge.layout.schema_track import CrossingEntry, CrossingTrackEntry, GatesEntry
from bridge.layout.text import Path
from bridge.layout.units import seconds


def read_crossings(
    desk: Desk, fixtures: Fixtures, blocks: list[Block]
) -> tuple[list[Crossing], list[Signal]]:
    """Read the section `crossings`; return the crossings, and all that shows what they do."""
    names = [block.name for block in blocks]
    crossings, posts = list[Crossing](), list[Signal]()
    for key, data, path in desk.section("crossings"):
        entry = desk.entry(CrossingEntry, data, path)
        if entry is None:
            continue
        rules = _rules(desk, entry.rules, path)
        tracks = _tracks(desk, entry.tracks, names, (*path, "tracks"))
        _look_at_rest(desk, key, entry, path)
        if rules is None:
            continue
        own = read_posts(desk, key, entry, rules, _rate(desk, entry, rules, path), fixtures, path)
        posts += own
        gates = None if entry.gates is None else _gates(desk, entry.gates, rules, (*path, "gates"))
        crossings.append(
            Crossing(
                name=key,
                tracks=tracks,
                amber=_amber(desk, entry, rules, path),
                gates=gates,
                exits=_exits(desk, entry, gates, rules, (*path, "exit-gates")),
                time_out=entry.time_out,
                posts=tuple(each.name for each in own),
                mark=desk.key_mark(path),
            )
        )
    return crossings, posts


def _rules(desk: Desk, wanted: str, path: Path) -> CrossingRules | None:
    if wanted not in CROSSING_RULES:
        text = f"there are no rules for crossings called {said(wanted)}; {choice(wanted, CROSSING_RULES)}"
        desk.error((*path, "rules"), text)
    return CROSSING_RULES.get(wanted)


def _tracks(
    desk: Desk, entries: dict[str, CrossingTrackEntry], blocks: Collection[str], path: Path
) -> tuple[CrossingTrack, ...]:
    islands = {entry.island: name for name, entry in entries.items()}
    for name, entry in entries.items():
        where = (*path, name)
        is_block(desk, entry.island, blocks, (*where, "island"))
        seen: set[str] = set()
        for side, approach in enumerate(entry.approaches):
            for place, block in enumerate(approach):
                inner = (*where, "approaches", side, place)
                if not is_block(desk, block, blocks, inner):
                    continue
                if block in islands:
                    text = f"{block} is the island of {islands[block]}: an approach lies before the road, not on it"
                    desk.error(inner, text)
                elif block in seen:
                    desk.error(inner, f"{block} already stands among the approaches of {name}: keep one")
                seen.add(block)
    return tuple(CrossingTrack(name, entry.island, entry.approaches) for name, entry in entries.items())


def _look_at_rest(desk: Desk, name: str, entry: CrossingEntry, path: Path) -> None:
    """Note what does not need the rules of a region to be seen."""
    if "gates" in entry.model_fields_set and entry.gates is None:
        text = f"{said(None)} does not fit: write {{}} for gates as the rules have them"
        desk.error((*path, "gates"), text)
    if "exit_gates" in entry.model_fields_set and entry.exit_gates is None:
        text = f"{said(None)} does not fit: write {{}} for exit gates as the rules have them"
        desk.error((*path, "exit-gates"), text)
    if entry.gates is None and entry.exit_gates is not None:
        desk.key_error(
            (*path, "exit-gates"), "exit gates follow the others, and this crossing has no `gates`"
        )
    if entry.gates is None and entry.arms:
        desk.key_error((*path, "arms"), "the arms of gates are lit here, and this crossing has no `gates`")
    if entry.time_out is not None and entry.time_out < SECOND:
        desk.error((*path, "time-out"), "that is too short: 1 s is the least")
    if not entry.posts:
        desk.findings.append(
            warning(
                desk.key_mark(path),
                f"the crossing {said(name)} has no `posts`: nobody on the road sees that a train is coming",
            )
        )


def _limited(desk: Desk, wanted: int | None, figure: Figure, rules: CrossingRules, path: Path) -> int:
    """Return what was wanted, or what is usual; note what lies outside the limits."""
    if wanted is None or figure.allows(wanted):
        return figure.usual if wanted is None else wanted
    a_minute = path[-1] == "flash-rate"
    low, high = (
        "" if each is None else f"{each} a minute" if a_minute else seconds(each)
        for each in (figure.least, figure.most)
    )
    limits = f"from {low} to {high}" if low and high else f"{low or high} at the {'least' if low else 'most'}"
    given = f"{wanted} a minute" if a_minute else seconds(wanted)
    desk.error(path, f"{given} does not fit: {rules.name} allows {limits} ({figure.source})")
    return figure.usual


def _rate(desk: Desk, entry: CrossingEntry, rules: CrossingRules, path: Path) -> int:
    return _limited(desk, entry.flash_rate, rules.flash_rate, rules, (*path, "flash-rate"))


def _amber(desk: Desk, entry: CrossingEntry, rules: CrossingRules, path: Path) -> int:
    if rules.amber_time is not None:
        return _limited(desk, entry.amber, rules.amber_time, rules, (*path, "amber"))
    if entry.amber is not None:
        desk.key_error(
            (*path, "amber"), f"{rules.name} has no steady lights before the red ones: leave it out"
        )
    return 0


def _gates(desk: Desk, entry: GatesEntry, rules: CrossingRules, path: Path) -> Gates:
    return Gates(
        start_after=_limited(desk, entry.start_after, rules.gate_start, rules, (*path, "start-after")),
        lowering=_limited(desk, entry.lower, rules.gate_lowering, rules, (*path, "lower")),
        raising=_limited(desk, entry.raise_, rules.gate_raising, rules, (*path, "raise")),
    )


def _exits(
    desk: Desk, entry: CrossingEntry, gates: Gates | None, rules: CrossingRules, path: Path
) -> ExitGates | None:
    if entry.exit_gates is None or gates is None:
        return None
    lowering = _limited(desk, entry.exit_gates.lower, rules.exit_lowering, rules, (*path, "lower"))
    return ExitGates(lowering, gates.raising)
