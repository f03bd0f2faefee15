"""Whatever happens during a lamp test, and whatever test it is: it changes nothing but the frames that it lies over."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any, Final

from hypothesis import given
from hypothesis import strategies as st

from bridge.commands import Command, PublishFrame, Told
from bridge.engine import Engine
from bridge.events import (
    SECOND,
    ButtonState,
    Event,
    LampTestAsked,
    LampTestConfirmed,
    LampTestEnded,
    LampTestWay,
)
from tests.support.driving import NORMAL, REVERSE, button, copy, heard, layout, lost, order
from tests.support.lamp_testing import STREET, THROAT, YARD, ask, confirm, end

LAYOUT: Final = layout()
CHAINS: Final = (THROAT, YARD, STREET)
TESTS: Final = (LampTestAsked, LampTestConfirmed, LampTestEnded)

of_the_layout = st.one_of(
    st.builds(order, st.sampled_from([*range(61, 68), *range(101, 104)]), st.sampled_from([NORMAL, REVERSE])),
    st.sampled_from([copy(101, REVERSE), lost(), lost("booster"), heard()]),
    st.sampled_from(ButtonState).map(lambda state: button("shop", state)),
)
marks = st.sampled_from(["m1", "m2"])
of_tests = st.one_of(
    st.builds(
        ask,
        st.sampled_from(LampTestWay),
        st.sampled_from(["all", "east", *CHAINS, "T2", "T4", "Y1", "mill", "nothing"]),
        st.just(0),
        st.integers(0, 4),
        mark=marks,
        picture=st.sampled_from(["", "", "ff00", "00" * 30]),
    ),
    st.builds(confirm, st.sampled_from(CHAINS), st.just(0), marks),
    st.builds(confirm, st.sampled_from(CHAINS), st.just(0), st.just("m1")),
    st.builds(end, st.sampled_from(["", "m1", "m2"]), st.just(0), st.sampled_from(["", *CHAINS])),
)
begun: Final = [ask("chips", "all", 0, 4), confirm(THROAT)]
sessions = st.lists(st.tuples(st.integers(0, 2 * SECOND), of_the_layout | of_tests), max_size=25).map(
    lambda rest: [*((0, event) for event in begun), *rest]
)
Session = list[tuple[int, Event]]


def stamped(session: Session) -> list[Event]:
    """Turn waiting times into instants."""
    now, events = SECOND, []
    for later, event in session:
        now += later
        events.append(replace(event, at=now))
    return events


def run_to(engine: Engine, until: int) -> list[Command]:
    """Let an engine do all that is due by an instant, each at its own."""
    said: list[Command] = []
    while (wake := engine.next_wake()) is not None and wake <= until:
        said += engine.advance(wake)
    return said


def played(events: list[Event], until: int) -> tuple[Engine, list[Command]]:
    """Play events in a fresh engine, and go on until an instant."""
    engine = Engine(LAYOUT)
    said = engine.start()
    for event in events:
        said += [*run_to(engine, event.at), *engine.handle(event)]
    said += run_to(engine, until)
    return engine, said


def of_the_logic(commands: list[Command]) -> list[tuple[Any, ...]]:
    """Return what was decided and told of devices, without the numbers of events: tests are events too."""
    return [
        tuple(command)[:-2] if isinstance(command, Told) else tuple(command)[:-1]
        for command in commands
        if not isinstance(command, PublishFrame)
        and not (isinstance(command, Told) and command.subject == "lamp-test")
        and type(command).__name__ != "Note"
    ]


@given(sessions)
def test_a_test_changes_nothing_but_what_it_lies_over(session: Session) -> None:
    """Aspects, words, locks and all frames of chains that show none are as without it; afterwards all pictures are."""
    events = stamped(session)
    until = events[-1].at + 700 * SECOND
    tested, with_tests = played(events, until)
    plain, without = played([event for event in events if not isinstance(event, TESTS)], until)

    assert of_the_logic(without) == of_the_logic(with_tests)
    assert plain.locks() == tested.locks()
    assert plain.orders() == tested.orders()
    covered = {command.chain for command in with_tests if isinstance(command, PublishFrame) and command.test}
    untouched = [
        [frame for frame in said if isinstance(frame, PublishFrame) and frame.chain not in covered]
        for said in (without, with_tests)
    ]
    assert untouched[0] == untouched[1]
    # Every test is over by now: three chains, each with its time for confirming and its longest time of a few seconds.
    assert () == tested.tested()
    assert plain.present_frames() == tested.present_frames()
    # Which instants were rendered is for who drives it, and a test is one reason more.
    states = [engine.snapshot()["stage"] | {"rendered": 0} for engine in (plain, tested)]
    assert states[0] == states[1]
    assert "lamp-test" not in tested.snapshot()
    last = {frame.chain: frame for frame in with_tests if isinstance(frame, PublishFrame)}
    assert [] == [frame for frame in last.values() if frame.test]


@given(sessions)
def test_every_mark_is_true_and_no_chain_shows_a_test_beyond_its_limit(session: Session) -> None:
    """A marked run of a chain's frames begins after a confirmation for it, and is over within the limit."""
    events = stamped(session)
    engine, said = played(events, events[-1].at + 700 * SECOND)
    since: dict[int, int] = {}
    confirmed = {(event.at, event.chain) for event in events if isinstance(event, LampTestConfirmed)}
    for frame in said:
        if not isinstance(frame, PublishFrame):
            continue
        if not frame.test:
            if frame.chain in since:
                limit = 60 if any(isinstance(e, LampTestAsked) and not e.seconds for e in events) else 4
                assert frame.at - since.pop(frame.chain) <= limit * SECOND
        elif frame.chain not in since:
            since[frame.chain] = frame.at
            assert (frame.at, engine.layout.chains[frame.chain].key) in confirmed
    assert {} == since


@given(sessions, st.integers(0, 40 * SECOND))
def test_a_session_cut_in_the_midst_of_a_test_goes_on_byte_for_byte(session: Session, cut: int) -> None:
    """A snapshot holds the test as well: what follows from it is what would have followed."""
    events = stamped(session)
    instant = SECOND + cut
    whole, _said = played([event for event in events if event.at <= instant], instant)
    again = Engine(LAYOUT)
    again.restore(json.loads(json.dumps(whole.snapshot())))
    assert whole.present_frames() == again.present_frames()
    for event in [event for event in events if event.at > instant]:
        assert run_to(whole, event.at) == run_to(again, event.at)
        assert whole.handle(event) == again.handle(event)
    assert run_to(whole, instant + 700 * SECOND) == run_to(again, instant + 700 * SECOND)
    assert whole.snapshot() == again.snapshot()


@given(sessions)
def test_late_calls_end_in_the_same_picture(session: Session) -> None:
    """However seldom the engine is called, a test begins and ends at its own instants."""
    events = stamped(session)
    until = events[-1].at + 700 * SECOND
    often, _said = played(events, until)
    seldom = Engine(LAYOUT)
    seldom.start()
    for event in events:
        seldom.handle(event)
    seldom.advance(until)
    assert often.present_frames() == seldom.present_frames()
