"""Addresses as people write them, and the password that may go with one."""

from __future__ import annotations

from pathlib import Path
from typing import Final, Self

from bridge.errors import LamproomError
from bridge.service.connection import BrokerAddress

HERE: Final = "127.0.0.1"
"""This machine: where a port alone is taken to be."""


class Address(BrokerAddress):
    """A host and a port."""

    @classmethod
    def parse(cls, text: str, port: int) -> Self:
        """Read `HOST`, `HOST:PORT`, `[IPV6]:PORT` or a port of this machine alone.

        Raises:
            LamproomError: it is none of these.
        """
        host, said = text, ""
        if text.isascii() and text.isdigit():
            host, said = HERE, text
        elif text.startswith("["):
            host, _, said = text[1:].partition("]")
            said = said.removeprefix(":")
        elif text.count(":") == 1:
            host, said = text.split(":")
        number = int(said) if said.isascii() and said.isdigit() and len(said) <= 5 else (-1 if said else port)
        if not host or not 0 <= number <= 65_535:
            raise LamproomError(
                f"{text!r} is no address: write HOST, HOST:PORT or a port alone, such as {HERE}:{port or 8470}"
            )
        return cls(host, number)


def password_path(layout_file: str, said: str) -> Path:
    """Return where the password file of a layout file lies: a relative path starts from the layout file's folder."""
    return Path(layout_file).parent / said


def read_password(path: Path) -> str:
    """Return what a password file holds, without the line's end.

    Raises:
        LamproomError: it cannot be read; the message says what would help.
    """
    try:
        return path.read_text(encoding="utf-8").strip()
    except OSError as problem:
        raise LamproomError(
            f"the password file {path} cannot be read ({problem.strerror}): write the password into it, "
            "and let the user who runs lamproom read it"
        ) from None
    except UnicodeDecodeError:
        raise LamproomError(
            f"the password file {path} is not UTF-8 text: write the password into it, and nothing else"
        ) from None
