"""What its owner takes out of use keeps everything that depends on it restrictive, and says so."""

from __future__ import annotations

import json
from typing import Final

import pytest

from bridge.events import Subject
from tests.support.driving import decisions
from tests.support.junction import ROUTES, Junction, cleared
from tests.support.tracks import driven, use, written

THINGS: Final = [
    ("signal", "W", "it is out of use: lamp broken"),
    ("block", "east", "it is out of use: lamp broken"),
    ("turnout", "63", "accessory 63 is out of use: lamp broken"),
]


@pytest.mark.parametrize(("what", "name", "words"), THINGS)
def test_it_drops_the_signal_and_says_why(what: str, name: str, words: str) -> None:
    """The signal falls at once and its reason names what is out of use and the owner's words."""
    junction = cleared()
    junction.use(what, name, 30, "lamp broken")
    assert "stop" == junction.shows("W")
    assert words in junction.why("W")


@pytest.mark.parametrize(("what", "name", "words"), THINGS)
def test_an_order_does_not_clear_it(what: str, name: str, words: str) -> None:
    """For as long as it is out of use no order clears the signal; afterwards the next one does."""
    junction = Junction()
    junction.use(what, name, 15, "lamp broken")
    junction.order(ROUTES["W"], "reverse", 20)
    assert "stop" == junction.shows("W")
    assert words in junction.why("W")
    junction.use(what, name, 30)
    junction.wait(60)
    junction.order(ROUTES["W"], "reverse", 61)
    assert "clear" == junction.shows("W")


def test_what_depends_on_it_is_listed() -> None:
    """The owner is told which devices it keeps restrictive."""
    junction = Junction()
    junction.use("block", "east", 15, "rail lifted")
    assert {"block/east": ("out", "rail lifted; on it depend E, W")} == junction.uses()
    junction.use("block", "east", 16)
    assert {"block/east": ("in-use", "")} == junction.uses()


def test_a_block_without_power_and_out_of_use_needs_both() -> None:
    """Put back into use while the power is off it is still unknown, and the other way round."""
    junction = Junction()
    junction.use("block", "east", 15, "rail lifted")
    junction.power("off", 16)
    junction.use("block", "east", 20)
    junction.order(ROUTES["W"], "reverse", 21)
    assert "the power of main is off" in junction.why("W")
    junction.power("on", 30)
    junction.wait(40)
    assert "clear" == junction.shows("W")


def test_a_source_that_is_out_of_use_is_not_believed() -> None:
    """What it told is forgotten, and what it says from then on counts for nothing until it is back."""
    junction = cleared()
    junction.use("source", "feedback", 30, "cable loose")
    assert "stop" == junction.shows("W")
    for block in ("west", "points", "east"):
        junction.block(block, "clear", 35)
    junction.wait(100)
    assert "locked" == junction.locks()["63"]


def test_a_node_that_is_out_of_use_keeps_the_signal_in_rear_from_improving() -> None:
    """A follows W, whose lamps nobody trusts: A takes W to be at stop, whatever it was told to show."""
    junction = cleared()
    assert "clear" == junction.shows("A")
    junction.use("node", "junction", 30, "no glue left")
    assert ("clear", "approach") == (junction.shows("W"), junction.shows("A"))
    junction.use("node", "junction", 31)
    assert "clear" == junction.shows("A")


@pytest.mark.parametrize(
    ("what", "name"), [("signal", "W9"), ("block", "W"), ("turnout", "999"), ("turnout", "x")]
)
def test_a_name_that_means_nothing_here_changes_nothing(what: str, name: str) -> None:
    """A slip of the pen takes nothing out of use and tells of nothing."""
    junction = cleared()
    before = junction.engine.snapshot()["board"]
    junction.use(what, name, 30, "slip")
    assert before["devices"] == junction.engine.snapshot()["board"]["devices"]
    assert {} == junction.uses()
    assert "clear" == junction.shows("W")


def test_a_signal_that_is_put_back_names_that_event() -> None:
    """Where it then shows what it showed at the start, being put back is what the change rests on."""
    engine = driven(
        written(
            {"M": "commands: {61: {reverse: clear}}", "D": "follows: {signal: M, shows: {stop: approach}}"}
        )
    )
    [down] = decisions(engine.handle(use(Subject.SIGNAL, "D")))
    [up] = decisions(engine.handle(use(Subject.SIGNAL, "D", out=False)))
    assert [("stop", (1,)), ("approach", (2,))] == [(each.aspect, each.causes) for each in (down, up)]


def test_it_outlives_a_snapshot() -> None:
    """Plain data hold what is out of use."""
    first, second = Junction(), Junction(awake=False)
    first.use("signal", "W", 15, "lamp broken")
    first.use("turnout", "63", 16, "rod bent")
    second.engine.restore(json.loads(json.dumps(first.engine.snapshot())))
    for junction in (first, second):
        junction.order(ROUTES["W"], "reverse", 20)
        assert "it is out of use: lamp broken" in junction.why("W")


@pytest.mark.parametrize(("what", "name"), [("signal", "W"), ("node", "junction")])
def test_what_is_absent_is_the_end_of_the_line(what: str, name: str) -> None:
    """A module that was left at home is no fault: the signal in rear takes the line to end there, and says so."""
    junction = cleared()
    junction.absent(what, name, 30)
    assert "approach" == junction.shows("A")
    assert "W is absent, so the line ends there" == junction.why("A")
    junction.use(what, name, 31)
    assert "W is absent" not in junction.why("A")


def test_what_is_absent_keeps_nobody_at_stop() -> None:
    """A conflict with a signal that is not there is none."""
    junction = Junction()
    junction.absent("signal", "E", 15)
    junction.absent("signal", "B", 15)
    junction.order(ROUTES["W"], "reverse", 20)
    assert "clear" == junction.shows("W")
    assert ("absent", "on it depend B, W") == junction.uses()["signal/E"]
