"""What a set of aspects of a rule book is made of.

The lights of a row are written in the words of the layout file, so that what stands here can be read beside the
guide: heads from the top down between ` / `, lamps of one head that are lit together between ` + `.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from functools import cache
from typing import Final, NamedTuple

from bridge.layout.model import DARK, Flash

NEXT_HEAD: Final = " / "
NEXT_LAMP: Final = " + "
FLASHING: Final = "flashing"
"""Stands before what flashes."""

ALTERNATING: Final = "alternating"
"""Stands before what flashes by turns with that."""


class Evidence(StrEnum):
    """How well it is known what lights a row has."""

    SEEN = "seen"  # in the law, the standard or the rule book itself
    SECOND_HAND = "seen-second-hand"  # in somebody's account of it
    MEMORY = "memory"  # common practice without a source


class Plate(StrEnum):
    """What a row has to do with the number plate on the mast."""

    EITHER = "either"
    WITH = "with"  # only a signal with a number plate shows it
    WITHOUT = "without"  # only a signal without one


class Word(NamedTuple):
    """One lamp or colour of a row."""

    word: str
    flashing: bool
    alternating: bool


@dataclass(frozen=True, slots=True)
class RuleRow:
    """One aspect.

    Attributes:
        name: as the rule book has it.
        lights: what is lit, once for each number of heads that it is defined for.
        evidence: how well the lights are known.
        source: what the row rests on.
        plate: what it has to do with the number plate.
    """

    name: str
    lights: tuple[str, ...]
    evidence: Evidence
    source: str
    plate: Plate = Plate.EITHER

    def form(self, heads: int) -> tuple[tuple[Word, ...], ...] | None:
        """Return what each of so many heads shows, or None where the row is not defined for so many."""
        return next((form for form in self.forms() if len(form) == heads), None)

    def forms(self) -> tuple[tuple[tuple[Word, ...], ...], ...]:
        """Return what each head shows, for each number of heads that the row is defined for."""
        return tuple(read_form(lights) for lights in self.lights)


@dataclass(frozen=True, slots=True)
class RuleSet:
    """The aspects of one rule book, the most restrictive first.

    Attributes:
        name: what it is called in a layout file.
        title: what it is.
        rows: the aspects.
        sequence: the aspects of an automatic block, by the number of clear sections ahead; empty where there is none.
        flash: how its lamps flash.
    """

    name: str
    title: str
    rows: tuple[RuleRow, ...]
    sequence: tuple[str, ...] = ()
    flash: Flash = field(default_factory=Flash)


@cache
def read_form(lights: str) -> tuple[tuple[Word, ...], ...]:
    """Return the words of each head, the topmost first; a head that is dark has none."""
    return tuple(
        () if head == DARK else tuple(_word(each) for each in head.split(NEXT_LAMP))
        for head in lights.split(NEXT_HEAD)
    )


def _word(text: str) -> Word:
    beat, space, plain = text.partition(" ")
    if not space or beat not in (FLASHING, ALTERNATING):
        return Word(text, flashing=False, alternating=False)
    return Word(plain, flashing=beat == FLASHING, alternating=beat == ALTERNATING)
