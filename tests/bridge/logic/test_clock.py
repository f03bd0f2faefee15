"""The model clock keeps its time in whole numbers, and no hour begins or ends unseen."""

from __future__ import annotations

import json
from fractions import Fraction
from itertools import product
from typing import Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.engine import Engine
from bridge.events import SECOND, Authority, ClockReported
from bridge.layout.conditions import Hours
from bridge.logic.clock import CLOCK_TABLE, ClockTime, ModelClock, Told, hours_key
from bridge.logic.known import YES
from bridge.logic.selection import News, Step
from tests.support.driving import decisions, lost
from tests.support.lit import clock, driven, lamp, tell, why

MINUTE: Final = 60 * SECOND
EVENING: Final = "{clock: 18:00 to 23:30}"
NIGHT: Final = "{clock: 22:00 to 05:00}"


def shows(hands: ModelClock, at: int) -> str:
    """Return the time that a clock shows."""
    time = hands.time(at)
    assert time is not None
    return f"{time.seconds // 3600:02}:{time.seconds // 60 % 60:02}:{time.seconds % 60:02}"


@pytest.mark.parametrize(
    ("rate", "passed", "time"),
    [
        (4, 90 * SECOND, "23:59:30"),  # the time of the world
        (10, 48 * SECOND, "00:00:00"),  # two and a half times as fast: 120 s in 48 s, to the day roll-over
        (10, 48 * SECOND - 1, "23:59:59"),
        (1, 482 * SECOND, "00:00:00"),  # a quarter: 120.5 s
        (2047, 86_400 * SECOND // 2047 * 4, "23:57:59"),  # a day less what the division leaves
        (-4, SECOND, "23:57:59"),  # backwards
        (-2, 2 * 86_280 * SECOND, "00:00:00"),
        (-2, 2 * 86_280 * SECOND + 1, "23:59:59"),  # over midnight into the day before
        (0, 10**15, "23:58:00"),  # S-9.7.4.5: a rate of 0 is a clock that stands
    ],
)
def test_a_clock_runs_at_its_rate_to_the_nanosecond(rate: int, passed: int, time: str) -> None:
    """Rates are quarters, so that two and a half is exact; a second begins at its own instant and not before."""
    hands = ModelClock(())
    hands.report(clock("23:58:00", 5, rate=rate), 1)
    assert time == shows(hands, 5 + passed)


def test_a_clock_that_stands_shows_the_same() -> None:
    """A clock that was told that it does not run stays, and nothing is due."""
    hands = ModelClock([Hours(0, 60)])
    hands.report(clock("23:58:00", running=False), 1)
    assert ("23:58:00", None) == (shows(hands, 10**15), hands.due)
    assert ClockTime(86_280, 4, running=False, source="panel") == hands.time(0)


def test_a_clock_that_was_never_told_shows_nothing() -> None:
    """Before anything is told nobody knows what time it is."""
    assert ModelClock(()).time(0) is None


NEWS: Final = {
    News.COMMAND: clock("12:00"),
    News.COPY: clock("12:00", authority=Authority.STATE),
    News.RESTORED: clock("12:00", authority=Authority.RESTORED),
}
BEFORE: Final = {
    Told.UNKNOWN: None,
    Told.KEPT: clock("03:00", rate=8, authority=Authority.STATE),
    Told.TOLD: clock("03:00", rate=8),
}


def test_the_table_has_every_pair() -> None:
    """For every state and every kind of news it says what happens."""
    assert set(product(Told, News)) == set(CLOCK_TABLE)


@pytest.mark.parametrize(("told", "news"), list(product(Told, News)))
def test_every_pair_does_what_the_table_says(told: Told, news: News) -> None:
    """What is told counts, a copy where nothing was told, and what a lost source told counts no more."""
    hands = ModelClock(())
    before = BEFORE[told]
    if before is not None:
        hands.report(before, 1)
    if news is News.LOST:
        hands.lose("tower", 2)
        assert (before is not None) is (hands.time(0) is not None)
        hands.lose("panel", 2)
        assert hands.time(0) is None
        return
    hands.report(NEWS[news], 2)
    obeys = CLOCK_TABLE[told, news] is Step.OBEY
    assert ("12:00:00" if obeys else "03:00:00") == shows(hands, 0)


def test_what_was_kept_over_a_restart_says_what_time_it_is_and_not_how_it_runs() -> None:
    """It stands until its source is heard; our own clock, which has begun already, runs on from there."""
    kept = clock("14:32", rate=16, authority=Authority.RESTORED)
    stands, own = ModelClock(()), ModelClock(())
    stands.report(kept, 1)
    own.report(clock("06:00", rate=8, source="own", authority=Authority.STATE), 1)
    own.report(kept, 2)
    assert ("14:32:00", "14:34:00") == (shows(stands, MINUTE), shows(own, MINUTE))

    stands.report(clock("06:00", MINUTE, authority=Authority.STATE), 2)
    assert "06:01:00" == shows(stands, 2 * MINUTE)


HOURS: Final = st.tuples(st.integers(0, 86_399), st.integers(0, 86_399)).filter(
    lambda each: each[0] != each[1]
)
REPORTS: Final = st.tuples(
    st.integers(0, 200 * SECOND), st.integers(0, 86_399), st.integers(-2048, 2047), st.booleans()
)


def oracle(hours: Hours, time: Fraction) -> bool:
    """Return whether a time of day lies between two, going round the day from the first."""
    day = 86_400
    return (time - hours.start) % day < (hours.end - hours.start) % day


@given(st.lists(HOURS, max_size=6), st.lists(REPORTS, min_size=1, max_size=6), st.data())
def test_no_hour_is_missed_whatever_the_clock_is_set_to(
    pairs: list[tuple[int, int]], reports: list[tuple[int, int, int, bool]], data: st.DataObject
) -> None:
    """At any instant every hour is as a reckoning in fractions has it, and its edges are due at the first such one."""
    hours = [Hours(*pair) for pair in dict.fromkeys(pairs)]
    hands = ModelClock(hours)
    known: dict[object, str] = {}
    at, told, rate = 0, Fraction(0), Fraction(0)
    for later, seconds, quarters, running in reports:
        until = at + later
        while hands.due is not None and hands.due <= until:
            due = hands.due
            facts = hands.expire(due)
            assert facts
            for key, fact in facts:
                [changed] = [each for each in hours if hours_key(each) == key]
                just_before = told + (due - 1 - at) * rate / SECOND
                assert oracle(changed, just_before) is not (fact.value == YES)
                known[key] = fact.value
        if known:
            seen = told + (until - at) * rate / SECOND
            assert [oracle(each, seen) for each in hours] == [known[hours_key(each)] == YES for each in hours]
        at, told, rate = until, Fraction(seconds), Fraction(quarters, 4) if running else Fraction(0)
        event = ClockReported(at=at, source="x", seconds=seconds, rate_quarters=quarters, running=running)
        known.update({key: fact.value for key, fact in hands.report(event, 1)})
        assert [oracle(each, told) for each in hours] == [known[hours_key(each)] == YES for each in hours]
        if data.draw(st.booleans()):
            resumed = ModelClock(hours)
            resumed.set_state(json.loads(json.dumps(hands.state())))
            assert hands.due == resumed.due
            hands = resumed


def test_a_clock_that_runs_at_no_rate_is_taken_back_as_one_that_runs() -> None:
    """A rate that is told after the snapshot counts at once."""
    hands, again = ModelClock([Hours(0, 60)]), ModelClock([Hours(0, 60)])
    hands.report(clock("23:58:00", rate=0), 1)
    again.set_state(json.loads(json.dumps(hands.state())))
    for each in (hands, again):
        each.report(part(rate=4), 2)
        assert "23:59:00" == shows(each, MINUTE)


def test_a_light_comes_on_at_the_instant_of_its_hour() -> None:
    """At rate 2.5 six minutes of the model take 144 s, and the light is on then and not a nanosecond before."""
    engine = driven(EVENING)
    tell(engine, clock("17:54", rate=10))
    assert 144 * SECOND == engine.next_wake()
    engine.advance(144 * SECOND - 1)
    assert ("off", "the model clock is between 23:30 and 18:00") == (lamp(engine), why(engine))
    [decision] = decisions(engine.advance(144 * SECOND))
    assert ("on", "the model clock is between 18:00 and 23:30", (1,)) == decision[3:]


@pytest.mark.parametrize("step", [1, 7, 600, 90_000])
def test_however_seldom_the_engine_is_called_each_edge_has_its_instant(step: int) -> None:
    """Called every second or once for a whole day, the same decisions come at the same instants."""
    engine = driven(EVENING, NIGHT)
    tell(engine, clock("12:00"))
    made = []
    for at in range(step, 90_000 + step, step):
        made += [
            (each.at // SECOND, each.device, each.aspect) for each in decisions(engine.advance(at * SECOND))
        ]
    assert [
        (6 * 3600, "H1", "on"),
        (10 * 3600, "H2", "on"),
        (11 * 3600 + 1800, "H1", "off"),
        (17 * 3600, "H2", "off"),
    ] == made[:4]


@pytest.mark.parametrize(
    ("times", "lights"),
    [
        (["17:59", "18:00"], ["off", "on"]),
        (["23:29:59", "23:30"], ["on", "off"]),
        (["12:00", "23:45", "19:00", "02:00", "18:00"], ["off", "off", "on", "off", "on"]),
    ],
)
def test_a_jump_over_an_hour_counts_as_what_it_comes_to(times: list[str], lights: list[str]) -> None:
    """Set forwards or back, over both edges or one, the light is as the new time says."""
    engine = driven(EVENING)
    assert lights == [lamp(engine) for time in times if tell(engine, clock(time, running=False)) is not None]


def test_hours_go_over_midnight() -> None:
    """From 22:00 to 05:00 holds before midnight, after it, and when the day rolls over in between."""
    engine = driven(NIGHT)
    tell(engine, clock("21:59:59"))
    assert "off" == lamp(engine)
    engine.advance(SECOND)
    assert "on" == lamp(engine)
    assert (7 * 3600 + 1) * SECOND == engine.next_wake()
    engine.advance(7 * 3600 * SECOND)
    assert "on" == lamp(engine)
    engine.advance((7 * 3600 + 1) * SECOND)
    assert "off" == lamp(engine)


def test_a_clock_that_nobody_hears_of_any_more_holds_the_light() -> None:
    """A light by the clock stays as it is when the clock's source is lost, and goes by the next time that is told."""
    engine = driven(EVENING)
    tell(engine, clock("17:59:59"), lost("tower"))
    engine.advance(SECOND)
    tell(engine, lost("panel"))
    words = "it is not known what time it is on the model clock: panel was lost"
    assert ("on", words, None) == (lamp(engine), why(engine), engine.next_wake())
    tell(engine, clock("02:00", authority=Authority.STATE))
    assert "off" == lamp(engine)


def test_a_clock_that_is_told_again_and_again_costs_no_decision() -> None:
    """A source that tells the clock every model minute makes no decision but where an hour begins or ends."""
    engine = driven(EVENING)
    made = []
    for minute in range(24 * 60):
        made += decisions(tell(engine, clock(f"{minute // 60:02}:{minute % 60:02}", minute * MINUTE)))
    assert ["off", "on", "off"] == [each.aspect for each in made]


def test_the_engine_says_what_time_it_is() -> None:
    """It is the time of the model clock at an instant, with its rate and who told it."""
    engine: Engine = driven(EVENING)
    assert engine.clock(0) is None
    tell(engine, clock("23:59:58", rate=8))
    assert ClockTime(2, 8, running=True, source="panel") == engine.clock(2 * SECOND)


def part(
    seconds: int | None = None, at: int = 0, *, rate: int | None = None, running: bool | None = None
) -> ClockReported:
    """Return what a source told that tells the clock in parts, and its time to the minute."""
    return ClockReported(
        at=at, source="panel", seconds=seconds, rate_quarters=rate, running=running, to_minute=True
    )


def test_a_clock_may_be_told_in_parts_in_any_order() -> None:
    """Rate and running that are told before the time count from then on; of each the last word holds."""
    hands = ModelClock(())
    for event in (part(running=True), part(rate=16), part(8 * 3600 + 600, MINUTE)):
        hands.report(event, 1)
    assert ("08:10:00", "08:14:00") == (shows(hands, MINUTE), shows(hands, 2 * MINUTE))

    hands.report(part(at=2 * MINUTE, rate=-4), 2)
    assert ("08:14:00", "08:13:00") == (shows(hands, 2 * MINUTE), shows(hands, 3 * MINUTE))

    hands.report(part(at=3 * MINUTE, running=False), 3)
    hands.report(part(at=4 * MINUTE, rate=8), 4)
    assert ("08:13:00", None) == (shows(hands, 9 * MINUTE), hands.due)
    hands.report(part(at=10 * MINUTE, running=True), 5)
    assert "08:15:00" == shows(hands, 11 * MINUTE)


def test_a_clock_of_which_nobody_said_that_it_runs_stands() -> None:
    """A time alone is the time, and nothing goes on from it; what one source said is not kept for the next."""
    hands = ModelClock(())
    hands.report(part(60), 1)
    assert "00:01:00" == shows(hands, MINUTE)
    hands.report(part(running=True), 2)
    hands.lose("panel", 3)
    hands.report(part(60), 4)
    assert "00:01:00" == shows(hands, MINUTE)
    early = ModelClock(())
    early.report(part(running=True), 1)
    early.lose("panel", 2)
    early.report(part(60), 3)
    assert "00:01:00" == shows(early, MINUTE)


def test_a_minute_that_is_told_again_does_not_turn_the_clock_back() -> None:
    """S-9.7.4.5 tells minutes, and may tell the same one again: whoever is in it already goes on."""
    hands = ModelClock(())
    for event in (part(running=True), part(60), part(60, 45 * SECOND)):
        hands.report(event, 1)
    assert "00:01:45" == shows(hands, 45 * SECOND)
    hands.report(part(120, 50 * SECOND), 2)
    assert "00:02:00" == shows(hands, 50 * SECOND)
    hands.report(part(60, 55 * SECOND), 3)
    assert "00:01:00" == shows(hands, 55 * SECOND)


def test_a_light_by_the_clock_goes_by_hours_that_are_passed_backwards() -> None:
    """A clock that runs backwards leaves an hour by its beginning and comes into it by its end."""
    engine = driven(EVENING)
    tell(engine, clock("18:01", rate=-4))
    made = []
    for at in range(1, 20 * 3600, 600):
        made += [(each.at, each.aspect) for each in decisions(engine.advance(at * SECOND))]
    assert [(MINUTE + 1, "off"), ((18 * 60 + 1 + 30) * MINUTE + 1, "on")] == made[:2]
