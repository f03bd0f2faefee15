"""The members of a JSON payload, by the pointers of RFC 6901; bounded in size, depth and what its numbers may cost."""

from __future__ import annotations

import json
import re
from collections import Counter
from decimal import Decimal
from typing import Any, Final, TypeAlias

from adapters.cut import cut
from bridge.errors import DecodeError

LONGEST_JSON: Final = 16_384
"""Bytes. Two hundred members of a panel have some 5,000."""

LONGEST_TEXT: Final = 1024
"""Bytes of a payload that is no JSON."""

DEEPEST: Final = 16
"""Lists and objects within each other."""

LONGEST_NUMBER: Final = 40
"""Characters; what is longer is no number that anything here can mean."""

Pointer: TypeAlias = tuple[str, ...]
"""The way to a member: keys of objects and indexes of lists."""


class _Missing:
    """What stands where there is no such member: everything else may be a value, null included."""


MISSING: Final = _Missing()

_INDEX: Final = re.compile(r"(0|[1-9][0-9]{0,5})\Z")
_STRINGS: Final = re.compile(rb'"(?:[^"\\]|\\.?)*+"?', re.DOTALL)  # one without an end takes all the rest
_BRACKETS: Final = re.compile(rb"[][{}]")


def read_pointer(text: Any) -> Pointer:
    """Read a pointer (RFC 6901): `/state/occupied`, `/list/0`; the empty text is the whole payload.

    Raises:
        ValueError: it is none.
    """
    if not isinstance(text, str):
        text = f"{text}"  # a number, say: it is no pointer either
    if text and not text.startswith("/"):
        guess = "/" + text.replace(".", "/")
        raise ValueError(
            f"{cut(text, 40)!r} is no place in a JSON payload: begin with a `/`, such as {cut(guess, 40)}"
        )
    steps = text.split("/")[1:]
    if len(steps) > DEEPEST:
        raise ValueError(f"{cut(text, 40)!r} leads too deep: {DEEPEST} steps are allowed")
    if any(re.search(r"~(?![01])", step) for step in steps):
        raise ValueError(
            f"{cut(text, 40)!r} has a `~` alone: write ~0 for it, and ~1 for a / in a key (RFC 6901)"
        )
    return tuple(step.replace("~1", "/").replace("~0", "~") for step in steps)


def look(value: Any, pointer: Pointer) -> Any:
    """Return the member that a pointer leads to, or `MISSING`."""
    for step in pointer:
        if isinstance(value, dict):
            value = value.get(step, MISSING)
        elif isinstance(value, list) and _INDEX.match(step) and int(step) < len(value):
            value = value[int(step)]
        else:
            return MISSING
    return value


def read_json(payload: bytes) -> Any:
    """Return what a JSON payload holds: objects, lists, text, true, false, null, and every number as `Decimal`.

    Raises:
        DecodeError: it is no JSON text (RFC 8259), too long or too deep, a key stands twice in one object, or a
            number is none that can be reckoned with.
    """
    if len(payload) > LONGEST_JSON:
        raise DecodeError(f"the payload is longer than {LONGEST_JSON} bytes")
    if _depth(payload) > DEEPEST:
        raise DecodeError(f"the payload is nested deeper than {DEEPEST} lists and objects")
    try:
        return _JSON.decode(payload.decode("utf-8"))
    except UnicodeDecodeError:
        raise DecodeError("the payload is not UTF-8 text") from None
    except ValueError as problem:
        raise DecodeError(f"the payload is no JSON: {cut(str(problem), 60)}") from None


def _depth(payload: bytes) -> int:
    """Return how deep a payload is nested: known before it is read, so that it does not depend on the stack."""
    if payload.count(b"[") + payload.count(b"{") <= DEEPEST:
        return 0
    depth = deepest = 0
    for bracket in _BRACKETS.findall(_STRINGS.sub(b"", payload)):
        depth += 1 if bracket in b"[{" else -1
        deepest = max(deepest, depth)
    return deepest


def _pairs(items: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(items)
    if len(found) != len(items):
        times = Counter(key for key, _value in items)
        twice = next(key for key, count in times.items() if count > 1)
        raise DecodeError(f"the key {cut(twice, 30)!r} stands twice in one object, and only one can count")
    return found


def _number(text: str) -> Decimal:
    if len(text) > LONGEST_NUMBER:
        raise DecodeError(f"the number {cut(text, 20)} is too long")
    try:
        return Decimal(text)
    except ArithmeticError:
        raise DecodeError(f"the number {cut(text, 20)} is too large") from None


def _constant(name: str) -> None:
    raise DecodeError(f"{name} is no number")


_JSON: Final = json.JSONDecoder(
    object_pairs_hook=_pairs, parse_float=_number, parse_int=_number, parse_constant=_constant
)
