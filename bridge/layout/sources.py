"""The event sources of a layout, and how each is in the habit of speaking."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from bridge.layout.findings import Mark


@dataclass(frozen=True, slots=True)
class Source:
    """One event source; all times in ns.

    Attributes:
        name: as the layout file has it.
        kind: the adapter.
        repeat_window: how long the same order again is a repeat, 0 for never.
        refresh_every: how often it sends every order of its own again, 0 for not at all.
        lost_after: how long it may be quiet, 0 for ever.
        options: the adapter's own keys.
        mark: its place in the file.
    """

    name: str
    kind: str
    repeat_window: int
    refresh_every: int
    lost_after: int
    options: dict[str, Any]
    mark: Mark
