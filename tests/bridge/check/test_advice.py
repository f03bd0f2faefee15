from __future__ import annotations

import pytest

from bridge.check import check_text
from bridge.layout.findings import Level

LAYOUT = """\
layout: Mossy Bank
builds:
  searchlight: {chips: [ws2812b], lamps: {head: {full-colour: 1}}}
nodes:
  bank:
    chains:
      - name: one
        fixtures:
          - {name: M1, build: searchlight}
signals:
  M1:
    aspects: {stop: red, clear: green}
    commands: {61: {normal: stop, reverse: clear}}
"""


def told(old: str = "", new: str = "") -> list[str]:
    """Change the layout and return its findings; none of them may keep it from running."""
    assert old in LAYOUT
    checked = check_text(LAYOUT.replace(old, new, 1))
    assert checked.layout is not None
    assert all(finding.level is Level.WARNING for finding in checked.findings)
    return [f"{finding.mark.line}:{finding.mark.column} {finding.message}" for finding in checked.findings]


def test_a_layout_without_oddities_is_told_nothing() -> None:
    """What is as it should be earns no warning."""
    assert [] == told()


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("{stop: red, clear: green}", "{clear: green, stop: red}", "12:22 while it knows nothing"),
        (
            "layout: Mossy Bank\n",
            "layout: Mossy Bank\ncolours: {red: {blue: 100%}}\n",
            "2:11 red is a colour of signals",
        ),
        (
            "          - {name: M1, build: searchlight}\n",
            "          - {name: M1, build: searchlight}\n          - {name: M2, build: searchlight}\n",
            "10:20 no signal and no light uses the fixture 'M2': it stays dark",
        ),
    ],
)
def test_what_is_likely_not_meant_is_told_as_a_warning(old: str, new: str, says: str) -> None:
    """A better aspect first, a signal colour with another meaning, a fixture nobody uses: told with its place."""
    (finding,) = told(old, new)
    assert finding.startswith(says)
