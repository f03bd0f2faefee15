"""What is planned drives nothing, what has died is out of use, and what is built is lit as if it stood there alone."""

from __future__ import annotations

import json
from typing import Final

import pytest

from bridge.check import check_text
from bridge.commands import Command, PublishFrame, Report, Told
from bridge.engine import Engine
from bridge.events import (
    SECOND,
    BlockReported,
    BlockState,
    LinkState,
    NodeReported,
    Subject,
    UseReported,
)
from bridge.record.result import lamp_at
from tests.support.as_built import BUILDS, YARD, cleared, order, told
from tests.support.driving import layout as layout_of


def shows(engine: Engine) -> dict[str, str]:
    return {name: choice.aspect for name, choice in engine.choices().items()}


def test_what_is_not_there_is_out_of_use_with_its_reason() -> None:
    """A device on planned, bypassed or broken wiring shows its most restrictive aspect; all others work."""
    engine = cleared()
    stop, clear = "stop", "clear"
    assert {
        "A": clear,
        "P": stop,
        "B": "approach",
        "upper": stop,
        "lower": clear,
        "D": stop,
        "E": stop,
        "F": stop,
        "H": "on",
    } == shows(engine)
    why = {name: choice.reason for name, choice in engine.choices().items()}
    assert "it is out of use: P is planned and not built yet" == why["P"]
    assert "it is not known what P shows: P is planned and not built yet" == why["B"]
    assert "it is out of use: chip 1 of C is bypassed" == why["upper"]
    assert "it is out of use: chip 1 of D is broken" == why["D"]
    assert "it is out of use: chip 1 of D is broken, and E lies behind it" == why["E"]
    assert "it is out of use: the chain hill/line is planned and not built yet" == why["F"]


def test_the_frame_has_what_is_on_the_data_line() -> None:
    """A planned fixture and a bypassed chip take no bytes, a broken chip and all behind it do."""
    layout = layout_of(YARD)
    [yard] = layout.chains
    assert ["hill/line"] == [chain.key for chain in layout.unbuilt]
    assert {"A": (1,), "P": (), "B": (2,), "C": (3,), "H": (4, 5), "D": (6,), "E": (7,), "F": ()} == {
        fixture.name: fixture.positions for fixture in layout.fixtures().values()
    }
    [frame] = cleared().present_frames()
    a, b, c, attic, porch, d, e = "ff0000", "0000ff", "ff0000", "00000000", "00ff00", "00ff00", "00ff00"
    assert a + b + c + attic + porch + d + e == frame.hex()
    assert (3, "C", "lower.green") == lamp_at(yard, 6)


def test_the_last_frame_and_what_is_told_have_nothing_of_it() -> None:
    """A stop of the bridge puts out one frame for each chain that is built, and reports every device."""
    commands = cleared().closing(0)
    frames = [command for command in commands if isinstance(command, PublishFrame)]
    assert ["00ff00" * 2 + "00ff00" + "00000000" + "000000" + "00ff00" * 2] == [
        each.levels.hex() for each in frames
    ]
    assert 9 == len([command for command in commands if isinstance(command, Report)])


def test_a_snapshot_brings_it_back() -> None:
    """Restored, everything is as it was, and goes on so."""
    before = cleared()
    after = Engine(before.layout)
    after.restore(json.loads(json.dumps(before.snapshot())))
    assert before.choices() == after.choices()
    assert before.present_frames() == after.present_frames()
    assert after.handle(order(61, "normal")) == before.handle(order(61, "normal"))


def test_nobody_puts_it_into_use_by_word() -> None:
    """What its owner says of it counts beside its wiring; said to be absent, it stops nobody in rear."""
    engine = cleared()
    commands: list[Command] = []
    for out, absent in ((True, False), (False, False)):
        event = UseReported(
            at=0, source="mqtt", subject=Subject.SIGNAL, name="P", out=out, absent=absent, why="rail lifted"
        )
        commands += engine.handle(event)
    words = [(each.state, each.reason) for each in commands if isinstance(each, Told)]
    assert [
        ("out", "rail lifted; on it depend B"),
        ("out", "P is planned and not built yet"),
    ] == words
    assert "it is out of use: P is planned and not built yet" == engine.choices()["P"].reason
    engine.handle(NodeReported(at=0, source="nodes", node="hill", state=LinkState.LOST))
    assert (
        "it is out of use: the chain hill/line is planned and not built yet" == engine.choices()["F"].reason
    )


