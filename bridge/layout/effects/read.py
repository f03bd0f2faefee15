"""From the words of a layout file to an effect; what is wrong with them is noted at its place."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any, Final

from bridge.events import MILLISECOND, SECOND
from bridge.layout.effects import families
from bridge.layout.effects.families import Direction, Effect, Programme, Shape, Step
from bridge.layout.effects.own_lamps import OwnLamps
from bridge.layout.effects.ranges import in_range
from bridge.layout.effects.read_beacons import LIGHT_CHARACTER, read_airport, read_character, read_code
from bridge.layout.effects.read_flames import (
    read_arc,
    read_discharge,
    read_failing_tube,
    read_fire,
    read_gas_tube,
    read_screen,
    read_small_flame,
    read_tube,
)
from bridge.layout.effects.scales import micrometres, needs_scale, ratio, step_time
from bridge.layout.effects.schema import (
    ArrowBoardEntry,
    BlinkerEntry,
    EffectEntry,
    FlasherEntry,
    MovingEntry,
    ProgrammeEntry,
    StrobeEntry,
    TrafficLightsEntry,
)
from bridge.layout.effects.traffic import arrow_board, traffic_lights
from bridge.layout.entries import Desk
from bridge.layout.findings import choice, count, said
from bridge.layout.rules.flashers import FLASHERS
from bridge.layout.rules.lamps import MINUTE
from bridge.layout.text import Path
from bridge.layout.units import seconds

SHORTEST_STEP: Final = 20 * MILLISECOND
"""At fifty frames a second, each frame shows another step."""

USUAL_STEP: Final = 125 * MILLISECOND
"""Three lamps by turns then flash 2.7 times a second each: below what can harm."""

MOST_SHORT_STEPS: Final = 4000
"""The shortest step of a programme may be so small a part of it: half of what a tape can tell apart."""

FLASHING: Final = 5 * SECOND
"""A programme that begins anew sooner than this is taken for a flashing light."""

_NOTATION: Final = re.compile(r"[A-Z]")

Reader = Callable[[Desk, str, Any, OwnLamps, Path], Effect | None]


def read_effect(desk: Desk, data: Any, path: Path, lamps: Sequence[str]) -> Effect | None:
    """Read an effect: its word alone, a light character such as `Fl(2) 10s`, or a mapping with `kind` and more.

    Args:
        desk: takes the notes.
        data: what stands in the file.
        path: where it stands.
        lamps: the names of the light's lamps in their order.

    Returns:
        The effect, or None if it has an error, which is then noted.
    """
    kind, rest = data, path
    if isinstance(data, dict):
        kind, rest = data.get("kind", LIGHT_CHARACTER if "character" in data else None), (*path, "kind")
    elif isinstance(data, str) and _NOTATION.match(data):
        return read_character(
            desk, LIGHT_CHARACTER, {"character": data}, OwnLamps(desk, lamps), path, plain=True
        )
    if kind is None and isinstance(data, dict):
        desk.error(path, "the key 'kind' is missing here")
        return None
    reader = READERS.get(kind) if isinstance(kind, str) else None
    if reader is None:
        desk.error(rest, f"no effect is called {said(kind)}; {_likely(kind)}")
        return None
    if not lamps:
        desk.error(path, "an effect needs a lamp")
        return None
    return reader(desk, kind, data if isinstance(data, dict) else {"kind": kind}, OwnLamps(desk, lamps), path)


def _likely(kind: Any) -> str:
    return f"{choice(kind, READERS)}; or write a light character, such as Fl(2) 10s"


def _steady(desk: Desk, kind: str, data: Any, _lamps: OwnLamps, path: Path) -> Effect | None:
    entry = desk.entry(EffectEntry, data, path)
    return None if entry is None else families.Steady(kind, desk.key_mark(path))


def _flasher(desk: Desk, kind: str, data: Any, lamps: OwnLamps, path: Path) -> Effect | None:
    rules = FLASHERS[kind]
    model: type[FlasherEntry] = {
        Shape.BLINK: BlinkerEntry,
        Shape.STROBE: StrobeEntry,
        Shape.SWEEP: FlasherEntry,
    }[rules.shape]
    entry = desk.entry(model, data, path)
    if entry is None:
        return None
    rate = rules.rate.usual if entry.rate is None else entry.rate
    part = getattr(entry, "lit", None)
    lit = rules.lit.usual if part is None else part
    flashes = getattr(entry, "flashes", 1)
    if not entry.beyond_range and not (
        in_range(desk, (*path, "rate"), f"the rate of {kind}", rate, rules.rate)
        and in_range(desk, (*path, "lit"), "the lit part, in hundredths,", lit, rules.lit)
    ):
        return None
    if flashes > rules.flashes:
        desk.error((*path, "flashes"), f"{kind} flashes {rules.flashes} times at the most, and not {flashes}")
        return None
    if rules.turns is families.Turns.HALVES and len(lamps) < 2:
        desk.error(path, f"{kind} needs two lamps or more, which flash by turns, and this light has one")
        return None
    in_step = rules.in_step if entry.in_step is None else entry.in_step
    return families.Flasher(kind, rules.shape, rules.turns, rate, lit, flashes, in_step, desk.key_mark(path))


def _moving(desk: Desk, kind: str, data: Any, lamps: OwnLamps, path: Path) -> Effect | None:
    entry = desk.entry(MovingEntry, data, path)
    step = None if entry is None else _step(desk, entry, path)
    if entry is None or step is None:
        return None
    if len(lamps) < 2:
        desk.error(path, f"{kind} needs two lamps or more, and this light has one")
        return None
    chase = kind == "chase"
    every = entry.every if entry.every is not None else 3 if chase else 0
    tail = entry.tail if entry.tail is not None else 0 if chase else 2
    direction = Direction(entry.direction)
    if direction is Direction.TO_AND_FRO and entry.every is not None:
        desk.error((*path, "every"), "light that goes to and fro is one spot: leave `every` out")
        return None
    if direction is Direction.TO_AND_FRO:
        every = 0
    room = every or len(lamps)
    if entry.lit + tail > room or entry.lit == room:
        desk.error(
            (*path, "lit"),
            f"of {count(room, 'lamp')} {entry.lit} would be lit and {tail} behind them: so no lamp is ever dark; "
            "write fewer",
        )
        return None
    return families.Chase(kind, step, every, entry.lit, tail, direction, desk.key_mark(path))


def _step(desk: Desk, entry: MovingEntry, path: Path) -> int | None:
    """Return the time from lamp to lamp: said, or from speed, pitch and scale."""
    if entry.speed is not None:
        step, where = _step_of_speed(desk, entry, path), (*path, "speed")
    else:
        extra = next((key for key in ("pitch", "scale") if getattr(entry, key) is not None), None)
        if extra is not None:
            desk.key_error((*path, extra), f"`{extra}` goes with a `speed`: add that, or leave it out")
            return None
        step, where = entry.step or USUAL_STEP, (*path, "step")
    if step is not None and not SHORTEST_STEP <= step <= MINUTE:
        limits = f"{SHORTEST_STEP // MILLISECOND} ms to {seconds(MINUTE)}"
        desk.error(where, f"{step // MILLISECOND} ms from lamp to lamp do not fit: {limits} can be shown")
        return None
    return step


def _step_of_speed(desk: Desk, entry: MovingEntry, path: Path) -> int | None:
    if entry.step is not None:
        desk.key_error((*path, "step"), "`speed` says it already: leave one of the two out")
        return None
    if entry.pitch is None:
        desk.error((*path, "speed"), "say also with `pitch` how far it is from lamp to lamp, such as 16.7 mm")
        return None
    scale = entry.scale
    if scale is None and isinstance(desk.document.data, dict):
        scale = desk.document.data.get("scale")
    if scale is None and needs_scale(entry.speed):
        desk.error(
            (*path, "speed"),
            "a speed of the prototype needs a `scale`: write it here, or for the whole layout",
        )
        return None
    where = "pitch"
    try:
        pitch = micrometres(entry.pitch)
        if entry.scale is not None:
            where = "scale"
            ratio(scale)
        where = "speed"
        return step_time(entry.speed, pitch, scale)
    except ValueError as problem:
        desk.error((*path, where), str(problem))
        return None


def _programme(desk: Desk, kind: str, data: Any, lamps: OwnLamps, path: Path) -> Effect | None:
    entry = desk.entry(ProgrammeEntry, data, path)
    if entry is None:
        return None
    steps = list[Step]()
    for place, step in enumerate(entry.steps):
        where = (*path, "steps", place)
        lit = lamps.listed(step.lit, (*where, "lit"))
        if step.time < SHORTEST_STEP:
            desk.error(
                (*where, "time"),
                f"that is too short to be shown: {SHORTEST_STEP // MILLISECOND} ms is the least",
            )
        elif lit is not None:
            steps.append(Step(lit, step.time))
    if len(steps) < len(entry.steps):
        return None
    total = sum(step.time for step in steps)
    if total > 60 * MINUTE:
        desk.error((*path, "steps"), f"all steps together take {seconds(total)}: an hour is the most")
        return None
    if min(step.time for step in steps) * MOST_SHORT_STEPS < total:
        desk.error(
            (*path, "steps"),
            f"all steps together take {seconds(total)}, and the shortest of them would be lost in that: make it longer",
        )
        return None
    flashes = entry.loops and total < FLASHING
    return Programme(kind, tuple(steps), entry.loops, flashes, desk.key_mark(path))


def _traffic(desk: Desk, kind: str, data: Any, lamps: OwnLamps, path: Path) -> Effect | None:
    entry = desk.entry(TrafficLightsEntry, data, path)
    return None if entry is None else traffic_lights(desk, kind, entry, lamps, path)


def _arrow(desk: Desk, kind: str, data: Any, lamps: OwnLamps, path: Path) -> Effect | None:
    entry = desk.entry(ArrowBoardEntry, data, path)
    return None if entry is None else arrow_board(desk, kind, entry, lamps, path)


READERS: Final[dict[str, Reader]] = {
    "steady": _steady,
    **dict.fromkeys(FLASHERS, _flasher),
    "chase": _moving,
    "running-light": _moving,
    "arrow-board": _arrow,
    "traffic-lights": _traffic,
    "programme": _programme,
    LIGHT_CHARACTER: read_character,
    "airport-beacon": read_airport,
    "code-beacon": read_code,
    "open-fire": read_fire,
    "small-flame": read_small_flame,
    "welders-arc": read_arc,
    "tube-start": read_tube,
    "failing-tube": read_failing_tube,
    "sodium-lamp": read_discharge,
    "high-pressure-sodium": read_discharge,
    "mercury-lamp": read_discharge,
    "screen": read_screen,
    "gas-tube-fault": read_gas_tube,
}
"""Who reads each kind of effect, by its word."""
