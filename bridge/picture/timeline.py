"""What a picture of a session shows, as data, within bounds that do not grow with the session."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final, NamedTuple, TypeVar

from bridge.events import Instant
from bridge.picture.statistics import Statistics

Rgb = tuple[int, int, int]
"""Bytes of sRGB (IEC 61966-2-1)."""

MOST_COLOURS: Final = 4
"""Colours of one device that are drawn."""

COLUMNS: Final = 1000
"""So many stretches of a lane can be told apart; what is shorter is drawn as one with its neighbours."""

RUN: Final = 56
"""A run of bands that are too short is drawn as one up to so many times the shortest: wide enough to say how many."""

MOST: Final = 4 * COLUMNS
"""Entries of a lane that are kept while it is not known yet how long the session is."""


class Glow(NamedTuple):
    """One colour that is lit on a device.

    Attributes:
        rgb: how it looks on a screen.
        flashing: it goes dark and comes on again, over and over.
    """

    rgb: Rgb
    flashing: bool


class Band(NamedTuple):
    """A stretch for which a device showed one aspect; or several that are too short to be told apart.

    Attributes:
        since: when it began.
        until: when it ended.
        aspect: what it showed; empty for several.
        glows: its colours, each once.
        number: how many aspects these are.
    """

    since: Instant
    until: Instant
    aspect: str
    glows: tuple[Glow, ...]
    number: int = 1


class Tick(NamedTuple):
    """Something happened at an instant; or several things that are too close to be told apart, and have no text."""

    at: Instant
    text: str
    number: int = 1


class ClockPiece(NamedTuple):
    """From an instant on the model clock shows these seconds of its day, and runs at so many quarters of real time.

    Nobody knows what it shows where `seconds` is None.
    """

    at: Instant
    seconds: int | None
    quarters: int


@dataclass(slots=True)
class Row:
    """The lane of a device: its name, what its effect is called, and what it showed, in order."""

    name: str
    effect: str = ""
    bands: list[Band] = field(default_factory=list)


@dataclass(slots=True)
class Inputs:
    """The lane of a source: what came by it, and for how long it could not be heard."""

    name: str
    ticks: list[Tick] = field(default_factory=list)
    lost: list[tuple[Instant, Instant]] = field(default_factory=list)


@dataclass(slots=True)
class Timeline:
    """All that a picture shows.

    Attributes:
        layout: its name.
        file: the log.
        started: wall time at which the session began, in the form of ISO 8601.
        since: where the picture begins.
        until: and where it ends.
        inputs: lanes of sources.
        rows: lanes of devices.
        marks: what an owner looks for: a lost source, a lamp test, something out of use.
        clock: how the model clock ran.
        statistics: what was counted between the two ends.
    """

    layout: str
    file: str
    started: str
    since: Instant
    until: Instant
    inputs: list[Inputs]
    rows: list[Row]
    marks: list[Tick]
    clock: list[ClockPiece]
    statistics: Statistics


def thin_bands(bands: Sequence[Band], shortest: int) -> list[Band]:
    """Return bands with every run of such that are shorter than `shortest` nanoseconds as one."""
    thin: list[Band] = []
    for band in bands:
        last = thin[-1] if thin else None
        both = last is not None and _short(last, shortest) and _short(band, shortest)
        if last is not None and both and band.until - last.since <= RUN * shortest:
            glows = tuple(dict.fromkeys((*last.glows, *band.glows)))[:MOST_COLOURS]
            thin[-1] = Band(last.since, band.until, "", glows, last.number + band.number)
        else:
            thin.append(band)
    return thin


def _short(band: Band, shortest: int) -> bool:
    """Return whether a band cannot be told from its neighbours, or is of such."""
    return band.number > 1 or band.until - band.since < shortest


def thin_ticks(ticks: Sequence[Tick], nearest: int) -> list[Tick]:
    """Return ticks with all that come within `nearest` nanoseconds of one as part of that one."""
    thin: list[Tick] = []
    for tick in ticks:
        if thin and tick.at - thin[-1].at < nearest:
            thin[-1] = Tick(thin[-1].at, "", thin[-1].number + tick.number)
        else:
            thin.append(tick)
    return thin


_Entry = TypeVar("_Entry")


def keep_few(
    entries: list[_Entry], thin: Callable[[Sequence[_Entry], int], list[_Entry]], length: int
) -> None:
    """Thin entries out in place once they are too many, never more than the finished picture will.

    Args:
        entries: of one lane.
        thin: `thin_bands` or `thin_ticks`.
        length: of the picture so far, nanoseconds; it can only grow.
    """
    if len(entries) > MOST:
        entries[:] = thin(entries, length // COLUMNS)
