"""What is planned drives nothing, what has died is out of use, and what is built is lit as if it stood there alone."""

from __future__ import annotations

import json
from typing import Any, Final

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.check import check_text
from bridge.commands import Command, Decision, PublishFrame, Report, Told
from bridge.engine import Engine
from bridge.events import (
    SECOND,
    AccessoryOrdered,
    BlockReported,
    BlockState,
    Event,
    LinkState,
    NodeReported,
    Position,
    Subject,
    UseReported,
)
from bridge.layout import Layout
from bridge.record.result import lamp_at

BUILDS: Final = """\
layout: Fernhollow
builds:
  mast: {chips: [ws2811], lamps: {green: {channel: 1}, red: {channel: 2}, yellow: {channel: 3}}}
  pixel: {chips: [ws2812b], lamps: {eye: {full-colour: 1}}}
  pair:
    chips: [ws2811, ws2811]
    heads:
      upper: {green: {channel: 1, inverted: true}, red: {channel: 2, inverted: true}}
      lower: {green: {chip: 2, channel: 1}, red: {chip: 2, channel: 2}}
  house: {chips: [sk6812-rgbw, ws2811], lamps: {attic: {full-colour: 1}, porch: {chip: 2, channel: 2, colour: amber}}}
  dwarf: {chips: [ws2811], lamps: {red: {channel: 1}}}
"""
YARD: Final = (
    BUILDS
    + """\
nodes:
  tarn:
    chains:
      - name: yard
        fixtures:
          - {name: A, build: mast}
          - {name: P, build: mast, planned: true}
          - {name: B, build: mast}
          - {name: C, build: pair, bypassed: 1}
          - {name: H, build: house}
          - {name: D, build: mast, broken: 1}
          - {name: E, build: mast}
  hill:
    chains:
      - {name: line, planned: true, fixtures: [{name: F, build: mast}]}
signals:
  A: {commands: {61: {normal: stop, reverse: clear}}}
  P: {commands: {62: {normal: stop, reverse: clear}}}
  B: {follows: {signal: P, shows: {stop: approach, clear: clear}}}
  upper: {fixture: C, heads: [upper], commands: {63: {normal: stop, reverse: clear}}}
  lower: {fixture: C, heads: [lower], commands: {64: {normal: stop, reverse: clear}}}
  D: {commands: {65: {normal: stop, reverse: clear}}}
  E: {commands: {66: {normal: stop, reverse: clear}}}
  F: {commands: {67: {normal: stop, reverse: clear}}}
lights:
  H: {when: {accessory: 70}, lamps: [porch], shows: 'on'}
"""
)


def layout_of(text: str) -> Layout:
    layout = check_text(text).layout
    assert layout is not None, [finding.line("f") for finding in check_text(text).findings]
    return layout


def told(text: str) -> list[str]:
    return [f"{found.mark.line}: {found.level.value}: {found.message}" for found in check_text(text).findings]


def order(number: int, position: str = "reverse", at: int = 0) -> Event:
    return AccessoryOrdered(at=at, source="mqtt", number=number, position=Position(position))


def cleared(text: str = YARD) -> Engine:
    """An engine of which all signals and lights were ordered to something better."""
    engine = Engine(layout_of(text))
    engine.start()
    for number in (*range(61, 68), 70):
        engine.handle(order(number))
    return engine


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
    assert line.startswith("21: warning: once what is planned is built: channel 1 of this chip is used twice")


def test_both_counts_are_there() -> None:
    """The layout as planned has all positions, counted as if everything were built."""
    planned = check_text(YARD).planned
    assert planned is not None
    assert {"A": (1,), "P": (2,), "B": (3,), "C": (4,), "H": (5, 6), "D": (7,), "E": (8,), "F": (1,)} == {
        fixture.name: fixture.positions for fixture in planned.fixtures().values()
    }
    assert check_text(YARD.replace("planned: true", "planned: false")).planned is None


# ---- any layout --------------------------------------------------------------------------------------------------

ASPECTS: Final = {
    "mast": {"stop": "red", "approach": "flashing yellow", "clear": "green"},
    "pixel": {"stop": "red", "approach": "flashing yellow", "clear": "green"},
    "pair": {
        "stop": {"upper": "red", "lower": "red"},
        "clear": {"upper": "green", "lower": "flashing green"},
    },
}


@st.composite
def marked_layouts(draw: st.DrawFn) -> dict[str, Any]:
    """Return a layout of one or two chains with any marks; fixture Fn is ordered by accessory n."""
    chains: list[dict[str, Any]] = []
    signals: dict[str, Any] = {}
    lights: dict[str, Any] = {}
    for index in range(draw(st.integers(1, 2))):
        fixtures: list[dict[str, Any]] = []
        for _ in range(draw(st.integers(1, 5))):
            number = 1 + len(signals) + len(lights)
            build = draw(st.sampled_from(["mast", "pixel", "pair", "house"]))
            fixture: dict[str, Any] = {"name": f"F{number}", "build": build}
            mark = draw(st.sampled_from(["", "", "planned", "bypassed", "broken"]))
            chips = 2 if build in ("pair", "house") else 1
            if mark == "planned":
                fixture["planned"] = True
            elif mark:
                fixture[mark] = draw(st.integers(1, chips))
            fixtures.append(fixture)
            change = draw(st.sampled_from(["cut", "fade 300 ms", "filament", "through dark"]))
            if build == "house":
                lights[f"F{number}"] = {
                    "when": {"accessory": number},
                    "change": change.replace("through dark", "fade"),
                }
                continue
            aspects = ASPECTS[build]
            best = draw(st.sampled_from(list(aspects)[1:]))
            signals[f"F{number}"] = {
                "aspects": aspects,
                "commands": {number: {"normal": "stop", "reverse": best}},
                "change": change,
            }
        chain: dict[str, Any] = {"name": f"c{index}", "fixtures": fixtures}
        if draw(st.integers(0, 4)) == 0 and not any(
            {"bypassed", "broken"} & each.keys() for each in fixtures
        ):
            chain["planned"] = True
        chains.append(chain)
    data = yaml.safe_load(BUILDS)
    return {**data, "nodes": {"n": {"chains": chains}}, "signals": signals, "lights": lights}


