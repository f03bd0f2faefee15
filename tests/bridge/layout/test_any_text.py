"""Whatever stands in a layout file, it is read or refused: nothing is raised, and every message has its place."""

from __future__ import annotations

import copy
import re
from typing import Any, Final

import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.check import check_text
from bridge.layout.findings import errors
from bridge.layout.text import parse
from tests.support.layouts import SOUND

CROSSING: Final = """
blocks: {a: , x: , b: }
daylight: {dawn: 06:10, dusk: 19:40}
zones:
  town:
    level: 80%
    change: 2 s
    rows:
      - {when: {all: [{block: a, entered: 9 s}, {any: [{signal: T2, shows: [stop]}, {not: {light: roof}}]}]}, level: 5%}
      - {when: {accessory: 7, aspect-number: [1, 2]}, level: 9%}
still: {when: {any: [{button: calm, toggles: true}, {button: bell, runs: 3 s}, {clock: dusk to 23:30, spread: 9 min}]}}
crossings:
  lane:
    rules: north-america
    tracks: {up: {island: x, approaches: [[a], [b]]}}
    gates: {start-after: 4 s, lower: 8 s}
    posts: {D2: {aspects: {stop: red}}}
"""
DATA: Final = parse(SOUND + CROSSING).data

WORDS: Final = st.sampled_from(
    [
        "red",
        "on",
        "dark",
        "T2",
        "D1",
        "dwarf",
        "ws2811",
        "ws2812b",
        "two-lights",
        "GRB",
        "60%",
        "white 60%",
        "-1%",
        "flashing red",
        "alternating red",
        "great-britain",
        "a",
        "x",
        "speed-signals",
        "from",
        "after",
        "flash",
        "sequence",
        "heads",
        "plate",
    ]
)
JUNK: Final = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | WORDS,
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4) | WORDS, inner, max_size=3)
    ),
    max_leaves=4,
)

PIECES: Final = st.sampled_from(
    [
        *"{}[],:-#&*!|>'\"%@`? \n\t\r",
        "  ",
        ": ",
        "- ",
        "\n  ",
        "---",
        "...",
        "<<",
        "null",
        "on",
        "1",
        "nodes",
        "builds",
    ]
)


def _check(text: str) -> None:
    """Look at a text, and hold the promises that every text has."""
    checked = check_text(text)
    lines = re.split("\r\n|\r|\n", text)
    for finding in checked.findings:
        assert 1 <= finding.mark.line <= len(lines)
        assert 1 <= finding.mark.column <= len(lines[finding.mark.line - 1]) + 1
        assert [finding.line("f")] == finding.line("f").splitlines()
        assert len(finding.message) < 1000
    assert (checked.layout is None) == bool(errors(checked.findings))


@st.composite
def mutated(draw: st.DrawFn) -> Any:
    """Return the sound layout with up to four places deleted, doubled, renamed or replaced."""
    data = copy.deepcopy(DATA)
    for _ in range(draw(st.integers(1, 4))):
        inside, key = data, draw(st.sampled_from(list(data)) if data else st.just(""))
        while isinstance(inside.get(key) if isinstance(inside, dict) else inside[key : key + 1], dict | list):
            following = inside[key]
            if not isinstance(following, dict | list) or not following or draw(st.integers(0, 3)) == 0:
                break
            inside = following
            key = draw(st.sampled_from(list(inside) if isinstance(inside, dict) else range(len(inside))))
        _mutate(draw, inside, key)
    return data


def _mutate(draw: st.DrawFn, inside: Any, key: Any) -> None:
    how = draw(st.sampled_from(["delete", "double", "replace", "replace"]))
    if how == "replace" or (isinstance(inside, dict) and key not in inside):
        inside[key] = draw(JUNK)
    elif how == "delete":
        del inside[key]
    elif isinstance(inside, dict):
        inside[draw(WORDS | st.text(max_size=4))] = copy.deepcopy(inside[key])
    else:
        inside.insert(key, copy.deepcopy(inside[key]))


@settings(max_examples=200, deadline=None)
@given(mutated(), st.sampled_from([True, False, None]))
def test_a_damaged_layout_is_read_or_refused(data: Any, flow: bool | None) -> None:
    """A sound layout with places deleted, doubled or replaced gives findings inside the file, or runs."""
    _check(yaml.safe_dump(data, default_flow_style=flow, allow_unicode=True, sort_keys=False))


@settings(max_examples=200, deadline=None)
@given(st.text())
def test_any_text_is_read_or_refused(text: str) -> None:
    """Arbitrary text is a layout or not, and nothing else happens."""
    _check(text)


@settings(max_examples=200, deadline=None)
@given(st.lists(PIECES | st.text(max_size=2), max_size=40).map("".join))
def test_anything_like_yaml_is_read_or_refused(text: str) -> None:
    """What looks like YAML is a layout or not, and nothing else happens."""
    _check(text)


@settings(max_examples=100, deadline=None)
@given(st.integers(0, len(SOUND)), st.integers(0, 40), PIECES | st.text(max_size=3))
def test_a_layout_with_a_slip_of_the_pen_is_read_or_refused(start: int, length: int, other: str) -> None:
    """A sound layout with a stretch of it deleted or typed over gives findings inside the file, or runs."""
    _check(SOUND[:start] + other + SOUND[start + length :])
