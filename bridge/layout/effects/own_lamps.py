"""The lamps of one light, as an effect calls them by their names."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from bridge.layout.entries import Desk
from bridge.layout.findings import choice, either, said
from bridge.layout.model import DARK
from bridge.layout.text import Path

SEPARATORS: Final = (".", "/")
"""What stands between the name of a fixture or a head and that of its lamp."""


class OwnLamps:
    """The lamps of a light in their order.

    A lamp is called by its whole name, such as `post.red`, or by the last part of it where no other lamp has that.
    """

    def __init__(self, desk: Desk, names: Sequence[str]) -> None:
        self._desk = desk
        self.names = tuple(names)

    def __len__(self) -> int:
        return len(self.names)

    def every(self) -> tuple[int, ...]:
        """Return all lamps."""
        return tuple(range(len(self.names)))

    def listed(self, wanted: Any, path: Path) -> tuple[int, ...] | None:
        """Read one lamp, a list of lamps or `dark`; None, and a note, if one of them is not there."""
        if wanted == DARK:
            return ()
        if not isinstance(wanted, list):
            found = [self._one(wanted, path)]
        else:
            found = [self._one(each, (*path, place)) for place, each in enumerate(wanted)]
        if not found:
            self._desk.error(path, f"nothing stands here: name a lamp, or write {DARK}")
            return None
        sound = [each for each in found if each is not None]
        return tuple(dict.fromkeys(sound)) if len(sound) == len(found) else None

    def _one(self, wanted: Any, path: Path) -> int | None:
        name = str(wanted)
        if name in self.names:
            return self.names.index(name)
        found = [place for place, full in enumerate(self.names) if name in endings(full)]
        if len(found) == 1:
            return found[0]
        if found:
            whole = either(self.names[place] for place in found)
            self._desk.error(path, f"several lamps of this light are called {said(wanted)}: write {whole}")
        else:
            self._desk.error(path, f"this light has no lamp {said(wanted)}; {choice(wanted, self.names)}")
        return None


def endings(full: str) -> list[str]:
    """Return what a name may be shortened to: `street.post.red` to `post.red` or `red`."""
    return [full[place + 1 :] for place, letter in enumerate(full) if letter in SEPARATORS]


def shows_colour(full: str, colours: Sequence[str]) -> str:
    """Return which of several colours a lamp has by its name, `north.red` or `lens-red`; empty if none."""
    last = (endings(full) or [full])[-1]
    return next((each for each in colours if last == each or last.endswith(f"-{each}")), "")
