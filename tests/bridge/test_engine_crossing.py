"""A level crossing from the detectors to the frames: lights by turns, arms, signs, gates, snapshots."""

from __future__ import annotations

import json
from itertools import pairwise
from typing import Final

import pytest

from bridge.chain.timing import frame_instant
from bridge.commands import Command, Decision, Told
from bridge.engine import Engine
from bridge.errors import EngineError
from bridge.events import SECOND, BlockReported, BlockState, LinkState, SourceReported
from tests.support.driving import frames, layout

FILE: Final = """
layout: Mill lane
builds:
  flasher:
    chips: [ws2811]
    lamps: {left: {channel: 1, colour: red}, right: {channel: 2, colour: red}, amber: {channel: 3}}
  arm:
    chips: [ws2811]
    lamps: {tip: {channel: 1, colour: red}, middle: {channel: 2, colour: red}, base: {channel: 3, colour: red}}
  sign: {chips: [ws2811], lamps: {another: {channel: 1, colour: white}}}
nodes:
  bench: {chains: [{name: one, fixtures: [{name: XW, build: flasher}, {name: GW, build: arm}]}]}
  road: {chains: [{name: two, fixtures: [{name: XE, build: flasher}, {name: S, build: sign}]}]}
blocks:
  west: {clear-after: 1 s}
  lane: {clear-after: 1 s}
  east: {clear-after: 1 s}
  west-2: {clear-after: 1 s}
  lane-2: {clear-after: 1 s}
crossings:
  mill-lane:
    rules: RULES
    tracks:
      up: {island: lane, approaches: [[west], [east]]}
      down: {island: lane-2, approaches: [[west-2]]}
    gates: {}
    posts: {XW: , XE: }
    arms: {GW: }
    signs: {S: }
"""

BLOCKS: Final = ("west", "lane", "east", "west-2", "lane-2")
OFF, FULL = 0, 255


def report(name: str, state: str, at: int) -> BlockReported:
    """Return what a detector says."""
    return BlockReported(at=at, source="mqtt", name=name, state=BlockState(state))


def idle(rules: str = "north-america", at: int = 60 * SECOND) -> Engine:
    """Return an engine all of whose blocks have been clear for a while, at an instant."""
    engine = Engine(layout(FILE.replace("RULES", rules)))
    engine.start()
    for block in BLOCKS:
        engine.handle(report(block, "clear", 0))
    run(engine, at)
    return engine


def run(engine: Engine, until: int) -> list[Command]:
    """Go from wake to wake up to an instant; return all that was commanded."""
    done: list[Command] = []
    while (wake := engine.next_wake()) is not None and wake <= until:
        done += engine.advance(wake)
    return [*done, *engine.advance(until)]


def told(commands: list[Command]) -> list[tuple[int, str]]:
    """Return when gates were told of, and where they are."""
    return [
        (each.at, each.state)
        for each in commands
        if isinstance(each, Told) and (each.subject, each.name) == ("gate", "mill-lane")
    ]


def decided(commands: list[Command], device: str) -> list[tuple[int, str]]:
    """Return when a device was given another aspect, and which."""
    return [
        (each.at, each.aspect)
        for each in commands
        if isinstance(each, Decision) and each.device == device and each.before != each.aspect
    ]


def test_at_the_start_everything_is_lit_and_the_gates_come_down() -> None:
    """Until something is known the lights are on, and the gates come down: 49 CFR 236.5.

    Nothing is told of them before: they may be down, and must not rise for a moment.
    """
    engine = Engine(layout(FILE.replace("RULES", "north-america")))
    started = engine.start()
    assert [] == told(started)
    assert {"XW": "stop", "GW": "lit", "XE": "stop", "S": "dark"} == {
        name: choice.aspect for name, choice in engine.choices().items()
    }
    assert [(3 * SECOND, "lowering"), (12 * SECOND, "down")] == told(run(engine, 60 * SECOND))


def test_gates_are_told_to_be_up_as_soon_as_no_train_is_near() -> None:
    """Where all blocks are known to be clear before the gates have moved, the first word of them is `up`."""
    engine = Engine(layout(FILE.replace("RULES", "north-america")))
    engine.start()
    done = [command for block in BLOCKS for command in engine.handle(report(block, "clear", 0))]
    done += run(engine, 60 * SECOND)
    [(at, state)] = told(done)
    assert ("up", "dark") == (state, engine.choices()["XW"].aspect)
    assert at < 3 * SECOND


