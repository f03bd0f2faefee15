"""More of what is prescribed for level crossings: Germany, failed gates, and how many lights an arm has."""

from __future__ import annotations

from typing import Final

import pytest

from bridge.commands import Command, Decision
from bridge.events import SECOND, LinkState, NodeReported
from bridge.layout.rules.crossings import CROSSING_RULES, NORTH_AMERICA
from tests.bridge.test_engine_crossing import BLOCKS, FILE, decided, idle, report, run, told
from tests.support.driving import layout, started

GERMAN: Final = (
    FILE.replace("RULES", "germany")
    .replace(
        "left: {channel: 1, colour: red}, right: {channel: 2, colour: red}",
        "red: {channel: 1}, yellow: {channel: 2}",
    )
    .replace("amber: {channel: 3}", "spare: {channel: 3, colour: green}")
)


def shown(commands: list[Command], device: str) -> list[tuple[float, str]]:
    """Return when a device was given another aspect, in seconds, and which."""
    return [(at / SECOND, aspect) for at, aspect in decided(commands, device)]


def german() -> list[Command]:
    """Return all that follows from a train at 60 s that has crossed at 90 s, with a second one behind it."""
    engine = started(GERMAN)
    for block in BLOCKS:
        engine.handle(report(block, "clear", 0))
    run(engine, 60 * SECOND)
    assert {"dark"} == {choice.aspect for choice in engine.choices().values()}
    done = engine.handle(report("west", "occupied", 60 * SECOND))
    done += run(engine, 70 * SECOND)
    done += engine.handle(report("west-2", "occupied", 70 * SECOND))
    done += run(engine, 90 * SECOND)
    done += engine.handle(report("west", "clear", 90 * SECOND))
    done += engine.handle(report("west-2", "clear", 95 * SECOND))
    return done + run(engine, 130 * SECOND)


def test_germany_shows_yellow_then_red_and_is_dark_when_idle() -> None:
    """Yellow, then red, and nothing while no train is near: EBO Anlage 5 to para 11; the times common practice."""
    # Clear counts after 1 s, the gates take 8 s to rise, and then the lights go out.
    assert [(60, "amber"), (63, "stop"), (104, "dark")] == shown(german(), "XW")


def test_germany_tells_of_a_further_train() -> None:
    """The sign of a further train is lit while one is coming on another track: EBO Anlage 5 to para 11."""
    assert [(70, "lit"), (104, "dark")] == shown(german(), "S")


def test_a_gate_arm_of_north_america_has_three_lights_at_least() -> None:
    """At least three red lights on each arm: MUTCD 8C.04 p.07."""
    arm = NORTH_AMERICA.arm
    assert arm is not None
    [[form]] = arm.forms()
    assert 3 <= len(form)


def test_arms_that_fail_do_not_stop_the_lights() -> None:
    """A failure of the gates stops no light: Minn. R. 8830.1550. Here the node of an arm and of one post is silent."""
    engine = idle()
    at = 60 * SECOND
    done = engine.handle(NodeReported(at=at, source="nodes", node="bench", state=LinkState.LOST))
    done += engine.handle(report("west", "occupied", at))
    done += run(engine, at + 30 * SECOND)
    assert [(60, "stop")] == shown(done, "XE")
    assert ["lowering", "down"] == [state for _at, state in told(done)]


@pytest.mark.parametrize("rules", CROSSING_RULES)
def test_a_sign_or_post_says_why_it_changes(rules: str) -> None:
    """Each change of a light of a crossing names the train or what is not known, and an event."""
    text = GERMAN if rules == "germany" else FILE.replace("RULES", rules)
    engine = started(text)
    assert layout(text).crossings
    done = [command for block in BLOCKS for command in engine.handle(report(block, "clear", SECOND))]
    done += run(engine, 60 * SECOND)
    done += engine.handle(report("lane", "occupied", 60 * SECOND))
    done += run(engine, 90 * SECOND)
    changes = [each for each in done if isinstance(each, Decision) and each.before != each.aspect]
    assert changes
    for each in changes:
        assert each.reason.startswith(
            ("the road over mill-lane", "the gates of mill-lane", "a second", "no second")
        )
        assert each.causes
