"""What routes keep: locked and let go of in any order, nothing of it stays behind."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from bridge.events import Position
from bridge.layout.findings import START
from bridge.layout.routes import Route
from bridge.logic.locks import Locks

SECTIONS = ("east", "points", "west")
NUMBERS = (61, 62, 63)

routes = st.builds(
    lambda sections, numbers: Route(
        name="way",
        turnouts=tuple((number, Position.NORMAL) for number in numbers[:2]),
        flank=tuple((number, Position.REVERSE) for number in numbers[2:]),
        sections=tuple(sections),
        clear=(),
        conflicts=(),
        at_most="",
        mark=START,
    ),
    st.permutations(SECTIONS),
    st.permutations(NUMBERS),
)


def let_go(locks: Locks, gate: str, route: Route) -> None:
    """Let go of all of a route."""
    locks.release(gate, [number for number, _position in (*route.turnouts, *route.flank)], route.sections)


@given(st.lists(routes, max_size=4), st.lists(routes, max_size=3))
def test_what_was_let_go_of_leaves_no_trace(before: list[Route], now: list[Route]) -> None:
    """Not even in an order: a session that is taken up at a snapshot has never seen it, and tells the same state."""
    used, fresh = Locks(), Locks()
    for route in before:
        used.lock("earlier", route)
        let_go(used, "earlier", route)
    for locks in (used, fresh):
        for number, route in enumerate(now):
            locks.lock(f"gate {number}", route)
    told = [
        ([(number, [*kept.items()]) for number, kept in locks.turnouts.items()], [*locks.sections.items()])
        for locks in (used, fresh)
    ]
    assert told[0] == told[1]
    for number, route in enumerate(now):
        let_go(used, f"gate {number}", route)
    assert ({}, {}) == (used.turnouts, used.sections)
