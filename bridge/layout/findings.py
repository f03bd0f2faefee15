"""What is found in a layout file: where, how bad, and what to do about it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from enum import StrEnum
from typing import Final


class Level(StrEnum):
    """How bad a finding is."""

    ERROR = "error"  # the layout cannot run like this
    WARNING = "warning"  # it runs, and the owner should look
    NOTE = "note"


@dataclass(frozen=True, slots=True, order=True)
class Mark:
    """A place in the layout file; lines and columns count from 1."""

    line: int
    column: int


START: Final = Mark(1, 1)


@dataclass(frozen=True, slots=True)
class Finding:
    """One finding, with the place in the file that has to be looked at."""

    mark: Mark
    level: Level
    message: str

    def line(self, file: str) -> str:
        """Return the finding as the one line that `check` prints: `FILE:LINE:COLUMN: level: message`."""
        return f"{file}:{self.mark.line}:{self.mark.column}: {self.level.value}: {self.message}"


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


def choice(wanted: str, allowed: Iterable[str]) -> str:
    """Return the tail of a message: what is allowed instead of `wanted`, the likeliest first."""
    names = [str(name) for name in allowed]
    if not names:
        return "there are none yet"
    near = get_close_matches(wanted, names, n=1, cutoff=0.7)
    hint = f"; did you mean {near[0]!r}?" if near else ""
    shown = names if len(names) <= 24 else [*names[:24], f"and {len(names) - 24} more"]
    return f"there is: {', '.join(shown)}{hint}"
