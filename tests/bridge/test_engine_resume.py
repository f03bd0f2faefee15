from __future__ import annotations

import json
from dataclasses import replace
from typing import Any, Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.commands import Cause, Command
from bridge.engine import Engine
from bridge.errors import EngineError
from bridge.events import ButtonState, Event
from tests.support.driving import (
    DEVICES,
    FERNHOLLOW,
    NORMAL,
    REVERSE,
    aspects,
    button,
    copy,
    heard,
    layout,
    lost,
    order,
    started,
)

LAYOUT: Final = layout()

happenings = st.one_of(
    st.tuples(
        st.sampled_from([*range(61, 68), *range(101, 104)]),
        st.sampled_from([NORMAL, REVERSE]),
        st.sampled_from(["panel", "booster"]),
    ).map(lambda each: order(each[0], each[1], 0, each[2])),
    st.sampled_from([copy(101, REVERSE), lost(), lost("booster"), heard()]),
    st.sampled_from(ButtonState).map(lambda state: button("shop", state)),
    st.none(),  # an instant that is rendered
)
sessions = st.lists(st.tuples(st.integers(0, 400_000_000), happenings), max_size=25)
Session = list[tuple[int, Event | None]]


def stamped(session: Session) -> list[tuple[int, Event | None]]:
    """Turn waiting times into instants."""
    now, result = 0, []
    for later, event in session:
        now += later
        result.append((now, None if event is None else restamped(event, now)))
    return result


def restamped(event: Event, at: int) -> Event:
    """Return the same event at another instant."""
    return replace(event, at=at)


def played(engine: Engine, session: list[tuple[int, Event | None]]) -> list[list[Command]]:
    """Play what happens, each wake that is due before it first; return the commands step by step."""
    said = []
    for at, event in session:
        while (wake := engine.next_wake()) is not None and wake <= at:
            said.append(engine.advance(wake))
        said.append(engine.advance(at) if event is None else engine.handle(event))
    return said


@given(sessions)
def test_same_events_give_the_same_commands(session: Session) -> None:
    """Two engines that hear the same say the same, to the byte."""
    first, second = Engine(LAYOUT), Engine(LAYOUT)
    first.start()
    second.start()

    assert played(first, stamped(session)) == played(second, stamped(session))
    assert first.snapshot() == second.snapshot()


@given(sessions, st.integers(0, 25))
def test_cut_anywhere_and_resumed_gives_the_same_commands(session: Session, cut: int) -> None:
    """An engine that takes back a snapshot through JSON, in the midst of a fade too, goes on as if never cut."""
    whole = Engine(LAYOUT)
    whole.start()
    played(whole, stamped(session)[:cut])
    resumed = Engine(LAYOUT)
    resumed.restore(json.loads(json.dumps(whole.snapshot())))

    assert played(whole, stamped(session)[cut:]) == played(resumed, stamped(session)[cut:])
    assert whole.snapshot() == resumed.snapshot()
    assert whole.closing(10**12) == resumed.closing(10**12)


def test_event_after_the_last_frame_hides_no_frame_from_the_resumed() -> None:
    """A fade's last frame is still to come where only silent events stood between its end and the cut."""
    whole = started()
    whole.handle(order(63, REVERSE, 0))
    whole.handle(heard(at=10**9))
    resumed = Engine(LAYOUT)
    resumed.restore(whole.snapshot())
    wake = whole.next_wake()
    assert wake is not None

    last = whole.advance(wake)

    assert 1 == len(last)
    assert last == resumed.advance(wake)


@given(sessions, st.lists(st.integers(0, 10**10), max_size=20))
def test_frames_that_are_rendered_in_between_change_nothing_later(session: Session, extra: list[int]) -> None:
    """However many instants are rendered besides, aspects and the frames at the end are the same."""
    often, seldom = Engine(LAYOUT), Engine(LAYOUT)
    often.start()
    seldom.start()
    happened = stamped(session)
    end = happened[-1][0] if happened else 0
    more = [(at % (end + 1), None) for at in extra]
    played(often, sorted([*happened, *more], key=lambda each: each[0]))
    for event in (event for _at, event in happened if event is not None):
        seldom.handle(event)

    for at in (end, end + 50_000_000, end + 10**9):
        often.advance(at)
        seldom.advance(at)
        assert often.all_frames(Cause.MOTION) == seldom.all_frames(Cause.MOTION)
    assert aspects(often) == aspects(seldom)


def staged(motion: dict[str, Any]) -> dict[str, Any]:
    """Return the part of a snapshot that holds what the channels show."""
    return {"stage": {"motion": motion, "rendered": 0}}


OTHER: Final = FERNHOLLOW.replace("kiosk", "tower")


@pytest.mark.parametrize(
    "spoil",
    [
        {"format": 0},
        {"format": None},
        {"board": None},
        {"board": {}},
        {"board": {device: ["trusted", "green", "", [], ""] for device in DEVICES}},
        {"board": {device: ["certain", "stop", "", [], ""] for device in DEVICES}},
        {"board": list(DEVICES)},
        staged({"levels": [0] * 30, "fades": []}),
        staged({"levels": [0] * 31, "fades": [[1, 2]]}),
        staged({"levels": [0] * 31, "fades": [[31, 0, 9, 0, 9, 0, 10]]}),
        staged({"levels": [70_000] * 31, "fades": []}),
        staged({"levels": [None] * 31, "fades": []}),
        staged({"levels": [0] * 31, "fades": [[3, 0, 70_000, 0, 9, 0, 10]]}),
        staged({}),
        {"stage": {"motion": {"levels": [0] * 31, "fades": []}}},
        {"stage": {"rendered": 0}},
        {"repeats": [["booster", 61]]},
        {"repeats": [["booster", 61, "sideways", 0]]},
        {"now": "soon"},
        {"board": Engine(layout(OTHER)).snapshot()["board"]},
    ],
)
def test_snapshot_that_does_not_fit_is_refused_whole(spoil: dict[str, Any]) -> None:
    """A snapshot of another format or layout, or a broken one, raises EngineError and changes nothing."""
    engine = started()
    engine.handle(order(63, REVERSE, 0))
    before = engine.snapshot()
    other = Engine(LAYOUT)
    other.handle(order(61, REVERSE, 99, "booster"))

    with pytest.raises(EngineError):
        engine.restore({**other.snapshot(), **spoil})
    assert before == engine.snapshot()


@pytest.mark.parametrize("key", ["board", "repeats", "stage", "now", "events"])
def test_snapshot_with_a_part_missing_is_refused(key: str) -> None:
    """Each part of a snapshot has to be there."""
    engine = started()
    data = engine.snapshot()
    del data[key]

    with pytest.raises(EngineError, match="cannot be understood"):
        engine.restore(data)
