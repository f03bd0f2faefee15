"""From the text of a layout file to plain data, with the place of every key and value.

YAML is composed by libyaml, which is about five times as quick as a pure Python reader on a file of 2,000
signals and keeps line and column of every node. The plain scalars are resolved here, by the core schema of
YAML 1.2.2 (section 10.3.2), with fewer numbers: `on`, `off` and 4E2 are words on a railroad and must stay words.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any, Final, TypeAlias

import yaml

from bridge.layout.findings import LONGEST, START, Finding, Mark, error, said
from bridge.layout.notation import LINE_END, inside, not_yaml

Path: TypeAlias = tuple[str | int, ...]
"""The way to a value: keys of mappings and indexes of lists, from the top of the file."""

MAX_NODES: Final = 250_000
"""More values than this are taken for a mistake: aliases of aliases can unfold without end. A layout of 2,000
signals has some 20,000."""

MAX_DEPTH: Final = 32
"""Entries nested deeper than this are taken for a mistake; the deepest that a layout needs is about ten."""

# What YAML 1.2.2 (section 5.1) leaves out, and the three line breaks that YAML 1.1 knew and no editor counts.
_UNFIT: Final = re.compile(
    "[^\\t\\n\\r -~\\xa0-\\u2027\\u202a-\\ud7ff\\ue000-\\ufffd\\U00010000-\\U0010ffff]"
)
_STANDARD_TAG: Final = "tag:yaml.org,2002:"

# A figure with needless zeros in front, or with an E inside, is left as it was written: signal 4E2 has its name.
_INTEGER: Final = re.compile(r"[-+]?(0|[1-9][0-9]*)\Z")
_DECIMAL: Final = re.compile(r"[-+]?(\.[0-9]+|[0-9]+\.[0-9]*)\Z")
_WORDS: Final = {
    **dict.fromkeys(("", "~", "null", "Null", "NULL")),
    **dict.fromkeys(("true", "True", "TRUE"), True),
    **dict.fromkeys(("false", "False", "FALSE"), False),
}
LOADER: Final[type[Any]] = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


@dataclass(frozen=True, slots=True)
class Document:
    """A layout file as data.

    Attributes:
        data: mappings, lists and scalars; mapping keys are always strings.
        values: the place of each value by its path.
        keys: the place of each mapping key by the path of its value.
        findings: what could not be read.
        repeated: keys at the top of the file under which a key stands twice.
        opened: how far inside its place the text of a value begins, for those that stand in quotes.
    """

    data: Any
    values: dict[Path, Mark] = field(default_factory=dict)
    keys: dict[Path, Mark] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    repeated: frozenset[str | int] = frozenset()
    opened: dict[Path, int] = field(default_factory=dict)

    def at(self, path: Path) -> Mark:
        """Return the place of a value, or of the nearest thing around it that has one."""
        while path and path not in self.values:
            path = path[:-1]
        return self.values.get(path, START)

    def inside(self, path: Path, column: int) -> Mark:
        """Return the place of a letter of a text that stands in one line, counted from 0."""
        mark = self.at(path)
        return Mark(mark.line, mark.column + self.opened.get(path, 0) + column)

    def below(self, path: Path) -> dict[Path, Mark]:
        """Return the place of everything below a value, by the rest of its path."""
        deep = len(path)
        return {
            each[deep:]: mark for each, mark in self.values.items() if each[:deep] == path and each != path
        }

    def key_at(self, path: Path) -> Mark:
        """Return the place of the key that leads to a value, or of the nearest thing around it."""
        return self.keys.get(path) or self.at(path)


def parse(text: str) -> Document:
    """Read YAML; whatever is wrong is in the document's findings, and `data` holds what could be read."""
    unfit = _UNFIT.search(text)
    if unfit is not None:
        what = f"the character U+{ord(unfit[0]):04X} cannot be in a layout file: delete it, and save the file as UTF-8"
        return Document(None, findings=(error(_place(text, unfit.start()), what),))
    try:
        root = yaml.compose(text, Loader=LOADER)
    except yaml.MarkedYAMLError as problem:
        return Document(None, findings=(not_yaml(text, problem),))
    reading = _Reading(text)
    try:
        data = reading.value(root, ()) if root is not None else None
    except _TooMuchError as problem:
        return Document(None, findings=(error(problem.mark, str(problem)),))
    return Document(
        data,
        reading.values,
        reading.keys,
        tuple(reading.findings),
        frozenset(reading.repeated),
        reading.opened,
    )


def _place(text: str, index: int) -> Mark:
    lines = LINE_END.split(text[:index])
    return Mark(len(lines), len(lines[-1]) + 1)


class _TooMuchError(Exception):
    """The file unfolds into more than a layout can be."""

    def __init__(self, mark: Mark, message: str) -> None:
        super().__init__(message)
        self.mark = mark


class _Reading:
    """One walk over the composed nodes."""

    def __init__(self, text: str) -> None:
        self._lines = LINE_END.split(text)
        self.values: dict[Path, Mark] = {}
        self.keys: dict[Path, Mark] = {}
        self.findings: list[Finding] = []
        self.repeated: set[str | int] = set()
        self.opened: dict[Path, int] = {}
        self._count = 0

    def value(self, node: yaml.Node, path: Path) -> Any:
        self._count += 1
        mark = inside(node.start_mark, self._lines)
        if self._count > MAX_NODES:
            raise _TooMuchError(
                mark, f"here the file has more than {MAX_NODES} values: are there aliases of aliases?"
            )
        if len(path) > MAX_DEPTH:
            raise _TooMuchError(mark, "this is nested too deeply for a layout")
        self.values[path] = mark
        if not node.tag.startswith(_STANDARD_TAG):
            self.findings.append(
                error(mark, f"the tag {node.tag[:LONGEST]} means nothing here: leave it out")
            )
        if isinstance(node, yaml.MappingNode):
            return self._mapping(node, path)
        if isinstance(node, yaml.SequenceNode):
            return [self.value(item, (*path, index)) for index, item in enumerate(node.value)]
        if not isinstance(node, yaml.ScalarNode):
            return None
        if node.style in ("'", '"'):
            self.opened[path] = 1
        return _scalar(node)

    def _mapping(self, node: yaml.MappingNode, path: Path) -> dict[str, Any]:
        result: dict[str, Any] = {}
        for key_node, value_node in node.value:
            mark = inside(key_node.start_mark, self._lines)
            if not isinstance(key_node, yaml.ScalarNode):
                self.findings.append(error(mark, "a key is one word or number"))
                continue
            key = key_node.value
            inner = (*path, key)
            if key == "<<":
                self.findings.append(
                    error(mark, "`<<` joins nothing here: write the keys out, or use a build")
                )
            elif key in result:
                first = self.keys[inner].line
                self.repeated.add(inner[0])
                self.findings.append(
                    error(mark, f"{said(key)} stands here twice; the first is in line {first}: keep one")
                )
            else:
                self.keys[inner] = mark
                result[key] = self.value(value_node, inner)
        return result


def _scalar(node: yaml.ScalarNode) -> Any:
    text: str = node.value
    if node.style:  # quoted or block: it is text, whatever it looks like
        return text
    if text in _WORDS:
        return _WORDS[text]
    if _INTEGER.match(text):
        return int(text) if len(text) <= 20 else text
    return float(text) if _DECIMAL.match(text) else text
