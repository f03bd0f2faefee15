"""Lights by conditions, zones and the model clock behind the engine's one door: whoever calls it, and whenever."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Final

from hypothesis import given
from hypothesis import strategies as st

from bridge.commands import Command, Decision, Told
from bridge.engine import Engine
from bridge.events import (
    SECOND,
    AccessoryOrdered,
    AspectOrdered,
    Authority,
    BlockReported,
    BlockState,
    ButtonReported,
    ButtonState,
    ClockReported,
    Event,
    LinkState,
    NodeReported,
    Position,
    SourceReported,
)
from bridge.record.replay import replay
from tests.bridge.record.sessions import Session
from tests.support.driving import REVERSE, layout, lost, order
from tests.support.lit import block, clock, press, street

TEXT: Final = street(
    "{any: [{clock: dusk to 23:30, spread: 30 min}, {button: bell, runs: 20 s}]}, zone: town",
    "{all: [{not: {light: H1}}, {any: [{accessory: 70}, {accessory: 71, aspect-number: [1, 3]}]}]}, change: fade 2 s",
    "{any: [{signal: T2, shows: [approach, clear]}, {block: yard, entered: 9 s}, {button: gong}]}, at-start: restored",
    more="""\
zones:
  town: {change: 3 s, rows: [{when: {clock: 22:00 to dawn}, level: 30%}, {when: {light: H2}, level: 60%}]}
still: {when: {button: calm, toggles: true}}
""",
)
LAYOUT: Final = layout(TEXT)

SOURCES: Final = st.sampled_from(["panel", "tower"])
AUTHORITIES: Final = st.sampled_from([Authority.COMMAND, Authority.STATE, Authority.RESTORED])
HAPPENINGS: Final[st.SearchStrategy[Event]] = st.one_of(
    st.builds(
        AccessoryOrdered,
        at=st.just(0),
        source=SOURCES,
        number=st.sampled_from([61, 62, 70]),
        position=st.sampled_from([Position.NORMAL, Position.REVERSE]),
        authority=AUTHORITIES,
    ),
    st.builds(
        AspectOrdered,
        at=st.just(0),
        source=SOURCES,
        number=st.just(71),
        aspect=st.integers(0, 3),
        authority=AUTHORITIES,
    ),
    st.builds(
        ButtonReported,
        at=st.just(0),
        source=SOURCES,
        name=st.sampled_from(["bell", "gong", "calm"]),
        state=st.sampled_from(ButtonState),
        authority=AUTHORITIES,
    ),
    st.builds(
        BlockReported, at=st.just(0), source=SOURCES, name=st.just("yard"), state=st.sampled_from(BlockState)
    ),
    st.builds(
        ClockReported,
        at=st.just(0),
        source=SOURCES,
        seconds=st.sampled_from([0, 21_000, 22_199, 70_000, 79_100, 84_500, 86_399]),
        rate_quarters=st.sampled_from([1, 4, 10, 240, 2047]),
        running=st.booleans(),
        authority=AUTHORITIES,
    ),
    st.builds(SourceReported, at=st.just(0), source=SOURCES, state=st.sampled_from(LinkState)),
    st.builds(
        NodeReported,
        at=st.just(0),
        source=st.just("nodes"),
        node=st.just("east"),
        state=st.sampled_from(LinkState),
    ),
)
SCRIPTS: Final = st.lists(st.tuples(st.integers(0, 40 * SECOND), HAPPENINGS), max_size=14)
Script = list[tuple[int, Event]]


def stamped(script: Script) -> list[Event]:
    """Turn waiting times into instants."""
    at, events = 0, []
    for later, event in script:
        at += later
        events.append(replace(event, at=at))
    return events


def started() -> Engine:
    """Return an engine that has been started."""
    engine = Engine(LAYOUT)
    engine.start()
    return engine


def said(commands: list[Command]) -> list[Command]:
    """Return what was decided and told, without the frames."""
    return [command for command in commands if isinstance(command, Decision | Told)]


@given(SCRIPTS, st.lists(st.integers(0, 600 * SECOND), max_size=30))
def test_the_same_is_decided_at_the_same_instants_however_often_the_engine_is_called(
    script: Script, calls: list[int]
) -> None:
    """Called at every wake it names, at chance instants or at none, it says the same of lights and zones."""
    events = stamped(script)
    end = (events[-1].at if events else 0) + 300 * SECOND
    seldom, often, eager = started(), started(), started()
    told: dict[str, list[Command]] = {"seldom": [], "often": [], "eager": []}
    instants = sorted(at for at in calls if at <= end)
    for event in events:
        told["seldom"] += seldom.handle(event)
        while instants and instants[0] <= event.at:
            told["often"] += often.advance(instants.pop(0))
        told["often"] += often.handle(event)
        while (wake := eager.next_wake()) is not None and wake <= event.at:
            told["eager"] += eager.advance(wake)
        told["eager"] += eager.handle(event)
    for name, engine in (("seldom", seldom), ("often", often), ("eager", eager)):
        told[name] += engine.advance(end)
    assert said(told["seldom"]) == said(told["often"]) == said(told["eager"])
    assert seldom.choices() == often.choices() == eager.choices()


@given(SCRIPTS, st.integers(0, 14))
def test_an_engine_that_is_cut_and_resumed_goes_on_the_same(script: Script, cut: int) -> None:
    """Through JSON and in the midst of anything: what is said afterwards is the same, and so is the next wake."""
    events = stamped(script)
    whole = started()
    for event in events[:cut]:
        whole.handle(event)
    resumed = Engine(LAYOUT)
    resumed.restore(json.loads(json.dumps(whole.snapshot())))
    assert whole.next_wake() == resumed.next_wake()
    for event in events[cut:]:
        assert whole.handle(event) == resumed.handle(event)
    end = (events[-1].at if events else 0) + 300 * SECOND
    assert said(whole.advance(end)) == said(resumed.advance(end))
    assert whole.snapshot()["board"] == resumed.snapshot()["board"]


def test_a_session_by_the_clock_replays_to_the_byte(tmp_path: Path) -> None:
    """What the clock, toggles, runs and zones did comes out of the log as it went in."""
    path = tmp_path / "session.log"
    session = Session(path, TEXT)
    for at, event in (
        (1, clock("19:20", rate=240)),
        (5, press("bell")),
        (6, press("bell", state=ButtonState.RELEASED)),
        (7, press("calm")),
        (9, block(BlockState.CLEAR)),
        (10, block(BlockState.OCCUPIED)),
        (12, order(70, REVERSE)),
        (40, clock("21:59", rate=10)),
        (70, lost()),
        (75, clock("12:00", running=False)),
        (76, order(70, REVERSE)),
    ):
        session.run_until(at * SECOND)
        session.message(at * SECOND, event)
    session.run_until(100 * SECOND)
    session.end(100 * SECOND)
    decided = {(each.device, each.aspect) for each in session.commands if isinstance(each, Decision)}
    assert {("H1", "on"), ("H1", "off"), ("H2", "on"), ("H3", "on"), ("H3", "off")} <= decided
    zones = {each.state for each in session.commands if isinstance(each, Told) and each.subject == "zone"}
    assert {"30%", "60%", "100%"} <= zones
    result = replay(path)
    assert result.same, result.difference
    assert [] == list(result.notes)
