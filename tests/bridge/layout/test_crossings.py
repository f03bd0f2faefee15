"""Crossings in a layout file: the rules of each region, what is left out, and what an owner says otherwise."""

from __future__ import annotations

from typing import Final

import pytest

from bridge.check import check_text
from bridge.engine import Engine
from bridge.events import MILLISECOND, SECOND
from bridge.layout.controls import CrossingShows
from bridge.layout.crossings import NOT_RAISED, RED, Gates, Phase
from bridge.layout.model import Flash, Layout, Signal
from bridge.layout.rules.book import Evidence
from bridge.layout.rules.crossings import CROSSING_RULES, GERMANY, GREAT_BRITAIN, NORTH_AMERICA, Figure
from bridge.layout.units import duration, seconds

FILE: Final = """\
layout: Mill lane
builds:
  lights:
    chips: [ws2811]
    lamps: {left: {channel: 1, colour: red}, right: {channel: 2, colour: red}, amber: {channel: 3}}
  german: {chips: [ws2811], lamps: {yellow: {channel: 1}, red: {channel: 2}}}
  arm: {chips: [ws2811], lamps: {tip-red: {channel: 1}, middle-red: {channel: 2}}}
  mast:
    chips: [ws2812b, ws2812b, ws2812b]
    heads:
      road: {left: {full-colour: 1, colour: red}, right: {full-colour: 2, colour: red}}
      sign: {another: {full-colour: 3}}
nodes:
  bench:
    chains:
      - name: one
        fixtures: [{name: P, build: lights}, {name: G, build: german}, {name: A, build: arm}]
blocks: {west: , lane: , east: }
crossings:
  mill-lane:
    rules: RULES
    tracks: {main: {island: lane, approaches: [[west], [east]]}}
"""


def read(rest: str, rules: str = "great-britain") -> Layout:
    """Return the layout with the rest of its crossing; it has no errors."""
    layout, found = read_with_findings(rest, rules)
    assert layout is not None, found
    return layout


def read_with_findings(rest: str, rules: str = "great-britain") -> tuple[Layout | None, list[str]]:
    """Return the layout, or None, and what was found."""
    lines = "".join(f"    {line}\n" for line in rest.splitlines())
    checked = check_text(FILE.replace("RULES", rules) + lines)
    return checked.layout, [each.line("f") for each in checked.findings if "stays dark" not in each.message]


def post(layout: Layout, name: str) -> Signal:
    """Return a post by its name."""
    return next(each for each in layout.signals if each.name == name)


ALL: Final = pytest.mark.parametrize("rules", CROSSING_RULES.values(), ids=list(CROSSING_RULES))


@ALL
def test_every_value_lies_within_its_limits_and_has_a_source(rules: object) -> None:
    """What is usual is allowed, and every figure and row says what it rests on."""
    figures = [each for each in vars_of(rules).values() if isinstance(each, Figure)]
    assert len(figures) in (5, 6)
    for figure in figures:
        assert figure.allows(figure.usual)
        assert figure.source
        assert figure.evidence in Evidence
        assert ("no source" in figure.source) == (figure.evidence is Evidence.MEMORY)


def vars_of(rules: object) -> dict[str, object]:
    """Return the fields of a rule set."""
    return {name: getattr(rules, name) for name in type(rules).__dataclass_fields__}  # type: ignore[attr-defined]  # a dataclass


def test_figures_of_north_america() -> None:
    """35 to 65 flashes a minute (49 CFR 234.217(c)), gates 3 s after the lights at the least (234.223)."""
    rate, start, lower = NORTH_AMERICA.flash_rate, NORTH_AMERICA.gate_start, NORTH_AMERICA.gate_lowering
    assert (35, 65) == (rate.least, rate.most)
    assert (3 * SECOND, None) == (start.least, start.most)
    # Lights 20 s before the train, gates 3 s after them, down 5 s before it.
    assert (20 - 3 - 5) * SECOND == lower.most
    assert (None, None) == (NORTH_AMERICA.amber, NORTH_AMERICA.amber_time)


def test_figures_of_great_britain() -> None:
    """Amber about 3 s, barriers 4 to 6 s after red, 6 to 10 s to lower: S.R. (NI) 2023/9; 60 to 90: TSRGD 1994."""
    rules = GREAT_BRITAIN
    assert rules.amber_time is not None
    assert 3 * SECOND == rules.amber_time.usual
    assert (4 * SECOND, 6 * SECOND) == (rules.gate_start.least, rules.gate_start.most)
    assert (6 * SECOND, 10 * SECOND) == (rules.gate_lowering.least, rules.gate_lowering.most)
    assert (60, 90) == (rules.flash_rate.least, rules.flash_rate.most)
    assert Evidence.MEMORY is rules.flash_rate.evidence


def test_germany_shows_yellow_and_then_steady_red() -> None:
    """Yellow, then red: EBO Anlage 5 to para 11; 3 s of yellow is common practice, no source."""
    assert GERMANY.amber is not None
    assert GERMANY.amber_time is not None
    assert ("yellow", "red") == (GERMANY.amber.lights[0], GERMANY.stop.lights[0])
    assert (3 * SECOND, Evidence.MEMORY) == (GERMANY.amber_time.usual, GERMANY.amber_time.evidence)


