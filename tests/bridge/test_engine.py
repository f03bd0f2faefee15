from __future__ import annotations

from collections.abc import Callable
from typing import Final
from unittest.mock import patch

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.chain.frames import Frames
from bridge.chain.timing import frame_instant, newest_frame_instant
from bridge.commands import Cause, Decision, Note, PublishFrame, Report
from bridge.engine import Engine
from bridge.errors import EngineError, LayoutError
from bridge.events import SECOND, AccessoryReleased, ButtonState, Event, PowerState
from bridge.layout.read import FRAMES_PER_SECOND
from bridge.logic.blocks import Block
from bridge.logic.reasons import STOPPED
from tests.support.driving import (
    DEVICES,
    FERNHOLLOW,
    NORMAL,
    REVERSE,
    SIGNALS,
    WINDOW,
    aspects,
    button,
    copy,
    decisions,
    frames,
    heard,
    layout,
    lost,
    order,
    started,
)
from tests.support.tracks import CLEAR, all_clear, block, driven, power, run_to, tell, written

# Worked out by hand from the layout: T2 is G,R,B, a WS2812B, whose green is levelled down from its 1314 mcd to the
# 625 mcd of its red: G 0.4755 x 255 = 121.3, B 0.2145 x 0.4755 x 255 = 26.0; T4 and Y3 are green, red, yellow; the
# masts' channels 1 and 3 (red, yellow) are inverted; a house is R,G,B,W.
T2_STOP, T2_CLEAR = bytes([0, 255, 0]), bytes([121, 0, 26])
THREE_STOP, THREE_CLEAR = bytes([0, 255, 0]), bytes([255, 0, 0])
MAST_STOP, MAST_DARK = bytes([0, 0, 255]), bytes([255, 0, 255])
CHAPEL_LIT = bytes(
    [*[0] * 8, 0, 0, 0, 255, *[0] * 4]
)  # the only house whose owner wants it on until it knows
AT_START: Final = {"T2": "stop", "T4": "stop", "Y1": "stop", "Y3": "stop", "chapel": "on"}
START: Final = [T2_STOP + THREE_STOP, MAST_STOP + MAST_DARK + THREE_STOP, CHAPEL_LIT]
LAST: Final = [*START[:2], bytes(16)]


def test_timers_that_set_each_other_off_for_ever_are_a_fault() -> None:
    """A timer of no length that is set whenever it runs out ends in EngineError with its name, not in a hang."""
    engine = driven(written({"S": "commands: {61: {reverse: clear}}"}, "blocks: {east: {}, west: {}}\n"))

    def again(self: Block) -> bool:
        self.due = 5 * SECOND
        return True

    tell(engine, block("west", CLEAR), block("east", CLEAR, 5 * SECOND - 1_500_000_000))
    with (
        patch.object(Block, "expire", again),
        pytest.raises(EngineError, match=r"again and again, .*: east$"),
    ):
        run_to(engine, 10 * SECOND)


def test_timers_that_run_out_together_are_no_fault() -> None:
    """However many timers are due at one instant, and however late the engine is called, all of them run out."""
    names = [f"b{number}" for number in range(50)]
    entries = ", ".join(f"{name}: {{district: main, clear-after: 0 s}}" for name in names)
    engine = driven(
        written(
            {"S": "commands: {61: {reverse: clear}}"},
            f"districts: {{main: {{settle: 0 s}}}}\nblocks: {{{entries}}}\n",
        )
    )
    tell(engine, *all_clear(names), power("main", PowerState.ON))
    engine.advance(0)
    assert engine.next_wake() is None


def test_start_gives_every_frame_then_every_report() -> None:
    """An engine that knows nothing shows signals at their most restrictive, lights as their owner says, and says so."""
    commands = Engine(layout()).start()

    expected = [PublishFrame(0, chain, levels, Cause.START) for chain, levels in enumerate(START)]
    assert expected == commands[:3]
    assert [(device, AT_START.get(device, "off"), "since the start") for device in DEVICES] == [
        (each.device, each.aspect, each.reason[-15:]) for each in commands[3:] if isinstance(each, Report)
    ]


def test_order_becomes_its_bytes_at_once() -> None:
    """An order gives first the frame with exactly the bytes of the aspect, then the decision and the report."""
    engine = started()

    commands = engine.handle(order(61, REVERSE, 7))

    assert [
        PublishFrame(7, 0, T2_CLEAR + THREE_STOP, Cause.EVENT),
        Decision(7, "T2", "stop", "clear", "accessory 61 was ordered reverse (by panel)", (1,)),
        Report(7, "T2", "clear", "accessory 61 was ordered reverse (by panel)"),
    ] == commands


def test_frames_come_first() -> None:
    """Of all that follows from an event, the frames come first: here one event changes two chains."""
    engine = started()
    for number, at in ((61, 0), (67, 1)):
        engine.handle(order(number, REVERSE, at))

    commands = engine.handle(lost(at=2))

    assert [0, 1] == [each.chain for each in frames(commands)]
    assert frames(commands) == commands[:2]
    assert ["T2", "Y3"] == [each.device for each in decisions(commands)]


