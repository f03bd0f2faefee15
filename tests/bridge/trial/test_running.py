"""A lamp test on a small layout: what it shows, what it asks for, and how it ends."""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import pytest

from bridge.commands import Cause
from bridge.engine import Engine
from bridge.events import SECOND
from bridge.trial.pictures import BLINK
from tests.support.driving import REVERSE, frames, lost, order, started
from tests.support.lamp_testing import STREET, THROAT, YARD, ask, confirm, end, shown, told

OWN: Final = bytes([0, 255, 0, 0, 255, 0])
"""What the chain `throat` shows at the start: two signals at stop, one G, R, B and one green, red, yellow."""

MASTS: Final = bytes([255, 0, 255, 255, 0, 255])
"""Two masts of the chain `yard` in the dark: their channels 1 and 3 are inverted."""


def pictures(engine: Engine, chain: str, seconds: float) -> list[bytes]:
    """Run an engine for a while; return what a chain was given, each time it was another picture."""
    until, found = engine.now + int(seconds * SECOND), [shown(engine)[chain]]
    while (wake := engine.next_wake()) is not None and wake <= until:
        engine.advance(wake)
        if shown(engine)[chain] != found[-1]:
            found.append(shown(engine)[chain])
    return found


def lit(*offsets: int, of: int = 6) -> bytes:
    return bytes(255 if offset in offsets else 0 for offset in range(of))


@pytest.mark.parametrize(
    ("way", "area", "expected"),
    [
        ("chips", THROAT, [lit(0, 1, 2), lit(3, 4, 5)]),
        ("channels", THROAT, [lit(channel) for channel in range(6)]),
        ("together", THROAT, [lit(0, 3), lit(1, 4), lit(2, 5)]),
        ("channels", "T4", [OWN[:3] + bytes(lit(channel, of=3)) for channel in range(3)]),
        ("blink", "T4", [OWN[:3] + bytes([255] * 3), OWN[:3] + bytes(3)]),
        # A mast has no lamp on what it does not use, and its inverted channels are lit at 0.
        ("channels", "Y1", [bytes([0, 0, 255]), bytes([255, 255, 255]), bytes([255, 0, 0])]),
    ],
)
def test_each_way_lights_what_it_says_in_wiring_order(way: str, area: str, expected: list[bytes]) -> None:
    """Step by step, beginning at the confirmation; what is not tried of the chain shows what it should."""
    engine = started()
    engine.handle(ask(way, area, 0))
    chain = YARD if area == "Y1" else THROAT
    engine.handle(confirm(chain, 10))
    seen = pictures(engine, chain, len(expected) + 0.05)
    cut = 3 if area == "Y1" else 6
    assert expected == [levels[:cut] for levels in seen[: len(expected)]]
    assert expected[0] == seen[len(expected)][:cut] or way == "blink"


def test_nothing_is_lit_before_it_is_confirmed_and_two_minutes_are_the_limit() -> None:
    """The wish says which signals would show false aspects; unconfirmed it comes to nothing, and a late yes too."""
    engine = started()
    asked = engine.handle(ask("chips", THROAT))
    assert [] == frames(asked)
    ((state, reason),) = told(asked)
    assert "waiting" == state
    assert reason.startswith("T2, T4 will show false aspects on east/throat for up to 60 s: it begins when")
    over = engine.advance(121 * SECOND)
    assert ([], [("off", "nobody confirmed the lamp test within 120 s")]) == (frames(over), told(over))
    late = engine.handle(confirm(THROAT, 122 * SECOND))
    assert [("refused", "there is no lamp test, so east/throat with m1 means nothing any more")] == told(late)
    assert OWN == shown(engine)[THROAT]