def test_arms_are_lit_with_the_lights_or_while_a_gate_is_not_up() -> None:
    """With the lights (MUTCD 8C.04 p.04), or whenever a barrier is not fully raised (S.R. (NI) 2016/404 Sch. 2)."""
    assert (RED, NOT_RAISED, NOT_RAISED) == tuple(each.arm_lit for each in CROSSING_RULES.values())
    assert set(RED) - set(NOT_RAISED) == {Phase.WARNING}


def test_what_is_left_out_is_as_the_rules_have_it() -> None:
    """A crossing that says nothing of its times has the usual ones of its region."""
    layout = read("gates: {}\nposts: {P: }\narms: {A: }")
    [crossing] = layout.crossings
    assert Gates(5 * SECOND, 8 * SECOND, 8 * SECOND) == crossing.gates
    assert (3 * SECOND, None, ("P", "A")) == (crossing.amber, crossing.time_out, crossing.posts)
    assert {Flash(75)} == {each.flash for each in layout.signals}
    assert ["stop", "amber", "dark"] == [row.name for row in post(layout, "P").aspects]
    assert ["lit", "dark"] == [row.name for row in post(layout, "A").aspects]
    assert read("posts: {P: }").crossings[0].gates is None


def test_an_owner_may_say_otherwise_within_the_limits() -> None:
    """Each value may be changed."""
    rest = "amber: 2500 ms\nflash-rate: 90\ntime-out: 2 min\nposts: {P: }\n"
    rest += "gates: {start-after: 6 s, lower: 10 s, raise: 4 s}"
    layout = read(rest)
    [crossing] = layout.crossings
    assert Gates(6 * SECOND, 10 * SECOND, 4 * SECOND) == crossing.gates
    assert (2500 * MILLISECOND, 120 * SECOND) == (crossing.amber, crossing.time_out)
    assert Flash(90) == post(layout, "P").flash


def test_a_post_may_show_something_of_its_own() -> None:
    """Its aspects are the owner's, with levels and colours; dark need not be said."""
    layout = read("posts: {G: {aspects: {stop: flashing red 80%, amber: yellow}, change: fade}}", "germany")
    stop, amber, dark = post(layout, "G").aspects
    [(_head, [item])] = stop.heads
    assert ("red", True) == (item.word, item.flashing)
    assert (("amber", False), ("dark", False)) == tuple(
        (row.name, any(each.flashing for _name, items in row.heads for each in items))
        for row in (amber, dark)
    )
    assert 300 * MILLISECOND == post(layout, "G").change.time


def test_a_post_without_steady_lights_is_red_at_once() -> None:
    """One red flashing light, as older ones of Germany have (EBO Anlage 5), flashes with the first train."""
    layout = read("posts: {G: {aspects: {stop: flashing red}}}", "germany")
    assert ["stop", "dark"] == [row.name for row in post(layout, "G").aspects]
    [control] = post(layout, "G").controls
    assert isinstance(control, CrossingShows)
    assert {"idle": "dark", "amber": "stop"} == {phase: control.shows[phase] for phase in ("idle", "amber")}


def test_a_post_may_have_another_name_and_use_some_heads() -> None:
    """Lights and a sign may stand on one mast, each by its head."""
    text = FILE.replace("RULES", "north-america").replace("name: P, build: lights", "name: P, build: mast")
    text += "    posts: {west-post: {fixture: P, heads: [road]}}\n    signs: {west-sign: {fixture: P, heads: [sign]}}\n"
    layout = check_text(text).layout
    assert layout is not None
    assert ["west-post", "west-sign"] == [each.name for each in layout.signals]
    assert {"west-post": "stop", "west-sign": "dark"} == {
        name: choice.aspect for name, choice in Engine(layout).choices().items()
    }


def test_a_sign_is_dark_unless_a_train_was_seen() -> None:
    """A sign for a second train is dark where nothing is known: the lights beside it are red."""
    layout = read("posts: {P: }\nsigns: {A: }")
    assert "dark" == post(layout, "A").rest


def test_a_crossing_without_posts_is_warned_of() -> None:
    """It runs, and nobody on the road sees anything."""
    layout, found = read_with_findings("gates: {}")
    assert layout is not None
    assert [
        "f:20:3: warning: the crossing 'mill-lane' has no `posts`: nobody on the road sees that a train is coming"
    ] == found


def test_posts_of_two_crossings_have_names_of_their_own() -> None:
    """A name belongs to one device, also among the posts."""
    text = (
        FILE.replace("RULES", "great-britain").replace("build: german", "build: lights")
        + "    posts: {P: }\n"
    )
    second = (
        text[text.index("  mill-lane:") :]
        .replace("mill-lane", "mill-road")
        .replace("{P: }", "{P: {fixture: G}}")
    )
    found = [each for each in check_text(text + second).findings if "already a signal" in each.message]
    assert ["'P' is already a signal (line 23): give the post another name"] == [
        each.message for each in found
    ]


@pytest.mark.parametrize("text", ["3 s", "2.5 s", "0 s", "0.001 s", "60 s"])
def test_seconds_are_written_as_they_are_read(text: str) -> None:
    """A duration in a message is one that may be written into the file."""
    assert text == seconds(duration(text))