def test_a_light_goes_on_with_the_lamps_that_it_has() -> None:
    """A light over several fixtures is lit where it is built; with none left it is out of use."""
    text = YARD.replace(
        "H: {when: {accessory: 70}, lamps: [porch], shows: 'on'}",
        "street: {fixtures: [H, A2], when: {accessory: 70}, shows: 50%}",
    ).replace(
        "- {name: H, build: house}",
        "- {name: H, build: house, bypassed: 2}\n          - {name: A2, build: dwarf}",
    )
    [frame] = cleared(text).present_frames()
    attic, a2 = frame[9:13], frame[13:16]
    assert any(attic)
    assert "800000" == a2.hex()
    assert "chip 2 of H is bypassed: street goes on without some lamps" in told(text)[1]
    nothing = text.replace("bypassed: 2}", "bypassed: [1, 2]}").replace(
        "build: dwarf}", "build: dwarf, planned: true}"
    )
    engine = cleared(nothing)
    assert ("off", "it is out of use: chip 1 of H is bypassed") == engine.choices()["street"][:2]


def test_a_post_of_a_crossing_that_has_died_shows_the_road_a_closed_one() -> None:
    """It keeps its most restrictive aspect, with what is left of it, and the other post works on."""
    text = (
        BUILDS
        + """\
  post: {chips: [ws2811], lamps: {left: {channel: 1, colour: red}, right: {channel: 2, colour: red}}}
nodes:
  tarn: {chains: [{name: road, fixtures: [{name: west, build: post}, {name: east, build: post, broken: 1}]}]}
blocks: {lane: {}, near: {}, away: {}}
crossings:
  mill:
    rules: north-america
    posts: {west: {}, east: {}}
    tracks: {main: {island: lane, approaches: [[near], [away]]}}
"""
    )
    checked = check_text(text)
    if checked.layout is None:
        pytest.fail(str(told(text)))
    engine = Engine(checked.layout)
    engine.start()
    for block in ("lane", "near", "away"):
        engine.handle(BlockReported(at=0, source="mqtt", name=block, state=BlockState.CLEAR))
    until = 600 * SECOND
    while (wake := engine.next_wake()) is not None and wake < until:
        engine.advance(max(wake, engine.now + SECOND))
    assert "it is out of use: chip 1 of east is broken" == engine.choices()["east"].reason
    assert {"west": "dark", "east": "stop"} == shows(engine)


# ---- mistakes --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ("planned: true}", "planned: maybe}", "18: error: 'maybe' does not fit: write true or false"),
        ("bypassed: 1}", "bypassed: 3}", "20: error: there is no chip 3: the build 'pair' has 2 chips"),
        ("bypassed: 1}", "bypassed: 0}", "20: error: 0 does not fit: write a whole number from 1 to 64"),
        (
            "bypassed: 1}",
            "bypassed: 1, broken: 1}",
            "20: error: chip 1 of C is bypassed: what it does no longer matters",
        ),
        (
            "planned: true}",
            "planned: true, broken: 1}",
            "18: error: P is planned, so it has no chip yet that could be broken",
        ),
        (
            "- {name: B, build: mast}",
            "- {name: B, build: mast}\n          - {name: S, build: dwarf, shares: B, broken: 1}",
            "20: error: chip 1 of S is the last one of B: say it there",
        ),
    ],
)
def test_what_cannot_be_so_is_told(old: str, new: str, line: str) -> None:
    """A chip that is not there, or is said to be two things, is an error in its line."""
    assert line in [each for each in told(YARD.replace(old, new, 1)) if "error" in each]


