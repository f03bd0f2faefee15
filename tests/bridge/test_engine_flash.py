"""Flashing aspects from an order to the frames: in phase, kept over a change of aspect, and woken for when due."""

from __future__ import annotations

import json
from itertools import pairwise
from typing import Any, Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.chain.timing import frame_instant
from bridge.engine import Engine
from bridge.events import MILLISECOND, SECOND, Position
from tests.support.driving import NORMAL, REVERSE, frames, layout, order

FILE: Final = """
layout: Flashes
frames-per-second: FPS
sources: {panel: {kind: mqtt, repeat-window: 2 s}}
builds:
  mast: {chips: [ws2812b, ws2811], lamps: {eye: {full-colour: 1}, second-yellow: {chip: 2, channel: 1}}}
nodes:
  bench: {chains: [{name: one, fixtures: [{name: S1, build: mast}, {name: S2, build: mast}]}]}
aspects:
  all:
    stop: red
    approach: flashing yellow
    advance: [flashing eye, flashing second-yellow]
    other: flashing second-yellow
    cab: [red, flashing second-yellow]
    turns: [flashing red, alternating second-yellow]
    limited: flashing green
    clear: green
signals:
  S1:
    aspects: all
    matched: false
    CHANGE
    commands:
      1: {normal: stop, reverse: limited}
      2: {normal: advance, reverse: other}
      3: {normal: approach, reverse: clear}
      4: {normal: turns, reverse: cab}
  S2: {aspects: all, matched: false, commands: {11: {normal: stop, reverse: limited}}}
"""

STOP: Final = bytes([0, 255, 0, 0, 0, 0])
DARK: Final = bytes(6)
# Bytes G, R, B of a WS2812B: green is G 1, B 0.2145 x 255 = 54.7; white R 1, G 0.9989 x 255, B 0.4924 x 255 = 125.6.
CLEAR: Final = bytes([255, 0, 55, 0, 0, 0])
WHITE_AND_YELLOW: Final = bytes([255, 255, 126, 255, 0, 0])
SECOND_YELLOW: Final = bytes([0, 0, 0, 255, 0, 0])


def started(fps: int = 50, change: str = "") -> Engine:
    """Return an engine that has been started."""
    engine = Engine(layout(FILE.replace("FPS", str(fps)).replace("CHANGE", change)))
    engine.start()
    return engine


def flashing(at: int = 0, **options: Any) -> Engine:
    """Return an engine whose first signal was ordered a flashing green at an instant."""
    engine = started(**options)
    engine.handle(order(1, REVERSE, at))
    return engine


def of_first(engine: Engine, at: int) -> bytes:
    """Render an instant and return the bytes of the first signal."""
    engine.advance(at)
    return engine.present_frames()[0][:6]


def run(engine: Engine, until: int) -> list[tuple[int, bytes]]:
    """Go from wake to wake; return the instants, and the bytes of the first signal at each."""
    seen = []
    while (wake := engine.next_wake()) is not None and wake <= until:
        seen.append((wake, of_first(engine, wake)))
    return seen


