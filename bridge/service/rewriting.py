"""Writing a layout file anew: whole or not at all, only over what was read, and with the old one kept aside."""

from __future__ import annotations

import codecs
import contextlib
import os
import tempfile
from pathlib import Path
from typing import Final

from bridge.errors import LayoutError

ASIDE: Final = ".before"
"""What the name of the copy ends in that holds the file as it was before the last change."""


def read_bytes(name: str) -> bytes:
    """Return what a layout file holds.

    Raises:
        LayoutError: it cannot be read.
    """
    try:
        return Path(name).read_bytes()
    except OSError as problem:
        raise LayoutError(f"{name}: cannot be read: {problem.strerror}") from None


def rewrite(name: str, before: bytes, text: str) -> Path:
    """Put a text in place of a layout file, and return where the file as it was is kept.

    A name that is a link stays one: what it leads to is written. Mode and, where that is allowed, owner stay.

    Args:
        name: of the file.
        before: what it held when it was read.
        text: what it shall hold.

    Raises:
        LayoutError: it has changed since, or it cannot be written; it is as it was.
    """
    mark = codecs.BOM_UTF8 if before.startswith(codecs.BOM_UTF8) else b""
    try:
        path = Path(name).resolve(strict=True)
        aside = path.with_name(path.name + ASIDE)
        _unchanged(name, path, before)
        _put(aside, before, path)
        _unchanged(name, path, before)
        _put(path, mark + text.encode(), path)
    except OSError as problem:
        raise LayoutError(f"{name}: cannot be written, and is as it was: {problem.strerror}") from None
    return aside


def _unchanged(name: str, path: Path, before: bytes) -> None:
    if path.read_bytes() != before:
        raise LayoutError(
            f"{name} was changed by somebody else meanwhile, so it was left alone: do it once more"
        )


def _put(path: Path, data: bytes, like: Path) -> None:
    """Write a file so that it is there whole or not at all, also if the power fails; mode and owner as of another."""
    stat = like.stat()
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fchmod(file.fileno(), stat.st_mode & 0o7777)
            with contextlib.suppress(PermissionError):  # only root may give files away
                os.fchown(file.fileno(), stat.st_uid, stat.st_gid)
            os.fsync(file.fileno())
        Path(temporary).replace(path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