def test_order_for_what_is_shown_gives_a_reason_and_no_frame() -> None:
    """An order that changes no light is told as the new reason, and nothing goes to the chain."""
    engine = started()
    engine.handle(order(61, REVERSE, 0))

    commands = engine.handle(order(61, REVERSE, 1, source="booster"))

    assert [] == frames(commands)
    assert [("clear", "clear", (2,))] == [
        (each.before, each.aspect, each.causes) for each in decisions(commands)
    ]
    assert "accessory 61 was ordered reverse (by booster)" == engine.choices()["T2"].reason


@pytest.mark.parametrize(
    "event",
    [
        order(62, REVERSE),  # orders nothing
        order(2048, REVERSE),
        copy(61, REVERSE),
        heard(),
        lost(),
        button("door", ButtonState.PRESSED),
        AccessoryReleased(at=0, source="panel", number=61),
    ],
)
def test_event_that_means_nothing_here_is_silent(event: Event) -> None:
    """An event that no device obeys gives no command, and changes no aspect."""
    engine = started()
    before = aspects(engine)

    assert [] == engine.handle(event)
    assert before == aspects(engine)


def test_rendering_that_changes_no_byte_sends_nothing() -> None:
    """A fade that has changed no byte yet sends no frame, at the order as well as at an instant after it."""
    engine = started()

    assert [] == frames(engine.handle(order(101, REVERSE, 0)))
    assert [] == engine.advance(1)
    assert engine.next_wake() is not None


def test_repeat_is_noted_and_does_nothing() -> None:
    """A repeat within the source's window is a note in words, and no command."""
    engine = started()
    engine.handle(order(61, REVERSE, 0, "booster"))
    engine.handle(order(62, NORMAL, 1, "booster"))

    commands = engine.handle(order(61, REVERSE, WINDOW, "booster"))

    assert [
        Note(WINDOW, "accessory 61 was ordered reverse again, within the repeat window of booster", 3)
    ] == commands
    assert "approach" == engine.choices()["T2"].aspect


def test_a_station_that_refreshes_every_order_never_changes_an_aspect_by_it() -> None:
    """The refreshed 61 does not undo 62, nor does the first round order anything."""
    text = FERNHOLLOW.replace("{kind: mqtt, repeat-window: 2 s}", "{kind: mqtt, refresh-every: 2 s}")
    engine = started(text)
    old = "accessory 61 was ordered reverse, which booster may only refresh: it counts as a kept copy"
    assert [Note(1, old, 1)] == engine.handle(order(61, REVERSE, 1, "booster"))
    assert "stop" == engine.choices()["T2"].aspect

    again = "accessory 61 was ordered reverse again, as booster refreshes its orders"
    for round_ in range(1, 30):
        at = round_ * 2 * SECOND
        assert [Note(at, again, engine.events + 1)] == engine.handle(order(61, REVERSE, at, "booster"))
        ordered = decisions(engine.handle(order(62, NORMAL, at + 1, "booster"))) if round_ > 3 else []
        assert (round_ == 4) == bool(ordered)
        assert ("approach" if round_ > 3 else "stop") == engine.choices()["T2"].aspect


def test_button_lights_a_light_for_as_long_as_it_is_held() -> None:
    """A held light comes on with the press and goes out with the release."""
    engine = started()

    engine.handle(button("shop", ButtonState.PRESSED, 0))
    lit = aspects(engine)["kiosk"]
    engine.handle(button("shop", ButtonState.RELEASED, SECOND))

    assert ("on", "off") == (lit, aspects(engine)["kiosk"])


@pytest.mark.parametrize(
    "step",
    [
        lambda engine: engine.handle(order(61, NORMAL, 99)),
        lambda engine: engine.handle(lost(at=0)),
        lambda engine: engine.advance(99),
    ],
)
def test_instant_in_the_past_is_refused_and_changes_nothing(step: Callable[[Engine], object]) -> None:
    """An event or a rendering before what came last raises EngineError and leaves the engine as it was."""
    engine = started()
    engine.handle(order(63, REVERSE, 0, "booster"))
    engine.handle(order(61, REVERSE, 100))
    before, shown = engine.snapshot(), engine.all_frames(Cause.START)

    with pytest.raises(EngineError):
        step(engine)

    assert before == engine.snapshot()
    assert shown == engine.all_frames(Cause.START)


