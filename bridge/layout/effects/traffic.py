"""Traffic lights and arrow boards, worked out to programmes: which lamps are lit, step by step."""

from __future__ import annotations

import re
from typing import Any, Final

from bridge.layout.effects.character_times import HUNDREDTH
from bridge.layout.effects.families import Programme, Step
from bridge.layout.effects.own_lamps import OwnLamps
from bridge.layout.effects.ranges import in_range
from bridge.layout.effects.schema import ApproachEntry, ArrowBoardEntry, TrafficLightsEntry
from bridge.layout.entries import Desk
from bridge.layout.findings import either, said
from bridge.layout.rules.lamps import (
    ARROW_LIT,
    ARROW_RATE,
    KILOMETRES_AN_HOUR,
    MILES_AN_HOUR,
    MINUTE,
    ROAD_RULES,
    RoadRules,
    yellow_for_kilometres,
    yellow_for_miles,
)
from bridge.layout.text import Path

_SPEED: Final = re.compile(r"([1-9][0-9]{1,2}) ?(mph|km/h)")
LAMPS_OF_BOARD: Final = 15
"""How many lamps the board has that needs no `parts`, as they are drawn in the guide: two, two, seven, two, two."""

_HEAD: Final = {"left": (4, 2, 11, 0, 13), "right": (10, 3, 12, 1, 14)}
_SHAFT: Final = {"left": (9, 8, 7, 6, 5), "right": (5, 6, 7, 8, 9)}
"""The lamps of the board; the shaft from its end to the head."""

FLASHING_ARROW: Final = "flashing-arrow"
SEQUENTIAL_ARROW: Final = "sequential-arrow"
SEQUENTIAL_CHEVRON: Final = "sequential-chevron"
DOUBLE_ARROW: Final = "double-arrow"
CAUTION_CORNERS: Final = "caution-corners"
CAUTION_BAR: Final = "caution-bar"
CAUTION_DIAMOND: Final = "caution-diamond"

DIRECTED: Final = (FLASHING_ARROW, SEQUENTIAL_ARROW, SEQUENTIAL_CHEVRON)
STEPPED: Final = (SEQUENTIAL_ARROW, SEQUENTIAL_CHEVRON)
NEEDS_PARTS: Final = (SEQUENTIAL_CHEVRON, CAUTION_DIAMOND)
MODES: Final = (*DIRECTED, DOUBLE_ARROW, CAUTION_CORNERS, CAUTION_BAR, CAUTION_DIAMOND)
"""The modes of MUTCD 2009, figure 6F-6."""


def traffic_lights(
    desk: Desk, kind: str, entry: TrafficLightsEntry, lamps: OwnLamps, path: Path
) -> Programme | None:
    """Return what the lights of all approaches show, or None and notes."""
    rules = ROAD_RULES[entry.rules]
    yellow = _yellow(desk, entry, rules, path)
    all_red = rules.all_red.usual if entry.all_red is None else entry.all_red
    if not entry.beyond_range and not in_range(
        desk, (*path, "all-red"), "the time with all red", all_red, rules.all_red, time=True
    ):
        return None
    read = [
        _approach(desk, approach, lamps, (*path, "approaches", name))
        for name, approach in entry.approaches.items()
    ]
    posts = [each for each in read if each is not None]
    if yellow is None or len(posts) < len(read):
        return None
    steps = list[Step]()
    for turn, (red, amber, green) in enumerate(posts):
        others = tuple(lamp for place, post in enumerate(posts) if place != turn for lamp in post[0])
        approach = list(entry.approaches.values())[turn]
        if rules.red_yellow is not None:
            steps.append(Step((*others, *red, *amber), rules.red_yellow.usual))
        steps.append(Step((*others, *green), approach.time))
        steps.append(Step((*others, *amber), yellow))
        if all_red:
            steps.append(Step((*others, *red), all_red))
    if any(step.time <= 0 for step in steps):
        desk.error((*path, "approaches"), "each approach needs some time with green")
        return None
    return Programme(kind, tuple(steps), loops=True, flashes=False, mark=desk.key_mark(path))


def _approach(
    desk: Desk, entry: ApproachEntry, lamps: OwnLamps, path: Path
) -> tuple[tuple[int, ...], ...] | None:
    if (entry.yellow is None) == (entry.amber is None):
        desk.error(path, "say which lamp is its yellow one, with `yellow` or `amber`")
        return None
    middle = "yellow" if entry.amber is None else "amber"
    wanted = {"red": entry.red, middle: entry.yellow or entry.amber, "green": entry.green}
    read = [lamps.listed(each, (*path, colour)) for colour, each in wanted.items()]
    found = [each for each in read if each is not None]
    return tuple(found) if len(found) == len(read) else None


