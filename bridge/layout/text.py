"""From the text of a layout file to plain data, with the place of every key and value.

YAML is composed by libyaml, which is about five times as quick as a pure Python reader on a file of 2,000
signals and keeps line and column of every node. The plain scalars are resolved here, by the core schema of
YAML 1.2.2 (section 10.3.2): `on` and `off` are words on a railroad and must stay words.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any, Final, TypeAlias

import yaml

from bridge.layout.findings import START, Finding, Mark, error

Path: TypeAlias = tuple[str | int, ...]
"""The way to a value: keys of mappings and indexes of lists, from the top of the file."""

MAX_NODES: Final = 1_000_000
"""More values than this are taken for a mistake: aliases of aliases can unfold without end."""

_INTEGER: Final = re.compile(r"[-+]?[0-9]+\Z")
_DECIMAL: Final = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?\Z")
_WORDS: Final = {
    **dict.fromkeys(("", "~", "null", "Null", "NULL")),
    **dict.fromkeys(("true", "True", "TRUE"), True),
    **dict.fromkeys(("false", "False", "FALSE"), False),
}
_LOADER: Final[type[Any]] = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


@dataclass(frozen=True, slots=True)
class Document:
    """A layout file as data.

    Attributes:
        data: mappings, lists and scalars; mapping keys are always strings.
        values: the place of each value by its path.
        keys: the place of each mapping key by the path of its value.
        findings: what could not be read.
    """

    data: Any
    values: dict[Path, Mark] = field(default_factory=dict)
    keys: dict[Path, Mark] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()

    def at(self, path: Path) -> Mark:
        """Return the place of a value, or of the nearest thing around it that has one."""
        while path and path not in self.values:
            path = path[:-1]
        return self.values.get(path, START)

    def key_at(self, path: Path) -> Mark:
        """Return the place of the key that leads to a value, or of the nearest thing around it."""
        return self.keys.get(path) or self.at(path)


def parse(text: str) -> Document:
    """Read YAML; whatever is wrong is in the document's findings, and `data` holds what could be read."""
    try:
        root = yaml.compose(text, Loader=_LOADER)
    except yaml.MarkedYAMLError as problem:
        where = problem.problem_mark or problem.context_mark
        mark = Mark(where.line + 1, where.column + 1) if where else START
        said = ", ".join(part for part in (problem.context, problem.problem) if part)
        return Document(None, findings=(error(mark, f"this is not YAML: {said}"),))
    except yaml.reader.ReaderError as problem:
        line = text.count("\n", 0, problem.position) + 1
        said = f"the character {problem.character!r} is not allowed here"
        return Document(None, findings=(error(Mark(line, 1), f"this is not YAML: {said}"),))
    except RecursionError:
        return Document(None, findings=(error(START, "nested too deeply to be a layout"),))
    reading = _Reading()
    try:
        data = reading.value(root, ()) if root is not None else None
    except RecursionError:
        return Document(None, findings=(error(START, "nested too deeply to be a layout"),))
    return Document(data, reading.values, reading.keys, tuple(reading.findings))


class _Reading:
    """One walk over the composed nodes."""

    def __init__(self) -> None:
        self.values: dict[Path, Mark] = {}
        self.keys: dict[Path, Mark] = {}
        self.findings: list[Finding] = []
        self._count = 0

    def value(self, node: yaml.Node, path: Path) -> Any:
        self._count += 1
        mark = _mark(node)
        if self._count > MAX_NODES:
            if self._count == MAX_NODES + 1:
                self.findings.append(error(mark, f"more than {MAX_NODES} values: aliases that hold aliases?"))
            return None
        self.values[path] = mark
        if isinstance(node, yaml.MappingNode):
            return self._mapping(node, path)
        if isinstance(node, yaml.SequenceNode):
            return [self.value(item, (*path, index)) for index, item in enumerate(node.value)]
        return _scalar(node) if isinstance(node, yaml.ScalarNode) else None

    def _mapping(self, node: yaml.MappingNode, path: Path) -> dict[str, Any]:
        result: dict[str, Any] = {}
        for key_node, value_node in node.value:
            mark = _mark(key_node)
            if not isinstance(key_node, yaml.ScalarNode):
                self.findings.append(error(mark, "a key must be one word or number"))
                continue
            key = key_node.value
            inner = (*path, key)
            if key in result:
                first = self.keys[inner]
                self.findings.append(
                    error(mark, f"{key!r} stands here twice; the first is in line {first.line}: keep one")
                )
                continue
            self.keys[inner] = mark
            result[key] = self.value(value_node, inner)
        return result


def _mark(node: yaml.Node) -> Mark:
    return Mark(node.start_mark.line + 1, node.start_mark.column + 1)


def _scalar(node: yaml.ScalarNode) -> Any:
    text: str = node.value
    if node.style:  # quoted or block: it is text, whatever it looks like
        return text
    if text in _WORDS:
        return _WORDS[text]
    if _INTEGER.match(text):
        return int(text) if len(text) <= 20 else text
    return float(text) if _DECIMAL.match(text) else text
