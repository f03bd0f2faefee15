"""How much of the session log is kept."""

from __future__ import annotations

from dataclasses import dataclass

from bridge.events import SECOND


@dataclass(frozen=True, slots=True)
class Keeping:
    """How sessions are kept on the disk.

    Attributes:
        room: bytes that all of them may take; the oldest go first.
        piece: bytes after which a session goes on in a new file.
        snapshot_every: nanoseconds between two snapshots.
    """

    room: int = 1_000_000_000
    piece: int = 32_000_000
    snapshot_every: int = 300 * SECOND
