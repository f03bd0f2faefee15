"""Where the snapshots of a session are, and its parts from one to another, which can be replayed side by side.

A part proves that its session goes from one snapshot to the other as it was recorded. So if all parts do, the whole
does, and nobody had to go through it in order.
"""

from __future__ import annotations

import zlib
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO, Final, NamedTuple

from bridge.errors import DecodeError
from bridge.events import Instant
from bridge.record.lines import Header, Snapshot
from bridge.record.reader import LONGEST_LINE, Place, read_log
from bridge.record.store import next_piece, open_log

SMALLEST: Final = 4_000
"""Lines of a part. Fewer are replayed before a process for them has begun."""

_SNAPSHOT: Final = b'{"snapshot":'
_END: Final = ord("\n")
_DIGITS: Final = 20
"""More than the latest instant has."""

CANNOT_READ: Final = (DecodeError, EOFError, zlib.error, OSError)
_CHUNK: Final = 1 << 20


class Part(NamedTuple):
    """A part of a session.

    Attributes:
        begin: its first line, which is a snapshot, or 0 in its first file for the beginning of the session.
        end: the snapshot that is its last line, or None for the end of the session.
    """

    begin: Place
    end: Place | None


def parts_of(path: Path, most: int) -> list[Part]:
    """Cut a session into parts of about as many lines each.

    Args:
        path: its log.
        most: parts.

    Returns:
        As many parts, or fewer where it is short, has too few snapshots or cannot be read to its end; together they are
        all of it.
    """
    seen = _Seen()
    if most > 1:
        try:
            seen.look_through(path)
        except CANNOT_READ:
            seen = _Seen()  # whoever goes through it in order is told
    wanted = max(1, min(most, seen.lines // SMALLEST))
    cuts: list[Place] = []
    for part in range(1, wanted):
        goal = seen.lines * part // wanted
        nearest = min(seen.snapshots, key=lambda each: abs(each.before - goal), default=None)
        if nearest is not None and nearest.place not in cuts:
            cuts.append(nearest.place)
    begins = [Place(path, 0), *cuts]
    return [Part(begin, end) for begin, end in zip(begins, [*cuts, None], strict=True)]


def find_snapshot(path: Path, until: Instant) -> Place | None:
    """Return where the last snapshot of a session is that can be read and is not later than an instant, if any is."""
    seen = _Seen()
    with suppress(*CANNOT_READ):  # whoever reads the log is told
        seen.look_through(path)
    for each in reversed([each for each in seen.snapshots if each.at <= until]):
        _header, *lines = read_log(each.place.file, begin=each.place.line, end=each.place.line)
        if any(isinstance(placed.line, Snapshot) for placed in lines):
            return each.place
    return None


class _Snapshot(NamedTuple):
    """A line that begins as a snapshot does: its place, how many lines stand before it, and its instant."""

    place: Place
    before: int
    at: Instant


class _Seen:
    """What was seen of a session without parsing its lines.

    Attributes:
        snapshots: in the order of the session.
        lines: how many it has.
    """

    def __init__(self) -> None:
        self.snapshots: list[_Snapshot] = []
        self.lines = 0

    def look_through(self, path: Path) -> None:
        """Look through all files of a session; where that fails, what was seen before stays.

        Raises:
            DecodeError, EOFError, zlib.error, OSError: one of them cannot be read to its end.
        """
        file: Path | None = path
        digest = ""
        while file is not None:
            header = next(read_log(file)).line
            if not isinstance(header, Header) or header.digest != (digest or header.digest):
                return  # it stands there under that name, and belongs to something else
            digest = header.digest
            with open_log(file) as opened:
                self._look_at(file, opened)
            file = next_piece(file, header.piece)

    def _look_at(self, path: Path, file: BinaryIO) -> None:
        above = self.lines
        while data := file.read(_CHUNK):
            data += file.readline(LONGEST_LINE)
            start = 0
            while (place := data.find(_SNAPSHOT, start)) >= 0:
                start = place + len(_SNAPSHOT)
                at = data[start : start + _DIGITS].split(b",")[0]
                if (place == 0 or data[place - 1] == _END) and at.isdigit():
                    before = self.lines + data.count(b"\n", 0, place)
                    self.snapshots.append(_Snapshot(Place(path, before - above + 1), before, int(at)))
            self.lines += data.count(b"\n")