def test_a_train_through_a_crossing_of_north_america() -> None:
    """Lights at once, gates after 3 s, up again behind the train, and dark after that: 49 CFR 234.223, MUTCD 8C.04."""
    engine = idle()
    assert {"dark"} == {choice.aspect for choice in engine.choices().values()}
    at = 60 * SECOND
    done = engine.handle(report("west", "occupied", at))
    done += run(engine, at + 20 * SECOND)
    for name, state in (("lane", "occupied"), ("west", "clear"), ("east", "occupied"), ("lane", "clear")):
        done += engine.handle(report(name, state, at + 20 * SECOND))
    done += run(engine, at + 60 * SECOND)
    gone = at + 21 * SECOND  # the road is clear when it was reported so for 1 s
    assert [
        (at + 3 * SECOND, "lowering"),
        (at + 12 * SECOND, "down"),
        (gone, "rising"),
        (gone + 8 * SECOND, "up"),
    ] == told(done)
    for device, aspect in (("XW", "stop"), ("XE", "stop"), ("GW", "lit")):
        assert [(at, aspect), (gone + 8 * SECOND, "dark")] == decided(done, device)


def test_a_train_through_a_crossing_of_great_britain() -> None:
    """Amber for 3 s, red at once, barriers 5 s later, and boom lights until they are up: S.R. (NI) 2023/9, 2016/404."""
    engine = idle("great-britain")
    at = 60 * SECOND
    done = engine.handle(report("west", "occupied", at))
    assert (FULL, "amber") == (engine.present_frames()[0][2], engine.choices()["XW"].aspect)
    done += run(engine, at + 30 * SECOND)
    done += engine.handle(report("west", "clear", at + 30 * SECOND))
    done += run(engine, at + 60 * SECOND)
    gone = at + 31 * SECOND
    gates = [
        (at + 8 * SECOND, "lowering"),
        (at + 16 * SECOND, "down"),
        (gone, "rising"),
        (gone + 8 * SECOND, "up"),
    ]
    assert gates == told(done)
    up = gone + 8 * SECOND
    assert [(at, "amber"), (at + 3 * SECOND, "stop"), (up, "dark")] == decided(done, "XW")
    assert [(at + 8 * SECOND, "lit"), (up, "dark")] == decided(done, "GW")


@pytest.mark.parametrize(
    ("rules", "rate", "least", "most"), [("north-america", 50, 35, 65), ("great-britain", 75, 60, 90)]
)
def test_lights_flash_by_turns_at_the_rate_of_the_region(
    rules: str, rate: int, least: int, most: int
) -> None:
    """Two lamps are never lit nor dark together: 49 CFR 234.217(c), 35 to 65 a minute; TSRGD 1994, 60 to 90."""
    assert least <= rate <= most
    engine = idle(rules)
    at = 60 * SECOND
    engine.handle(report("lane", "occupied", at))
    engine.advance(at + 3 * SECOND)
    began = at if rules == "north-america" else at + 3 * SECOND
    seen = []
    while (wake := engine.next_wake()) is not None and wake <= at + 63 * SECOND:
        engine.advance(wake)
        west, east = (tuple(frame[:2]) for frame in engine.present_frames())
        assert west == east
        assert west in {(FULL, OFF), (OFF, FULL)}
        seen.append((wake, west))
    turns = [(wake, lamps) for (_before, old), (wake, lamps) in pairwise(seen) if old != lamps]
    assert 2 * rate - 1 <= len(turns) + 1 <= 2 * rate + 1
    half = 60 * SECOND // rate // 2
    assert {frame_instant(began + each * half, 50) for each in range(6, 26)} <= {
        wake for wake, _lamps in seen
    }


def test_the_tip_of_an_arm_is_steady_and_the_others_go_by_turns_with_the_post() -> None:
    """The lamp at the tip does not flash, the two others alternate with the flashers: Minn. R. 8830.1550."""
    engine = idle()
    engine.handle(report("lane", "occupied", 60 * SECOND))
    seen = set()
    while (wake := engine.next_wake()) is not None and wake <= 80 * SECOND:
        engine.advance(wake)
        seen.add(tuple(engine.present_frames()[0]))
    assert {(FULL, OFF, OFF, FULL, FULL, OFF), (OFF, FULL, OFF, FULL, OFF, FULL)} == seen


