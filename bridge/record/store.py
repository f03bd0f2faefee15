"""The files of all sessions in one directory: their names, which of them are done with, and how much room they take.

Whoever writes a log holds a lock on its file; so a file that can be locked is one that nobody writes to any more,
whether its session ended, went on in the next file, or was killed.
"""

from __future__ import annotations

import fcntl
import gzip
import os
import re
import stat
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO, Final

SESSIONS: Final = "sessions"
"""The directory of all session logs, within the state directory."""

PACKED: Final = ".gz"
"""A file that is done with is compressed (gzip, RFC 1952), so that other programs can read it too."""

_GZIP: Final = b"\x1f\x8b"
UNFINISHED: Final = ".part"
"""A file that is being made, and is given its own name when it is whole."""

ABANDONED: Final = 60.0
"""Seconds after which nobody makes a file any more that nobody writes to."""

_NAME: Final = re.compile(
    r"(\d{4}-\d\d-\d\dT\d\d-\d\d-\d\d-\d{6}Z)(?:-(\d+))?\.jsonl(?:\.gz)?(?:\.part)?\Z", re.ASCII
)
_CHUNK: Final = 256 * 1024


def piece_path(first: Path, piece: int) -> Path:
    """Return where a piece of a session stands, of which the first stands at `first`."""
    return first if piece == 1 else first.with_name(f"{first.stem}-{piece}{first.suffix}")


def next_piece(path: Path, piece: int) -> Path | None:
    """Return where the session goes on that has its piece of this number at `path`, or None if nowhere."""
    name = path.name.removesuffix(PACKED)
    stem = name.removesuffix(".jsonl").removesuffix(f"-{piece}" if piece > 1 else "")
    after = find_log(path.with_name(f"{stem}-{piece + 1}.jsonl"))
    return after if after.exists() else None


def first_name(before: str, piece: int) -> str:
    """Return the name of a session's first file, of which the file before its piece of this number has a name."""
    return before if piece <= 2 else f"{before.removesuffix('.jsonl').removesuffix(f'-{piece - 1}')}.jsonl"


def find_log(path: Path) -> Path:
    """Return where a log is: it may have been compressed since somebody was told its name."""
    packed = path.with_name(path.name + PACKED)
    return packed if not path.exists() and packed.exists() else path


def open_log(path: Path) -> BinaryIO:
    """Open a log for reading, compressed or not.

    Raises:
        OSError: it cannot be opened.
    """
    found = find_log(path)
    with found.open("rb") as file:
        packed = file.read(2) == _GZIP
    return gzip.open(found) if packed else found.open("rb")  # type: ignore[return-value] # it reads like any other


def hold(file: int) -> None:
    """Say that a file is being written to, for as long as it is open."""
    with suppress(OSError):  # some network disks know no locks; there a file is at worst compressed early
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)


def is_written(path: Path) -> bool:
    """Return whether somebody still writes to a file; False where it cannot be told."""
    try:
        with path.open("rb") as file:
            return not _done_with(file.fileno())
    except OSError:
        return False


def sessions(directory: Path) -> list[Path]:
    """Return the files of sessions in a directory, the oldest first."""
    return [path for path in _all_files(directory) if path.suffix != UNFINISHED]


def _all_files(directory: Path) -> list[Path]:
    """Return those that are being made as well; no other file is touched by anybody here."""
    found = [(match, path) for path in directory.iterdir() if (match := _NAME.match(path.name))]
    return [path for match, path in sorted(found, key=lambda each: (each[0][1], int(each[0][2] or 1)))]


def tidy(directory: Path, most: int, go_on: Callable[[], bool] = lambda: True) -> tuple[str, ...]:
    """Compress what is done with, and make room by taking away the oldest files.

    Only plain files are touched: a link may lead to something of somebody else, and a pipe would be read for ever.

    Args:
        directory: where the sessions are.
        most: bytes that they may take.
        go_on: asked now and then; what is not done by the time it says no is left as it was.

    Returns:
        A sentence for each thing an owner should know. It never raises.
    """
    if not directory.exists():
        return ()  # no session has written anything yet
    said: list[str] = []
    try:
        for path in _plain(_all_files(directory)):
            try:
                if path.suffix == UNFINISHED:
                    _take_away(path)
                elif path.suffix != PACKED and go_on():
                    _compress(path, go_on)
            except OSError as error:  # of one file: the others are tidied all the same
                said.append(_cannot(f"the session log {path}", error))
        return (*said, *_make_room(_plain(_all_files(directory)), most))
    except OSError as error:
        return (*said, _cannot(f"the session logs in {directory}", error))


def _take_away(path: Path) -> None:
    """Take a file away that somebody began to make, if he was killed before he had."""
    with suppress(FileNotFoundError):
        if time.time() - path.stat().st_mtime > ABANDONED:
            path.unlink()


def _cannot(what: str, error: OSError) -> str:
    return f"{what} cannot be tidied: {error.strerror or error}"


def _plain(paths: list[Path]) -> dict[Path, int]:
    """Return the sizes of those that are plain files, in the same order."""
    found = {}
    for path in paths:
        with suppress(FileNotFoundError):
            told = path.lstat()
            if stat.S_ISREG(told.st_mode):
                found[path] = told.st_size
    return found


def _make_room(sizes: dict[Path, int], most: int) -> tuple[str, ...]:
    excess = sum(sizes.values()) - most
    gone = []
    said = []
    for path, size in sizes.items():
        if excess <= 0:
            break
        try:
            with path.open("rb") as file:
                if not _done_with(file.fileno()):
                    continue
                path.unlink()
        except OSError as error:
            said.append(_cannot(f"the session log {path}", error))
            continue
        excess -= size
        gone.append(path.name)
    if not gone:
        return tuple(said)
    which = gone[0] if len(gone) == 1 else f"{gone[0]} to {gone[-1]}"
    why = f"together they may take {most // 1_000_000} MB"
    return (*said, f"{len(gone)} of the oldest session logs made room for newer ones ({which}): {why}")


def _done_with(file: int) -> bool:
    try:
        fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def _compress(path: Path, go_on: Callable[[], bool]) -> None:
    """Put a compressed file in the place of one that is done with; whenever that is cut short, one of both is there."""
    packed = path.with_name(path.name + PACKED)
    part = path.with_name(packed.name + UNFINISHED)
    with path.open("rb") as file:
        if not _done_with(file.fileno()):
            return
        with part.open("wb") as target, gzip.GzipFile("", "wb", 6, target, mtime=0) as whole:
            while go_on() and (data := file.read(_CHUNK)):
                whole.write(data)
            whole.close()
            target.flush()
            os.fsync(target.fileno())
        if not go_on():
            part.unlink()
            return
        part.replace(packed)
        path.unlink()
