"""Which colours the published standards call red, yellow, green, blue or white, in the CIE 1931 diagram.

Each limit is a set of straight lines, and a colour is inside where it lies on the right side of all of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal, localcontext
from typing import Final, NamedTuple

from bridge.light.chromaticity import DIGITS, Chromaticity

EASA: Final = "EASA CS ADR-DSN.U.930"
CIE_107: Final = "CIE 107-1994"
EN_12368: Final = "draft EN 12368 (1998)"
ITE: Final = "ITE VTCSH (1985, 1998)"


class Line(NamedTuple):
    """A straight line; a point is on its right side where `whole` + `x` times x + `y` times y is not below 0."""

    whole: Decimal
    x: Decimal
    y: Decimal

    def holds(self, at: Chromaticity) -> bool:
        """Return whether a point lies on the right side."""
        with localcontext(DIGITS):
            return self.whole + self.x * at.x + self.y * at.y >= 0


@dataclass(frozen=True, slots=True)
class Limit:
    """What a standard calls by the name of a colour.

    Attributes:
        standard: where it stands.
        colour: the name.
        lines: all of these have to hold.
        either: and one of these, if there are any.
    """

    standard: str
    colour: str
    lines: tuple[Line, ...]
    either: tuple[Line, ...] = ()

    def holds(self, at: Chromaticity) -> bool:
        """Return whether a colour is inside."""
        return all(line.holds(at) for line in self.lines) and (
            not self.either or any(line.holds(at) for line in self.either)
        )


def _lines(*texts: str) -> tuple[Line, ...]:
    return tuple(Line(*(Decimal(part) for part in text.split())) for text in texts)


LIMITS: Final = (
    # (a) of the standard: ground lights of airfields, the CIE colours of 1983.
    Limit(EASA, "red", _lines("-.980 1 1", ".335 0 -1")),
    Limit(EASA, "yellow", _lines("-.382 0 1", "-.790 .667 1", "-.120 1 -1")),
    Limit(EASA, "green", _lines(".360 -1 -.080", "0 -1 .650", "-.390 .171 1")),
    Limit(EASA, "blue", _lines(".065 .805 -1", ".400 -1 -1", ".133 -1 .600")),
    Limit(
        EASA,
        "white",
        _lines("-.285 1 0", ".500 -1 0", ".440 0 -1", ".150 .640 -1"),
        _lines("-.050 -.750 1", "-.382 0 1"),
    ),
    # The other three as the Lighting Research Center compares them.
    Limit(CIE_107, "red", _lines("-.290 0 1", ".300 0 -1", "-.980 1 1")),
    Limit(CIE_107, "yellow", _lines(".206 -1 1", "-.151 1 -1", "-.980 1 1")),
    Limit(CIE_107, "green", _lines(".726 -.726 -1", "-.041 -1 .625", "-.500 .500 1")),
    Limit(EN_12368, "red", _lines("-.290 0 1", ".320 0 -1", "-.980 1 1")),
    Limit(EN_12368, "yellow", _lines("-.387 0 1", "-.980 1 1", ".054 .727 -1")),
    Limit(EN_12368, "green", _lines(".726 -.726 -1", "-.041 -1 .625", "-.400 0 1")),
    Limit(ITE, "red", _lines(".308 0 -1", "-.998 1 1")),
    Limit(ITE, "yellow", _lines("-.411 0 1", ".452 0 -1", "-.995 1 1")),
    Limit(ITE, "green", _lines("-.506 .519 1", "-.150 -1.068 1", ".730 -1 -1")),
)
"""All limits. For the lunar white of railways no published numbers were at hand."""
