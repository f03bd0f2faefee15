"""A node that does not answer: nobody knows what its signals show."""

from __future__ import annotations

from typing import Final

from bridge.events import SECOND, LinkState, Subject
from tests.support.driving import NORMAL, REVERSE, order
from tests.support.tracks import CLEAR, block, driven, node, run_to, shown, tell, use, why, written

LOST: Final = LinkState.LOST
UP: Final = LinkState.UP

LINE: Final = written(
    {
        "A1": "ahead: [{blocks: [east], next: A2}]",
        "A2": "commands: {61: {normal: stop, reverse: clear}}",
        "D2": "aspects: {caution: yellow, proceed: green}, "
        "follows: {signal: A2, shows: {stop: caution, clear: proceed}}",
        "M2": "aspects: {caution: yellow, proceed: green}, dark-under: A2, commands: {62: {reverse: proceed}}",
    },
    "blocks: {east: {clear-after: 0 s}}\n",
    {"A2": "far"},
)


def test_the_signal_in_rear_of_a_lost_node_is_as_if_the_next_were_at_stop() -> None:
    """With the node of the next signal lost, those that go by it take it for stop, and improve with its return."""
    engine = driven(LINE)
    tell(engine, block("east", CLEAR), order(61, REVERSE), order(62, REVERSE))
    assert ["clear", "clear", "proceed", "proceed"] == shown(engine, "A1", "A2", "D2", "M2")

    tell(engine, node("far", LOST))
    assert ["approach", "clear", "caution", "dark"] == shown(engine, "A1", "A2", "D2", "M2")

    tell(engine, node("far", UP))
    assert ["clear", "clear", "proceed", "proceed"] == shown(engine, "A1", "A2", "D2", "M2")


def test_nothing_improves_behind_a_lost_node() -> None:
    """Whatever the signal on a lost node is ordered to show, the signals in rear do not improve."""
    engine = driven(LINE)
    tell(engine, block("east", CLEAR), node("far", LOST))
    for position in (REVERSE, NORMAL, REVERSE):
        tell(engine, order(61, position))
        assert ["approach", "caution"] == shown(engine, "A1", "D2")


def test_a_node_is_trusted_only_when_it_answers_and_is_in_use() -> None:
    """A node out of use is not trusted because it answers, nor a silent one because it is in use again."""
    engine = driven(LINE)
    tell(engine, block("east", CLEAR), order(61, REVERSE), use(Subject.NODE, "far", why="no lamps yet"))
    assert "it is not known what A2 shows: node far is out of use: no lamps yet" in why(engine, "A1")

    tell(engine, node("far", LOST), node("far", UP))
    assert ["approach"] == shown(engine, "A1")

    tell(engine, node("far", LOST), use(Subject.NODE, "far", out=False))
    assert ["approach"] == shown(engine, "A1")
    assert "it is not known what A2 shows: node far does not answer" in why(engine, "A1")

    tell(engine, node("far", UP))
    assert ["clear"] == shown(engine, "A1")


DIAMOND: Final = written(
    {
        "W": "commands: {71: {normal: stop, reverse: clear}}, "
        "routes: {over: {sections: [diamond], conflicts: [Y]}}, locking: {time: 10 s}",
        "Y": "commands: {73: {normal: stop, reverse: clear}}, "
        "routes: {over: {sections: [diamond], conflicts: [W]}}, locking: {time: 10 s}",
    },
    "blocks: {diamond: {clear-after: 0 s}}\n",
    {"Y": "yard"},
)


def test_a_conflicting_signal_on_a_lost_node_is_not_known_to_be_at_stop() -> None:
    """What is safe to take for stop ahead is not so in conflict: 49 CFR 236.307, 236.403, 236.5."""
    engine = driven(DIAMOND)
    tell(engine, block("diamond", CLEAR), order(73, REVERSE))
    assert ["stop", "clear"] == shown(engine, "W", "Y")
    tell(engine, node("yard", LOST), order(73, NORMAL))  # and the mast of Y may go on showing clear
    run_to(engine, 20 * SECOND)

    tell(engine, order(71, REVERSE, 20 * SECOND))
    assert ["stop"] == shown(engine, "W")
    assert "Y, which is in conflict with it, is not known to be at stop" in why(engine, "W")

    tell(engine, node("yard", UP, 20 * SECOND))
    assert ["clear"] == shown(engine, "W")
