"""Finding out that choosing anew leads back to where it was, and so would go on for ever."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

FIRST_LOOK: Final = 8
"""Rounds after which the first picture is taken: nearly everything comes to rest in fewer."""


class Circles:
    """Watches one settling, round by round.

    It keeps one picture of how everything stands, compares what comes later with it, and takes another after 8, 16,
    32 rounds and so on: so it finds a circle of any length, and nothing that only takes long is mistaken for one
    (R. P. Brent, "An improved Monte Carlo factorization algorithm", BIT 20, 1980, section 2).
    """

    def __init__(self, picture: Callable[[], list[Any]]) -> None:
        """Begin; `picture` returns all that the choices depend on, of what was touched so far."""
        self._picture = picture
        self._rounds = 0
        self._next_look = FIRST_LOOK
        self._waiting: set[int] | None = None
        self._then: list[Any] = []
        self._turned: set[int] = set()

    def after(self, turned: set[int], waiting: set[int]) -> set[int]:
        """Take one more round.

        Args:
            turned: the devices that were given something else in it.
            waiting: those that have to choose anew in the next.

        Returns:
            The devices that turn in a circle; none while none was found.
        """
        self._rounds += 1
        self._turned |= turned
        if waiting == self._waiting and self._picture() == self._then:
            return self._turned or waiting
        if self._rounds == self._next_look:
            self._next_look *= 2
            self._waiting, self._then, self._turned = set(waiting), self._picture(), set()
        return set()
