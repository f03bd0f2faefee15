from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.events import AccessoryReleased, Position, Subject
from bridge.logic.repeats import Repeats
from tests.support.driving import NORMAL, REVERSE, WINDOW, copy, layout, lost, order
from tests.support.tracks import use


def repeats() -> Repeats:
    """Know a source `booster` with a window of two seconds, and a source `panel` without one."""
    return Repeats(layout().sources)


def said(known: Repeats, *orders: tuple[int, Position, int], source: str = "booster") -> list[bool]:
    """Say orders (accessory, position, instant) and return for each whether it was a repeat."""
    return [known.is_repeat(order(*each, source=source)) for each in orders]


@pytest.mark.parametrize(
    ("later", "repeat"), [(0, True), (WINDOW - 1, True), (WINDOW, True), (WINDOW + 1, False)]
)
def test_window_ends_to_the_nanosecond(later: int, repeat: bool) -> None:
    """The same order is a repeat up to the end of the window, that instant included, and then no longer."""
    assert [False, repeat] == said(repeats(), (61, REVERSE, 5), (61, REVERSE, 5 + later))


def test_each_repeat_opens_the_window_anew() -> None:
    """A source that refreshes for ever within the window gives one order, however long it goes on."""
    orders = [(61, REVERSE, instant) for instant in range(0, 20 * WINDOW, WINDOW)]

    assert [False, *[True] * 19] == said(repeats(), *orders)


def test_other_order_in_between_ends_the_repeat() -> None:
    """Reverse, normal and reverse again are three orders, however quickly they come."""
    assert [False, False, False] == said(repeats(), (61, REVERSE, 0), (61, NORMAL, 1), (61, REVERSE, 2))


def test_refresh_of_one_accessory_goes_on_through_orders_to_another() -> None:
    """Each accessory has a window of its own: a refreshed 61 stays a repeat after 62 was ordered."""
    assert [False, False, True, True] == said(
        repeats(), (61, REVERSE, 0), (62, NORMAL, 1), (61, REVERSE, 2), (62, NORMAL, 3)
    )


def test_each_source_repeats_only_itself() -> None:
    """What one source said is no repeat when another says it, and opens no window for it."""
    known = repeats()

    assert [False] == said(known, (61, REVERSE, 0), source="panel")
    assert [False] == said(known, (61, REVERSE, 1))
    assert [False] == said(known, (61, REVERSE, 2), source="panel")
    assert [True] == said(known, (61, REVERSE, 3))


def test_source_without_a_window_never_repeats() -> None:
    """Where the owner gave no window, every order is an order."""
    assert [False, False] == said(repeats(), (61, REVERSE, 0), (61, REVERSE, 0), source="panel")


def test_kept_copy_is_no_repeat_and_opens_no_window() -> None:
    """A kept copy says nothing of what the source says by itself."""
    known = repeats()

    assert not known.is_repeat(copy(61, REVERSE, 0, "booster"))
    assert [False] == said(known, (61, REVERSE, 1))
    assert not known.is_repeat(copy(61, NORMAL, 2, "booster"))
    assert [True] == said(known, (61, REVERSE, 3))


def test_release_neither_ends_a_repeat_nor_is_one() -> None:
    """The release of an output between two same orders leaves the second a repeat."""
    known = repeats()

    assert [False] == said(known, (61, REVERSE, 0))
    assert not known.is_repeat(AccessoryReleased(at=1, source="booster", number=61))
    assert [True] == said(known, (61, REVERSE, 2))


steps = st.lists(
    st.tuples(
        st.sampled_from([61, 62]),
        st.sampled_from([NORMAL, REVERSE]),
        st.sampled_from([0, 1, WINDOW, WINDOW + 1]),
    ),
    max_size=20,
)


@given(steps, st.integers(0, 20))
def test_repeat_is_what_its_definition_says(moves: list[tuple[int, Position, int]], cut: int) -> None:
    """An order repeats the latest earlier one to its accessory, if that is the same and not too old; also resumed."""
    orders: list[tuple[int, Position, int]] = []
    now = 0
    for accessory, position, later in moves:
        now += later
        orders.append((accessory, position, now))
    expected = []
    for index, (accessory, position, at) in enumerate(orders):
        earlier = [each for each in orders[:index] if each[0] == accessory]
        expected.append(bool(earlier) and earlier[-1][1] is position and at - earlier[-1][2] <= WINDOW)

    first = repeats()
    before = said(first, *orders[:cut])
    second = repeats()
    second.restore(json.loads(json.dumps(first.snapshot())))

    assert expected == before + said(second, *orders[cut:])


def test_a_lost_source_begins_anew() -> None:
    """An order that is given again after its source was lost is no repeat, however soon; other sources go on."""
    known = repeats()
    assert [False] == said(known, (61, REVERSE, 0))

    assert not known.is_repeat(lost("panel", 1))
    assert [True] == said(known, (61, REVERSE, 2))
    assert not known.is_repeat(lost("booster", 3))
    assert [False] == said(known, (61, REVERSE, 4))


def test_a_source_that_was_out_of_use_begins_anew() -> None:
    """What a source said while it was out of use was not obeyed, so the same order after that is no repeat."""
    known = repeats()
    for out in (True, False):
        assert [False, True] == said(known, (61, REVERSE, 5), (61, REVERSE, 6))
        assert not known.is_repeat(use(Subject.SOURCE, "booster", out=out))
    assert [False] == said(known, (61, REVERSE, 7))
    assert not known.is_repeat(use(Subject.SIGNAL, "booster"))
    assert [True] == said(known, (61, REVERSE, 8))