def test_frames_are_marked_and_the_own_picture_returns_at_once() -> None:
    """The frame of the confirmation and each step carry the mark; the one that gives the lamps back does not."""
    engine = started()
    engine.handle(ask("together", THROAT, 0, 5))
    (first,) = frames(engine.handle(confirm(THROAT, SECOND)))
    assert (lit(0, 3), Cause.TEST, True) == (first.levels, first.cause, first.test)
    # An order meanwhile is followed, and seen afterwards.
    assert [] == frames(engine.handle(order(61, REVERSE, SECOND + 1)))
    (last,) = frames(engine.handle(end("m1", SECOND + 2)))
    assert (bytes([121, 0, 26, 0, 255, 0]), Cause.TEST, False) == (last.levels, last.cause, last.test)
    assert (last.at, last.levels) == (SECOND + 2, shown(engine)[THROAT])


def test_an_order_for_a_part_that_is_not_tried_is_seen_under_the_mark() -> None:
    """A test of one fixture leaves the rest of its chain to the logic; the frame of the order is marked as well."""
    engine = started()
    engine.handle(ask("channels", "T4", 0, 5))
    engine.handle(confirm(THROAT, 1))
    (frame,) = frames(engine.handle(order(61, REVERSE, 2)))
    assert (bytes([121, 0, 26, 255, 0, 0]), Cause.EVENT, True) == (frame.levels, frame.cause, frame.test)


def test_the_time_limit_ends_it_not_a_nanosecond_late() -> None:
    """Asked for 5 s it is over after 5 s at the latest, whether or not anybody looks in between."""
    engine = started()
    engine.handle(ask("chips", THROAT, 0, 5))
    engine.handle(confirm(THROAT, 7))
    late = engine.advance(60 * SECOND)
    (back,) = [frame for frame in frames(late) if not frame.test]
    assert OWN == back.levels
    assert 5 * SECOND - SECOND // 30 <= back.at - 7 <= 5 * SECOND
    assert [("off", "the time of the lamp test is over: its lamps show what the layout says again")] == told(
        late
    )


def test_an_area_of_several_chains_asks_for_each() -> None:
    """When a chain's time is over the next is asked for, and is not lit before it is confirmed by its own name."""
    engine = started()
    engine.handle(ask("chips", "all", 0, 5))
    engine.handle(confirm(THROAT, 1))
    over = engine.advance(6 * SECOND)
    ((state, reason),) = told(over)
    assert ("waiting", True) == (state, "Y1, Y3 will show false aspects on east/yard" in reason)
    again = engine.handle(confirm(THROAT, 7 * SECOND))  # said twice, or late
    assert ([], "refused") == (frames(again), told(again)[0][0])
    (first,) = frames(engine.handle(confirm(YARD, 8 * SECOND)))
    assert bytes([0, 255, 0]) + MASTS[3:] + bytes(3) == first.levels
    passed = engine.handle(end("m1", 9 * SECOND, chain=YARD))
    assert [MASTS[:0] + bytes([0, 0, 255]) + MASTS[3:] + bytes([0, 255, 0])] == [
        f.levels for f in frames(passed)
    ]
    assert "no signal hangs on what is tried of west/street" in told(passed)[0][1]
    done = engine.handle(end("m1", 10 * SECOND, chain=STREET))
    assert [("off", "the lamp test was ended before the last chain was confirmed")] == told(done)


def test_a_second_wish_is_refused_and_changes_nothing() -> None:
    """While one waits or runs another asker learns why not; the first goes on."""
    engine = started()
    engine.handle(ask("chips", THROAT))
    waiting = told(engine.handle(ask("chips", YARD, 1, mark="m2")))
    assert [
        (
            "refused",
            "a lamp test of east/throat waits to be confirmed already: end it, or wait until it is over",
        )
    ] == (waiting)
    engine.handle(confirm(THROAT, 2))
    ((word, why),) = told(engine.handle(ask("chips", YARD, 3, mark="m2")))
    assert ("refused", True) == (word, why.startswith("a lamp test of east/throat runs already"))
    assert lit(0, 1, 2) == shown(engine)[THROAT]


