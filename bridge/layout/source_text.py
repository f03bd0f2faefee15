"""The text of a layout file with the place of everything in it, and how its lines are changed one by one.

Whatever is not changed stays as it is, to the last blank: nothing is written anew from the data. The places are those
that libyaml gives, which counts characters from the beginning of the text.
"""

from __future__ import annotations

import json
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from typing import Any, Final, NamedTuple, TypeAlias

import yaml

from bridge.errors import LayoutError
from bridge.layout.notation import LINE_END
from bridge.layout.text import LOADER, Path, parse

Value: TypeAlias = bool | int | str | Sequence["int | str | None"] | dict[str, str] | None
"""What a key may be set to: one value, a list of them, or words for words."""

BY_HAND: Final = (
    "this part of the file is written in a way that cannot be changed line by line: change it by hand"
)


class Change(NamedTuple):
    """Characters of the text that something else is put in place of."""

    start: int
    end: int
    text: str


Changes: TypeAlias = tuple[Change, ...]
"""Several of them, which do not overlap; of two at one place the first comes first."""


def written(value: Value) -> str:
    """Return how a value is written so that it is read again as what it is, also between brackets."""
    if value is None or isinstance(value, bool):
        return {None: "null", True: "true", False: "false"}[value]
    if isinstance(value, int):
        return str(value)
    if isinstance(value, dict):
        return flow([*value.items()])
    if not isinstance(value, str):
        return f"[{', '.join(written(each) for each in value)}]"
    for text in (value, "'" + value.replace("'", "''") + "'"):
        if parse(f"[{text}]").data == [value]:
            return text
    return json.dumps(value)


def flow(keys: Sequence[tuple[str, Value]]) -> str:
    """Return a mapping in one line."""
    return "{" + ", ".join(f"{written(key)}: {written(value)}" for key, value in keys) + "}"