SHARED: Final = (
    BUILDS
    + """\
nodes:
  tarn:
    chains:
      - name: yard
        fixtures:
          - {name: D1, build: dwarf}
          - {name: D2, build: dwarf, shares: D1, first-channel: 2}
          - {name: D3, build: dwarf, shares: D2, first-channel: 3}
signals:
  D1: {aspects: {stop: red, proceed: dark}, commands: {61: {normal: stop, reverse: proceed}}}
  D2: {aspects: {stop: red, proceed: dark}, commands: {62: {normal: stop, reverse: proceed}}}
  D3: {aspects: {stop: red, proceed: dark}, commands: {63: {normal: stop, reverse: proceed}}}
"""
)


def test_a_planned_fixture_on_a_chip_that_is_there_stays_dark() -> None:
    """Its channel of the shared driver is at rest, the frame is as long as before, and the others light theirs."""
    text = SHARED.replace("first-channel: 3}", "first-channel: 3, planned: true}")
    engine = Engine(layout_of(text))
    engine.start()
    assert ("ffff00",) == tuple(frame.hex() for frame in engine.present_frames())
    engine.handle(order(63))
    assert "it is out of use: D3 is planned and not built yet" == engine.choices()["D3"].reason


def test_who_shares_a_chip_that_is_planned_is_planned_as_well() -> None:
    """There is nothing yet that it could share, so it is refused, with the remedy."""
    text = SHARED.replace("{name: D1, build: dwarf}", "{name: D1, build: dwarf, planned: true}")
    [line] = [each for each in told(text) if "error" in each]
    assert (
        "18: error: D1 is planned, so it has no chip yet that could be shared: say `planned: true` of D2 as well"
        == line
    )
    both = text.replace("shares: D1, first-channel: 2}", "shares: D1, first-channel: 2, planned: true}")
    whole = both.replace("first-channel: 3}", "first-channel: 3, planned: true}")
    assert () == layout_of(whole).chains


def test_a_dead_chip_takes_all_who_share_it_out_of_use() -> None:
    """Bypassed or broken, it is so for each fixture on it."""
    for state in ("bypassed", "broken"):
        text = SHARED.replace("{name: D1, build: dwarf}", f"{{name: D1, build: dwarf, {state}: 1}}")
        engine = Engine(layout_of(text))
        assert {f"it is out of use: chip 1 of D1 is {state}"} == {
            choice.reason for choice in engine.choices().values()
        }
        assert f"17: warning: chip 1 of D1 is {state}: out of use are D1, D2, D3" in " ".join(told(text))


def test_a_layout_of_which_nothing_is_built_runs() -> None:
    """It has no frames and nothing to wait for, and says of every device why."""
    text = YARD.replace("      - name: yard\n", "      - name: yard\n        planned: true\n").replace(
        ", bypassed: 1", ""
    )
    engine = Engine(layout_of(text.replace(", broken: 1", "")))
    assert [] == [command for command in engine.start() if isinstance(command, PublishFrame)]
    engine.handle(order(61))
    assert engine.next_wake() is None
    assert all(
        "is planned and not built yet" in choice.reason
        for choice in engine.choices().values()
        if choice.reason
    )


# ---- on paper --------------------------------------------------------------------------------------------------


def test_what_is_wrong_with_a_plan_is_a_warning() -> None:
    """An error that only comes with the plan does not keep what is built from running, and stands in its line."""
    text = YARD.replace(
        "{name: P, build: mast, planned: true}", "{name: P, build: mast, shares: A, planned: true}"
    )
    checked = check_text(text)
    assert checked.layout is not None
    assert checked.planned is None
    line, *_ = [each for each in told(text) if "planned" in each]
    assert line.startswith("18: warning: once what is planned is built: channel 1 of this chip is used twice")


def test_both_counts_are_there() -> None:
    """The layout as planned has all positions, counted as if everything were built."""
    planned = check_text(YARD).planned
    assert planned is not None
    assert {"A": (1,), "P": (2,), "B": (3,), "C": (4,), "H": (5, 6), "D": (7,), "E": (8,), "F": (1,)} == {
        fixture.name: fixture.positions for fixture in planned.fixtures().values()
    }
    assert check_text(YARD.replace("planned: true", "planned: false")).planned is None
