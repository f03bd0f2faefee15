from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.events import AccessoryReleased, AspectOrdered, Authority, Event, Position, Subject, UseReported
from bridge.logic.repeats import MISSED, Novelty, Repeats
from tests.support.driving import FERNHOLLOW, NORMAL, REVERSE, WINDOW, copy, heard, layout, lost, order
from tests.support.tracks import use


def repeats() -> Repeats:
    """Know a source `booster` with a window of two seconds, and a source `panel` without one."""
    return Repeats(layout().sources)


def said(known: Repeats, *orders: tuple[int, Position, int], source: str = "booster") -> list[bool]:
    """Say orders (accessory, position, instant) and return for each whether it was a repeat."""
    return [known.novelty(order(*each, source=source)) is Novelty.REPEAT for each in orders]


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

    assert Novelty.NEW is known.novelty(copy(61, REVERSE, 0, "booster"))
    assert [False] == said(known, (61, REVERSE, 1))
    assert Novelty.NEW is known.novelty(copy(61, NORMAL, 2, "booster"))
    assert [True] == said(known, (61, REVERSE, 3))


def test_release_neither_ends_a_repeat_nor_is_one() -> None:
    """The release of an output between two same orders leaves the second a repeat."""
    known = repeats()

    assert [False] == said(known, (61, REVERSE, 0))
    assert Novelty.NEW is known.novelty(AccessoryReleased(at=1, source="booster", number=61))
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

    assert Novelty.NEW is known.novelty(lost("panel", 1))
    assert [True] == said(known, (61, REVERSE, 2))
    assert Novelty.NEW is known.novelty(lost("booster", 3))
    assert [False] == said(known, (61, REVERSE, 4))


def test_a_source_that_was_out_of_use_begins_anew() -> None:
    """What a source said while it was out of use was not obeyed, so the same order after that is no repeat."""
    known = repeats()
    for out in (True, False):
        assert [False, True] == said(known, (61, REVERSE, 5), (61, REVERSE, 6))
        assert Novelty.NEW is known.novelty(use(Subject.SOURCE, "booster", out=out))
    assert [False] == said(known, (61, REVERSE, 7))
    assert Novelty.NEW is known.novelty(use(Subject.SIGNAL, "booster"))
    assert [True] == said(known, (61, REVERSE, 8))


def aspect(number: int, value: int, at: int, source: str = "booster") -> AspectOrdered:
    """Return an order to show an aspect by its number."""
    return AspectOrdered(at=at, source=source, number=number, aspect=value)


def test_aspects_repeat_by_themselves() -> None:
    """An aspect said again within the window is a repeat, whatever is said of the position of the same number."""
    known = repeats()
    events: list[Event] = [
        aspect(61, 1, 0),
        order(61, REVERSE, 1, "booster"),
        aspect(61, 1, 2),
        aspect(61, 0, 3),
        aspect(61, 1, 4),
    ]
    assert [Novelty.NEW, Novelty.NEW, Novelty.REPEAT, Novelty.NEW, Novelty.NEW] == [
        known.novelty(event) for event in events
    ]


EVERY = 1_000_000_000
QUIET = MISSED * EVERY
BOOSTER = "  booster: {kind: mqtt, repeat-window: 2 s}\n"
REFRESHING = FERNHOLLOW.replace(
    BOOSTER,
    BOOSTER
    + "  station: {kind: mqtt, refresh-every: 1 s}\n"
    + "  both: {kind: mqtt, refresh-every: 100 ms, repeat-window: 1 s}\n",
)


def station(since: int | None = None) -> Repeats:
    """Know a source that refreshes each second, in its first round or, by default, long after it."""
    known = Repeats(layout(REFRESHING).sources)
    known.novelty(heard("station", -QUIET - 1 if since is None else since))
    return known


def standings(known: Repeats, *orders: tuple[int, Position, int], source: str = "station") -> list[Novelty]:
    """Say orders (accessory, position, instant) and return what each was."""
    return [known.novelty(order(*each, source=source)) for each in orders]


NEW, REFRESH, OLD = Novelty.NEW, Novelty.REFRESH, Novelty.OLD


def test_a_station_that_refreshes_all_orders_gives_each_once() -> None:
    """Two accessories refreshed in turn for an hour give two orders, although some refreshes are lost or late."""
    known = station()
    found = [NEW, NEW]
    assert found == standings(known, (61, REVERSE, 0), (62, NORMAL, 1))
    for second in range(1, 3600):
        if second % 3:
            at = second * EVERY + second % 7 * 100_000_000
            assert [REFRESH, REFRESH] == standings(known, (62, NORMAL, at), (61, REVERSE, at + 1))


@pytest.mark.parametrize(("later", "standing"), [(0, REFRESH), (QUIET, REFRESH), (QUIET + 1, NEW)])
def test_an_order_that_was_not_refreshed_for_long_is_given_anew(later: int, standing: Novelty) -> None:
    """After three refreshes that did not come, to the nanosecond, the same order is an order again."""
    assert [NEW, standing] == standings(station(), (61, REVERSE, 5), (61, REVERSE, 5 + later))


def test_another_order_to_the_same_accessory_counts_at_once() -> None:
    """What a source that refreshes says is a command as soon as it differs from what it said before."""
    assert [NEW, REFRESH, NEW, REFRESH, NEW] == standings(
        station(), (61, REVERSE, 0), (61, REVERSE, 1), (61, NORMAL, 2), (61, NORMAL, 3), (61, REVERSE, 4)
    )


