"""Reading a session log line by line, so that a long one takes no more memory than a short one.

What is broken is told with its line, and does not take the rest with it: lines that follow are read on. Whether they
still mean something is for whoever reads them to say; a snapshot among them says everything anew.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import BinaryIO, Final, NamedTuple, TypeAlias

from bridge.errors import DecodeError
from bridge.record.lines import End, Header, Line
from bridge.record.parse import parse_line
from bridge.record.store import SESSIONS, is_written, next_piece, open_log, sessions

LONGEST_LINE: Final = 10_000_000
"""Bytes of one line: far beyond the longest that is ever written."""

_CHUNK: Final = 64 * 1024
_HEADER: Final = b'{"log":'


@dataclass(frozen=True, slots=True)
class Torn:
    """The last line stops in the middle: whoever wrote the log was cut off. Nothing is wrong with the rest."""

    length: int


@dataclass(frozen=True, slots=True)
class Broken:
    """A line that cannot be understood, in the midst of others; `why` in words."""

    why: str


class Placed(NamedTuple):
    """A line with its number, counted from 1, in the file that it stands in."""

    number: int
    line: Line | Torn | Broken
    file: Path


Log: TypeAlias = Iterator[Placed]


class Place(NamedTuple):
    """A line of a session: the file that it stands in, and its number there."""

    file: Path
    line: int


def read_session(
    path: Path, *, begin: int = 2, end: Place | None = None, passing: tuple[bytes, ...] = ()
) -> Log:
    """Yield the lines of a log and of all files in which its session goes on: the header first, and only that one.

    Args and errors are those of `read_log`, but for `end`: the last line that is wanted.
    """
    file: Path | None = path
    header: Header | None = None
    while file is not None:
        last = end is not None and end.file == file
        lines = read_log(file, begin=begin, end=end.line if end and last else None, passing=passing)
        first = next(lines)
        if header is None:
            yield first
        elif not isinstance(first.line, Header) or first.line.digest != header.digest:
            return  # it stands there under that name, and belongs to something else
        header = first.line if isinstance(first.line, Header) else None
        yield from lines
        begin = 2
        file = None if header is None or last else next_piece(file, header.piece)


def is_recorded(path: Path) -> bool:
    """Return whether the session of a log still goes on: somebody writes to its last file.

    Raises:
        DecodeError: there is no log, or its header is broken.
    """
    after: Path | None = path
    while after is not None:
        last, header = after, next(read_log(after)).line
        after = next_piece(last, header.piece) if isinstance(header, Header) else None
    return is_written(last)


def read_log(path: Path, *, begin: int = 2, end: int | None = None, passing: tuple[bytes, ...] = ()) -> Log:
    """Yield the lines of one file of a log: the header first, a torn last line last.

    Args:
        path: the log, compressed or not.
        begin: the number of the first line behind the header that is wanted; those before it are not looked at.
        end: the number of the last line that is wanted.
        passing: how lines begin that are not wanted; they are not looked at either, except the last if it is torn.

    Raises:
        DecodeError: there is no log, or its header is broken; the message begins `FILE:1:`, or `FILE:` where the file
            cannot be read at all.
    """
    number = 0
    ended = False
    try:
        with open_log(path) as file:
            for number, data in enumerate(islice(_lines(file), end), start=1):
                if number == 1:
                    yield Placed(1, _first(path, data), path)
                elif number >= begin and not (data.startswith(passing) and data.endswith(b"\n")):
                    line = Broken("the session ended before this line") if ended else _line(data)
                    ended = ended or isinstance(line, End)
                    yield Placed(number, line, path)
    except (EOFError, zlib.error, OSError) as error:
        if number == 0 or not _is_about_packing(error):
            raise DecodeError(f"{path}: cannot be read: {_why_not(path, error)}") from None
        # A compressed file that was cut: what came out of it so far is right, and there is no more.
        yield Placed(number + 1, Broken(f"the compressed file is damaged from here on: {error}"), path)
    if number == 0:
        raise DecodeError(f"{path}: the file is empty: nothing was recorded")


def _why_not(path: Path, error: Exception) -> str:
    """Return why a file cannot be read; of a folder, and of a file that is not there, with what could be meant."""
    why = (error.strerror if isinstance(error, OSError) else None) or str(error)
    folder = path if isinstance(error, IsADirectoryError) else path.parent
    if not isinstance(error, IsADirectoryError | FileNotFoundError):
        return why
    try:
        there = sessions(folder) or sessions(folder / SESSIONS)
    except OSError:
        there = []
    if there:
        return f"{why}; name one of the session logs, of which the newest is {there[-1]}"
    return f"{why}; name a session log: they lie under `{SESSIONS}` in the state directory"


def _is_about_packing(error: Exception) -> bool:
    return not isinstance(error, OSError) or error.errno is None


def _lines(file: BinaryIO) -> Iterator[bytes]:
    """Yield lines with their ends; of one that is longer than any, so much that this can be seen."""
    while data := file.readline(_CHUNK):
        if len(data) == _CHUNK and not data.endswith(b"\n"):
            whole = bytearray(data)
            while (rest := file.readline(_CHUNK)) and len(whole) <= LONGEST_LINE:
                whole += rest
                if rest.endswith(b"\n"):
                    break
            yield bytes(whole)  # before the rest of it is passed over: a header ends the reading here
            while rest and not rest.endswith(b"\n"):
                rest = file.readline(_CHUNK)
        else:
            yield data


def _first(path: Path, data: bytes) -> Header:
    if len(data) > LONGEST_LINE:
        raise DecodeError(f"{path}:1: {_too_long()}")
    try:
        header = parse_line(data)
    except DecodeError as error:
        if not data.startswith(_HEADER[: len(data)]):
            raise DecodeError(
                f"{path}:1: this is no session log of lamproom, which begins with {_HEADER.decode()}"
            ) from None
        if not data.endswith(b"\n"):
            raise DecodeError(
                f"{path}:1: the log was cut off within its first line: nothing can be read"
            ) from None
        raise DecodeError(f"{path}:1: {error}", received=error.received, expected=error.expected) from None
    if not isinstance(header, Header):
        raise DecodeError(f"{path}:1: the log does not begin with its header")
    return header


def _line(data: bytes) -> Line | Torn | Broken:
    if len(data) > LONGEST_LINE:
        return Broken(_too_long())
    try:
        line = parse_line(data)
    except DecodeError as error:
        return Torn(len(data)) if not data.endswith(b"\n") else Broken(str(error))
    return Broken("a header in the middle") if isinstance(line, Header) else line


def _too_long() -> str:
    return f"a line of more than {LONGEST_LINE} bytes is no line of a session log"
