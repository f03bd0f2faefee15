"""What a value means: words and numbers exactly, ranges of numbers, whole numbers by their bits.

A value of a message is text, a number, true, false or null. Numbers are `Decimal`, so that 0.1 is 0.1.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from enum import StrEnum
from typing import Any, Final, NamedTuple, TypeAlias

from adapters.cut import cut
from bridge.errors import DecodeError

NOTHING: Final = "nothing"
"""The word for what tells nothing: a reading between two thresholds, say, after which all stays as it is."""

MOST_BITS: Final = 64

Value: TypeAlias = "str | Decimal | bool | None"

_FIGURE: Final = r"[-+]?[0-9]{1,12}(?:\.[0-9]{1,9})?"
_EXACT: Final = re.compile(rf"{_FIGURE}\Z")
_READ: Final = re.compile(r"[-+]?[0-9]{1,20}(?:\.[0-9]{1,20})?\Z")
_RANGES: Final = {
    "below": re.compile(rf"below (?P<high>{_FIGURE})\Z"),
    "above": re.compile(rf"above (?P<low>{_FIGURE})\Z"),
    "or less": re.compile(rf"(?P<high>{_FIGURE}) or less\Z"),
    "or more": re.compile(rf"(?P<low>{_FIGURE}) or more\Z"),
    "to": re.compile(rf"(?P<low>{_FIGURE}) to (?P<high>{_FIGURE})\Z"),
}
_LOOKS_LIKE_RANGE: Final = re.compile(
    r"(below|above|over|under|[<>]=?|up to) ?[-+]?[0-9]|[-+]?[0-9.]+ ?(to|or|\.\.) ?([0-9]|less|more)"
)


class Written(StrEnum):
    """How a number is written in a payload."""

    DECIMAL = "decimal"
    HEX = "hex"
    BINARY = "binary"
    BYTES = "bytes"


_DIGITS: Final = {
    Written.HEX: (re.compile(r"(?:0[xX])?([0-9A-Fa-f]{1,16})\Z"), 16),
    Written.BINARY: (re.compile(r"(?:0[bB])?([01]{1,64})\Z"), 2),
}


class Range(NamedTuple):
    """A range of numbers.

    Attributes:
        key: as it stands in the file.
        low: its lower end, or None where it has none.
        high: its upper end.
        open: its ends do not belong to it.
        word: what it means.
    """

    key: str
    low: Decimal | None
    high: Decimal | None
    open: bool
    word: Any

    def holds(self, number: Decimal) -> bool:
        """Return whether a number lies in it."""
        if self.open:
            return (self.low is None or number > self.low) and (self.high is None or number < self.high)
        return (self.low is None or number >= self.low) and (self.high is None or number <= self.high)

    def meets(self, other: Range) -> bool:
        """Return whether some number lies in both."""
        return not (_ends_before(self, other) or _ends_before(other, self))


def _ends_before(one: Range, other: Range) -> bool:
    if one.high is None or other.low is None:
        return False
    return one.high < other.low or (one.high == other.low and (one.open or other.open))


def read_range(key: str, word: Any) -> Range | None:
    """Read the key of a range; None where it is a word or a number of its own.

    Raises:
        ValueError: it is neither, or nothing lies in it.
    """
    for kind, form in _RANGES.items():
        found = form.match(key)
        if found is not None:
            ends = found.groupdict()
            low, high = (Decimal(ends[end]) if end in ends else None for end in ("low", "high"))
            if low is not None and high is not None and low > high:
                raise ValueError(f"{key!r} holds nothing: write the lower number first, {high:f} to {low:f}")
            return Range(key, low, high, kind in ("below", "above"), word)
    if _LOOKS_LIKE_RANGE.match(key):
        raise ValueError(
            f"{cut(key, 40)!r} is no range: write `below 4`, `4 or less`, `4 to 10`, `10 or more` or `above 10`"
        )
    return None


class Meanings(NamedTuple):
    """What the values of an entry mean.

    Attributes:
        words: what a text means, exactly.
        numbers: what a number means, exactly.
        ranges: what a range of numbers means, no two of which meet.
        otherwise: what all else means, or None where all else is refused.
        expected: what is understood, for a person.
    """

    words: Mapping[str, Any]
    numbers: Mapping[Decimal, Any]
    ranges: tuple[Range, ...]
    otherwise: Any
    expected: str

    def look(self, value: Value) -> Any:
        """Return what a value means.

        Raises:
            DecodeError: nothing.
        """
        word = self.words.get(text_of(value))
        if word is not None:
            return word
        number = number_of(value)
        if number is not None:
            word = self.numbers.get(number)
            if word is not None:
                return word
            for each in self.ranges:
                if each.holds(number):
                    return each.word
        if self.otherwise is not None:
            return self.otherwise
        shown = cut(text_of(value), 30)
        close = next((word for word in self.words if word.lower() == shown.lower()), None)
        hint = "" if close is None else f" (`{close}` does: capitals count)"
        raise DecodeError(f"`{shown}` has no meaning here{hint}", expected=self.expected)


def exact_number(key: str) -> Decimal | None:
    """Return the number that a key of the file is, or None."""
    return Decimal(key) if _EXACT.match(key) else None


def text_of(value: Value) -> str:
    """Return a value as text: `true`, `null`, `12.5`."""
    if isinstance(value, str):
        return value
    if isinstance(value, Decimal):
        # Written out only where that is short: an exponent of a million would be a million zeros.
        exponent = value.as_tuple().exponent
        short = isinstance(exponent, int) and abs(exponent) <= 40
        return f"{value:f}" if short else str(value)
    return "null" if value is None else str(value).lower()


def number_of(value: Value) -> Decimal | None:
    """Return the number that a value is, or None: of text only where all of it is one in plain digits."""
    if isinstance(value, Decimal):
        return value
    return Decimal(value) if isinstance(value, str) and _READ.match(value) else None


def whole_of(value: Value, allowed: range) -> int | None:
    """Return the whole number that a value is, if it is one of those allowed."""
    number = number_of(value)
    # The bounds come first: comparing is exact and cheap for an exponent of any size.
    if number is None or not allowed[0] <= number <= allowed[-1] or number != int(number):
        return None
    return int(number)


def as_written(value: Value, written: Written) -> Value:
    """Return a value with the number that it is where that is written in hexadecimal or binary digits.

    Raises:
        DecodeError: it is no such number.
    """
    if written not in _DIGITS or not isinstance(value, str):
        return value
    form, base = _DIGITS[written]
    found = form.match(value)
    if found is None:
        raise DecodeError(f"`{cut(value, 30)}` is no {written.value} number of at most {MOST_BITS} bits")
    return Decimal(int(found[1], base))


def bytes_as_number(payload: bytes) -> Decimal:
    """Return the number that bytes are, the first of them the highest.

    Raises:
        DecodeError: there are none, or more than 8.
    """
    if not 0 < len(payload) <= MOST_BITS // 8:
        raise DecodeError(f"{len(payload)} bytes came, and not 1 to {MOST_BITS // 8}")
    return Decimal(int.from_bytes(payload, "big"))
