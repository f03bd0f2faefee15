"""Plays one fixed session and prints the digest of all its frames: `python -m tests.support.fixed_session`.

It is run in processes of its own, which differ in what must make no difference. Two lines come out: the digest,
and in which ways numpy then computes what the session uses.
"""

from __future__ import annotations

import json
import sys
from hashlib import sha256
from importlib import import_module
from random import Random
from typing import Final

import numpy as np

from bridge.commands import Command, Decision, PublishFrame
from bridge.engine import Engine
from bridge.events import (
    SECOND,
    AccessoryReleased,
    ButtonState,
    Event,
    LampTestAsked,
    LampTestConfirmed,
    LampTestWay,
)
from tests.support.driving import (
    FERNHOLLOW,
    NORMAL,
    REVERSE,
    button,
    copy,
    heard,
    layout,
    lost,
    order,
)

LIGHTS: Final = """
layout: All that plays
frames-per-second: 50
builds: {pixel: {chips: [ws2812b], lamps: {eye: {full-colour: 1}}}}
nodes: {bench: {chains: [{name: one, fixtures: [FIXTURES]}]}}
zones: {town: {change: 5 s, rows: [{when: {accessory: 90}, level: 20%}]}}
lights:
"""
PLAYS: Final = (
    *(
        "open-fire",
        "small-flame",
        "welders-arc",
        "screen",
        "sodium-lamp",
        "mercury-lamp",
        "tube-start",
        "failing-tube",
    ),
    *(
        "gas-tube-fault",
        "rotating-beacon",
        "strobe",
        "flash",
        "airport-beacon",
        "Fl(2+1) 15s",
        "VQ(6)+LFl 10s",
        "steady",
    ),
)
SECONDS: Final = 40

EVENTS: Final = 2_000
SEED: Final = 20_260


def fixed_events() -> list[Event]:
    """Return the session's events: orders above all, in bursts and with pauses, and all else that may come."""
    chance = Random(SEED)  # noqa: S311 - the same session each time, which is no secret
    events: list[Event] = []
    now = 0
    for _ in range(EVENTS):
        now += chance.choice([0, 1, 999, 10**6, 17 * 10**6, 33_333_333, 10**8, 10**9])
        number = chance.choice([*range(61, 68), *range(101, 104)])
        position = chance.choice([NORMAL, REVERSE])
        source = chance.choice(["panel", "booster"])
        what = chance.randrange(20)
        events.append(
            copy(number, position, now, source)
            if what == 0
            else AccessoryReleased(at=now, source=source, number=number)
            if what == 1
            else (lost if chance.randrange(2) else heard)(source, now)
            if what == 2
            else button("shop", chance.choice(list(ButtonState)), now)
            if what < 5
            else order(number, position, now, source)
        )
    return events


def play(events: list[Event]) -> list[Command]:
    """Play events as a busy machine would: some wakes late, some left out."""
    chance = Random(SEED + 1)  # noqa: S311 - the same session each time, which is no secret
    engine = Engine(layout(FERNHOLLOW))
    said = engine.start()
    for event in events:
        while (wake := engine.next_wake()) is not None and wake <= event.at:
            late = min(wake + chance.choice([0, 0, 0, 1, 40_000_000]), event.at)
            said += engine.advance(late)
        said += engine.handle(event)
    while (wake := engine.next_wake()) is not None:
        said += engine.advance(wake)
    said += engine.closing(engine.now)
    return [*said, *lights(), *tested()]


def lights() -> list[Command]:
    """Return the frames while effects of all kinds play, filaments warm up and a zone is dimmed."""
    fixtures = ", ".join(f"{{name: L{number}, build: pixel}}" for number in range(len(PLAYS)))
    entries = "".join(
        f"  L{number}: {{effect: {effect}, zone: town, shows: {('2700 K', 'lunar')[number % 2]}, change: filament, "
        f"when: {{accessory: {number + 1}}}}}\n"
        for number, effect in enumerate(PLAYS)
    )
    engine = Engine(layout(LIGHTS.replace("FIXTURES", fixtures) + entries))
    said = engine.start()
    for number in (*range(1, len(PLAYS) + 1), 90):
        said += engine.handle(order(number, REVERSE, number * 70_000_000))
    while (wake := engine.next_wake()) is not None and wake < SECONDS * SECOND:
        said += engine.advance(wake)
    return [each for each in said if isinstance(each, PublishFrame)]


def tested() -> list[Command]:
    """Return the frames of a lamp test in every way, while orders are followed."""
    engine = Engine(layout(FERNHOLLOW))
    said = engine.start()
    for number, way in enumerate(LampTestWay):
        at, area = number * 20 * SECOND, "T4" if way is LampTestWay.BLINK else "east/throat"
        picture = "0f" * 9 if way is LampTestWay.PICTURE else ""
        for event in (
            LampTestAsked(at=at, source="panel", way=way, area=area, seconds=15, picture=picture),
            LampTestConfirmed(at=at, source="panel", chain="east/throat", mark=str(engine.events + 1)),
            order(63, (NORMAL, REVERSE)[number % 2], at + SECOND),
        ):
            while (wake := engine.next_wake()) is not None and wake <= event.at:
                said += engine.advance(wake)
            said += engine.handle(event)
    while (wake := engine.next_wake()) is not None:
        said += engine.advance(wake)
    return said


def digest(commands: list[Command]) -> str:
    """Return the digest of all frames and decisions."""
    whole = sha256()
    for command in commands:
        if isinstance(command, PublishFrame):
            whole.update(f"{command.at} {command.chain} {command.cause.value} ".encode() + command.levels)
        elif isinstance(command, Decision):
            whole.update(repr(tuple(command)).encode())
    return whole.hexdigest()


def numpy_ways() -> dict[str, object]:
    """Return which vector extensions numpy can choose at run time, which of them are on, and what it then runs."""
    core = import_module("numpy._core._multiarray_umath")  # no public name of numpy tells
    try:
        info = import_module("numpy.lib.introspect").opt_func_info
    except ImportError:  # the oldest ones cannot be asked
        return {"numpy": np.__version__}
    chosen = info(func_name="^(add|subtract|multiply|floor_divide|greater_equal|bitwise_xor|clip)$")
    return {
        "numpy": np.__version__,
        "baseline": core.__cpu_baseline__,
        "choices": core.__cpu_dispatch__,
        "on": [feature for feature in core.__cpu_dispatch__ if core.__cpu_features__[feature]],
        "runs": sorted({way["current"] for types in chosen.values() for way in types.values()}),
    }


if __name__ == "__main__":
    sys.stdout.write(f"{digest(play(fixed_events()))}\n{json.dumps(numpy_ways())}\n")
