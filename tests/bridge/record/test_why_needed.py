"""What something would have needed is right: done in the engine itself, it does; and nothing less does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations
from typing import Final

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bridge.engine import Engine
from bridge.events import SECOND, Event, LinkState, Position, PowerState, Subject
from bridge.record.why.candidates import Candidate, candidates
from bridge.record.why.search import AT_ONCE, longest_wait, ranks_of, steps_of, what_it_needed
from tests.support.demo_day import MINUTE, Day
from tests.support.driving import NORMAL, REVERSE, button, copy, heard, layout, lost, order
from tests.support.planted import COMBINED, JUNCTION, MILL_LANE, PRESSED, RELEASED, THROAT, VILLAGE
from tests.support.planted_orders import SIMPLE
from tests.support.tracks import (
    CLEAR,
    OCCUPIED,
    UNKNOWN,
    block,
    kept_block,
    node,
    number_ordered,
    power,
    proved,
    use,
)

POSITIONS: Final = (NORMAL, REVERSE)
STATES: Final = (CLEAR, CLEAR, OCCUPIED, UNKNOWN)


def orders(*numbers: int) -> list[Event]:
    """Return all orders to some accessories, and kept copies of them."""
    both = [(number, position) for number in numbers for position in POSITIONS]
    return [make(number, position) for make in (order, copy) for number, position in both]


def blocks(*names: str) -> list[Event]:
    """Return what may be told of some blocks."""
    told: list[Event] = [block(name, state) for name in names for state in STATES]
    return [*told, *(kept_block(name, CLEAR) for name in names)]


def points(number: int) -> list[Event]:
    """Return what may be told of a turnout."""
    return [proved(number, position) for position in (NORMAL, NORMAL, REVERSE, Position.MOVING)]


TROUBLE: Final = [lost("panel"), lost("bus"), heard("bus")]

PLACES: Final[dict[str, tuple[str, list[Event], tuple[str, ...]]]] = {
    # the layout file, what may happen, and what is asked about
    "combined": (COMBINED, [*orders(61, 62), *TROUBLE], ("C",)),
    "simple": (
        SIMPLE,
        [
            *orders(61, 62, 64, 67),
            *(number_ordered(37, aspect) for aspect in (0, 5, 7, 15)),
            *(button("lever", state) for state in (PRESSED, RELEASED)),
            *blocks("siding"),
            *TROUBLE,
            *(use(Subject.SIGNAL, "S", out=out) for out in (True, False)),
        ],
        ("S", "K", "N", "D", "L", "H"),
    ),
    "throat": (
        THROAT,
        [
            *orders(61),
            *blocks("east", "west", "far"),
            *points(63),
            *(power("main", state) for state in (PowerState.ON, PowerState.ON, PowerState.OFF)),
            *TROUBLE,
            *(node("remote", state) for state in (LinkState.LOST, LinkState.UP)),
            use(Subject.BLOCK, "west"),
            use(Subject.TURNOUT, "63"),
        ],
        ("T1", "T2", "T3"),
    ),
    "junction": (
        JUNCTION,
        [*orders(66, 71, 72), *blocks("west", "points", "east", "branch"), *points(63), *TROUBLE],
        ("W", "E"),
    ),
    "crossing": (MILL_LANE, blocks("ua", "ux", "ub", "da", "dx", "db"), ("north", "mill-lane", "again")),
    "village": (
        VILLAGE,
        [*orders(80, 81, 82, 83, 90, 91, 61), *blocks("siding"), *TROUBLE],
        ("Inn", "Church", "Hut", "houses", "flashing"),
    ),
}


def driven(text: str, script: Sequence[tuple[int, Event]]) -> Engine:
    """Return an engine to which all this has happened."""
    engine = Engine(layout(text))
    engine.start()
    for gap, event in script:
        engine.handle(replace(event, at=engine.now + gap))
    return engine


def reached(engine: Engine, name: str, chosen: Sequence[Candidate]) -> set[str]:
    """Return all that something shows from the moment on at which these things happen; the engine stays as it was."""
    own = Engine(engine.layout)
    own.restore(engine.snapshot())
    wait, seen = longest_wait(engine.layout), set()
    for step in steps_of(chosen) or [[]]:
        for event in step:
            own.handle(replace(event, at=own.now))
        seen.add(own.asked.state_of(name).aspect)
        end = own.now + wait
        while (wake := own.next_wake()) is not None and wake <= end:
            own.advance(wake)
            seen.add(own.asked.state_of(name).aspect)
        own.advance(end)
    return seen


@pytest.mark.parametrize("place", PLACES)
@settings(deadline=None, max_examples=10, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_what_it_needed_does_it_and_less_does_not(place: str, data: st.DataObject) -> None:
    """Whatever happened before: each set does what is said of it, in the engine itself, and no part of it does."""
    text, events, names = PLACES[place]
    gaps = st.sampled_from([0, SECOND // 5, 3 * SECOND])
    script = data.draw(st.lists(st.tuples(gaps, st.sampled_from(events)), max_size=12))
    engine = driven(text, script)
    before = engine.snapshot()
    name = data.draw(st.sampled_from(names))
    present = engine.asked.state_of(name).aspect
    ranks = ranks_of(engine.layout, name, present)
    found = what_it_needed(engine, name)
    assert before == engine.snapshot()
    for needed, chosen in zip(found.needed, found.sets, strict=True):
        assert ranks[needed.aspect] > ranks[present]
        assert needed.aspect in reached(engine, name, chosen)
        sizes = range(len(chosen)) if len(chosen) <= AT_ONCE else [len(chosen) - 1]
        for part in (part for size in sizes for part in combinations(chosen, size)):
            assert needed.aspect not in reached(engine, name, part)
    least = min((len(needed.things) for needed in found.needed), default=2)
    for each in candidates(engine, engine.suppose(name).devices) if least > 1 else ():
        assert not {
            aspect for aspect in reached(engine, name, [each]) if ranks.get(aspect, -1) > ranks[present]
        }


@pytest.mark.parametrize("name", ["AD", "AW", "FW", "V1", "mill-lane", "loader-hut"])
def test_it_is_right_in_the_midst_of_a_day(name: str) -> None:
    """On the demo's layout, with all its trains under way."""
    day = Day(2)
    for _moment in day.moments(3 * MINUTE):
        pass
    found = what_it_needed(day.engine, name)
    assert found.needed or found.impossible
    for needed, chosen in zip(found.needed, found.sets, strict=True):
        assert needed.aspect in reached(day.engine, name, chosen)