def _yellow(desk: Desk, entry: TrafficLightsEntry, rules: RoadRules, path: Path) -> int | None:
    given = [key for key in ("yellow", "amber", "speed") if getattr(entry, key) is not None]
    if len(given) > 1:
        desk.error(
            (*path, given[1]), f"`{given[0]}` says it already: leave out `{given[1]}`, or the other one"
        )
        return None
    if entry.speed is not None:
        return _by_speed(desk, entry.speed, rules, (*path, "speed"))
    if not given:
        return rules.yellow.usual
    time: int = getattr(entry, given[0])
    if entry.beyond_range:
        return time
    sound = in_range(desk, (*path, given[0]), f"the time with {given[0]}", time, rules.yellow, time=True)
    return time if sound else None


def _by_speed(desk: Desk, speed: Any, rules: RoadRules, path: Path) -> int | None:
    match = _SPEED.fullmatch(speed) if isinstance(speed, str) else None
    unit, speeds = ("mph", MILES_AN_HOUR) if rules.name == "north-america" else ("km/h", KILOMETRES_AN_HOUR)
    if rules.name == "great-britain":
        desk.error(path, "the amber light of great-britain takes 3 s at every speed: leave `speed` out")
        return None
    if match is None or match[2] != unit or int(match[1]) not in speeds:
        desk.error(
            path,
            f"{said(speed)} does not fit: write the speed that is allowed, {speeds[0]} {unit} to {speeds[-1]} {unit}",
        )
        return None
    return yellow_for_miles(int(match[1])) if unit == "mph" else yellow_for_kilometres(int(match[1]))


def arrow_board(
    desk: Desk, kind: str, entry: ArrowBoardEntry, lamps: OwnLamps, path: Path
) -> Programme | None:
    """Return what an arrow board shows, or None and notes."""
    if entry.mode not in MODES:
        desk.error((*path, "mode"), f"{said(entry.mode)} does not fit: write {either(MODES)}")
        return None
    if (entry.direction is None) == (entry.mode in DIRECTED) and entry.parts is None:
        text = (
            "say with `direction` where it points"
            if entry.direction is None
            else "it points nowhere: leave `direction` out"
        )
        desk.error((*path, "mode"), f"{entry.mode}: {text}")
        return None
    rate = ARROW_RATE.usual if entry.rate is None else entry.rate
    lit = ARROW_LIT.usual if entry.lit is None else entry.lit
    if entry.mode in STEPPED and entry.lit is not None:
        desk.error((*path, "lit"), "each step of a sequence takes a quarter of the time: leave `lit` out")
        return None
    if not entry.beyond_range and not (
        in_range(desk, (*path, "rate"), "the rate of an arrow board", rate, ARROW_RATE)
        and in_range(desk, (*path, "lit"), "the lit part, in hundredths,", lit, ARROW_LIT)
    ):
        return None
    parts = _parts(desk, entry, lamps, path)
    if parts is None:
        return None
    period = MINUTE // rate // HUNDREDTH
    if len(parts) == 1:
        on = -(-period * lit // 100)
        steps = [Step(parts[0], on * HUNDREDTH), Step((), (period - on) * HUNDREDTH)]
    else:
        part = period // (len(parts) + 1) * HUNDREDTH
        lit_so_far = [
            tuple(lamp for each in parts[: turn + 1] for lamp in each) for turn in range(len(parts))
        ]
        steps = [Step(each, part) for each in (*lit_so_far, ())]
    return Programme(kind, tuple(steps), loops=True, flashes=True, mark=desk.key_mark(path))


def _parts(desk: Desk, entry: ArrowBoardEntry, lamps: OwnLamps, path: Path) -> list[tuple[int, ...]] | None:
    """Return the lamps that come on, step by step; those of one step stay lit in the next."""
    if entry.parts is not None:
        most = 3 if entry.mode in STEPPED else 1
        if len(entry.parts) != most:
            desk.error(
                (*path, "parts"),
                f"{entry.mode} has {most} {'parts' if most > 1 else 'part'}: list the lamps of each",
            )
            return None
        read = [lamps.listed(each, (*path, "parts", place)) for place, each in enumerate(entry.parts)]
        found = [each for each in read if each is not None]
        return found if len(found) == len(read) else None
    if len(lamps) != LAMPS_OF_BOARD or entry.mode in NEEDS_PARTS:
        desk.error(
            (*path, "mode"),
            f"{entry.mode} on {len(lamps)} lamps: list the lamps of each step with `parts`"
            + ("" if entry.mode in NEEDS_PARTS else f"; without, a board has {LAMPS_OF_BOARD} lamps"),
        )
        return None
    shaft = _SHAFT[entry.direction or "left"]
    match entry.mode:
        case "flashing-arrow":
            return [(*_HEAD[entry.direction or "left"], *shaft)]
        case "sequential-arrow":
            return [shaft[:2], shaft[2:], _HEAD[entry.direction or "left"]]
        case "double-arrow":
            return [(*_HEAD["left"], *shaft, *_HEAD["right"])]
        case "caution-corners":
            return [(0, 1, 13, 14)]
        case _:
            return [shaft]
