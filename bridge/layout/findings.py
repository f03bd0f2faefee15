"""What is found in a layout file: where, how bad, and what to do about it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from enum import StrEnum
from typing import Final


class Level(StrEnum):
    """How bad a finding is."""

    ERROR = "error"  # the layout cannot run like this
    WARNING = "warning"  # it runs, and the owner should look


@dataclass(frozen=True, slots=True, order=True)
class Mark:
    """A place in the layout file; lines and columns count from 1."""

    line: int
    column: int


START: Final = Mark(1, 1)


def nearest(marks: Mapping[tuple[str | int, ...], Mark], keys: tuple[str | int, ...], around: Mark) -> Mark:
    """Return the place that keys lead to, or that of the nearest thing around it that is written."""
    while keys and keys not in marks:
        keys = keys[:-1]
    return marks.get(keys, around)


LONGEST: Final = 60
"""Characters of a value that a message shows."""

LISTED: Final = 24
"""Names that a message lists."""

COMPARED: Final = 500
"""Names that are looked through for a likely one: comparing takes some 10 microseconds a name."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One finding, with the place in the file that has to be looked at."""

    mark: Mark
    level: Level
    message: str

    def line(self, file: str) -> str:
        """Return the finding as the one line that `check` prints: `FILE:LINE:COLUMN: level: message`."""
        return f"{file}:{self.mark.line}:{self.mark.column}: {self.level.value}: {self.message}"

    def to_data(self, file: str) -> dict[str, str | int]:
        """Return the finding as plain data for JSON."""
        mark = self.mark
        return {
            "file": file,
            "line": mark.line,
            "column": mark.column,
            "level": self.level.value,
            "message": self.message,
        }


def error(mark: Mark, message: str) -> Finding:
    """Return a finding that keeps the layout from running."""
    return Finding(mark, Level.ERROR, message)


def warning(mark: Mark, message: str) -> Finding:
    """Return a finding that the owner should look at."""
    return Finding(mark, Level.WARNING, message)


def errors(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return those findings that keep the layout from running."""
    return tuple(each for each in findings if each.level is Level.ERROR)


def in_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return the findings in the order of the file, each once."""
    return tuple(sorted(dict.fromkeys(findings), key=lambda each: (each.mark, each.level, each.message)))


def said(value: object) -> str:
    """Return how a value of the file is called in a message: as its owner wrote it, and never at length."""
    if value is None:
        return "an empty value"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a mapping"
    if isinstance(value, list | tuple):
        return "a list"
    text = repr(value) if isinstance(value, str) else str(value)
    return text if len(text) <= LONGEST else f"{text[:LONGEST]}..."


def either(words: Iterable[object]) -> str:
    """Return `a, b or c`."""
    listed = [str(word) for word in words]
    return " or ".join([", ".join(listed[:-1]), listed[-1]] if len(listed) > 1 else listed)


def count(number: int, what: str) -> str:
    """Return `1 chip` or `2 chips`."""
    return f"{number} {what}{'' if number == 1 else 's'}"


def choice(wanted: object, allowed: Iterable[object]) -> str:
    """Return the tail of a message: what is allowed instead of `wanted`, with the likeliest."""
    names = [str(name) for name in allowed]
    if not names:
        return "there are none yet"
    word = str(wanted)
    near = [] if len(word) > LONGEST else get_close_matches(word, names[:COMPARED], n=1, cutoff=0.7)
    hint = f"; did you mean {near[0]}?" if near else ""
    shown = [name if name.isprintable() and len(name) <= LONGEST else said(name) for name in names[:LISTED]]
    if len(names) == 1:
        return f"there is only {shown[0]}{hint}"
    rest = f" and {len(names) - LISTED} more" if len(names) > LISTED else ""
    return f"use one of: {', '.join(shown)}{rest}{hint}"