class SourceText:
    """A text that is sound YAML.

    Attributes:
        text: it.
        eol: how its lines end.
    """

    def __init__(self, text: str) -> None:
        self.text = text
        found = LINE_END.search(text)
        self.eol = found[0] if found else "\n"
        try:
            self._root: Any = yaml.compose(text, Loader=LOADER)
        except yaml.YAMLError:  # what was changed before has broken it
            raise LayoutError(BY_HAND) from None
        self._starts = [0, *(each.end() for each in LINE_END.finditer(text))]
        self._ends = [*self._starts[1:], len(text)]
        self._repeated = frozenset(self._look(self._root, set()))

    def node(self, path: Path) -> Any:
        """Return what stands at the end of a path.

        Raises:
            LayoutError: it, or something on the way to it, is written in one place and used in several.
        """
        node = self._root
        for step in path:
            if isinstance(node, yaml.MappingNode):
                node = next(value for key, value in node.value if key.value == step)
            else:
                node = node.value[step]
            self._alone(node)
        return node

    def _alone(self, node: Any) -> None:
        if node in self._repeated:
            line = node.start_mark.line + 1
            raise LayoutError(f"line {line} is used in several places by an alias: {BY_HAND}")

    def _look(self, node: Any, seen: set[Any]) -> Iterator[Any]:
        """Yield what is come by once more: an alias leads to the very node that it repeats."""
        if node in seen:
            yield node
            return
        seen.add(node)
        inner = node.value if not isinstance(node, yaml.ScalarNode) else ()
        for each in inner:
            yield from self._look(each[1] if isinstance(each, tuple) else each, seen)

    def changed(self, changes: Changes) -> str:
        """Return the text with some changes."""
        text = self.text
        for _number, change in sorted(
            enumerate(changes), key=lambda each: (each[1].start, each[0]), reverse=True
        ):
            text = text[: change.start] + change.text + text[change.end :]
        return text

    # ---- keys ----------------------------------------------------------------------------------------------

    def set_key(self, path: Path, key: str, value: Value, behind: str = "") -> Changes:
        """Return what sets a key of a mapping; a new one is written behind another, or as the last."""
        mapping = self.node(path)
        pairs = {each.value: (each, node) for each, node in mapping.value}
        if key in pairs:
            self._alone(pairs[key][1])
            return _all(self._replaced(*pairs[key], written(value)))
        last, _ = pairs.get(behind) or mapping.value[-1]
        _, node = pairs[last.value]
        new = f"{written(key)}: {written(value)}"
        end = _end(node, self.text)
        if mapping.flow_style:
            return _all(Change(end, end, f", {new}"))
        end = self._line_end(end)
        return _all(Change(end, end, f"{' ' * last.start_mark.column}{new}{self.eol}"))

    def _replaced(self, key: Any, node: Any, text: str) -> Change:
        start, end = node.start_mark.index, _end(node, self.text)
        if start == end or (not isinstance(node, yaml.ScalarNode) and not node.flow_style):
            colon = self.text.index(":", key.end_mark.index) + 1
            start, end, text = colon, max(end, colon), f" {text}"
        if "#" in self.text[start:end] and not isinstance(node, yaml.ScalarNode):
            raise LayoutError(f"line {node.start_mark.line + 1} has a remark that would be lost: {BY_HAND}")
        return Change(start, end, text)

    def remove_key(self, path: Path, key: str) -> Changes:
        """Return what takes a key of a mapping away."""
        mapping = self.node(path)
        number = next(index for index, (each, _node) in enumerate(mapping.value) if each.value == key)
        own, node = mapping.value[number]
        self._alone(node)
        places = [(each.start_mark.index, _end(value, self.text)) for each, value in mapping.value]
        if mapping.flow_style:
            return _all(self._without(places, number))
        start, end = places[number]
        column, line = own.start_mark.column, own.start_mark.line
        if self.text[self._starts[line] : start].strip():
            # It stands behind the dash of its entry: the next key takes its place.
            if number + 1 == len(places):
                raise LayoutError(f"line {line + 1} would be left empty: {BY_HAND}")
            after = places[number + 1][0]
            if "#" in self.text[end:after]:
                raise LayoutError(f"line {line + 1} has a remark that would be lost: {BY_HAND}")
            return _all(Change(start, after, ""))
        return _all(Change(start - column, self._line_end(end), ""))

    # ---- entries of lists ------------------------------------------------------------------------------------

    def insert(self, path: Path, index: int, keys: Sequence[tuple[str, Value]], like: int) -> Changes:
        """Return what puts a mapping into a list before `index`, written in the style of the entry `like`."""
        items = self.node(path)
        if items.flow_style or items.value[like].flow_style:
            return _all(self._put(items, index, flow(keys)))
        indent = self.eol + "  "
        return _all(
            self._put(items, index, indent.join(f"{written(key)}: {written(value)}" for key, value in keys))
        )

    def remove(self, path: Path, index: int) -> Changes:
        """Return what takes an entry of a list out; remarks on lines of their own stay."""
        items = self.node(path)
        if items.flow_style:
            places = [(item.start_mark.index, _end(item, self.text)) for item in items.value]
            return _all(self._without(places, index))
        start, end = self._lines(items, index)
        return _all(Change(start, end, ""))

    def move(self, path: Path, index: int, to: Path, place: int) -> Changes:
        """Return what moves an entry of a list, with the remarks right above it, to a place of another list.

        Places are counted before anything is moved.
        """
        items, others = self.node(path), self.node(to)
        item = items.value[index]
        if items.flow_style:
            places = [(each.start_mark.index, _end(each, self.text)) for each in items.value]
            start, end = places[index]
            return _all(self._without(places, index), self._put(others, place, self.text[start:end]))
        start, end = self._unit(items, index)
        if others.flow_style:
            own, _ = self._lines(items, index)
            text = self.text[item.start_mark.index : _end(item, self.text)]
            if start != own or not item.flow_style or self.text[_end(item, self.text) : end].strip():
                raise LayoutError(f"line {item.start_mark.line + 1} does not fit between brackets: {BY_HAND}")
            return _all(Change(start, end, ""), self._put(others, place, text))
        shift = others.start_mark.column - items.start_mark.column
        lines = self.text[start:end].splitlines(keepends=True)
        moved = "".join(_shifted(line, shift) for line in lines)
        at = self._unit(others, place)[0] if place < len(others.value) else self._unit(others, place - 1)[1]
        return _all(Change(start, end, ""), Change(at, at, moved))

    def sort(self, path: Path, order: Sequence[int]) -> Changes:
        """Return what puts the entries of a list into another order, given by their indexes."""
        items = self.node(path)
        if items.flow_style:
            places = [(each.start_mark.index, _end(each, self.text)) for each in items.value]
        else:
            places = [self._unit(items, index) for index in range(len(items.value))]
        return _all(
            *(
                Change(start, end, self.text[slice(*places[own])])
                for (start, end), own in zip(places, order, strict=True)
            )
        )

    def _put(self, items: Any, place: int, text: str) -> Change:
        count = len(items.value)
        if items.flow_style:
            if place:
                end = _end(items.value[place - 1], self.text)
                return Change(end, end, f", {text}")
            start = items.value[0].start_mark.index
            return Change(start, start, f"{text}, ")
        at = self._unit(items, place)[0] if place < count else self._unit(items, count - 1)[1]
        margin = " " * items.start_mark.column
        return Change(at, at, f"{margin}- {text.replace(self.eol, self.eol + margin)}{self.eol}")

    def _without(self, places: Sequence[tuple[int, int]], index: int) -> Change:
        """Return the change that takes one of several things out that stand between brackets."""
        start, end = places[index]
        if index and "#" not in self.text[places[index - 1][1] : start]:
            return Change(places[index - 1][1], end, "")
        if index + 1 < len(places):
            after = places[index + 1][0]
            comma = self.text.index(",", end) + 1
            return Change(start, comma if "#" in self.text[end:after] else after, "")
        return Change(start, end, "")

    def _lines(self, items: Any, index: int) -> tuple[int, int]:
        """Return where the lines of an entry of a list begin and end."""
        item, column = items.value[index], items.start_mark.column
        line = item.start_mark.line
        while line > items.start_mark.line and self._line(line)[column : column + 1] != "-":
            line -= 1
        if self._line(line)[: column + 1].strip() != "-":
            raise LayoutError(f"line {line + 1}: {BY_HAND}")
        return self._starts[line], self._line_end(_end(item, self.text))

    def _unit(self, items: Any, index: int) -> tuple[int, int]:
        """Return where an entry of a list begins and ends, with the remarks on the lines right above it."""
        start, end = self._lines(items, index)
        line, margin = bisect_right(self._starts, start) - 1, " " * items.start_mark.column + "#"
        while line > 0 and self._line(line - 1).startswith(margin):
            line -= 1
        return self._starts[line], end

    def _line(self, number: int) -> str:
        return self.text[self._starts[number] : self._ends[number]]

    def _line_end(self, index: int) -> int:
        """Return where the line of a character ends, behind its line end."""
        return self._ends[bisect_right(self._starts, index) - 1]


def _all(*changes: Change) -> Changes:
    return changes


def _end(node: Any, text: str) -> int:
    """Return where what a node says ends: libyaml counts what stands behind a block as a part of it."""
    if isinstance(node, yaml.ScalarNode):
        start, end = node.start_mark.index, node.end_mark.index
        return start + len(text[start:end].rstrip()) if node.style in ("|", ">") else int(end)
    if node.flow_style or not node.value:
        return int(node.end_mark.index)
    last = node.value[-1]
    return _end(last[1] if isinstance(last, tuple) else last, text)


def _shifted(line: str, by: int) -> str:
    """Return a line that stands further right, or further left as far as it can."""
    bare = line.lstrip(" ")
    return line if not bare.strip() else " " * max(len(line) - len(bare) + by, 0) + bare
