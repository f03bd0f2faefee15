"""The files of this checkout, as the tests of its walls read them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT: Final = Path(__file__).resolve().parents[2]

_MADE: Final = frozenset({"__pycache__", "build", "dist", "node_modules", "htmlcov"})


def files(*tops: str, suffix: str = "") -> Iterator[Path]:
    """Yield the files below the given directories of the checkout, in order, without what tools made.

    With no directory named, the whole checkout is walked. Names that begin with a dot are left out, but for
    those that belong to the project.
    """
    for top in tops or (".",):
        for path in sorted((ROOT / top).rglob(f"*{suffix}")):
            parts = path.relative_to(ROOT).parts
            made = any(part in _MADE or part.endswith(".egg-info") for part in parts)
            hidden = any(part.startswith(".") and part not in {".ci", ".gitignore"} for part in parts)
            if path.is_file() and not made and not hidden:
                yield path


def sources(*tops: str) -> dict[str, str]:
    """Return the text of every Python file below the given directories, by its path from the root."""
    return {
        path.relative_to(ROOT).as_posix(): path.read_text(encoding="utf-8")
        for path in files(*tops, suffix=".py")
    }
