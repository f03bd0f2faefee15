"""What came in, made fit for a message: short, on one line, and with nothing in it that a terminal obeys."""

from __future__ import annotations


def cut(value: str | bytes, limit: int = 80) -> str:
    r"""Return `value` as printable text of about `limit` characters, the rest cut off and its length named.

    Bytes that are not UTF-8 and characters that cannot be printed are shown by their escapes (`\xff`,
    `\n`). Only the part that is shown is ever decoded, so a message of any size costs the same.
    """
    head = value[:limit]
    text = head if isinstance(head, str) else head.decode("utf-8", "backslashreplace")
    shown = "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)
    if len(value) <= limit:
        return shown
    unit = "characters" if isinstance(value, str) else "bytes"
    return f"{shown}… ({len(value)} {unit})"
