"""Gates on the road's way out: after the others on the way down, and never shut while those are open."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.check import check_text
from bridge.commands import Told
from bridge.engine import Engine
from bridge.events import SECOND
from bridge.layout.crossings import ExitGates, Phase
from bridge.layout.rules.crossings import CROSSING_RULES, GREAT_BRITAIN
from bridge.logic.crossing import Crossing
from bridge.logic.exit_gates import Exits
from tests.bridge.test_engine_crossing import BLOCKS, FILE, report, run
from tests.support.crossings import GATES, MILL_LANE, Watched
from tests.support.driving import layout

EXITS: Final = ExitGates(lowering=7 * SECOND, raising=GATES.raising)
FOUR: Final = replace(MILL_LANE, exits=EXITS)
FILE_GB: Final = FILE.replace("RULES", "great-britain").replace(
    "    gates:", "    exit-gates: {}\n    gates:"
)


def state(watched: Watched) -> str:
    """Return where the exit gates are."""
    assert watched.crossing.exits is not None
    return watched.crossing.exits.state


def exits_start_when_the_others_are_down() -> None:
    """Let a train come, and look at the exit gates before, while and after they come down."""
    watched = Watched(FOUR)
    watched.say("ua o")
    watched.wait(GATES.start_after + GATES.lowering - 1)
    assert (Phase.LOWERING, "up") == (watched.phase, state(watched))
    watched.wait(1)
    assert (Phase.DOWN, "lowering") == (watched.phase, state(watched))
    watched.wait(EXITS.lowering - 1)
    assert "lowering" == state(watched)
    watched.wait(1)
    assert "down" == state(watched)
    assert Phase.DOWN is watched.wait(3600 * SECOND)


def test_exit_gates_start_when_the_others_are_down() -> None:
    """Entrance barriers first, and then the exit barriers: S.R. (NI) 2023/9 Sch. 2 para 11."""
    exits_start_when_the_others_are_down()


def test_exit_gates_of_great_britain_take_six_to_ten_seconds() -> None:
    """The exit barriers take 6 to 10 s: S.R. (NI) 2023/9 Sch. 2 para 11. Elsewhere nothing is prescribed."""
    assert (6 * SECOND, 10 * SECOND) == (GREAT_BRITAIN.exit_lowering.least, GREAT_BRITAIN.exit_lowering.most)
    others = [each.exit_lowering for each in CROSSING_RULES.values() if each is not GREAT_BRITAIN]
    assert {(None, None)} == {(each.least, each.most) for each in others}


def test_all_gates_rise_together() -> None:
    """When no train is near all gates rise at once, and the lights go out when all are up: MUTCD 8C.04 p.04."""
    watched = Watched(FOUR)
    watched.down()
    watched.say("ua c")
    assert (Phase.RISING, "rising") == (watched.phase, state(watched))
    assert Phase.RISING is watched.wait(GATES.raising - 1)
    assert "rising" == state(watched)
    assert Phase.IDLE is watched.wait(1)
    assert "up" == state(watched)


def test_exit_gates_that_turn_round_take_the_rest_of_their_time() -> None:
    """A train that is gone while they come down has them rise from where they are."""
    watched = Watched(FOUR)
    watched.say("ua o")
    watched.wait(GATES.start_after + GATES.lowering + EXITS.lowering // 7)
    watched.say("ua c")
    assert "rising" == state(watched)
    watched.wait(GATES.raising // 7 + GATES.raising // 1_000_000 + 2)
    assert (Phase.RISING, "up") == (watched.phase, state(watched))


def test_exit_gates_rise_on_while_the_others_come_down_for_another_train() -> None:
    """Nobody is shut in: they come down again only when the others are down."""
    watched = Watched(FOUR)
    watched.down()
    watched.say("ua c")
    watched.wait(GATES.raising // 2)
    watched.say("da o")
    assert (Phase.LOWERING, "rising") == (watched.phase, state(watched))
    watched.wait(GATES.lowering // 2)
    assert (Phase.DOWN, "lowering") == (watched.phase, state(watched))


def test_exit_gates_without_a_time_are_there_at_once() -> None:
    """A time of 0 is no time."""
    exits = Exits(ExitGates(0, 0))
    exits.follow(SECOND, down=True)
    assert ("down", None) == (exits.state, exits.due)
    exits.follow(SECOND, down=False)
    assert ("up", None) == (exits.state, exits.due)


@given(
    st.lists(
        st.tuples(st.integers(0, 12 * SECOND), st.sampled_from(["ua o", "ua c", "ux o", "ux c", "ua ?"]))
    )
)
def test_exit_gates_are_up_whenever_the_road_is_open(story: list[tuple[int, str]]) -> None:
    """Whatever trains do, lights go out only with all gates up, and exit gates come down only while the others are."""
    watched = Watched(FOUR)
    for pause, words in story:
        watched.wait(pause)
        watched.say(words)
        assert state(watched) not in ("lowering", "down") or watched.phase is Phase.DOWN
        assert "up" == state(watched) or watched.red
        kept = Crossing(FOUR)
        kept.set_state(json.loads(json.dumps(watched.crossing.state())))
        assert watched.crossing.state() == kept.state()


def follows_too_early(self: Exits, at: int, *, down: bool) -> None:
    """Let exit gates come down whatever the others do."""
    del down
    self.due, self.state = at + SECOND, "lowering"


def test_a_broken_rule_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """The check above fails where exit gates start before the others are down."""
    monkeypatch.setattr(Exits, "follow", follows_too_early)
    with pytest.raises(AssertionError):
        exits_start_when_the_others_are_down()


def test_exit_gates_are_published() -> None:
    """Each step of them is told, the first 5 + 8 s after the red lights; at the end they are up, the others down."""
    engine = Engine(layout(FILE_GB))
    engine.start()
    for block in BLOCKS:
        engine.handle(report(block, "clear", 0))
    run(engine, 60 * SECOND)
    done = engine.handle(report("west", "occupied", 60 * SECOND))
    done += run(engine, 100 * SECOND)
    done += engine.handle(report("west", "clear", 100 * SECOND))
    done += run(engine, 130 * SECOND)
    told = [
        (each.at // SECOND, each.state)
        for each in done
        if isinstance(each, Told) and each.subject == "exit-gate"
    ]
    assert [(76, "lowering"), (84, "down"), (101, "rising"), (109, "up")] == told
    last = [each for each in engine.closing(131 * SECOND) if isinstance(each, Told)]
    assert [("gate", "down"), ("exit-gate", "up")] == [(each.subject, each.state) for each in last]


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (
            "exit-gates: {}",
            "exit-gates: {lower: 11 s}",
            "11 s does not fit: great-britain allows from 6 s to 10 s",
        ),
        ("exit-gates: {}", "exit-gates:", "write {} for exit gates as the rules have them"),
        ("exit-gates: {}\n    gates: {}", "exit-gates: {}", "this crossing has no `gates`"),
    ],
)
def test_a_mistake_is_told(old: str, new: str, says: str) -> None:
    """Exit gates out of their limits, left empty or alone are an error that says what to do."""
    assert old in FILE_GB
    found = check_text(FILE_GB.replace(old, new)).findings
    assert any(says in each.message for each in found), [each.message for each in found]
