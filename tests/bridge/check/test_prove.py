"""What is sound is proved; what is not is shown by the fewest steps, and the engine does the same."""

from __future__ import annotations

from time import process_time
from types import MappingProxyType
from typing import Final

import pytest

from bridge.check.prove import proof, symbols
from bridge.check.prove.asking import Tried
from bridge.check.prove.machine import Machine
from bridge.check.prove.parts import Outside
from bridge.check.prove.space import Space, TooLarge
from bridge.logic import gate
from bridge.logic.gate import Happens, State
from tests.support.driving import layout as layout_of
from tests.support.proving import (
    CROSSING,
    DOUBLE_JUNCTION,
    NO_CLEAR,
    NO_CONFLICT,
    NO_FLANK,
    SIDING,
    STRAIGHT,
    TOO_SHORT,
)

LONGEST: Final = 60
"""Seconds of this process; on one core of a desk computer it takes some five."""


def watch(group: tuple[str, ...], done: int, of: int) -> None:
    """Look on."""
    assert group
    assert 0 <= done < of


def proved(text: str) -> tuple[proof.Group, ...]:
    """Prove a layout."""
    return tuple(proof.prove_layout(layout_of(text), watch))


def failure(text: str) -> proof.Failure:
    """Return what is wrong with a layout in which one thing is."""
    (group,) = proved(text)
    assert "" == group.too_large
    (found,) = group.failures
    return found


def said(found: proof.Failure) -> list[str]:
    """Return the steps of a counter-example."""
    return [step.words for step in found.story.steps]


def test_a_junction_of_six_signals_is_proved() -> None:
    """Six signals, four turnouts and eight blocks with crossover and branches are proved, in seconds."""
    began = process_time()
    (group,) = proved(DOUBLE_JUNCTION)
    assert (("W1", "W2", "E1", "E2", "B1", "B2"), (), "") == (group.signals, group.failures, group.too_large)
    assert group.claims > 20
    assert process_time() - began < LONGEST


@pytest.mark.parametrize("text", [CROSSING, SIDING, STRAIGHT], ids=["crossing", "siding", "straight"])
def test_what_is_sound_is_proved(text: str) -> None:
    """The small layouts are proved as long as nothing is left out of them."""
    assert all(group.proved for group in proved(text))


def test_a_conflict_that_nobody_named_is_found() -> None:
    """Two tracks that cross share no block and no turnout; both signals clear where neither names the other."""
    found = failure(NO_CONFLICT)
    assert found.confirmed
    assert found.words == (
        "S is better than stop for over, and W is better than stop for over, although "
        "their blocks diamond-ns and diamond-ew foul each other"
    )
    # Four blocks clear and two orders: with fewer, one of the two could not have cleared.
    assert 6 == len(said(found))
    assert {"S is ordered to clear", "W is ordered to clear"} <= set(said(found))


def test_a_fouling_block_that_need_not_be_clear_is_found() -> None:
    """A signal that clears while a train stands on the crossing track is found."""
    found = failure(NO_CLEAR)
    assert found.confirmed
    assert found.words.startswith("S is better than stop for over while block diamond-ew, which fouls")
    assert 3 == len(said(found))


def test_a_flank_that_is_not_protected_is_found() -> None:
    """A turnout that leads into the side of a route, and which the route does not need otherwise, is found."""
    found = failure(NO_FLANK)
    assert found.confirmed
    assert "accessory 21, which leads reverse into the side of main" in found.words
    assert ["block main becomes clear", "M is ordered to clear"] == said(found)


def test_a_time_that_is_too_short_is_found() -> None:
    """A route that is let go of 10 s after its signal fell back, while a train may take 25 s to stop, is found."""
    found = failure(TOO_SHORT)
    assert found.confirmed
    assert (
        "the route of T is let go of while a train that was near when T fell back may still come"
        == found.words
    )
    *_, back, over = found.story.steps
    assert ("T is ordered to go back to its most restrictive aspect", 10) == (
        back.words,
        (over.at - back.at) / 10**9,
    )
    assert "time passes, and a timer of T runs out" == over.words


def test_what_the_engine_does_not_do_is_not_confirmed() -> None:
    """What goes by the track is taken to tell anything; what is found so is handed on with the engine's word."""
    by_track = NO_FLANK.replace(
        "buttons: {latched: {off: stop, go: clear}}",
        "sequence: [stop, clear]\n    ahead: [{turnouts: {21: normal}, blocks: [main]}]",
    )
    found = failure(by_track)
    assert (True, False) == (found.story.possible, found.confirmed)
    assert "accessory 21, which leads reverse into the side of main" in found.words


def test_a_layout_without_routes_has_no_groups() -> None:
    """Where no signal has routes there is nothing to prove."""
    plain, _routes = STRAIGHT.split("    locking:")
    assert () == proved(plain)


def test_signals_that_have_nothing_to_do_with_each_other_are_proved_apart() -> None:
    """Two signals on two tracks are two groups; blocks that foul each other make them one."""
    apart = NO_CONFLICT.replace("{fouls: [diamond-ew]}", "").replace(", clear: [diamond-ew]", "")
    assert (("S",), ("W",)) == proof.groups(layout_of(apart))
    assert (("S", "W"),) == proof.groups(layout_of(NO_CONFLICT))


