"""Which board each node runs on, kept over restarts: one that was swapped is told of, as its wires may differ."""

from __future__ import annotations

import asyncio
from typing import Any, Final

from bridge.service.notes import Notes
from bridge.service.state import StateFile

BOARDS: Final = "boards"

LOOK: Final = (
    "look whether its pins, chains and supply are those of the old one; `lamproom node` writes its settings"
)


class Boards:
    """The boards that the nodes of a layout were heard to run on.

    Attributes:
        news: for each node that has a new board since the bridge started, what its owner should know of that.

    Args:
        state: where they are kept, or None to know of none before this run.
        notes: is told of a new board, once.
    """

    def __init__(self, state: StateFile | None, notes: Notes) -> None:
        self.news: dict[str, str] = {}
        self._state = state
        self._notes = notes
        self._known = _read(state.value(BOARDS)) if state is not None else {}
        self._seen: dict[str, set[str]] = {}

    def heard(self, node: str, board: str) -> None:
        """Take note of the board that a node says it is."""
        before = self._known.get(node)
        seen = self._seen.setdefault(node, set())
        returned = board in seen
        seen.add(board)
        if board == before:
            return
        self._known[node] = board
        if self._state is not None:
            # In a thread, because it waits for the disk; of two at once each keeps the newest.
            asyncio.get_running_loop().run_in_executor(None, self._keep, self._state)
        if before is None:
            return
        if returned:
            text = f"two boards take turns as node {node}, {board} and {before}: give one another node's settings"
            self._notes.once(f"boards {node}", text, "warning")
        else:
            text = f"node {node} is a new board, {board} in place of {before}: {LOOK}"
            self._notes.say(text, "warning")
        self.news[node] = text

    def _keep(self, state: StateFile) -> None:
        state.put(BOARDS, dict(self._known))


def _read(kept: Any) -> dict[str, str]:
    if not isinstance(kept, dict):
        return {}
    return {node: board for node, board in kept.items() if isinstance(board, str)}
