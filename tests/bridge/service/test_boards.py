"""A board that was swapped is told of once, also after a restart, and what is kept of it may be damaged."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from bridge.service.boards import LOOK, MOST_SEEN, Boards
from bridge.service.notes import Notes
from bridge.service.screen import Screen
from bridge.service.state import STATE_FILE, StateFile
from tests.support.adapters import ran
from tests.support.waiting import until


class Told:
    """Boards with what they told, begun from the state file of a folder."""

    def __init__(self, folder: Path) -> None:
        self.notes = Notes()
        self.boards = Boards(StateFile(folder), self.notes)

    def all(self) -> list[str]:
        """Return every sentence."""
        return [note["text"] for note in self.notes.after(0)]


def kept(folder: Path) -> Any:
    """Return what the state file has of boards."""
    file = folder / STATE_FILE
    return json.loads(file.read_text("utf-8")).get("boards") if file.exists() else None


async def test_swapped_board_is_told_once_and_kept_over_restarts(tmp_path: Path) -> None:
    """The first board of a node is no news; each other one is, with both numbers and what to look at."""
    told = Told(tmp_path)
    for _time in range(3):
        told.boards.heard("vale", "aa")
        told.boards.heard("town", "bb")
    assert [] == told.all()
    await until(lambda: kept(tmp_path) == {"vale": "aa", "town": "bb"})

    told = Told(tmp_path)
    for _time in range(3):
        told.boards.heard("vale", "cc")
        told.boards.heard("town", "bb")
    text = f"node vale is a new board, cc in place of aa: {LOOK}"
    assert [text] == told.all()
    assert {"vale": text} == told.boards.news
    await until(lambda: kept(tmp_path) == {"vale": "cc", "town": "bb"})
    told = Told(tmp_path)
    told.boards.heard("vale", "cc")
    assert ([], {}) == (told.all(), told.boards.news)


async def test_two_boards_with_the_settings_of_one_node_are_told_once(tmp_path: Path) -> None:
    """They throw each other out for ever, and each time both announce themselves."""
    told = Told(tmp_path)
    for _time in range(50):
        told.boards.heard("vale", "aa")
        told.boards.heard("vale", "bb")
    first, second = told.all()
    assert first == f"node vale is a new board, bb in place of aa: {LOOK}"
    assert second == "two boards take turns as node vale, aa and bb: give one another node's settings"


@pytest.mark.parametrize("damaged", [7, [], "aa", {"vale": 7}, {"vale": None}])
async def test_what_is_kept_and_means_nothing_counts_as_none(tmp_path: Path, damaged: object) -> None:
    """Whoever has edited the state file loses a warning, and nothing else."""
    (tmp_path / STATE_FILE).write_text(json.dumps({"boards": damaged}), "utf-8")
    told = Told(tmp_path)
    told.boards.heard("vale", "aa")
    assert [] == told.all()


async def test_page_says_it_beside_the_health_of_the_node(tmp_path: Path) -> None:
    """For as long as the bridge runs, since somebody may look only later."""
    async with ran(tmp_path) as found:
        screen = Screen(found.runner, found.notes, bridge="main", broker="here")
        host = found.outputs["mqtt"].host
        node = next(iter(found.runner.nodes))
        host.board(node, "aa")
        before = screen.picture()["nodes"][node]["text"]
        host.board(node, "bb")
        after = screen.picture()["nodes"][node]["text"]
    assert after == f"{before}; node {node} is a new board, bb in place of aa: {LOOK}"


async def test_a_flood_of_boards_is_told_of_only_at_its_beginning() -> None:
    """Somebody who makes up boards fills neither the memory nor the journal."""
    notes = Notes()
    boards = Boards(None, notes)
    for number in range(1000):
        boards.heard("vale", f"{number:04x}")
    assert MOST_SEEN == len(notes.after(0))