def test_a_sign_tells_of_a_second_train() -> None:
    """It is lit from the second train on until the lights go out: TSRGD 1994 Sch. 19 para 48(6)."""
    engine = idle()
    at = 60 * SECOND
    done = engine.handle(report("west", "occupied", at))
    done += engine.handle(report("west-2", "occupied", at + SECOND))
    done += engine.handle(report("west", "clear", at + 2 * SECOND))
    done += engine.handle(report("west-2", "clear", at + 20 * SECOND))
    done += run(engine, at + 60 * SECOND)
    assert [(at + SECOND, "lit"), (at + 29 * SECOND, "dark")] == decided(done, "S")


def test_a_source_that_is_lost_closes_the_road() -> None:
    """Nobody would hear of a train any more: 49 CFR 234.203. The reason says so."""
    engine = idle()
    lost = SourceReported(at=60 * SECOND, source="mqtt", state=LinkState.LOST, why="gone")
    done = engine.handle(lost)
    assert [(60 * SECOND, "stop")] == decided(done, "XE")
    why = "the road over mill-lane is closed: it is not known whether block lane is clear: mqtt was lost"
    choice = engine.choices()["XE"]
    assert (why, (6,)) == (choice.reason, choice.causes)


def test_the_reason_goes_on_with_the_train() -> None:
    """What is told of a post names the block in which the train is, and the event by which that is known."""
    engine = idle()
    at = 60 * SECOND
    engine.handle(report("west", "occupied", at))
    assert (6,) == engine.choices()["XW"].causes
    [decision] = [
        each
        for each in engine.handle(report("lane", "occupied", at + SECOND))
        if isinstance(each, Decision) and each.device == "XW"
    ]
    assert ("stop", "stop", (7,)) == (decision.before, decision.aspect, decision.causes)
    assert "the road over mill-lane is closed: a train on up is on the road, in block lane" == decision.reason


@pytest.mark.parametrize("kept", [61, 64, 70, 73, 79, 85])
def test_a_snapshot_resumes_a_crossing(kept: int) -> None:
    """Wherever it is taken, the same follows from it as without it, command by command and frame by frame."""
    story = [
        report("west", "occupied", 60 * SECOND),
        report("lane", "occupied", 72 * SECOND),
        report("west", "clear", 73 * SECOND),
        report("east", "occupied", 74 * SECOND),
        report("lane", "clear", 76 * SECOND),
        report("west-2", "occupied", 80 * SECOND),
        report("west-2", "clear", 84 * SECOND),
    ]
    first = idle()
    for event in story:
        if event.at <= kept * SECOND:
            run(first, event.at)
            first.handle(event)
    run(first, kept * SECOND)
    second = Engine(first.layout)
    second.restore(json.loads(json.dumps(first.snapshot())))
    both: list[list[Command]] = []
    for engine in (first, second):
        done: list[Command] = []
        for event in story:
            if event.at > kept * SECOND:
                done += run(engine, event.at)
                done += engine.handle(event)
        both.append(done + run(engine, 120 * SECOND))
    assert both[0] == both[1]
    assert (120 * SECOND, "dark") == (first.now, first.choices()["XW"].aspect)
    assert first.snapshot() == second.snapshot()


def test_a_snapshot_of_another_crossing_is_refused() -> None:
    """A state that is of other tracks is not taken up."""
    data = json.loads(json.dumps(idle().snapshot()).replace('"west-2"', '"west-3"'))
    with pytest.raises(EngineError, match="cannot be understood"):
        Engine(layout(FILE.replace("RULES", "north-america"))).restore(data)


def test_at_the_end_the_road_is_closed() -> None:
    """The last frames have red lights, as they have signals at their most restrictive aspect; and gates are down.

    A gate that is out of order lies horizontally: Minn. R. 8830.1550.
    """
    engine = idle()
    commands = engine.closing(61 * SECOND)
    last = frames(commands)
    assert [(61 * SECOND, "down")] == told(commands)
    assert [bytes([FULL, OFF, OFF, FULL, FULL, OFF]), bytes([FULL, OFF, OFF, OFF, OFF, OFF])] == [
        frame.levels for frame in last
    ]
