"""What zones and the switch against flashing do to the frames."""

from __future__ import annotations

import json
from typing import Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.engine import Engine
from bridge.events import MILLISECOND, SECOND, Position
from bridge.light.lightness import linear_table, step_of_linear
from tests.support.driving import NORMAL, REVERSE, frames, layout, order

FILE: Final = """
layout: Masters
frames-per-second: 50
builds:
  pixel: {chips: [ws2812b], lamps: {eye: {full-colour: 1}}}
  two: {chips: [ws2811], lamps: {red: {channel: 1}, white: {channel: 2, dimmable: false}, blue: {channel: 3}}}
nodes:
  bench:
    chains:
      - name: one
        fixtures: [{name: S, build: pixel}, {name: house, build: two}]
      - {name: two, fixtures: [{name: mast, build: two}]}
aspects:
  all: {stop: red, slow: flashing yellow, approach: yellow, limited: flashing green, clear: blue}
zones:
  town: {change: 2 s, rows: [{when: {accessory: 50}, level: 20%}, {when: {accessory: 51}, level: 0%}]}
still: {when: {accessory: 60}}
signals:
  S: {aspects: all, commands: {1: {normal: stop, reverse: limited}, 2: {normal: approach, reverse: slow}}}
lights:
  house: {zone: town, shows: 'on', when: always}
  mast: {lamps: [red, blue], effect: {kind: flash, rate: 30}, when: {accessory: 9}}
"""


def started(still: bool = False) -> Engine:
    """Return an engine that was told whether flashing is stilled, and that no row of the zone holds."""
    engine = Engine(layout(FILE))
    engine.start()
    for number in (50, 51):
        engine.handle(order(number, NORMAL, 0))
    engine.handle(order(60, REVERSE if still else NORMAL, 0))
    return engine


def bytes_of(engine: Engine, chain: int, first: int) -> tuple[int, ...]:
    """Return three bytes of a chain's frame."""
    return tuple(engine.present_frames()[chain][first : first + 3])


def seen_until(engine: Engine, until: int) -> set[tuple[int, ...]]:
    """Go from wake to wake, and return all that the mast shows."""
    seen = set()
    while (wake := engine.next_wake()) is not None and wake <= until:
        engine.advance(wake)
        seen.add(bytes_of(engine, 1, 0))
    return seen


def test_a_zone_goes_to_its_level_in_even_steps_of_lightness() -> None:
    """Half way from all of its light to a fifth of it, it is half way in lightness (ISO/CIE 11664-4)."""
    engine = started()
    assert (255, 255, 255) == bytes_of(engine, 0, 3)
    engine.handle(order(50, REVERSE, SECOND))
    engine.advance(2 * SECOND)
    step = (step_of_linear(65_535) + step_of_linear(65_535 // 5)) // 2
    half = linear_table()[step] * 255 / 65_535
    red, white, blue = bytes_of(engine, 0, 3)
    assert abs(half - red) <= 1
    assert (red, 255) == (blue, white)  # what may not be lit in part is left alone
    engine.advance(4 * SECOND)
    assert (51, 255, 51) == bytes_of(engine, 0, 3)
    assert engine.next_wake() is None


def test_a_zone_at_nothing_is_dark() -> None:
    """At 0 % all lamps of a zone are dark, those too that may only be switched; nothing else is touched."""
    engine = started()
    before = engine.present_frames()[0][:3]
    engine.handle(order(51, REVERSE, SECOND))
    engine.advance(4 * SECOND)
    assert before + bytes(3) == engine.present_frames()[0]


def test_flashing_is_stilled_and_goes_on() -> None:
    """While it is stilled nothing moves; what flashed is lit, and afterwards it flashes again."""
    engine = started()
    engine.handle(order(9, REVERSE, 0))
    assert {(0, 0, 0), (255, 0, 255)} == seen_until(engine, 3 * SECOND)
    engine.handle(order(60, REVERSE, 3 * SECOND))
    assert (255, 0, 255) == bytes_of(engine, 1, 0)
    assert engine.next_wake() is None
    engine.handle(order(60, NORMAL, 5 * SECOND))
    assert {(0, 0, 0), (255, 0, 255)} == seen_until(engine, 8 * SECOND)


def test_what_begins_while_it_is_stilled_does_not_flash() -> None:
    """A light that is switched on then is lit, and needs no frames."""
    engine = started(still=True)
    engine.handle(order(9, REVERSE, SECOND))
    assert (255, 0, 255) == bytes_of(engine, 1, 0)
    assert engine.next_wake() is None


@pytest.mark.parametrize(("flashing", "shown"), [(2, (0, 255, 0)), (1, (255, 0, 51))])
def test_a_stilled_signal_never_shows_something_better(flashing: int, shown: tuple[int, ...]) -> None:
    """A flashing yellow below a steady one becomes the stop below it; a flashing green like nothing else is green."""
    engine = started(still=True)
    engine.handle(order(flashing, REVERSE, SECOND))
    green, red, _blue = bytes_of(engine, 0, 0)
    assert (shown[0] > 0, shown[1] > 0) == (green > 0, red > 0)
    assert engine.next_wake() is None


events = st.lists(
    st.tuples(
        st.integers(0, 900), st.sampled_from([1, 2, 9, 50, 51, 60]), st.sampled_from([NORMAL, REVERSE])
    ),
    max_size=12,
)


@given(events, st.lists(st.integers(0, 10_000), max_size=20), st.integers(0, 12))
@settings(max_examples=50)
def test_frames_in_between_and_a_cut_change_nothing_later(
    told: list[tuple[int, int, Position]], looks: list[int], cut: int
) -> None:
    """However often it is rendered, and wherever it is resumed from a snapshot, later frames are the same."""
    often, seldom = started(), started()
    at, pending = 0, sorted(looks)
    for place, (later, number, position) in enumerate(told):
        at += later
        while pending and pending[0] <= at:
            often.advance(pending.pop(0) * MILLISECOND)
        if place == cut:
            resumed = Engine(layout(FILE))
            resumed.restore(json.loads(json.dumps(seldom.snapshot())))
            seldom = resumed
        for engine in (often, seldom):
            frames(engine.handle(order(number, position, at * MILLISECOND)))
    for later in range(20, 3000, 180):
        for engine in (often, seldom):
            engine.advance((at + later) * MILLISECOND)
        assert often.present_frames() == seldom.present_frames()
