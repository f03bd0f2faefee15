"""Text with named parts, such as `yard/{number}/set`: what it stands for, and what stands in its parts.

A text is read from the left, and a part ends where the letters behind it come for the first time. So there is
one way to read a text at the most, and it takes no longer than the text is long.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final, NamedTuple

from adapters.cut import cut

LONGEST_PATTERN: Final = 256
MOST_PARTS: Final = 8

_PART: Final = re.compile(r"\{([^{}]*)\}")
_NAME: Final = re.compile(r"[a-z][a-z0-9-]{0,30}\Z")


class Pattern(NamedTuple):
    """A text with named parts.

    Attributes:
        letters: what stands before the first part, between each two, and behind the last: one more than parts.
        parts: their names.
    """

    letters: tuple[str, ...]
    parts: tuple[str, ...]

    def find(self, text: str) -> dict[str, str] | None:
        """Return what stands in each part, none of them empty, or None where the text is another one."""
        first, *between = self.letters
        if not self.parts:
            return {} if text == first else None
        if not text.startswith(first):
            return None
        found: dict[str, str] = {}
        at = len(first)
        last = between.pop()
        for part, letters in zip(self.parts, between, strict=False):
            end = text.find(letters, at + 1)
            if end < 0:
                return None
            found[part] = text[at:end]
            at = end + len(letters)
        end = len(text) - len(last)
        if end <= at or not text.endswith(last):
            return None
        found[self.parts[-1]] = text[at:end]
        return found

    def fill(self, values: Mapping[str, str]) -> str:
        """Return the text with something in each of its parts."""
        first, *rest = self.letters
        return first + "".join(values[part] + letters for part, letters in zip(self.parts, rest, strict=True))


def read_pattern(text: str) -> Pattern:
    """Read a text with named parts in braces.

    Raises:
        ValueError: it cannot be read in one way only; the message says what to write.
    """
    if len(text) > LONGEST_PATTERN:
        raise ValueError(f"{cut(text, 40)!r} is too long: {LONGEST_PATTERN} characters are allowed")
    pieces = _PART.split(text)
    letters, parts = tuple(pieces[::2]), tuple(pieces[1::2])
    if any("{" in each or "}" in each for each in letters):
        raise ValueError(f"{cut(text, 60)!r} has a brace alone: a named part is written {{number}}")
    _look_at_parts(text, parts)
    for before, letter in zip(parts, letters[1:-1], strict=False):
        if not letter:
            raise ValueError(
                f"{cut(text, 60)!r} does not say where {{{before}}} ends: write something between two parts"
            )
    return Pattern(letters, parts)


def _look_at_parts(text: str, parts: tuple[str, ...]) -> None:
    for part in parts:
        if not _NAME.match(part):
            raise ValueError(
                f"{{{cut(part, 30)}}} in {cut(text, 60)!r} is no name of a part: write small letters, digits and -"
            )
        if parts.count(part) > 1:
            raise ValueError(
                f"{{{part}}} stands twice in {cut(text, 60)!r}: give each part a name of its own"
            )
    if len(parts) > MOST_PARTS:
        raise ValueError(f"{cut(text, 40)!r} has {len(parts)} parts: {MOST_PARTS} are allowed")


ANY: Final = "+"
ANY_REST: Final = "#"
"""The wildcards of MQTT 3.1.1, section 4.7.1: any one level, and whatever levels follow."""


class Topic(NamedTuple):
    """A topic with named parts.

    Attributes:
        levels: one pattern for each level; None for any.
        rest: whatever levels follow, or none, belong to it as well.
        filter: the narrowest MQTT topic filter that all its topics match.
    """

    levels: tuple[Pattern | None, ...]
    rest: bool
    filter: str

    @property
    def parts(self) -> tuple[str, ...]:
        """The names of its parts."""
        return tuple(part for level in self.levels if level is not None for part in level.parts)

    def find(self, topic: str) -> dict[str, str] | None:
        """Return what stands in each part, or None where this is another topic."""
        levels = topic.split("/")
        if len(levels) < len(self.levels) or (len(levels) > len(self.levels) and not self.rest):
            return None
        found: dict[str, str] = {}
        for pattern, level in zip(self.levels, levels, strict=False):
            if pattern is None:
                continue
            inside = pattern.find(level)
            if inside is None:
                return None
            found.update(inside)
        return found


def read_topic_pattern(text: str) -> Topic:
    """Read a topic with named parts, each within one level; `+` and `#` stand as in MQTT.

    Raises:
        ValueError: no MQTT topic can be meant; the message says what to write.
    """
    if not text:
        raise ValueError("the topic is empty: write one, such as yard/turnout/{number}/set")
    if not text.isprintable():
        raise ValueError(f"the topic {cut(text, 60)!r} has a character that cannot be printed")
    if text.startswith("$"):
        raise ValueError(f"the topic {cut(text, 60)!r} begins with `$`, which brokers keep for themselves")
    _look_at_parts(text, tuple(_PART.findall(text)))
    words = text.split("/")
    rest = words[-1] == ANY_REST
    if rest:
        words.pop()
    levels: list[Pattern | None] = []
    for word in words:
        if word != ANY and (ANY in word or ANY_REST in word):
            raise ValueError(
                f"{cut(word, 40)!r} in the topic {cut(text, 60)!r} does not fit: `+` stands for a whole level, "
                "and `#` for all that follow at the end"
            )
        levels.append(None if word == ANY else read_pattern(word))
    written = [ANY if level is None or level.parts else level.letters[0] for level in levels]
    return Topic(tuple(levels), rest, "/".join([*written, ANY_REST] if rest else written))


def covers(wide: str, narrow: str) -> bool:
    """Return whether every topic that matches the filter `narrow` matches `wide` as well."""
    wider, narrower = wide.split("/"), narrow.split("/")
    for place, level in enumerate(wider):
        if level == ANY_REST:
            return True
        if place == len(narrower) or narrower[place] == ANY_REST or level not in (ANY, narrower[place]):
            return False
    return len(wider) == len(narrower)


def overlap(one: str, other: str) -> bool:
    """Return whether some topic matches both filters."""
    left, right = one.split("/"), other.split("/")
    for ours, theirs in zip(left, right, strict=False):
        if ANY_REST in (ours, theirs):
            return True
        if ours != theirs and ANY not in (ours, theirs):
            return False
    longer = left[len(right) :] or right[len(left) :]
    return not longer or longer == [ANY_REST]
