"""Instants, events and bytes in the words of the people who run the layout."""

from __future__ import annotations

import pytest

from bridge.events import (
    EVENT_KINDS,
    SECOND,
    AccessoryProved,
    AccessoryReleased,
    AspectOrdered,
    BlockReported,
    BlockState,
    ButtonReported,
    ButtonState,
    ClockReported,
    Event,
    LampTestAsked,
    LampTestConfirmed,
    LampTestEnded,
    LampTestWay,
    LinkState,
    NodeReported,
    Position,
    PowerReported,
    PowerState,
    RouteKept,
    SourceReported,
    Subject,
    UseReported,
)
from bridge.record.result import first_unlike, lamp_at
from bridge.record.words import event_text, instant_text
from tests.bridge.record.sessions import ordered
from tests.support.driving import layout as layout_of

SAID: list[tuple[Event, str]] = [
    (ordered(61), "accessory 61 was ordered reverse (by bus)"),
    (ordered(61, authority="state"), "accessory 61 was ordered reverse in a kept copy (by bus)"),
    (AccessoryReleased(at=0, source="bus", number=61), "accessory 61 was let go (by bus)"),
    (
        AccessoryProved(at=0, source="bus", number=61, position=Position.MOVING),
        "accessory 61 was proved moving (by bus)",
    ),
    (
        AspectOrdered(at=0, source="bus", number=9, aspect=3),
        "extended accessory 9 was ordered aspect 3 (by bus)",
    ),
    (
        BlockReported(at=0, source="bus", name="B1", state=BlockState.CLEAR),
        "block B1 was reported clear (by bus)",
    ),
    (
        PowerReported(at=0, source="bus", district="yard", state=PowerState.SHORTED),
        "power of yard was reported shorted (by bus)",
    ),
    (
        ButtonReported(at=0, source="bus", name="horn", state=ButtonState.PRESSED),
        "button horn was pressed (by bus)",
    ),
    (
        ClockReported(at=0, source="bus", seconds=59_945, rate_quarters=16, running=True),
        "the model clock was set to 16:39:05, running (by bus)",
    ),
    (SourceReported(at=0, source="bus", state=LinkState.UP), "the source bus can be heard"),
    (
        NodeReported(at=0, source="nodes", node="hill", state=LinkState.LOST),
        "the node hill cannot be heard any more",
    ),
    (
        UseReported(at=0, source="bus", subject=Subject.SIGNAL, name="T4", out=True, why="dark lamp"),
        "signal T4 was taken out of use (dark lamp) (by bus)",
    ),
    (
        UseReported(at=0, source="bus", subject=Subject.BLOCK, name="B1", out=False),
        "block B1 was put back into use (by bus)",
    ),
    (
        RouteKept(at=0, source="memory", signal="W", route="to-east"),
        "the route to-east of W was locked before the restart",
    ),
    (
        LampTestAsked(at=0, source="bus", way=LampTestWay.BLINK, area="T4"),
        "a lamp test of T4 was asked for, blink (by bus)",
    ),
    (
        LampTestConfirmed(at=0, source="bus", chain="hill/top", mark="17"),
        "the lamp test 17 was confirmed for hill/top (by bus)",
    ),
    (LampTestEnded(at=0, source="bus"), "any lamp test was ended (by bus)"),
]


@pytest.mark.parametrize(("event", "words"), SAID)
def test_an_event_in_words(event: Event, words: str) -> None:
    """Every kind of event says what happened and who told it."""
    assert words == event_text(event)


def test_every_kind_of_event_has_its_words() -> None:
    """None is called by the name of its class."""
    assert set(EVENT_KINDS.values()) == {type(event) for event, _words in SAID}


@pytest.mark.parametrize(
    ("at", "text"),
    [
        (0, "0:00:00.000"),
        (999_999, "0:00:00.000"),
        (SECOND, "0:00:01.000"),
        (36_061 * SECOND, "10:01:01.000"),
    ],
)
def test_an_instant_in_words(at: int, text: str) -> None:
    """An instant is hours, minutes, seconds and milliseconds since the session began, cut and never rounded up."""
    assert text == instant_text(at)


TWO_HEADS = """\
layout: Mossbank
builds:
  pair:
    chips: [ws2811, ws2812b]
    heads:
      upper: {red: {channel: 1}, green: {channel: 3}}
      lower: {lens: {full-colour: 2}}
nodes:
  ferry: {chains: [{name: bank, fixtures: [{name: P1, build: pair}, {name: P2, build: pair, order: [RGB, GRB]}]}]}
signals: {}
"""


def test_a_byte_is_named_by_its_lamp() -> None:
    """A byte has its chip's position, and its fixture, head and lamp where there is one."""
    (chain,) = layout_of(TWO_HEADS).chains
    assert (1, "P1", "upper.red") == lamp_at(chain, 0)
    assert (1, "", "") == lamp_at(chain, 1)
    assert (2, "P1", "lower.lens") == lamp_at(chain, 5)
    assert (3, "P2", "upper.green") == lamp_at(chain, 8)
    assert (None, "", "") == lamp_at(chain, 12)


def test_the_first_byte_that_differs() -> None:
    """Only a byte that both frames have can differ."""
    assert 1 == first_unlike(b"\x01\x02\x03", b"\x01\x03\x02")
    assert first_unlike(b"\x01", b"\x01\x02") is None
