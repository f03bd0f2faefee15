"""Wiring that is planned or has died, on any layout: what is built is lit as if it stood there alone."""

from __future__ import annotations

from typing import Any, Final

import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.commands import Decision, PublishFrame, Report
from bridge.engine import Engine
from bridge.layout.model import Light, Signal
from tests.support.as_built import BUILDS, order
from tests.support.driving import layout as layout_of

ASPECTS: Final[dict[str, dict[str, Any]]] = {
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
            best = draw(st.sampled_from([*aspects][1:]))
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
    devices: list[Signal | Light] = [*engine.layout.signals, *engine.layout.lights]
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
