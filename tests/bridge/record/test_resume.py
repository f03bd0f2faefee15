"""A session that is cut anywhere and resumed from a snapshot goes on with the same frames."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import TypeAlias

from hypothesis import given
from hypothesis import strategies as st

from bridge.chain.timing import frame_instant
from bridge.commands import Command
from bridge.engine import Engine
from bridge.events import SECOND, Event, event_from_data, event_to_data
from tests.bridge.record.sessions import LAYOUT, Step, scripts
from tests.support.driving import layout as layout_of

Act: TypeAlias = Callable[[Engine], list[Command]]

LAYOUT_READ = layout_of(LAYOUT)


def handling(event: Event) -> Act:
    return lambda engine: engine.handle(event)


def advancing(at: int) -> Act:
    return lambda engine: engine.advance(at)


def acts_of(script: list[Step]) -> list[Act]:
    """Return what a session does to its engine, one act after the other."""
    acts: list[Act] = []
    engine = Engine(LAYOUT_READ)
    engine.start()

    def do(act: Act) -> None:
        acts.append(act)
        act(engine)

    at = 0
    for step in script:
        at += step.gap
        wake, turn = engine.next_wake(), 0
        while wake is not None and wake < at:
            turn += 1
            if step.rendered[turn % len(step.rendered)]:
                do(advancing(wake))
            wake = (
                frame_instant(wake + 1, engine.layout.frames_per_second)
                if engine.next_wake() is not None
                else None
            )
        for event in step.events:
            do(handling(event_from_data(event_to_data(event) | {"at": at})))
    do(advancing(at + SECOND // 7))
    do(advancing(at + 2 * SECOND))
    return acts


@given(scripts, st.data())
def test_a_session_cut_anywhere_goes_on_the_same(script: list[Step], data: st.DataObject) -> None:
    """From a snapshot that went through JSON a new engine makes the very commands that the old one would make."""
    acts = acts_of(script)
    cut = data.draw(st.integers(0, len(acts)), label="cut")
    whole = Engine(LAYOUT_READ)
    whole.start()
    for act in acts[:cut]:
        act(whole)
    resumed = Engine(LAYOUT_READ)
    resumed.restore(json.loads(json.dumps(whole.snapshot())))
    assert whole.present_frames() == resumed.present_frames()
    assert whole.next_wake() == resumed.next_wake()
    for act in acts[cut:]:
        assert act(whole) == act(resumed)
    assert whole.snapshot() == resumed.snapshot()