def test_flash_is_lit_at_once_and_wakes_for_its_edges_alone() -> None:
    """An ordered flash is lit with the event, and then asks for two frames a second, at its edges."""
    engine = started()
    [frame] = frames(engine.handle(order(1, REVERSE, 30 * MILLISECOND)))
    assert CLEAR == frame.levels[:6]
    edges = [(each * SECOND // 2 + 30 * MILLISECOND) for each in (1, 2, 3, 4)]
    on_the_grid = [frame_instant(edge, 50) for edge in edges]
    assert list(zip(on_the_grid, [DARK, CLEAR, DARK, CLEAR], strict=True)) == run(engine, 2100 * MILLISECOND)


def test_event_between_an_edge_and_its_frame_loses_nothing() -> None:
    """An event that shows nothing new, after an edge and before its frame, leaves that frame due."""
    engine = flashing(at=10 * MILLISECOND)  # its edge at 510 ms is due with the frame at 520 ms
    engine.handle(order(99, NORMAL, 515 * MILLISECOND))
    assert 520 * MILLISECOND == engine.next_wake()
    assert DARK == of_first(engine, 520 * MILLISECOND)


def test_late_frame_is_never_asked_for_in_the_past() -> None:
    """Where an event came after a frame that was never rendered, the next one on the grid is asked for."""
    engine = flashing()
    engine.handle(order(99, NORMAL, 905 * MILLISECOND))
    assert 920 * MILLISECOND == engine.next_wake()
    assert 920 * MILLISECOND == engine.wake_at(921 * MILLISECOND)


def test_two_signals_flash_each_by_its_own_aspect() -> None:
    """A flash is measured from the instant at which its aspect was shown, signal by signal."""
    engine = flashing()
    engine.handle(order(11, REVERSE, 300 * MILLISECOND))
    engine.advance(600 * MILLISECOND)
    assert DARK + CLEAR == engine.present_frames()[0]
    engine.advance(900 * MILLISECOND)
    assert DARK + DARK == engine.present_frames()[0]
    engine.advance(1100 * MILLISECOND)
    assert CLEAR + DARK == engine.present_frames()[0]


def test_lamps_of_one_signal_flash_in_phase() -> None:
    """All that flashes for one aspect is lit and dark together."""
    engine = started()
    engine.handle(order(2, NORMAL))
    assert {WHITE_AND_YELLOW, DARK} == {seen for _wake, seen in run(engine, 5 * SECOND)}


def test_alternating_lamps_are_never_lit_nor_dark_together() -> None:
    """What alternates comes on as what flashes goes dark, and goes dark as that comes on: 49 CFR 234.217(c)."""
    engine = started()
    engine.handle(order(4, NORMAL, 7 * MILLISECOND))
    seen = run(engine, 5 * SECOND)
    assert {STOP, SECOND_YELLOW} == {levels for _wake, levels in seen}
    assert all(before[1] != after[1] for before, after in pairwise(seen))


def test_lens_that_goes_on_flashing_keeps_its_beat() -> None:
    """From one flashing aspect to another a lens goes on without a jump, in another colour, and others fall in."""
    engine = flashing()
    engine.handle(order(2, NORMAL, 700 * MILLISECOND))
    assert DARK == engine.present_frames()[0][:6]
    assert WHITE_AND_YELLOW == of_first(engine, SECOND)
    engine.handle(order(2, REVERSE, 1200 * MILLISECOND))
    assert SECOND_YELLOW == engine.present_frames()[0][:6]
    assert DARK == of_first(engine, 1500 * MILLISECOND)


def test_lens_that_begins_to_flash_is_lit_first() -> None:
    """Where no lens goes on flashing, the beat begins with the new aspect."""
    engine = flashing()
    engine.handle(order(2, REVERSE, 700 * MILLISECOND))
    assert SECOND_YELLOW == engine.present_frames()[0][:6]
    assert DARK == of_first(engine, 1200 * MILLISECOND)


def test_steady_lamp_beside_a_flash_stays_lit() -> None:
    """An aspect may have steady lamps beside those that flash."""
    engine = started()
    engine.handle(order(4, REVERSE))
    both = bytes([0, 255, 0, 255, 0, 0])
    assert [STOP, both, STOP] == [of_first(engine, at * SECOND // 2) for at in (1, 2, 3)]


def test_steady_aspect_ends_the_flash() -> None:
    """After a steady aspect nothing wakes any more."""
    engine = flashing()
    engine.handle(order(1, NORMAL, 700 * MILLISECOND))
    assert engine.next_wake() is None
    assert STOP == engine.present_frames()[0][:6]


def test_flash_is_cut_where_the_signal_fades() -> None:
    """With `change: fade` a flash has hard edges, and begins when what goes out is dark, half of the time later."""
    engine = flashing(change="change: fade 100 ms")
    assert STOP == engine.present_frames()[0][:6]
    fading = of_first(engine, 40 * MILLISECOND)
    assert (True, False) == (0 < fading[1] < 255, any((*fading[:1], *fading[2:])))  # red alone
    assert CLEAR == of_first(engine, 60 * MILLISECOND)
    edges = [560, 1060, 1560]  # 550, 1050 and 1550 ms, each in the next frame
    assert [(at * MILLISECOND, seen) for at, seen in zip(edges, [DARK, CLEAR, DARK], strict=True)] == run(
        engine, 1600 * MILLISECOND
    )


def test_steady_aspect_comes_on_by_its_fade_after_a_flash() -> None:
    """A steady aspect after a flash fades in from where the flash stands."""
    engine = flashing(change="change: fade 100 ms")
    assert DARK == of_first(engine, 600 * MILLISECOND)
    engine.handle(order(3, REVERSE, 700 * MILLISECOND))
    assert DARK == engine.present_frames()[0][:6]
    levels = [seen[0] for _wake, seen in run(engine, SECOND)]
    assert sorted(levels) == levels
    assert (255, CLEAR) == (levels[-1], engine.present_frames()[0][:6])
    assert engine.next_wake() is None


@given(st.lists(st.integers(0, 4000), max_size=20), st.integers(0, 5000), st.sampled_from([1, 7, 50, 100]))
def test_frames_left_out_change_nothing_later(looks: list[int], last: int, fps: int) -> None:
    """However often it is rendered in between, an instant shows the same."""
    watched, left_alone = flashing(fps=fps), flashing(fps=fps)
    for look in sorted(each for each in looks if each <= last):
        watched.advance(look * MILLISECOND)
    assert of_first(left_alone, last * MILLISECOND) == of_first(watched, last * MILLISECOND)


orders = st.tuples(
    st.integers(0, 900), st.sampled_from([1, 2, 3, 4, 11, 99]), st.sampled_from([NORMAL, REVERSE])
)


@given(st.lists(orders, max_size=12), st.sampled_from(["", "change: fade 130 ms"]))
def test_woken_when_due_shows_what_every_frame_shows(
    events: list[tuple[int, int, Position]], change: str
) -> None:
    """An engine that is woken when it asks shows at each frame of the grid what one shows that renders them all."""
    woken, always = started(change=change), started(change=change)
    now, grid = 0, SECOND // 50
    for later, number, position in [*events, (1300, 99, NORMAL)]:
        until = now + later * MILLISECOND
        for frame in range(
            -(-now // grid) * grid, until + 1, grid
        ):  # a frame that is due comes before an event
            always.advance(max(frame, always.now))
            if (wake := woken.next_wake()) is not None and wake <= frame:
                assert wake == frame
                woken.advance(wake)
            assert always.present_frames() == woken.present_frames()
        for engine in (woken, always):
            engine.handle(order(number, position, until))
        now = until


@given(st.integers(0, 3000), st.integers(0, 3000))
def test_snapshot_resumes_a_flash(kept: int, later: int) -> None:
    """An engine that takes back a snapshot wakes and shows the same from there on."""
    first = flashing()
    first.advance(kept * MILLISECOND)
    second = started()
    second.restore(json.loads(json.dumps(first.snapshot())))
    assert first.present_frames() == second.present_frames()
    until = (kept + later) * MILLISECOND
    assert run(first, until) == run(second, until)


def test_most_restrictive_aspect_may_flash() -> None:
    """A signal whose first aspect flashes does so from the start, and stands lit when all is closed."""
    text = FILE.replace("FPS", "50").replace("CHANGE", "").replace("stop: red", "stop: flashing red")
    engine = Engine(layout(text))
    [frame, *_reports] = engine.start()
    assert STOP + STOP == frames([frame])[0].levels
    assert DARK == of_first(engine, SECOND // 2)
    last = frames(engine.closing(SECOND * 3 // 4))
    assert [STOP + STOP] == [each.levels for each in last]
    assert engine.next_wake() is None


@pytest.mark.parametrize(
    ("flash", "lit", "period"),
    [
        ("{rate: 50}", 600, 1200),
        ("{rate: 40, lit: 40%}", 600, 1500),
        ("{lit: 30%}", 300, 1000),
        ("{rate: 75, lit: 70 %}", 560, 800),
    ],
)
def test_set_says_how_its_signals_flash(flash: str, lit: int, period: int) -> None:
    """`flash` of a set, or of a signal, says how often a minute, and for how much of each time a lamp is lit."""
    of_set = FILE.replace("    stop: red", f"    flash: {flash}\n    stop: red").replace("CHANGE", "")
    of_signal = FILE.replace("CHANGE", f"flash: {flash}")
    for text in (of_set, of_signal):
        engine = Engine(layout(text.replace("FPS", "100")))
        engine.start()
        engine.handle(order(1, REVERSE))
        edges = [lit, period, period + lit]
        assert [each * MILLISECOND for each in edges] == [
            wake for wake, _seen in run(engine, (period + lit) * MILLISECOND)
        ]


def test_signal_overrules_its_set() -> None:
    """What a signal says of its flashing goes before what its set says."""
    text = FILE.replace("    stop: red", "    flash: {rate: 70}\n    stop: red", 1)
    read = layout(text.replace("CHANGE", "flash: {rate: 50}").replace("FPS", "50"))
    assert [50, 70] == [signal.flash.rate for signal in read.signals]