@pytest.mark.parametrize(
    ("wish", "why"),
    [
        (ask("chips", "T44"), "there is no 'T44' in this layout; use one of: all, east, west, "),
        (ask("blink", "east"), "east is no fixture and no device: only one of these blinks"),
        (ask("picture", "T4", picture="00"), "T4 is no chain: a picture is of one whole chain"),
        (ask("picture", THROAT, picture="0"), "the picture is not written in hexadecimal, two digits a byte"),
        (ask("picture", THROAT), "a picture has 1 to 65000 bytes, and this one has 0"),
        (ask("chips", THROAT, picture="00"), "bytes belong to a picture, and this is none"),
        (ask("chips", THROAT, 0, 3601), "3601 s are too long: ask for 3600 s at most"),
    ],
)
def test_a_wish_that_cannot_be_fulfilled_says_why(wish: object, why: str) -> None:
    """It names what is wrong and what there is instead, and no test waits."""
    engine = started()
    ((word, reason),) = told(engine.handle(wish))  # type: ignore[arg-type]
    assert ("refused", True) == (word, reason.startswith(why)), reason
    assert [] == frames(engine.handle(confirm(THROAT, 1)))


def test_a_picture_may_have_another_length_and_be_changed_by_its_asker() -> None:
    """Chips that are not in the file yet can be lit; a further picture needs no further yes, nor gets more time."""
    engine = started()
    engine.handle(ask("picture", THROAT, 0, 5, picture="0102"))
    (first,) = frames(engine.handle(confirm(THROAT, 1)))
    assert bytes([1, 2]) == first.levels
    long = bytes(range(30))
    (second,) = frames(engine.handle(ask("picture", THROAT, 2, 900, picture=long.hex())))
    assert (long, True) == (second.levels, second.test)
    other = engine.handle(ask("picture", THROAT, 3, picture="00", mark="m2"))
    assert ([], "refused") == (frames(other), told(other)[0][0])
    back = frames(engine.advance(6 * SECOND))
    assert [(OWN, False)] == [(frame.levels, frame.test) for frame in back]


def test_a_lost_asker_ends_it_and_signals_are_seen_to_be_restrictive() -> None:
    """Nobody could end it any more; what the logic makes of the loss is what the chain shows at once."""
    engine = started()
    engine.handle(order(61, REVERSE, 0))
    engine.handle(ask("chips", THROAT, 1))
    engine.handle(confirm(THROAT, 2))
    commands = engine.handle(lost("panel", 3))
    assert [(OWN, False)] == [(frame.levels, frame.test) for frame in frames(commands) if frame.chain == 0]
    assert "off" == told(commands)[0][0]
    # Another source may come and go.
    engine.handle(ask("chips", THROAT, 4))
    engine.handle(confirm(THROAT, 5))
    engine.handle(lost("booster", 6))
    assert lit(0, 1, 2) == shown(engine)[THROAT]


def test_the_end_of_the_bridge_ends_it_without_a_mark() -> None:
    """The last frames show signals restrictive and lights dark, and whoever waits is told."""
    engine = started()
    engine.handle(ask("chips", THROAT))
    engine.handle(confirm(THROAT, 1))
    last = engine.closing(2)
    assert [False] * 3 == [frame.test for frame in frames(last)]
    assert OWN == frames(last)[0].levels
    assert "off" == told(last)[0][0]


def test_what_blinks_does_so_less_than_once_a_second() -> None:
    """From one flash to the next is more than a second, also with late frames: WCAG 2.3.1 allows three in one."""
    assert 2 * BLINK - SECOND // 30 > SECOND
    engine = started()
    engine.handle(ask("blink", "T4", 0, 20))
    rises = [frame.at for frame in frames(engine.handle(confirm(THROAT, 12_345)))]
    while (wake := engine.next_wake()) is not None and wake < 20 * SECOND:
        rises += [frame.at for frame in frames(engine.advance(wake)) if frame.levels[3:] == bytes([255] * 3)]
    assert len(rises) > 10
    assert min(later - before for before, later in pairwise(rises)) > SECOND


def test_a_snapshot_without_a_test_is_as_it_was_before_there_were_any() -> None:
    """Session logs of then stay readable; a test that is over leaves nothing behind."""
    engine = started()
    assert "lamp-test" not in engine.snapshot()
    engine.handle(ask("chips", THROAT))
    assert "lamp-test" in engine.snapshot()
    engine.handle(end())
    assert "lamp-test" not in engine.snapshot()
