"""What tells a signal what to show: each way of choosing an aspect, as it was written in the layout file.

A signal may be told in several ways at once; then the most restrictive of what they say counts.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeAlias

from bridge.events import Position
from bridge.layout.findings import Mark

Needs: TypeAlias = tuple[tuple[int, Position], ...]
"""Accessories by number, each with the position in which it has to stand."""


@dataclass(frozen=True, slots=True)
class CommandRow:
    """The aspect that each position of one accessory orders; a position may order nothing."""

    accessory: int
    aspects: dict[Position, str]
    marks: dict[Position, Mark]
    mark: Mark


@dataclass(frozen=True, slots=True)
class LastCommand:
    """The aspect that was ordered last, whichever of the accessories the order came by."""

    rows: tuple[CommandRow, ...]


@dataclass(frozen=True, slots=True)
class TableRow:
    """One row of a table: the aspect that is shown while all these accessories were last ordered so."""

    needs: Needs
    aspect: str
    mark: Mark


@dataclass(frozen=True, slots=True)
class PositionTable:
    """A table over the positions of several accessories; the first row that fits counts."""

    rows: tuple[TableRow, ...]
    mark: Mark


@dataclass(frozen=True, slots=True)
class AspectNumbers:
    """The aspect for each number that one extended accessory may be ordered to show; other numbers say nothing."""

    accessory: int
    aspects: dict[int, str]
    mark: Mark


@dataclass(frozen=True, slots=True)
class Way:
    """One way that a train may take behind the signal.

    Attributes:
        turnouts: where they have to stand for it to be this way.
        blocks: the blocks up to the next signal; all have to be clear.
        following: the next signal, or empty where none is known of.
        shows: the aspect for each aspect of the next signal; for any other, `beyond`.
        beyond: the aspect where there is no next signal, or it shows something that `shows` does not name.
        mark: its place in the file.
    """

    turnouts: Needs
    blocks: tuple[str, ...]
    following: str
    shows: dict[str, str]
    beyond: str
    mark: Mark


@dataclass(frozen=True, slots=True)
class Ahead:
    """What lies ahead: the blocks, the turnouts and the next signal. The first way whose turnouts stand so counts."""

    ways: tuple[Way, ...]
    mark: Mark


@dataclass(frozen=True, slots=True)
class HeldButtons:
    """The most restrictive aspect of the buttons that are held, or `otherwise` while none is."""

    aspects: dict[str, str]
    otherwise: str
    mark: Mark


@dataclass(frozen=True, slots=True)
class LatchedButtons:
    """The aspect of the button that was pressed last."""

    aspects: dict[str, str]
    mark: Mark


@dataclass(frozen=True, slots=True)
class SteppedButton:
    """Each press goes on to the next aspect, and from the last to the first."""

    button: str
    aspects: tuple[str, ...]
    mark: Mark


@dataclass(frozen=True, slots=True)
class Following:
    """The aspect for each aspect of another signal; for any other the most restrictive."""

    signal: str
    shows: dict[str, str]
    mark: Mark


@dataclass(frozen=True, slots=True)
class CrossingShows:
    """A post of a crossing.

    Attributes:
        crossing: which one.
        another: it shows whether a second train is coming, and not what the crossing does.
        shows: the aspect for each phase of the crossing, or for `yes` and `no`.
        mark: its place in the file.
    """

    crossing: str
    another: bool
    shows: dict[str, str]
    mark: Mark


def asked(control: Control) -> Iterator[tuple[str, Mark]]:
    """Yield every aspect that a control may ask for, with a place in the file that says so."""
    match control:
        case LastCommand(rows):
            for row in rows:
                yield from ((aspect, row.marks[position]) for position, aspect in row.aspects.items())
        case PositionTable(lines):
            yield from ((line.aspect, line.mark) for line in lines)
        case Ahead(ways):
            for way in ways:
                yield from ((aspect, way.mark) for aspect in (*way.shows.values(), way.beyond))
        case AspectNumbers(_, aspects, mark) | LatchedButtons(aspects, mark):
            yield from ((aspect, mark) for aspect in aspects.values())
        case HeldButtons(aspects, otherwise, mark):
            yield from ((aspect, mark) for aspect in (*aspects.values(), otherwise))
        case SteppedButton(_, steps, mark):
            yield from ((aspect, mark) for aspect in steps)
        case Following(_, shows, mark) | CrossingShows(_, _, shows, mark):
            yield from ((aspect, mark) for aspect in shows.values())


Control: TypeAlias = (
    LastCommand
    | PositionTable
    | AspectNumbers
    | Ahead
    | HeldButtons
    | LatchedButtons
    | SteppedButton
    | Following
    | CrossingShows
)
