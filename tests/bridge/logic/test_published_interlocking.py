"""More of what is published of interlocking and detectors, rule by rule; each check fails where its rule is broken."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any, Final, NamedTuple

import pytest

from bridge.commands import Command, PublishFrame, Told
from bridge.engine import Engine
from bridge.events import SECOND, Position
from bridge.logic import gate
from bridge.logic.gate import Gate, Happens, State
from bridge.logic.known import Known
from tests.support.broken_mixtures import no_conflicts
from tests.support.broken_rules import Break, believes_orders, delays
from tests.support.driving import order
from tests.support.junction import JUNCTION, Junction
from tests.support.tracks import CLEAR, OCCUPIED, block, driven, run_to, shown, tell, written


def cleared(text: str = JUNCTION) -> Junction:
    """Return a junction with W clear to the east since second 20."""
    junction = Junction(text)
    junction.order(63, "normal", 11)
    junction.order(71, "reverse", 20)
    assert "clear" == junction.shows("W")
    return junction


def a_derail_that_does_not_derail_stops() -> None:
    """A derail beside the route that does not stand to derail keeps its signal at stop, and puts it there."""
    junction = Junction()
    junction.stands(63, "reverse", 11)
    junction.order(71, "reverse", 20)
    assert "approach" == junction.shows("W")
    junction.order(66, "reverse", 30)
    assert "stop" == junction.shows("W")
    junction.order(71, "reverse", 100)
    assert "stop" == junction.shows("W")


def an_open_hand_switch_stops() -> None:
    """A switch whose feedback no longer says that it is closed puts the signal to stop with that very event."""
    for position in ("moving", "unknown", "reverse"):
        junction = cleared()
        junction.stands(63, position, 30)
        assert (30.0, "stop") == junction.changes("W")[-1]


def every_signal_has_a_lock_of_its_own() -> None:
    """Without a word in the file a route is locked for 20 s: 120 s of the prototype at six to one."""
    junction = cleared(re.sub(r"    locking: .*\n", "", JUNCTION))
    junction.order(71, "normal", 30)
    junction.order(72, "reverse", 31)
    junction.wait(49.9)
    assert ("locked", "stop") == (junction.locks()["63"], junction.shows("E"))
    junction.wait(50)
    assert "clear" == junction.shows("E")


def places(commands: list[Command], at: float) -> tuple[list[int], list[int]]:
    """Return where among some commands frames stand, and where it is told that a turnout is free."""
    here = [each for each in commands if getattr(each, "at", -1) == round(at * SECOND)]
    sent = [place for place, each in enumerate(here) if isinstance(each, PublishFrame)]
    free = [place for place, each in enumerate(here) if isinstance(each, Told) and each.state == "free"]
    return sent, free


def stop_goes_out_before_a_turnout_is_unlocked() -> None:
    """The frame with the signal at stop comes before the word that its turnout is free."""
    junction = cleared()
    junction.order(71, "normal", 30)
    sent, free = places(junction.commands, 30)
    assert [1, 1] == [len(sent), len(free)]
    assert sent[0] < free[0]


DIAMOND: Final = JUNCTION.replace(
    "sections: [points, east], conflicts", "sections: [points, east], clear: [branch], conflicts"
)


def all_that_conflicts_is_clear_and_at_rest() -> None:
    """A signal clears only with the blocks of routes in conflict clear too, and none of their timers running."""
    junction = Junction(DIAMOND.replace("approach: [west], ", ""))
    junction.block("branch", "occupied", 15)
    junction.order(71, "reverse", 20)
    assert ("stop", "block branch is occupied" in junction.why("W")) == (junction.shows("W"), True)
    junction.block("branch", "clear", 30)
    junction.wait(40)
    assert "clear" == junction.shows("W")
    junction.order(71, "normal", 51)
    junction.order(72, "reverse", 52)
    junction.wait(70.9)
    assert ("stop", "stop") == (junction.shows("W"), junction.shows("E"))
    assert "W has a route locked that is in conflict with it" in junction.why("E")
    junction.order(72, "reverse", 71)
    assert "clear" == junction.shows("E")


SINGLE: Final = written(
    {
        "EAST": "commands: {71: {normal: stop, reverse: clear}}, locking: {time: 10 s}, "
        "routes: {over: {sections: [s1, s2], conflicts: [WEST]}}",
        "WEST": "commands: {72: {normal: stop, reverse: clear}}, locking: {time: 10 s}, "
        "routes: {back: {sections: [s3, s2], conflicts: [EAST]}}",
    },
    "blocks: {s1: {clear-after: 0 s}, s2: {clear-after: 0 s}, s3: {clear-after: 0 s}}\n",
)


def the_direction_stays_while_a_train_is_on_the_line() -> None:
    """The signal of the other direction stays at stop from when one has cleared until its train has left the line."""
    engine: Engine = driven(SINGLE)
    tell(engine, *(block(name, CLEAR) for name in ("s1", "s2", "s3")), order(71, Position.REVERSE, SECOND))
    assert ["clear", "stop"] == shown(engine, "EAST", "WEST")
    tell(engine, order(72, Position.REVERSE, 2 * SECOND))
    for at, name, state in ((3, "s1", OCCUPIED), (5, "s2", OCCUPIED), (6, "s1", CLEAR)):
        tell(engine, block(name, state, at * SECOND))
        assert ["stop", "stop"] == shown(engine, "EAST", "WEST")
    run_to(engine, 30 * SECOND)
    assert ["stop", "stop"] == shown(engine, "EAST", "WEST")
    tell(engine, block("s2", CLEAR, 30 * SECOND))
    run_to(engine, 35 * SECOND)
    assert ["stop", "stop"] == shown(engine, "EAST", "WEST")
    run_to(engine, 35 * SECOND + 1)
    assert ["stop", "clear"] == shown(engine, "EAST", "WEST")


DETECTORS: Final = written(
    {"A1": "ahead: [{blocks: [whole], beyond: clear}]", "A2": "ahead: [{blocks: [place], beyond: clear}]"},
    "blocks: {whole: {}, place: {detector: spot}}\n",
)


def a_spot_detector_waits_longer() -> None:
    """One that sees a single place says nothing of the rest: clear counts after 10 s there, elsewhere after 1.5 s."""
    engine = driven(DETECTORS)
    tell(engine, block("whole", CLEAR), block("place", CLEAR))
    seen = []
    for at in (3 * SECOND // 2 - 1, 3 * SECOND // 2, 10 * SECOND - 1, 10 * SECOND):
        run_to(engine, at)
        seen.append(shown(engine, "A1", "A2"))
    assert [["stop", "stop"], ["clear", "stop"], ["clear", "stop"], ["clear", "clear"]] == seen


# ---- ways to break them --------------------------------------------------------------------------------------------


def without(word: str) -> Break:
    """Let gates know nothing of `flank` or of `clear` of a route."""

    def broken(patch: pytest.MonkeyPatch) -> None:
        amiss = Gate._amiss

        def looked(self: Gate, route: Any, known: Known) -> str:
            return amiss(self, replace(route, **{word: ()}), known)

        patch.setattr(Gate, "_amiss", looked)

    return broken


def never_near(patch: pytest.MonkeyPatch) -> None:
    """Let a route be free as soon as its signal is put back."""
    patch.setitem(gate.GATE[State.SET], Happens.WITHDRAWN_NEAR, State.FREE)


def tells_first(patch: pytest.MonkeyPatch) -> None:
    """Let words go out before frames."""
    follow = Engine._follow

    def told_first(self: Engine, *args: Any) -> list[Command]:
        return sorted(follow(self, *args), key=lambda each: not isinstance(each, Told))

    patch.setattr(Engine, "_follow", told_first)


class Rule(NamedTuple):
    """A rule: where it is published, its check, and what breaks it."""

    source: str
    check: Callable[[], None]
    breaks: tuple[Break, ...]


RULES: Final = (
    Rule("49 CFR 236.205", a_derail_that_does_not_derail_stops, (without("flank"),)),
    Rule("49 CFR 236.202, 236.303", an_open_hand_switch_stops, (believes_orders,)),
    Rule(
        "49 CFR 236.305, 236.407; times of a signalling glossary",
        every_signal_has_a_lock_of_its_own,
        (never_near,),
    ),
    Rule("49 CFR 236.314", stop_goes_out_before_a_turnout_is_unlocked, (tells_first,)),
    Rule("49 CFR 236.311(b)", all_that_conflicts_is_clear_and_at_rest, (without("clear"), no_conflicts)),
    Rule("49 CFR 236.405, 236.204", the_direction_stays_while_a_train_is_on_the_line, (no_conflicts,)),
    Rule(
        "49 CFR 236.201; common practice, no source, for the times",
        a_spot_detector_waits_longer,
        (delays(CLEAR, 3 * SECOND // 2),),
    ),
)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: f"{rule.check.__name__} ({rule.source})")
def test_rule_is_kept(rule: Rule) -> None:
    """Each rule holds."""
    rule.check()


@pytest.mark.parametrize(
    ("rule", "broken"),
    [
        pytest.param(rule, broken, id=f"{rule.check.__name__}-{number}")
        for rule in RULES
        for number, broken in enumerate(rule.breaks)
    ],
)
def test_a_broken_rule_is_seen(rule: Rule, broken: Break, monkeypatch: pytest.MonkeyPatch) -> None:
    """With its rule broken in the code, each check fails."""
    broken(monkeypatch)
    with pytest.raises(AssertionError):
        rule.check()