def mutated(monkeypatch: pytest.MonkeyPatch, state: State, happens: Happens, after: State | None) -> None:
    """Plant a fault into the table of the gate; with None, what stands there is left out."""
    table = {key: dict(row) for key, row in gate.GATE.items()}
    if after is None:
        del table[state][happens]
    else:
        table[state][happens] = after
    monkeypatch.setattr(gate, "GATE", MappingProxyType(table))


def test_a_gate_that_lets_go_in_the_face_of_a_train_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """With approach locking taken out of the table of the engine, the proof finds the train that may still come."""
    mutated(monkeypatch, State.SET, Happens.WITHDRAWN_NEAR, State.FREE)
    found = failure(STRAIGHT)
    assert found.confirmed
    assert "may still come" in found.words


@pytest.mark.parametrize(
    ("state", "happens"), [(State.TIMED, Happens.EXPIRED), (State.PASSED, Happens.CLEARED)]
)
def test_a_gate_that_never_lets_go_is_found(
    monkeypatch: pytest.MonkeyPatch, state: State, happens: Happens
) -> None:
    """With the end of a lock taken out of the table of the engine, the proof finds the route that stays locked."""
    mutated(monkeypatch, state, happens, None)
    found = failure(STRAIGHT)
    assert found.confirmed
    assert (
        "the route of T is locked, and nothing lets go of it again unless another train comes" == found.words
    )


def test_a_lock_from_before_a_restart_that_never_ends_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """With the end of such a lock taken out of the table, the proof shows the start after which it stays for ever."""
    mutated(monkeypatch, State.KEPT, Happens.EXPIRED, None)
    found = failure(STRAIGHT)
    assert found.confirmed
    assert (
        "the route of T is locked, and nothing lets go of it again unless another train comes" == found.words
    )
    assert ["lamproom starts, and the route along of T was locked before"] == said(found)


def test_a_lock_from_before_a_restart_that_ends_at_once_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without its time running anew, the proof finds the train that saw the signal clear before the restart."""
    over = gate.Gate._time_is_over
    monkeypatch.setattr(
        gate.Gate, "_time_is_over", lambda self, *facts: self.state is State.KEPT or over(self, *facts)
    )
    found = failure(STRAIGHT)
    assert found.confirmed
    assert "the route of T is let go of while a train that was near when T fell back" in found.words
    assert "lamproom starts, and the route along of T was locked before" == said(found)[0]


def test_a_gate_that_takes_no_notice_of_what_breaks_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """With the broken route taken out of the table of the engine, the signal that stays clear is found."""
    mutated(monkeypatch, State.SET, Happens.BROKEN, None)
    found = failure(SIDING)
    assert found.confirmed
    assert "M is better than stop for along while accessory 21" in found.words


def test_what_is_too_large_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """A group that is not done in its time is named with the reason, and counts as not proved."""

    def hurry(group: tuple[str, ...], done: int, of: int) -> None:
        del of
        if done:
            raise TooLarge(f"{group[0]} takes too long")

    (group,) = proof.prove_layout(layout_of(CROSSING), hurry)
    assert ("S takes too long", False) == (group.too_large, group.proved)
    monkeypatch.setattr(proof, "MOST_SECTIONS", 1)
    (group,) = proved(CROSSING)
    assert "a route of S has 2 sections, and 1 are the most" == group.too_large


def test_layers_and_filling_find_the_same() -> None:
    """What is found layer by layer and what is found all at once are the same states."""
    layout = layout_of(CROSSING)
    machine = Machine(layout, ("S", "W"), Outside.IDLE, Tried(layout))
    layered, filled = Space(machine), Space(machine)
    for _layer in layered.grow(lambda _nodes: None):
        pass
    filled.fill(lambda _nodes: None)
    assert layered.reached == filled.reached


def test_diagrams_that_find_no_room_are_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """A group whose diagrams need more nodes than there may be is named as too large, and nothing else happens."""
    monkeypatch.setattr(symbols, "MOST_NODES", 5000)
    (group,) = proved(CROSSING)
    assert ("the diagrams need more room than there is", False) == (group.too_large, group.proved)


@pytest.mark.parametrize(("text", "name"), [(NO_FLANK, "M"), (NO_CLEAR, "S")])
@pytest.mark.parametrize("mark", ["planned: true", "broken: 1", "bypassed: 1"])
def test_what_stands_on_no_lamps_is_never_told_to_clear(text: str, name: str, mark: str) -> None:
    """A fault that takes an order to a signal is none while that signal is not built, or its chip has died."""
    assert failure(text).story.steps
    mast = f"{{name: {name}, build: mast}}"
    for group in proved(text.replace(mast, f"{mast[:-1]}, {mark}}}")):
        assert ((), "") == (group.failures, group.too_large)


def test_what_it_had_locked_before_its_chip_died_still_counts() -> None:
    """A train may have seen it clear before: that a lock from before a restart is not enough is found as ever."""
    text = NO_CONFLICT.replace("{name: W, build: mast}", "{name: W, build: mast, broken: 1}")
    steps = said(failure(text))
    assert "lamproom starts, and the route over of W was locked before" == steps[0]
    assert "S is ordered to clear" == steps[-1]
