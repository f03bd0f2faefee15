"""The parts of a session that can be replayed side by side: each begins at a snapshot and goes up to a later one.

A part proves that its session goes from one snapshot to the other as it was recorded. So if all parts do, the whole
does, and nobody had to go through it in order.
"""

from __future__ import annotations

import zlib
from pathlib import Path
from typing import BinaryIO, Final, NamedTuple

from bridge.errors import DecodeError
from bridge.record.lines import Header
from bridge.record.reader import LONGEST_LINE, Place, read_log
from bridge.record.store import next_piece, open_log

SMALLEST: Final = 4_000
"""Lines of a part. Fewer are replayed before a process for them has begun."""

_SNAPSHOT: Final = b'{"snapshot":'
_END: Final = ord("\n")
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
    try:
        places, total = _snapshots(path) if most > 1 else ([], 0)
    except (DecodeError, EOFError, zlib.error, OSError):
        places, total = [], 0  # whoever goes through it in order is told
    wanted = max(1, min(most, total // SMALLEST))
    cuts: list[Place] = []
    for part in range(1, wanted):
        goal = total * part // wanted
        place, _before = min(places, key=lambda each: abs(each[1] - goal), default=(None, 0))
        if place is not None and place not in cuts:
            cuts.append(place)
    begins = [Place(path, 0), *cuts]
    return [Part(begin, end) for begin, end in zip(begins, [*cuts, None], strict=True)]


def _snapshots(path: Path) -> tuple[list[tuple[Place, int]], int]:
    """Return the snapshots of a session, each with how many lines stand before it, and how many there are in all."""
    found: list[tuple[Place, int]] = []
    total = 0
    file: Path | None = path
    digest = ""
    while file is not None:
        header = next(read_log(file)).line
        if not isinstance(header, Header) or header.digest != (digest or header.digest):
            break
        digest = header.digest
        with open_log(file) as opened:
            numbers, lines = _look_through(opened)
        found += [(Place(file, number), total + number) for number in numbers]
        total += lines
        file = next_piece(file, header.piece)
    return found, total


def _look_through(file: BinaryIO) -> tuple[list[int], int]:
    """Return the numbers of the lines that are snapshots, and how many lines there are; nothing is parsed."""
    found: list[int] = []
    lines = 0
    while data := file.read(_CHUNK):
        data += file.readline(LONGEST_LINE)
        start = 0
        while (place := data.find(_SNAPSHOT, start)) >= 0:
            if place == 0 or data[place - 1] == _END:
                found.append(lines + data.count(b"\n", 0, place) + 1)
            start = place + len(_SNAPSHOT)
        lines += data.count(b"\n")
    return found, lines
