"""Python source read as a tree: what it imports, and which full name each expression stands for."""

from __future__ import annotations

import ast
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping


@dataclass(frozen=True, slots=True)
class Import:
    """One name that a file brings in.

    Attributes:
        line: where.
        target: the whole name, `package.module.name`; the last part may be a module or a name in one.
    """

    line: int
    target: str


def module_of(path: str) -> str:
    """Return the dotted name of a file: `bridge/layout/read.py` is `bridge.layout.read`."""
    parts = PurePosixPath(path).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports(tree: ast.AST, path: str) -> Iterator[Import]:
    """Yield every import of a file: at any depth, for type checking only, relative, or by a call.

    An import by a call whose argument is not written out is yielded with the target `?`.
    """
    for node in ast.walk(tree):
        match node:
            case ast.Import(names=names):
                yield from (Import(node.lineno, name.name) for name in names)
            case ast.ImportFrom(names=names):
                base = _base(node, path)
                yield from (Import(node.lineno, f"{base}.{name.name}") for name in names)
            case ast.Call(func=ast.Name(id="__import__") | ast.Attribute(attr="import_module")):
                yield Import(node.lineno, _written_out(node))
            case ast.Call(func=ast.Name(id="import_module")):
                yield Import(node.lineno, _written_out(node))


def _base(node: ast.ImportFrom, path: str) -> str:
    if not node.level:
        return node.module or ""
    package = PurePosixPath(path).parts[: -node.level]
    return ".".join((*package, node.module) if node.module else package)


def _written_out(call: ast.Call) -> str:
    match call.args:
        case [ast.Constant(value=str(name)), *_]:
            return name
    return "?"


def aliases(tree: ast.AST) -> dict[str, str]:
    """Return the whole name behind each local name that an absolute import binds."""
    names: dict[str, str] = {}
    for node in ast.walk(tree):
        match node:
            case ast.Import():
                for name in node.names:
                    whole = name.name if name.asname else name.name.split(".")[0]
                    names[name.asname or whole] = whole
            case ast.ImportFrom(level=0):
                for name in node.names:
                    names[name.asname or name.name] = f"{node.module}.{name.name}"
    return names


def dotted(node: ast.AST, names: Mapping[str, str]) -> str:
    """Return the whole name of an expression such as `np.random.rand`, or "" where it has none."""
    match node:
        case ast.Name(id=name):
            return names.get(name, name)
        case ast.Attribute(value=value, attr=attribute):
            base = dotted(value, names)
            return f"{base}.{attribute}" if base else ""
    return ""


def within(name: str, package: str) -> bool:
    """Return whether a dotted name is this package or something in it."""
    return name == package or name.startswith(f"{package}.")
