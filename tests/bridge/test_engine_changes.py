"""Ways to change, from an order to the frames: never two pictures at once, never a jump, and every frame of its own."""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.engine import Engine
from bridge.events import MILLISECOND, SECOND
from tests.support.driving import NORMAL, REVERSE, layout, order

FILE: Final = """
layout: Changes
frames-per-second: 50
builds:
  searchlight: {chips: [ws2812b], lamps: {eye: {full-colour: 1}}}
  three-lamp: {chips: [ws2811], lamps: {green: {channel: 1}, yellow: {channel: 2}, red: {channel: 3}}}
nodes:
  bench: {chains: [{name: one, fixtures: [{name: S, build: BUILD}, {name: lamp, build: searchlight}]}]}
aspects:
  all: {stop: red, approach: yellow, limited: flashing green, clear: green}
signals:
  S:
    aspects: all
    change: CHANGE
    commands: {1: {normal: stop, reverse: clear}, 2: {normal: approach, reverse: limited}}
"""
LIGHT: Final = """
lights:
  lamp: {when: {accessory: 9}, shows: white, change: CHANGE}
"""

FADE, FILAMENT, DARK, RED = "fade 400 ms", "filament 250 ms", "through dark 200 ms", "through red 200 ms"
SMOOTH: Final = (FADE, FILAMENT)
ALL: Final = (FADE, FILAMENT, DARK, RED)

ORDERS: Final = {"stop": (1, NORMAL), "clear": (1, REVERSE), "approach": (2, NORMAL), "limited": (2, REVERSE)}
orders = st.lists(st.tuples(st.integers(0, 700), st.sampled_from(sorted(ORDERS))), min_size=1, max_size=8)


def started(change: str, build: str = "searchlight", light: str = "") -> Engine:
    """Return an engine that has been started."""
    text = FILE.replace("BUILD", build) + light
    engine = Engine(layout(text.replace("CHANGE", change)))
    engine.start()
    return engine


def tell(engine: Engine, aspect: str, at: int) -> None:
    """Order an aspect at an instant."""
    number, position = ORDERS[aspect]
    engine.handle(order(number, position, at))


def watched(engine: Engine, until: int, step: int = 20 * MILLISECOND) -> list[tuple[int, ...]]:
    """Go on frame by frame and return the bytes of the first chip at each."""
    seen = []
    for at in range(engine.now - engine.now % step + step, until + 1, step):
        engine.advance(at)
        seen.append(tuple(engine.present_frames()[0][:3]))
    return seen


@pytest.mark.parametrize("change", ALL)
@pytest.mark.parametrize(
    ("before", "after"), [("stop", "clear"), ("clear", "approach"), ("approach", "stop")]
)
def test_separate_lamps_are_never_lit_together(change: str, before: str, after: str) -> None:
    """Of a three-lamp signal one lamp goes out before the next comes on, whatever the way to change."""
    engine = started(change, "three-lamp")
    tell(engine, before, 0)
    engine.advance(2 * SECOND)
    tell(engine, after, 2 * SECOND)
    for levels in watched(engine, 4 * SECOND):
        assert sum(level > 0 for level in levels) <= 1


@pytest.mark.parametrize("change", [FADE, FILAMENT, DARK])
def test_a_searchlight_changes_its_colour_through_dark(change: str) -> None:
    """Green, then nothing, then yellow: there is a dark frame, and none has a colour of neither."""
    engine = started(change)
    tell(engine, "clear", 0)
    engine.advance(2 * SECOND)
    tell(engine, "approach", 2 * SECOND)
    seen = watched(engine, 4 * SECOND)
    dark = seen.index((0, 0, 0))
    assert all(red == 0 for _green, red, _blue in seen[:dark])
    assert all(blue == 0 for _green, _red, blue in seen[dark:])
    assert (True, True, False) == tuple(level > 0 for level in seen[-1])


def test_a_searchlight_changes_through_red() -> None:
    """Between green and yellow it is red for as long as was said, and then yellow."""
    engine = started(RED)
    tell(engine, "clear", 0)
    engine.advance(2 * SECOND)
    tell(engine, "approach", 2 * SECOND)
    assert (0, 255, 0) == tuple(engine.present_frames()[0][:3])
    seen = watched(engine, 3 * SECOND)
    assert {(0, 255, 0)} == {*seen[:9]}
    assert 1 == len({*seen[9:]}) and seen[9][0] > 0  # noqa: PT018 -- one thing: it stays what it then is


def test_a_filament_comes_late_and_goes_at_once() -> None:
    """A lamp with a filament shows nothing at first, then rises; told to go out, it is soon dim, then slowly dark."""
    engine = started(FILAMENT, light=LIGHT)
    engine.handle(order(9, REVERSE, 0))
    rising: list[int] = []
    for at in range(20, 621, 20):
        engine.advance(at * MILLISECOND)
        rising.append(engine.present_frames()[0][4])
    assert max(rising[:2]) <= 1
    assert 225 <= rising[12] <= 240  # nine tenths after 250 ms
    assert 255 == rising[-1]
    engine.handle(order(9, NORMAL, SECOND))
    falling: list[int] = []
    for at in range(1020, 1621, 20):
        engine.advance(at * MILLISECOND)
        falling.append(engine.present_frames()[0][4])
    assert falling[1] < 128
    assert sorted(falling, reverse=True) == falling
    assert 0 == falling[-1]
    assert engine.next_wake() is None