def test_frame_of_another_chain_in_motion_is_not_blamed_on_the_event() -> None:
    """When an event is rendered, a chain that it did not touch moves on because of its own motion."""
    engine = started()
    engine.handle(order(101, REVERSE, 0))

    commands = engine.handle(order(61, REVERSE, SECOND // 3))

    assert [(0, Cause.EVENT), (2, Cause.MOTION)] == [(each.chain, each.cause) for each in frames(commands)]


def test_event_touches_only_chains_of_devices_that_listen() -> None:
    """A cut on one chain looks at that chain's frame alone."""
    engine = started()
    looked: list[int] = []
    frame = Frames.frame

    def watched(self: Frames, chain: int) -> bytes:
        looked.append(chain)
        return frame(self, chain)

    with patch.object(Frames, "frame", watched):
        engine.handle(order(67, REVERSE))

    assert [1] == looked


def test_closing_is_restrictive_and_dark() -> None:
    """The last frames show every signal at its most restrictive and every light dark, fades cut short."""
    engine = started()
    for number, position in ((61, REVERSE), (63, REVERSE), (65, REVERSE), (67, REVERSE), (101, REVERSE)):
        engine.handle(order(number, position, 0))
    engine.handle(order(102, NORMAL, 0))
    engine.advance(SECOND // 10)

    last = engine.closing(SECOND)

    assert [PublishFrame(SECOND, chain, levels, Cause.LAST) for chain, levels in enumerate(LAST)] == last[:3]
    assert [
        Report(SECOND, device, "stop" if device in SIGNALS else "off", STOPPED) for device in DEVICES
    ] == last[3:]
    assert engine.next_wake() is None


def test_closing_never_goes_back_in_time() -> None:
    """Last frames asked for at an older instant carry the instant of what came last."""
    engine = started()
    engine.handle(order(61, REVERSE, 50))

    assert {50} == {frame.at for frame in engine.closing(3)}


@pytest.mark.parametrize("rate", [1, 3, 7, 30, 50, 60, 97, 100])
def test_wakes_lie_on_the_grid(rate: int) -> None:
    """While something moves, each next wake is instant k / fps, rounded down, and each k comes once and in order."""
    engine = started(FERNHOLLOW.replace("frames-per-second: 30", f"frames-per-second: {rate}"))
    engine.handle(order(101, REVERSE, 0))
    expected = 1
    while (wake := engine.next_wake()) is not None:
        assert expected * SECOND // rate == wake
        engine.advance(wake)
        expected += 1
    assert expected - 1 == -(-7 * rate // 10)  # the fade takes 700 ms, and the frame after that is the last


@given(st.integers(0, 10**15), st.sampled_from(FRAMES_PER_SECOND))
def test_grid_is_the_first_frame_not_before(instant: int, rate: int) -> None:
    """The grid gives the least k / fps, rounded down to a nanosecond, that is not before an instant."""
    found = frame_instant(instant, rate)
    frame = -(-found * rate // SECOND)

    assert frame * SECOND // rate == found >= instant
    assert frame == 0 or (frame - 1) * SECOND // rate < instant
    assert instant == found or newest_frame_instant(instant, rate) < instant < found
    assert found == newest_frame_instant(found, rate)


@given(st.integers(0, 299_999_999))
def test_wake_comes_after_now(later: int) -> None:
    """The next wake lies strictly after the last event, also when that stands on the grid."""
    engine = started()
    engine.handle(order(63, REVERSE, 0))
    engine.advance(frame_instant(later, 30))
    on_grid = engine.now
    wake = engine.next_wake()

    assert wake is None or on_grid < wake <= on_grid + SECOND // 30 + 1


def test_still_layout_asks_for_no_wake() -> None:
    """Where nothing moves, no wake is asked for, and rendering all the same gives no frame."""
    engine = started()
    engine.handle(order(61, REVERSE, 0))

    assert engine.next_wake() is None
    assert [] == engine.advance(SECOND)


def test_fade_ends_on_its_aspect_and_then_rests() -> None:
    """A fading signal reaches exactly the bytes of its aspect, and then nothing is sent any more."""
    engine = started()
    engine.handle(order(63, REVERSE, 0))
    sent = []
    while (wake := engine.next_wake()) is not None:
        sent += frames(engine.advance(wake))

    assert T2_STOP + THREE_CLEAR == sent[-1].levels
    assert {Cause.MOTION} == {frame.cause for frame in sent}
    assert [] == engine.advance(SECOND)


def test_lamp_that_is_not_dimmable_changes_at_once() -> None:
    """In a fading signal, a lamp that may only be switched goes to full light when the other one has gone out."""
    engine = started()
    engine.handle(order(65, REVERSE, 0))
    chain = engine.layout.fixture("Y1").chain
    lamps = [engine.present_frames()[chain][:3]]
    while (wake := engine.next_wake()) is not None:
        engine.advance(wake)
        lamps.append(engine.present_frames()[chain][:3])

    # Red and yellow are inverted: they are dark at 255.
    assert (bytes([0, 0, 255]), bytes([255, 255, 255])) == (lamps[0], lamps[-1])
    assert {0, 255} == {green for _red, green, _yellow in lamps}
    assert not any(red < 255 and green for red, green, _yellow in lamps)


def test_layout_with_errors_is_refused() -> None:
    """A layout in which two signals claim one accessory for different things is not driven."""
    wrong = layout(FERNHOLLOW.replace("67: {normal", "61: {normal"))

    with pytest.raises(LayoutError, match="has errors"):
        Engine(wrong)
