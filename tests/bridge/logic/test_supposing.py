"""Supposing: what would come of something is tried beside the logic, on a part of it, and changes nothing."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import pytest

from bridge.engine import Engine
from bridge.events import SECOND, BlockState
from bridge.logic.supposing import LARGEST, Stage, Supposing
from bridge.record.why.candidates import candidates
from bridge.record.why.search import longest_wait, steps_of
from tests.support.demo_day import MINUTE, Day
from tests.support.planted import JUNCTION, THROAT, WELL
from tests.support.tracks import CLEAR, OCCUPIED, block, driven, run_to, tell, written

RING: Final = written(
    {f"S{place}": f"ahead: [{{blocks: [b{place}], next: S{(place + 1) % 60}}}]" for place in range(60)},
    "blocks: {" + ", ".join(f"b{place}: {{clear-after: 0 s}}" for place in range(60)) + "}\n",
)


def well() -> Engine:
    """Return the throat with all well, some seconds on."""
    engine = driven(THROAT)
    for second, event in WELL:
        engine.handle(replace(event, at=round(second * SECOND)))
    run_to(engine, 20 * SECOND)
    return engine


def short(stages: tuple[Stage, ...]) -> list[tuple[int, str, str]]:
    """Return how it stood, without the instants at which nothing of it changed."""
    found: list[tuple[int, str, str]] = []
    for each in stages:
        if not found or found[-1][1:] != (each.choice.aspect, each.choice.reason):
            found.append((each.at, each.choice.aspect, each.choice.reason))
    return found


def tell_it(supposing: Supposing, *events: object, wait: int = 60 * SECOND) -> list[tuple[int, str]]:
    """Return what it would show, from when on each."""
    trial = supposing.tell([events], wait)  # type: ignore[list-item]  # events of any kind
    return [(at, aspect) for at, aspect, _reason in short(trial.stages)]


def test_timers_run_out_and_nothing_is_changed() -> None:
    """An occupied block counts at once, a clear one after its time; the engine stays as it was."""
    engine = well()
    tell(engine, block("west", OCCUPIED, 20 * SECOND))
    before = engine.snapshot()
    supposing = engine.suppose("T1")
    assert [(20 * SECOND, "stop")] == tell_it(supposing)
    assert [(20 * SECOND, "stop"), (24 * SECOND, "clear")] == tell_it(supposing, block("west", CLEAR))
    assert [(20 * SECOND, "stop")] == tell_it(supposing, block("west", CLEAR), wait=3 * SECOND)
    assert before == engine.snapshot()


def test_only_what_lies_near_is_made_anew() -> None:
    """It is reckoned with the signals that it goes by, and no more of them than the aspects of a rule book reach."""
    assert ("T1", "T2", "T3") == well().suppose("T1").devices
    assert ("T3",) == well().suppose("T3").devices
    assert {"W", "E"} == set(driven(JUNCTION).suppose("W").devices)
    ring = driven(RING).suppose("S5")
    assert (tuple(f"S{place}" for place in range(5, 5 + LARGEST)), True) == (ring.devices, ring.cut)
    assert not well().suppose("T1").cut


def test_what_lies_further_away_stays_as_it_is() -> None:
    """In a ring that is cut off, a signal is told of what is near, as it would be in the whole one."""
    engine = driven(RING)
    tell(engine, *(block(f"b{place}", BlockState.CLEAR) for place in range(60) if place != 7))
    near, whole = engine.suppose("S6"), engine.suppose("S6", whole=True)
    assert [(0, "approach")] == tell_it(near)
    assert [(0, "clear")] == tell_it(near, block("b7", CLEAR)) == tell_it(whole, block("b7", CLEAR))


@pytest.mark.parametrize("minutes", [1, 4])
def test_a_part_does_as_the_whole_does(minutes: int) -> None:
    """On the demo's layout, in the midst of its day, for every signal and light, zone and crossing."""
    day = Day(1)
    for _moment in day.moments(minutes * MINUTE):
        pass
    engine = day.engine
    wait = longest_wait(engine.layout)
    names = [*engine.choices(), *(zone.name for zone in engine.layout.zones)]
    names += [crossing.name for crossing in engine.layout.crossings]
    for turn, name in enumerate(names):
        near = engine.suppose(name)
        if near.cut:
            continue
        every = candidates(engine, near.devices)
        # All at once: how long one step takes to settle depends on whose timers are waited for.
        events = (
            [event for step in steps_of(every[turn % len(every) :][:1]) for event in step] if every else []
        )
        whole = engine.suppose(name, whole=True)
        assert short(near.tell([events], wait).stages) == short(whole.tell([events], wait).stages), name