@given(
    st.sampled_from(ALL),
    st.sampled_from(["searchlight", "three-lamp"]),
    orders,
    st.lists(st.integers(1, 6000)),
)
@settings(max_examples=60)
def test_frames_in_between_change_nothing_later(
    change: str, build: str, told: list[tuple[int, str]], looks: list[int]
) -> None:
    """However often it is rendered on its way, every later frame is the same."""
    often, seldom = started(change, build), started(change, build)
    at, pending = 0, sorted(looks)
    for later, aspect in told:
        at += later
        while pending and pending[0] <= at:
            often.advance(pending.pop(0) * MILLISECOND)
        for engine in (often, seldom):
            tell(engine, aspect, at * MILLISECOND)
    end = (at + 1500) * MILLISECOND
    assert watched(often, end) == watched(seldom, end)


def biggest_step(change: str) -> int:
    """Return the greatest step from one frame to the next while nothing is interrupted, over all pairs of aspects."""
    steps = [0]
    for before in ORDERS:
        for after in ORDERS:
            if "limited" in (before, after):
                continue
            engine = started(change)
            tell(engine, before, 0)
            engine.advance(2 * SECOND)
            tell(engine, after, 2 * SECOND)
            seen = [tuple(engine.present_frames()[0][:3]), *watched(engine, 4 * SECOND)]
            steps += [abs(b - a) for one, two in pairwise(seen) for a, b in zip(one, two, strict=True)]
    return max(steps)


@pytest.mark.parametrize("change", SMOOTH)
def test_interrupting_anywhere_leaves_no_jump(change: str) -> None:
    """Whatever is told at whatever frame of a change, no frame differs more from the last than otherwise."""
    most = biggest_step(change)

    @given(
        st.lists(st.tuples(st.integers(0, 60), st.sampled_from(["stop", "clear", "approach"])), max_size=8)
    )
    @settings(max_examples=100)
    def interrupted(told: list[tuple[int, str]]) -> None:
        engine = started(change)
        seen = [tuple(engine.present_frames()[0][:3])]
        frame = 0
        for later, aspect in told:
            for _ in range(later):
                frame += 1
                engine.advance(frame * 20 * MILLISECOND)
                seen.append(tuple(engine.present_frames()[0][:3]))
            tell(engine, aspect, frame * 20 * MILLISECOND)
            seen.append(tuple(engine.present_frames()[0][:3]))
        seen += watched(engine, (frame + 80) * 20 * MILLISECOND)
        assert all(
            abs(b - a) <= most + 1 for one, two in pairwise(seen) for a, b in zip(one, two, strict=True)
        )

    interrupted()


def test_a_slow_fade_from_dark_has_no_step_larger_than_one_byte() -> None:
    """From 0 to 10 % in 2 s at 50 frames a second the light rises byte by byte, and never falls."""
    engine = started("fade 2 s", light=LIGHT.replace("white", "white 10%"))
    engine.handle(order(9, REVERSE, 0))
    frames = []
    for at in range(20, 2101, 20):
        engine.advance(at * MILLISECOND)
        frames.append(tuple(engine.present_frames()[0][3:6]))
    steps = [b - a for one, two in pairwise([(0, 0, 0), *frames]) for a, b in zip(one, two, strict=True)]
    assert {0, 1} == set(steps)
    assert 26 == max(frames[-1])
    assert engine.next_wake() is None


DIMMED: Final = """
zones: {room: {change: 2 s, rows: [{when: {accessory: 50}, level: 20%}]}}
lights:
  lamp: {when: {accessory: 9}, shows: white, change: CHANGE, zone: room}
"""


@pytest.mark.parametrize("change", SMOOTH)
@given(told=st.lists(st.tuples(st.integers(0, 60), st.sampled_from([9, 50]), st.booleans()), max_size=10))
@settings(max_examples=60)
def test_a_light_and_its_dimmer_may_be_turned_back_anywhere(
    change: str, told: list[tuple[int, int, bool]]
) -> None:
    """Switched and dimmed at whatever frames, a lamp never jumps further than when it goes on or off undisturbed."""
    quick = 255 - 140 if change == FILAMENT else 60  # the first frame of cooling is the longest step there is
    engine = started(change, light=DIMMED)
    engine.handle(order(50, NORMAL, 0))
    frame, seen = 0, [tuple(engine.present_frames()[0][3:6])]
    for later, number, on in told:
        for _ in range(later):
            frame += 1
            engine.advance(frame * 20 * MILLISECOND)
            seen.append(tuple(engine.present_frames()[0][3:6]))
        engine.handle(order(number, REVERSE if on else NORMAL, frame * 20 * MILLISECOND))
        seen.append(tuple(engine.present_frames()[0][3:6]))
    for _ in range(160):
        frame += 1
        engine.advance(frame * 20 * MILLISECOND)
        seen.append(tuple(engine.present_frames()[0][3:6]))
    assert all(abs(b - a) <= quick + 1 for one, two in pairwise(seen) for a, b in zip(one, two, strict=True))
    assert engine.next_wake() is None
