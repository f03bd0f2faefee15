"""The owner's page of effects is complete and true: its examples are read, its tables are those that run."""

from __future__ import annotations

import re
from typing import Any

import pytest

from bridge.layout.effects.read import READERS, read_effect
from bridge.layout.effects.scales import RATIOS
from bridge.layout.effects.traffic import LAMPS_OF_BOARD, MODES
from bridge.layout.entries import Desk
from bridge.layout.rules.lamps import ROAD_RULES
from bridge.layout.text import parse
from bridge.layout.units import seconds
from tests.support.effect_tables import flashers
from tests.support.gallery import FOLDER
from tests.support.pages import fenced_blocks
from tests.support.playing import lamps_of
from tests.support.tree import ROOT

PAGE = (ROOT / "config/guide/effects.md").read_text(encoding="utf-8")
BLOCKS = fenced_blocks(PAGE, "yaml")


@pytest.mark.parametrize("block", BLOCKS, ids=[str(block.line) for block in BLOCKS])
def test_every_effect_that_the_page_shows_is_read(block: Any) -> None:
    """A reader who copies an effect from the page has one without an error."""
    document = parse(block.text)
    assert () == document.findings
    for name, entry in document.data["lights"].items():
        desk = Desk(document)
        lamps = tuple(entry.get("lamps", lamps_of(LAMPS_OF_BOARD)))
        effect = read_effect(desk, entry["effect"], ("lights", name, "effect"), lamps)
        assert [] == [each.message for each in desk.findings]
        assert effect is not None


def test_there_are_examples() -> None:
    """The search for examples finds them."""
    assert 6 <= len(BLOCKS)


def test_every_effect_is_named() -> None:
    """Each effect, each mode of an arrow board and each scale stands in the page."""
    assert [] == [kind for kind in READERS if f"`{kind}`" not in PAGE]
    assert [] == [mode for mode in MODES if f"`{mode}`" not in PAGE]
    assert [] == [
        name for name, ratio in RATIOS.items() if not re.search(rf"\b{name} {ratio / 10:g}\b", PAGE)
    ]


def test_the_table_of_flashing_lights_is_the_one_that_runs() -> None:
    """Rates, ranges and sources of the page are those that a layout is held to."""
    assert flashers() in PAGE


def test_the_table_of_traffic_lights_is_the_one_that_runs() -> None:
    """The times of each region stand in the page as a layout is read with them."""
    cells: dict[str, list[str]] = {"red and yellow": [], "yellow": [], "all red": []}
    for rules in ROAD_RULES.values():
        cells["red and yellow"].append(seconds(rules.red_yellow.usual) if rules.red_yellow else "none")
        least, most = rules.yellow.least or 0, rules.yellow.most or 0
        limits = f" ({seconds(least)} to {seconds(most)})" if least < most else ""
        cells["yellow"].append(seconds(rules.yellow.usual) + limits)
        cells["all red"].append(
            f"{seconds(rules.all_red.usual)} ({seconds(rules.all_red.most or 0)} or less)"
        )
    for head, row in cells.items():
        assert f"| {head} | {' | '.join(row)} |" in PAGE


def test_every_picture_is_shown() -> None:
    """This page, that of changes or that of the session log shows each picture that is there, and no other."""
    others = ("config/guide/changes.md", "config/guide/session-log.md")
    text = PAGE + "".join((ROOT / page).read_text(encoding="utf-8") for page in others)
    shown = re.findall(r"^!\[[^\]]+\]\(pictures/(\S+)\)$", text, re.MULTILINE)
    assert sorted(path.name for path in FOLDER.glob("*.svg")) == sorted(shown)
