"""The light of each die of a pixel: its hue and how much of it there is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Die:
    """One LED inside a pixel.

    Attributes:
        mcd: its full light, millicandela.
        wavelength: its dominant wavelength, tenths of a nanometre; 0 for a white die.
        kelvin: the temperature of a white die; 0 for any other.
    """

    mcd: int
    wavelength: int = 0
    kelvin: int = 0


@dataclass(frozen=True, slots=True)
class Dies:
    """What shines in a pixel; `white` is None where there is no such die."""

    red: Die
    green: Die
    blue: Die
    white: Die | None = None

    def __getitem__(self, letter: str) -> Die:
        """Return a die by the letter of the data sheet.

        Raises:
            KeyError: there is none.
        """
        die = {"R": self.red, "G": self.green, "B": self.blue, "W": self.white}[letter]
        if die is None:
            raise KeyError(letter)
        return die

    @property
    def letters(self) -> str:
        """The letters of the dies that there are."""
        return "RGB" if self.white is None else "RGBW"


DIE_KEYS: Final = {"red": "R", "green": "G", "blue": "B", "white": "W"}
"""How the dies are called in the layout file."""
