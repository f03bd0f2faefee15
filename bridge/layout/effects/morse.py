"""Letters and figures in Morse code, and how long they are."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

_CODE: Final = (
    "A.- B-... C-.-. D-.. E. F..-. G--. H.... I.. J.--- K-.- L.-.. M-- N-. O--- P.--. Q--.- R.-. S... T- U..- V...- "
    "W.-- X-..- Y-.-- Z--.. 1.---- 2..--- 3...-- 4....- 5..... 6-.... 7--... 8---.. 9----. 0-----"
)

MORSE: Final = {each[0]: each[1:] for each in _CODE.split()}
"""The dots and dashes of each letter and figure (ITU-R M.1677-1, part I, 1.1)."""

DASH: Final = 3
WITHIN: Final = 1
BETWEEN: Final = 3
BEHIND: Final = 7
"""In dots: a dash, the dark within a letter, between letters, and at least behind them all (the same, part I, 2)."""


def marks(letters: str) -> Iterator[tuple[int, int]]:
    """Yield, in dots, how long each mark is lit and how long it is dark behind it; nothing behind the last."""
    for place, letter in enumerate(letters):
        code = MORSE[letter]
        for index, mark in enumerate(code):
            lit = DASH if mark == "-" else 1
            if index < len(code) - 1:
                yield lit, WITHIN
            else:
                yield lit, BETWEEN if place < len(letters) - 1 else 0


def length(letters: str) -> int:
    """Return how many dots the letters take, without the dark behind them."""
    return sum(lit + dark for lit, dark in marks(letters))
