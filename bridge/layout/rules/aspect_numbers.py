"""Aspect numbers of the extended accessory packet, as NEM 672 (MOROP, recommendation, 2015) gives them a meaning.

The low four bits are the speed as tens of km/h, 0 for stop and 15 for the highest speed allowed; the high four
are a code for what the signal shows beside that (section 3.1). Code 4 blanks the signal (note 4).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

ASPECT_NUMBERS: Final = range(256)
STOP: Final = 0
FULL_SPEED: Final = 15
"""The speed that stands for the highest one allowed."""

DARK_CODE: Final = 4
_KMH_A_TENS_DIGIT: Final = 10


@dataclass(frozen=True, slots=True)
class NumberedAspect:
    """What an aspect number means.

    Attributes:
        speed: tens of km/h, 1 to 14; `STOP` and `FULL_SPEED` mean what their names say.
        code: what the signal shows beside that, 0 for nothing.
        dark: whether the signal is blanked; its speed then means nothing.
    """

    speed: int
    code: int
    dark: bool

    @property
    def kmh(self) -> int | None:
        """The speed in km/h, 0 for stop; None for the highest one allowed, and where the signal is dark."""
        return None if self.dark or self.speed == FULL_SPEED else self.speed * _KMH_A_TENS_DIGIT


def numbered_aspect(number: int) -> NumberedAspect:
    """Return what an aspect number means.

    Args:
        number: the data byte of the packet, 0 to 255.

    Raises:
        ValueError: it is none.
    """
    if number not in ASPECT_NUMBERS:
        raise ValueError(f"{number} is no aspect number: they go from 0 to {ASPECT_NUMBERS[-1]}")
    code, speed = divmod(number, 16)
    return NumberedAspect(speed, code, dark=code == DARK_CODE)


def aspect_number(aspect: NumberedAspect) -> int:
    """Return the number of an aspect; `numbered_aspect` the other way round."""
    return aspect.code * 16 + aspect.speed
