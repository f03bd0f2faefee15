"""Reading a session log line by line, so that a long one takes no more memory than a short one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final, TypeAlias

from bridge.errors import DecodeError
from bridge.record.lines import End, Header, Line
from bridge.record.parse import parse_line

LONGEST_LINE: Final = 10_000_000
"""Bytes of one line: far beyond the longest that is ever written."""


@dataclass(frozen=True, slots=True)
class Torn:
    """The last line stops in the middle: whoever wrote the log was cut off. Nothing is wrong with the rest."""

    length: int


@dataclass(frozen=True, slots=True)
class Placed:
    """A line with its number, counted from 1."""

    number: int
    line: Line | Torn


Log: TypeAlias = Iterator[Placed]


def read_log(path: Path) -> Log:
    """Yield the lines of a log: the header first, a torn last line last.

    Raises:
        DecodeError: there is no log, or a line is broken; the message begins `FILE:LINE:`, or `FILE:` where
            the file cannot be read at all.
    """
    try:
        with path.open("rb") as file:
            number = 0
            ended = False
            while data := file.readline(LONGEST_LINE + 1):
                number += 1
                line = _line(path, number, data)
                if ended:
                    raise _broken(path, number, "the session ended before this line")
                if isinstance(line, Header) != (number == 1):
                    what = (
                        "the log does not begin with its header" if number == 1 else "a header in the middle"
                    )
                    raise _broken(path, number, what)
                ended = isinstance(line, End)
                yield Placed(number, line)
    except OSError as error:
        raise DecodeError(f"{path}: cannot be read: {error.strerror or error}") from None
    if number == 0:
        raise DecodeError(f"{path}: the file is empty: nothing was recorded")


def _line(path: Path, number: int, data: bytes) -> Line | Torn:
    if len(data) > LONGEST_LINE:
        raise _broken(path, number, f"a line of more than {LONGEST_LINE} bytes is no line of a session log")
    try:
        return parse_line(data)
    except DecodeError as error:
        if not data.endswith(b"\n"):
            if number == 1:
                raise _broken(
                    path, number, "the log was cut off within its first line: nothing can be read"
                ) from None
            return Torn(len(data))
        raise DecodeError(
            f"{path}:{number}: {error}", received=error.received, expected=error.expected
        ) from None


def _broken(path: Path, number: int, why: str) -> DecodeError:
    return DecodeError(f"{path}:{number}: {why}")
