"""The sentences that a railroader reads: each names what was decisive, and the events it rests on."""

from __future__ import annotations

from typing import Final

import pytest

from bridge.events import SECOND, ButtonState, Event, LinkState, Position, PowerState
from tests.support.driving import NORMAL, REVERSE, button, lost, order
from tests.support.tracks import (
    CLEAR,
    OCCUPIED,
    UNKNOWN,
    block,
    driven,
    node,
    number_ordered,
    power,
    proved,
    run_to,
    shown,
    tell,
    why,
    written,
)

YARD: Final = written(
    {
        "A1": "ahead: [{turnouts: {63: normal}, blocks: [east, west], next: A2}, {turnouts: {63: reverse}, blocks: "
        "[siding], beyond: restricting}]",
        "A2": "ahead: [{beyond: clear}], commands: {61: {normal: stop, reverse: clear}}",
        "C": "table: [{when: {64: normal}, show: clear}]",
        "N": "aspect-number: {accessory: 37, aspects: {0: stop, 15: clear}}",
        "R": "follows: A2",
        "D": "follows: A2, dark-under: A2",
        "L": "commands: {67: {reverse: clear}}, lit-by: [siding]",
        "H": "buttons: {held: {lever: clear}, otherwise: stop}",
        "T": "commands: {65: {normal: approach, reverse: stop}}, follows: A2, "
        "table: [{when: {66: normal}, show: clear}, {when: {66: reverse}, show: stop}]",
    },
    "districts: {main: {settle: 2 s}}\n"
    "blocks: {east: {clear-after: 0 s}, west: {clear-after: 0 s}, siding: {clear-after: 3 s, district: main}}\n"
    "turnouts: {63: {feedback: true}}\n",
    {"A2": "far"},
)

ALL_CLEAR: Final = (block("east", CLEAR), block("west", CLEAR), proved(63, NORMAL))

SAID: Final[list[tuple[str, list[Event], str, str, tuple[int, ...]]]] = [
    # the signal, what happened, its aspect, why, and the events that this rests on
    ("A1", [], "stop", "it is not known where accessory 63 stands", ()),
    ("A1", [order(63, NORMAL)], "stop", "it is not known where accessory 63 stands", ()),
    ("A1", [proved(63, Position.MOVING)], "stop", "accessory 63 is moving", (1,)),
    (
        "A1",
        [proved(63, NORMAL)],
        "stop",
        "it is not known whether block east is clear: nothing was heard of it yet",
        (1,),
    ),
    ("A1", [*ALL_CLEAR, block("west", OCCUPIED)], "stop", "block west is occupied", (1, 3, 4)),
    (
        "A1",
        [*ALL_CLEAR, block("west", UNKNOWN)],
        "stop",
        "it is not known whether block west is clear: its detector does not know",
        (1, 3, 4),
    ),
    (
        "A1",
        [*ALL_CLEAR, lost("bus", 1)],
        "stop",
        "it is not known where accessory 63 stands: bus was lost",
        (4,),
    ),
    (
        "A1",
        [*ALL_CLEAR],
        "approach",
        "accessory 63 is proved normal, the blocks east and west are clear, and A2 shows stop",
        (1, 2, 3),
    ),
    (
        "A1",
        [*ALL_CLEAR, order(61, REVERSE)],
        "clear",
        "accessory 63 is proved normal, the blocks east and west are clear, and A2 shows clear",
        (1, 2, 3, 4),
    ),
    (
        "A1",
        [*ALL_CLEAR, order(61, REVERSE), node("far", LinkState.LOST)],
        "approach",
        (
            "accessory 63 is proved normal, the blocks east and west are clear, and it is not known what A2 shows: "
            "node far does not answer"
        ),
        (1, 2, 3, 5),
    ),
    (
        "A2",
        [],
        "stop",
        "nothing was ordered since the start; otherwise it would show clear: there is no next signal to go by",
        (),
    ),
    (
        "A2",
        [order(61, REVERSE)],
        "clear",
        "accessory 61 was ordered reverse (by panel); and there is no next signal to go by",
        (1,),
    ),
    ("C", [], "stop", "it is not known where accessory 64 was ordered", ()),
    ("C", [order(64, NORMAL)], "clear", "accessory 64 was ordered normal", (1,)),
    ("C", [order(64, REVERSE)], "stop", "no row of its table fits how its accessories were ordered", (1,)),
    ("N", [number_ordered(37, 15)], "clear", "aspect 15 was ordered of accessory 37 (by panel)", (1,)),
    ("N", [number_ordered(37, 15), lost()], "stop", "panel was lost, and nothing was ordered since", (2,)),
    ("R", [order(61, REVERSE)], "clear", "A2 shows clear", (1,)),
    (
        "R",
        [order(61, REVERSE), node("far", LinkState.LOST)],
        "stop",
        "it is not known what A2 shows: node far does not answer",
        (2,),
    ),
    ("D", [], "dark", "A2 shows stop", ()),
    (
        "D",
        [order(61, REVERSE), node("far", LinkState.LOST)],
        "dark",
        "it is not known what A2 shows: node far does not answer",
        (2,),
    ),
    ("D", [order(61, REVERSE)], "clear", "A2 shows clear", (1,)),
    ("L", [order(67, REVERSE)], "clear", "accessory 67 was ordered reverse (by panel)", (1,)),
    ("H", [], "stop", "none of its buttons was heard of since the start", ()),
    ("H", [button("lever", ButtonState.PRESSED)], "clear", "button lever is held", (1,)),
    ("H", [button("lever", ButtonState.RELEASED)], "stop", "none of its buttons is held", (1,)),
    (
        "H",
        [button("lever", ButtonState.PRESSED), lost()],
        "stop",
        "it is not known whether button lever is held: panel was lost",
        (2,),
    ),
    (
        "T",
        [order(65, NORMAL), order(66, NORMAL), order(61, REVERSE)],
        "approach",
        "accessory 65 was ordered normal (by panel); otherwise it would show clear: accessory 66 was ordered normal",
        (1, 2),
    ),
    (
        "T",
        [order(65, REVERSE), order(66, REVERSE), order(61, REVERSE)],
        "stop",
        (
            "accessory 65 was ordered reverse (by panel); and accessory 66 was ordered reverse; "
            "otherwise it would show clear: A2 shows clear"
        ),
        (1, 2, 3),
    ),
]