def without_plans(data: dict[str, Any]) -> dict[str, Any]:
    """Return the layout with everything planned simply left out."""
    chains = []
    gone: set[str] = set()
    for chain in data["nodes"]["n"]["chains"]:
        kept = [each for each in chain["fixtures"] if not each.get("planned") and not chain.get("planned")]
        gone |= {each["name"] for each in chain["fixtures"]} - {each["name"] for each in kept}
        if kept:
            chains.append({**chain, "fixtures": kept})
    signals = {name: each for name, each in data["signals"].items() if name not in gone}
    lights = {name: each for name, each in data["lights"].items() if name not in gone}
    return {**data, "nodes": {"n": {"chains": chains}}, "signals": signals, "lights": lights}


STEPS: Final = st.lists(
    st.tuples(st.integers(1, 10), st.sampled_from(["normal", "reverse"]), st.integers(0, 400)), max_size=8
)


def driven(
    data: dict[str, Any], steps: list[tuple[int, str, int]]
) -> tuple[Engine, list[tuple[int, str, bytes]]]:
    """Drive a layout through orders, each so many milliseconds after the last; return all frames by their chain."""
    engine = Engine(layout_of(yaml.safe_dump(data, sort_keys=False)))
    keys = [chain.key for chain in engine.layout.chains]
    commands = engine.start()
    for number, position, wait in steps:
        until = engine.now + wait * 1_000_000
        while (wake := engine.next_wake()) is not None and wake <= until:
            commands += engine.advance(wake)
        commands += engine.handle(order(number, position, until))
    frames = [(each.at, keys[each.chain], each.levels) for each in commands if isinstance(each, PublishFrame)]
    return engine, frames


@settings(max_examples=120, deadline=None)
@given(marked_layouts(), STEPS)
def test_what_is_built_is_lit_as_if_nothing_were_planned(
    data: dict[str, Any], steps: list[tuple[int, str, int]]
) -> None:
    """The frames of every chain are those of the layout from which the planned fixtures are simply left out."""
    rest = without_plans(data)
    engine, frames = driven(data, steps)
    if not rest["nodes"]["n"]["chains"]:
        assert [] == frames
        return
    _alone, expected = driven(rest, steps)
    # Where something planned moves, an instant is looked at that brings nothing new: no frame comes of it.
    assert expected == frames
    assert {name for name, _lost in _lost(engine)} >= {
        each["name"]
        for chain in data["nodes"]["n"]["chains"]
        for each in chain["fixtures"]
        if each.get("planned")
    }


def _lost(engine: Engine) -> list[tuple[str, str]]:
    devices = [*engine.layout.signals, *engine.layout.lights]
    return [(device.name, device.lost) for device in devices if device.lost]


@settings(max_examples=120, deadline=None)
@given(marked_layouts(), STEPS)
def test_nothing_that_is_out_of_use_is_ever_better_than_its_most_restrictive(
    data: dict[str, Any], steps: list[tuple[int, str, int]]
) -> None:
    """Whatever is ordered, no decision of a device on planned, bypassed or broken wiring is anything else."""
    engine = Engine(layout_of(yaml.safe_dump(data, sort_keys=False)))
    rests = {signal.name: signal.rest for signal in engine.layout.signals}
    commands = engine.start()
    for number, position, wait in steps:
        commands += engine.handle(order(number, position, engine.now + wait * 1_000_000))
    out = dict(_lost(engine))
    shown = [
        (each.device, each.aspect)
        for each in commands
        if isinstance(each, Report | Decision)
        if each.device in out
    ]
    assert all(aspect == rests.get(device, "off") for device, aspect in shown)


@settings(max_examples=80, deadline=None)
@given(marked_layouts(), STEPS)
def test_lamps_before_what_becomes_built_keep_their_bytes(
    data: dict[str, Any], steps: list[tuple[int, str, int]]
) -> None:
    """With the first planned fixture of a chain built, all bytes before it are those that were there."""
    before, _frames = driven(data, steps)
    first: dict[str, Any] | None = None
    for chain in data["nodes"]["n"]["chains"]:
        first = next((each for each in chain["fixtures"] if each.pop("planned", False)), None)
        if first is not None:
            break
    if first is None:
        return
    after, _frames = driven(data, steps)
    built = after.layout.fixture(first["name"])
    chain_now = after.layout.all_chains[built.chain]
    old = {
        chain.key: frame for chain, frame in zip(before.layout.chains, before.present_frames(), strict=True)
    }
    new = {chain.key: frame for chain, frame in zip(after.layout.chains, after.present_frames(), strict=True)}
    if chain_now.key in old and built.positions:
        start = chain_now.chips[built.positions[0] - 1].offset
        assert old[chain_now.key][:start] == new[chain_now.key][:start]
    for key in old.keys() - {chain_now.key}:
        assert old[key] == new[key]
