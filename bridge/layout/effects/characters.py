"""Light characters in the notation of nautical charts: `Fl(2+1) 15s`, `Oc 6s`, `Q(3) 10s`, `VQ(6)+LFl 10s`, `Mo(A)`.

The classes and abbreviations are those of Chart No. 1 (INT 1), section P: class, group in brackets, colours, period;
spaces and dots between them are free.

    character = ["Al"] class [colours] [period]
    class     = "F" | "Iso" | "LFl" | ("Fl" | "FFl" | "Oc") [group] | ("Q" | "VQ" | "UQ") ["(" number ")" ["+LFl"]]
              | "IQ" | "IVQ" | "IUQ" | "Mo(" letters ")"
    group     = "(" number {"+" number} ")"
    colours   = {"W" | "R" | "G" | "Bu" | "Y" | "Am" | "Or" | "Vi"}
    period    = seconds "s"
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final, NoReturn

from bridge.layout.effects.morse import MORSE
from bridge.layout.findings import either, said

COLOURS: Final = {
    "W": "white",
    "R": "red",
    "G": "green",
    "Bu": "blue",
    "Y": "yellow",
    "Am": "amber",
    "Or": "orange",
    "Vi": "violet",
}
"""The colours by the abbreviations of a chart."""

RHYTHMS: Final = ("FFl", "LFl", "Fl", "F", "Iso", "Oc", "IVQ", "IUQ", "IQ", "VQ", "UQ", "Q", "Mo")
"""The classes, so that none stands behind one that it begins with."""

COMPOSITE: Final = frozenset({"Fl", "FFl", "Oc"})
"""Classes that take a group such as (2) or (2+1)."""

QUICK: Final = frozenset({"Q", "VQ", "UQ"})
"""Classes that take one number, and a long flash behind it."""

ALTERNATING: Final = frozenset({"F", "Fl", "LFl", "Oc", "Iso"})
"""Classes whose flashes can change their colour."""

MOST_FLASHES: Final = 20
MOST_LETTERS: Final = 4
LONGEST_PERIOD: Final = 60
"""Seconds. With at most two decimals every period then divides into hundredths, and a tape holds it exactly."""

_SPACE: Final = re.compile(r"[ .]*")
_NUMBER: Final = re.compile(r"[1-9][0-9]?")
_PERIOD: Final = re.compile(r"([0-9]{1,2})(?:\.([0-9]{1,2}))?(?= *s)")


class NotationError(ValueError):
    """A text is no light character.

    Attributes:
        column: the place in the text where it stops being one, from 0.
    """

    def __init__(self, column: int, message: str) -> None:
        super().__init__(message)
        self.column = column


@dataclass(frozen=True, slots=True)
class Character:
    """A light character as it is written.

    Attributes:
        text: the whole of it.
        rhythm: its class, one of `RHYTHMS`.
        group: flashes (or eclipses) of each part of a group; (1,) without one.
        long: a long flash follows a group of quick ones.
        letters: what is given in Morse code.
        alternating: its flashes change their colour.
        colours: its colours, as `COLOURS` calls them.
        period: hundredths of a second, or None where it has none.
        at: the places in the text of what may be wrong with it: `class`, `colours` and `period`.
    """

    text: str
    rhythm: str
    group: tuple[int, ...]
    long: bool
    letters: str
    alternating: bool
    colours: tuple[str, ...]
    period: int | None
    at: dict[str, int]


def parse_character(text: str) -> Character:
    """Read a light character.

    Raises:
        NotationError: it is none; with the place, and what was expected there.
    """
    return _Reading(text).character()


class _Reading:
    """One reading, from left to right."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._at = 0

    def character(self) -> Character:
        self._skip()
        at = {"class": self._at}
        alternating = self._take("Al")
        if alternating:
            self._skip()
            at["class"] = self._at
        rhythm = self._rhythm(alternating=alternating)
        group, long, letters = self._details(rhythm)
        self._skip()
        at["colours"] = self._at
        colours = self._colours()
        if alternating and len(colours) < 2:
            self._refuse("two or more colours, such as WR: an alternating light changes between them")
        self._skip()
        at["period"] = self._at
        period = self._period(colours=bool(colours))
        if rhythm == "F" and period is not None and not alternating:
            raise NotationError(
                at["period"],
                f"{said(self._text)} is no light character: a fixed light has no period, so delete it",
            )
        return Character(self._text, rhythm, group, long, letters, alternating, colours, period, at)

    def _rhythm(self, *, alternating: bool) -> str:
        start = self._at
        found = next((each for each in RHYTHMS if self._take(each)), None)
        if found is None:
            if alternating:
                return "F"  # `Al WR`: the light is fixed, and its colour changes
            self._refuse("a class: F, Fl, LFl, FFl, Oc, Iso, Q, VQ, UQ, IQ, IVQ, IUQ, Mo or Al")
        if alternating and found not in ALTERNATING:
            self._at = start
            self._refuse(f"behind Al colours, or {either(sorted(ALTERNATING))}")
        return found

    def _details(self, rhythm: str) -> tuple[tuple[int, ...], bool, str]:
        """Return the group, whether a long flash follows it, and the letters in Morse code."""
        if rhythm == "Mo":
            self._need("(", "a bracket with letters, such as (A)")
            letters = self._letters()
            self._need(")", "the closing bracket")
            return (1,), False, letters
        if rhythm not in COMPOSITE | QUICK or not self._take("("):
            return (1,), False, ""
        start = self._at
        group = [self._number()]
        while self._take("+"):
            if rhythm in QUICK:
                self._at -= 1
                self._refuse("the closing bracket: quick flashes have one number")
            group.append(self._number())
        if sum(group) > MOST_FLASHES:
            self._at = start
            self._refuse(f"at most {MOST_FLASHES} flashes")
        if len(group) == 1 and group[0] == 1:
            self._at = start
            self._refuse("2 or more: a single flash has no brackets")
        self._need(")", "a + and a number, or the closing bracket")
        long = rhythm in QUICK and self._take("+")
        if long:
            self._skip()
            self._need("LFl", "LFl: a long flash is all that can follow quick ones")
        return tuple(group), long, ""

    def _letters(self) -> str:
        start = self._at
        while self._text[self._at : self._at + 1] in MORSE:
            self._at += 1
        letters = self._text[start : self._at]
        if not letters:
            self._refuse("a letter from A to Z, or a figure, to be given in Morse code")
        if len(letters) > MOST_LETTERS:
            self._at = start + MOST_LETTERS
            self._refuse(f"the closing bracket: {MOST_LETTERS} letters are the most")
        return letters

    def _number(self) -> int:
        match = _NUMBER.match(self._text, self._at)
        if match is None:
            self._refuse("a number of flashes, from 1")
        self._at = match.end()
        return int(match[0])

    def _colours(self) -> tuple[str, ...]:
        found = list[str]()
        while True:
            name = next((each for each in COLOURS if self._text.startswith(each, self._at)), None)
            if name is None:
                return tuple(found)
            if COLOURS[name] in found:
                self._refuse("another colour, or a period: this one was there before")
            found.append(COLOURS[name])
            self._at += len(name)

    def _period(self, *, colours: bool) -> int | None:
        if self._at == len(self._text):
            return None
        match = _PERIOD.match(self._text, self._at)
        if match is None:
            if not self._text[self._at].isdigit():
                more = "" if colours else "colours (W R G Bu Y Am Or Vi), "
                self._refuse(f"{more}a period in seconds, such as 10s, or the end")
            self._refuse(f"a period in seconds, such as 10s or 2.5s, up to {LONGEST_PERIOD}s")
        period = int(match[1]) * 100 + int((match[2] or "").ljust(2, "0"))
        if not 0 < period <= LONGEST_PERIOD * 100:
            self._refuse(f"a period of more than 0 and at most {LONGEST_PERIOD} seconds")
        self._at = self._text.index("s", match.end()) + 1
        self._skip()
        if self._at < len(self._text):
            self._refuse("the end: height and range of a light are left out here")
        return period

    def _take(self, wanted: str) -> bool:
        if not self._text.startswith(wanted, self._at):
            return False
        self._at += len(wanted)
        return True

    def _need(self, wanted: str, expected: str) -> None:
        if not self._take(wanted):
            self._refuse(expected)

    def _skip(self) -> None:
        match = _SPACE.match(self._text, self._at)
        if match is not None:
            self._at = match.end()

    def _refuse(self, expected: str) -> NoReturn:
        here = self._text[self._at :]
        where = f"before {said(here)}" if here else "at the end"
        raise NotationError(
            self._at,
            f"{said(self._text)} is no light character: in its column {self._at + 1}, {where}, expected is {expected}",
        )