@pytest.mark.parametrize(("signal", "events", "aspect", "reason", "causes"), SAID)
def test_reason_names_what_was_decisive(
    signal: str, events: list[Event], aspect: str, reason: str, causes: tuple[int, ...]
) -> None:
    """A signal says in one sentence why it shows what it shows, and names the events in their order."""
    engine = driven(YARD)
    tell(engine, *events)
    choice = engine.choices()[signal]
    assert (aspect, reason, causes) == (choice.aspect, choice.reason, choice.causes)


def test_reason_while_a_block_waits_is_not_older_than_what_it_waits_for() -> None:
    """A block says why it is not known to be clear at each step: no power, power not settled, not clear for long."""
    engine = driven(YARD)
    tell(engine, proved(63, REVERSE))

    def said() -> str:
        return why(engine, "A1").removeprefix("it is not known whether block siding is clear: ")

    assert "nothing was heard of the power of main yet" == said()
    tell(engine, block("siding", CLEAR), power("main", PowerState.OFF))
    assert "the power of main is off" == said()
    tell(engine, power("main", PowerState.SHORTED, SECOND))
    assert "the power of main has a short circuit" == said()
    tell(engine, power("main", PowerState.ON, 2 * SECOND))
    assert "the power of main has not settled yet" == said()
    run_to(engine, 4 * SECOND)
    assert "it has not been clear for long enough yet" == said()
    run_to(engine, 7 * SECOND)
    assert ["restricting"] == shown(engine, "A1")
    assert (
        "accessory 63 is proved reverse, block siding is clear, and there is no next signal to go by"
        == why(engine, "A1")
    )
    assert ["dark"] == shown(engine, "L")
    assert "no train is near" == why(engine, "L")
    tell(engine, lost("bus", 8 * SECOND))
    assert "it is not known where accessory 63 stands: bus was lost" == why(engine, "A1")
    tell(engine, proved(63, REVERSE, 9 * SECOND))
    assert "nothing is heard of the power of main: bus was lost" == said()
