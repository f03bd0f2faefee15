"""Signals that are told in one way, in two or in three at once: each combination of what is said, and what it means."""

from __future__ import annotations

from itertools import product
from typing import Final

import pytest

from bridge.engine import Engine
from bridge.events import SECOND, ButtonState, Event, Position, PowerState
from tests.support.driving import NORMAL, REVERSE, button, order
from tests.support.mixtures import KINDS, MIXTURES, mixed, worst
from tests.support.tracks import (
    OCCUPIED,
    all_clear,
    block,
    driven,
    number_ordered,
    power,
    proved,
    run_to,
    shown,
    tell,
    why,
)

PRESSED: Final = ButtonState.PRESSED
RELEASED: Final = ButtonState.RELEASED
AWAKE: Final = (power("main", PowerState.ON), *all_clear(("east", "siding", "points")), proved(65, NORMAL))

TOLD: Final[dict[str, tuple[tuple[str, tuple[Event, ...]], ...]]] = {
    # of each way, what is said and the aspect that it means; the first is the best, the last is never told
    "command": (
        ("clear", (order(61, REVERSE),)),
        ("approach", (order(61, REVERSE), order(62, NORMAL))),
        ("restricting", (order(62, REVERSE),)),
        ("stop", (order(62, NORMAL), order(61, NORMAL))),
        ("stop", ()),
    ),
    "table": (
        ("clear", (order(63, REVERSE), order(64, REVERSE))),
        ("approach", (order(64, NORMAL), order(63, REVERSE))),
        ("stop", (order(63, NORMAL),)),
        ("stop", (order(63, REVERSE),)),  # 64 is not known
        ("stop", ()),
    ),
    "number": (
        ("clear", (number_ordered(37, 15),)),
        ("approach", (number_ordered(37, 15), number_ordered(37, 4), number_ordered(37, 9))),
        ("stop", (number_ordered(37, 0),)),
        ("stop", ()),
    ),
    "ahead": (
        ("clear", (*AWAKE, order(73, REVERSE))),
        ("clear", (*AWAKE, order(74, NORMAL))),
        ("approach", (*AWAKE, order(73, NORMAL))),
        ("restricting", (*AWAKE, proved(65, REVERSE))),
        ("stop", (*AWAKE, order(73, REVERSE), block("east", OCCUPIED))),
        ("stop", (*AWAKE, order(73, REVERSE), proved(65, Position.MOVING))),
        ("stop", ()),
    ),
    "follows": (
        ("clear", (order(71, REVERSE),)),
        ("approach", (order(71, REVERSE), order(72, NORMAL))),
        ("restricting", (order(71, NORMAL),)),
        ("restricting", ()),  # the most restrictive aspect of M is known: it is at stop
    ),
    "held": (
        ("clear", (button("crash", RELEASED),)),
        ("approach", (button("slow", PRESSED),)),
        ("stop", (button("slow", PRESSED), button("crash", PRESSED))),
        ("stop", ()),
    ),
    "latched": (
        ("clear", (button("red", PRESSED), button("green", PRESSED))),
        ("approach", (button("amber", PRESSED), button("green", RELEASED))),
        ("stop", (button("green", PRESSED), button("red", PRESSED))),
        ("stop", ()),
    ),
    "stepped": (
        ("clear", (button("next", PRESSED),)),
        (
            "approach",
            (button("next", PRESSED), button("next", RELEASED, SECOND), button("next", PRESSED, 2 * SECOND)),
        ),
        ("stop", ()),
    ),
}

ENGINES: Final = {kinds: driven(mixed(kinds)) for kinds in MIXTURES}
STARTED: Final = {kinds: engine.snapshot() for kinds, engine in ENGINES.items()}


def started(kinds: tuple[str, ...]) -> Engine:
    """Return an engine that knows nothing."""
    engine = ENGINES[kinds]
    engine.restore(STARTED[kinds])
    return engine


def after(kinds: tuple[str, ...], *told: tuple[Event, ...]) -> Engine:
    """Return an engine to which all of this was said, ten seconds later."""
    engine = started(kinds)
    tell(engine, *sorted((event for events in told for event in events), key=lambda each: each.at))
    run_to(engine, 10 * SECOND)
    return engine


def test_every_way_is_tried() -> None:
    """Nothing tells a signal that is not in the table above, and no mixture is left out."""
    assert list(KINDS) == list(TOLD)
    assert (8, 25, 40) == tuple(sum(len(kinds) == size for kinds in MIXTURES) for size in (1, 2, 3))


@pytest.mark.parametrize("kinds", [kinds for kinds in MIXTURES if len(kinds) < 3], ids="+".join)
def test_the_more_restrictive_of_what_is_said_counts(kinds: tuple[str, ...]) -> None:
    """Whatever each of one or two ways says, the signal shows the more restrictive, and gives a reason."""
    for rows in product(*(TOLD[kind] for kind in kinds)):
        engine = after(kinds, *(events for _aspect, events in rows))
        assert [worst([aspect for aspect, _events in rows])] == shown(engine, "X"), rows
        assert why(engine, "X")


@pytest.mark.parametrize("kinds", [kinds for kinds in MIXTURES if len(kinds) == 3], ids="+".join)
def test_each_of_three_can_hold_the_signal_back(kinds: tuple[str, ...]) -> None:
    """With two of three at their best, the third decides; the reason says what it would show otherwise."""
    for place, kind in enumerate(kinds):
        for aspect, events in TOLD[kind]:
            told = [TOLD[other][0][1] for other in kinds]
            told[place] = events
            engine = after(kinds, *told)
            assert [aspect] == shown(engine, "X"), (kind, events)
            assert (aspect != "clear") == ("otherwise it would show clear" in why(engine, "X"))


@pytest.mark.parametrize("kinds", MIXTURES, ids="+".join)
def test_of_two_in_conflict_the_first_clears_and_the_other_waits(kinds: tuple[str, ...]) -> None:
    """Told the same in any mixture, both with a clear route: one of them clears, and the other says why it does not."""
    engine = after(kinds, AWAKE, *(TOLD[kind][0][1] for kind in kinds))
    assert ["clear", "clear", "stop"] == shown(engine, "X", "P", "Q")
    assert "P has a route locked that is in conflict with it" in why(engine, "Q")
    assert "it was told to show clear" in why(engine, "Q")
    tell(engine, block("east", OCCUPIED, 20 * SECOND))
    assert "stop" in shown(engine, "P", "Q")


@pytest.mark.parametrize("kinds", MIXTURES, ids="+".join)
def test_what_is_shown_rests_on_events_that_were_heard(kinds: tuple[str, ...]) -> None:
    """The causes of what X shows suffice: told nothing else, it shows the same."""
    engine = started(kinds)
    said = [*AWAKE, *(event for kind in kinds for event in TOLD[kind][0][1] if event not in AWAKE)]
    tell(engine, *said)
    run_to(engine, 10 * SECOND)
    causes = engine.choices()["X"].causes
    assert causes
    again = after(kinds, (power("main", PowerState.ON), *(said[number - 1] for number in causes)))
    assert ["clear", "clear"] == shown(engine, "X") + shown(again, "X")
