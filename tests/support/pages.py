"""What the documentation's own tests look at: docstrings, Markdown pages, and words that do not belong."""

from __future__ import annotations

import ast
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

_Definition: TypeAlias = ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef

_SPEAKS_ELSEWHERE: Final = frozenset({"override", "overload", "setter", "deleter"})
"""Decorators of a method whose docstring stands at another one of the same name."""


def undocumented(path: str, source: str) -> list[str]:
    """Find public modules, classes, functions and methods without a docstring, as `file:line: message`."""
    tree = ast.parse(source)
    own = [] if ast.get_docstring(tree) else [f"{path}:1: the module has no docstring"]
    return own + [f"{path}:{line}: {name} has no docstring" for line, name in _undocumented(tree.body, "")]


def _undocumented(body: list[ast.stmt], inside: str) -> Iterator[tuple[int, str]]:
    for node in body:
        match node:
            case ast.If() | ast.Try():
                yield from _undocumented([*node.body, *node.orelse], inside)
            case ast.ClassDef() | ast.FunctionDef() | ast.AsyncFunctionDef() if not node.name.startswith("_"):
                if not ast.get_docstring(node) and not _speaks_elsewhere(node):
                    yield node.lineno, inside + node.name
                if isinstance(node, ast.ClassDef):
                    yield from _undocumented(node.body, f"{inside}{node.name}.")


def _speaks_elsewhere(node: _Definition) -> bool:
    decorators = [ast.unparse(decorator) for decorator in node.decorator_list]
    return any(name.rpartition(".")[2] in _SPEAKS_ELSEWHERE for name in decorators)


def unwanted(path: str, text: str, patterns: Mapping[str, re.Pattern[str]]) -> list[str]:
    """Find what must not stand in a file, as `file:line: message`; a pattern's key says why not."""
    return [
        f"{path}:{number}: {match[0]!r}: {reason}"
        for number, line in enumerate(text.splitlines(), 1)
        for reason, pattern in patterns.items()
        for match in pattern.finditer(line)
    ]


@dataclass(frozen=True, slots=True)
class Block:
    """One fenced block of a Markdown page.

    Attributes:
        line: the line of its first line of text.
        language: the word behind the opening fence.
        text: what stands between the fences.
    """

    line: int
    language: str
    text: str


_FENCED: Final = re.compile(r"^```(\w*)[^\n]*\n(.*?)^```\s*$", re.MULTILINE | re.DOTALL)


def fenced_blocks(markdown: str, language: str | None = None) -> list[Block]:
    """Return the fenced blocks of a page in order, those of one language only where it is given."""
    blocks = [
        Block(markdown.count("\n", 0, match.start(2)) + 1, match[1], match[2])
        for match in _FENCED.finditer(markdown)
    ]
    return [block for block in blocks if language in {None, block.language}]


def opening(markdown: str) -> list[str]:
    """Return the paragraphs that stand between a page's title and its first `##`."""
    head = re.split(r"^## ", markdown, maxsplit=1, flags=re.MULTILINE)[0]
    paragraphs = [paragraph.strip() for paragraph in re.split(r"\n\s*\n", head)]
    return [paragraph for paragraph in paragraphs if paragraph and not paragraph.startswith("# ")]
