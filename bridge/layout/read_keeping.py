"""The section `session-log`."""

from __future__ import annotations

from typing import Final

from bridge.events import SECOND
from bridge.layout.entries import Desk
from bridge.layout.keeping import Keeping
from bridge.layout.schema import Entry
from bridge.layout.units import Duration, Size, seconds

_PIECES: Final = range(1_000_000, 1_000_000_001)
_LEAST_PIECES: Final = 4


class KeepingEntry(Entry):
    """How sessions are kept on the disk."""

    room: Size = Keeping().room
    piece: Size = Keeping().piece
    snapshot_every: Duration = Keeping().snapshot_every


def read_keeping(desk: Desk) -> Keeping:
    """Read the section `session-log`; left out, or with an error, it is as usual."""
    path = ("session-log",)
    data = desk.document.data.get(path[0])
    entry = None if data is None else desk.entry(KeepingEntry, data, path)
    if entry is None:
        return Keeping()
    if entry.piece not in _PIECES:
        desk.error((*path, "piece"), "a file of a session has 1 MB to 1 GB: write, say, 32 MB")
    if entry.room < _LEAST_PIECES * entry.piece:
        least = _LEAST_PIECES * entry.piece // 1_000_000
        desk.error(
            (*path, "room") if "room" in data else path,
            f"room for all sessions has to be that of {_LEAST_PIECES} files at least: write {least} MB or more",
        )
    if not SECOND <= entry.snapshot_every <= 3600 * SECOND:
        text = f"a snapshot every {seconds(entry.snapshot_every)} does not fit: write 1 s to 1 h"
        desk.error((*path, "snapshot-every"), text)
    return Keeping(entry.room, entry.piece, entry.snapshot_every)