def test_the_first_round_of_refreshes_is_of_kept_copies() -> None:
    """Until a whole round has surely been heard, what is said for the first time may be old, and is a kept copy.

    Then it is refreshed like any other, and another position is a command at once.
    """
    known = station(since=10)
    assert [OLD, OLD, REFRESH, NEW] == standings(
        known,
        (61, REVERSE, 11),
        (62, NORMAL, 10 + QUIET),
        (61, REVERSE, 12 + EVERY),
        (62, REVERSE, 11 + QUIET),
    )
    assert [NEW] == standings(known, (63, REVERSE, 11 + QUIET))


def test_the_first_round_begins_with_the_session() -> None:
    """A source that never says that it can be heard is taken to be heard from the first instant on."""
    known = Repeats(layout(REFRESHING).sources)
    assert [OLD, NEW] == standings(known, (61, REVERSE, QUIET), (62, REVERSE, QUIET + 1))


@pytest.mark.parametrize(
    "interruption",
    [
        [lost("station", 5), heard("station", 6)],
        [use(Subject.SOURCE, "station", out=True, at=5), use(Subject.SOURCE, "station", out=False, at=6)],
    ],
)
def test_after_an_interruption_refreshes_are_kept_copies(interruption: list[Event]) -> None:
    """A refresh that follows a lost link says what is so, and not that anybody wants it now."""
    known = station()
    assert [NEW] == standings(known, (61, REVERSE, 0))
    for event in interruption:
        assert NEW is known.novelty(event)
    assert [OLD, REFRESH, OLD] == standings(known, (61, REVERSE, 7), (61, REVERSE, 8), (62, NORMAL, 9))


def test_refreshed_aspects_give_no_order() -> None:
    """Aspects are refreshed as positions are."""
    known = station()
    assert [NEW, REFRESH, NEW] == [
        known.novelty(aspect(12, value, at, "station")) for at, value in enumerate((5, 5, 0))
    ]


def test_both_habits_of_a_source() -> None:
    """Where a source repeats and refreshes, the same order is none within the longer of the two."""
    known = Repeats(layout(REFRESHING).sources)
    orders = [(61, REVERSE, EVERY), (61, REVERSE, 2 * EVERY), (61, REVERSE, 3 * EVERY + 1)]
    assert [NEW, Novelty.REPEAT, NEW] == standings(known, *orders, source="both")


told = st.one_of(
    st.tuples(st.just("order"), st.sampled_from([61, 62]), st.sampled_from([NORMAL, REVERSE])),
    st.tuples(st.just("aspect"), st.sampled_from([61, 62]), st.integers(0, 1)),
    st.tuples(st.just("copy"), st.sampled_from([61, 62]), st.sampled_from([NORMAL, REVERSE])),
    st.tuples(st.sampled_from(["lost", "heard", "use"]), st.just(0), st.just(0)),
)
moments = st.sampled_from([0, 1, EVERY, QUIET, QUIET + 1])


def made(what: str, number: int, value: object, at: int) -> Event:
    """Return an event of the station."""
    match what, value:
        case "order", Position():
            return order(number, value, at, "station")
        case "copy", Position():
            return copy(number, value, at, "station")
        case "aspect", int():
            return aspect(number, value, at, "station")
        case "lost", _:
            return lost("station", at)
        case "heard", _:
            return heard("station", at)
    return use(Subject.SOURCE, "station", at=at)


@given(st.lists(st.tuples(told, moments), max_size=25), st.integers(0, 25))
def test_a_refresh_is_what_its_definition_says(
    steps: list[tuple[tuple[str, int, object], int]], cut: int
) -> None:
    """By definition, looking back over the whole story each time; and over a snapshot anywhere in it."""
    events, now = list[Event](), 0
    for (what, number, value), later in steps:
        now += later
        events.append(made(what, number, value, now))
    found, resumed = list[Novelty](), Repeats(layout(REFRESHING).sources)
    for index, event in enumerate(events):
        if index == cut:
            data = json.loads(json.dumps(resumed.snapshot()))
            resumed = Repeats(layout(REFRESHING).sources)
            resumed.restore(data)
        found.append(resumed.novelty(event))
    assert found == [by_definition(events[:index], event) for index, event in enumerate(events)]


def by_definition(before: list[Event], event: Event) -> Novelty:
    """Return what an event is, from all that came before it."""
    if not is_order(event):
        return NEW
    since = max((each.at for each in before if not hasattr(each, "number")), default=0)
    forgotten = [
        index for index, each in enumerate(before) if each == lost("station", each.at) or is_use(each)
    ]
    same = [
        each
        for each in before[forgotten[-1] + 1 if forgotten else 0 :]
        if is_order(each)
        and type(each) is type(event)
        and getattr(each, "number", 0) == getattr(event, "number", 0)
    ]
    if not same:
        return OLD if event.at - since <= QUIET else NEW
    again = replace(same[-1], at=event.at) == event
    return REFRESH if again and event.at - same[-1].at <= QUIET else NEW


def is_use(event: Event) -> bool:
    """Return whether an event takes a source out of use or puts it back."""
    return isinstance(event, UseReported)


def is_order(event: Event) -> bool:
    """Return whether an event orders something now."""
    return getattr(event, "authority", None) is Authority.COMMAND and hasattr(event, "number")
