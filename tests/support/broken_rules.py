"""Ways to break the rules of block signals and detectors on purpose, so that a test of a rule is seen to fail."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from bridge.events import BlockState
from bridge.layout import controls
from bridge.logic import blocks, selection
from bridge.logic.board import Board
from bridge.logic.known import Fact, Known, Standing
from bridge.logic.reasons import Choice
from bridge.logic.selection import Meaning, Obeying
from bridge.logic.track import Track
from bridge.logic.working_out import Ahead
from tests.support.tracks import (
    CLEAR,
    UNKNOWN,
    block,
)

Break = Callable[[pytest.MonkeyPatch], None]


def delays(state: BlockState, after: int) -> Break:
    """Let blocks take one of their states after another time."""

    def broken(patch: pytest.MonkeyPatch) -> None:
        begin = blocks.Block.__init__

        def begun(self: blocks.Block, *args: Any) -> None:
            begin(self, *args)
            self._after[state] = after

        patch.setattr(blocks.Block, "__init__", begun)

    return broken


def waits_on(patch: pytest.MonkeyPatch) -> None:
    """Let what waits wait on, whatever is reported meanwhile."""
    take = blocks.Block._take

    def taken(self: blocks.Block, state: BlockState, at: int, event: int) -> bool:
        return False if state is self.counts.state else take(self, state, at, event)

    patch.setattr(blocks.Block, "_take", taken)


def trusts_at_once(patch: pytest.MonkeyPatch) -> None:
    """Let a block be clear where nobody knows."""
    become = blocks.Block._become

    def became(self: blocks.Block, state: BlockState, why: str, event: int) -> bool:
        return become(self, CLEAR if state is UNKNOWN else state, why, event)

    patch.setattr(blocks.Block, "_become", became)


def remembers_all(patch: pytest.MonkeyPatch) -> None:
    """Let what a lost source said go on counting."""
    patch.setattr(Track, "lose", lambda *_args: [])


def obeys_the_lost(patch: pytest.MonkeyPatch) -> None:
    """Let signals go on with what a lost source ordered."""
    row = (selection.Trust.TRUSTED, selection.News.LOST)
    patch.setitem(selection.LAST_COMMAND, row, selection.Step.KEEP)


def only_first_blocks(patch: pytest.MonkeyPatch) -> None:
    """Let signals look at the first block ahead alone."""
    along = Ahead._along

    def looked(self: Ahead, way: controls.Way, set_by: str, seen: list[int], known: Known) -> Choice:
        return along(self, replace(way, blocks=way.blocks[:1]), set_by, seen, known)

    patch.setattr(Ahead, "_along", looked)


def copies_the_next(patch: pytest.MonkeyPatch) -> None:
    """Let automatic signals show what the next one shows, and not one step more."""
    along = Ahead._along

    def looked(self: Ahead, way: controls.Way, set_by: str, seen: list[int], known: Known) -> Choice:
        return along(self, replace(way, shows={each: each for each in way.shows}), set_by, seen, known)

    patch.setattr(Ahead, "_along", looked)


def believes_orders(patch: pytest.MonkeyPatch) -> None:
    """Let a turnout stand wherever it was ordered."""

    def standing(self: Known, number: int) -> Standing:
        return self.ordered(number)

    patch.setattr(Known, "standing", standing)


def believes_dead_nodes(patch: pytest.MonkeyPatch) -> None:
    """Let nobody doubt a signal whose node does not answer."""
    patch.setattr(Board, "_doubt_node", lambda *_args: None)


def stops_at_strange_numbers(patch: pytest.MonkeyPatch) -> None:
    """Let a number that means nothing be an order to stop."""
    meaning = Obeying.meaning

    def meant(self: Obeying, key: Any, fact: Fact) -> Meaning | None:
        return meaning(self, key, fact) or Meaning("stop", "nobody knows this number")

    patch.setattr(Obeying, "meaning", meant)


def never_bounces(patch: pytest.MonkeyPatch) -> None:
    """Let every edge of a contact count."""
    patch.setattr(blocks, "DEBOUNCE", 0)


def obeys_copies(patch: pytest.MonkeyPatch) -> None:
    """Let a kept copy count as much as a report."""
    told = Track._reported

    def reported(self: Track, event: Any, number: int) -> Any:
        return told(self, block(event.name, event.state, event.at, event.source), number)

    patch.setattr(Track, "_reported", reported)
