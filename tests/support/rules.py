"""The walls of the house as functions: source text in, violations as `file:line: message` out.

Nothing here reads a file, so that a test can plant a violation as text and see it found.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import chain
from typing import TypeAlias

from tests.support.syntax import aliases, dotted, imports, module_of, within

Found: TypeAlias = Iterator[tuple[int, str]]
"""Line and message of each violation."""


def _report(path: str, found: Found) -> list[str]:
    return [f"{path}:{line}: {message}" for line, message in sorted(set(found))]


# Directions.


@dataclass(frozen=True, slots=True)
class Directions:
    """Who may import whom.

    Attributes:
        may_import: for each room (a dotted name) the rooms of our own that it may import, besides itself.
        libraries: for a room that may not use every library, those that it may; the standard library is
            always allowed.
        closed: packages of ours that no room may import at all.
    """

    may_import: Mapping[str, frozenset[str]]
    libraries: Mapping[str, frozenset[str]] = field(default_factory=dict)
    closed: frozenset[str] = frozenset({"tests"})

    def room(self, name: str) -> str | None:
        """Return the room that a dotted name stands in, the innermost one."""
        rooms = [room for room in self.may_import if within(name, room)]
        return max(rooms, key=len, default=None)

    def placed(self, name: str) -> bool:
        """Return whether a module stands in a room, and not merely loose in a package that has rooms."""
        room = self.room(name)
        divided = any(other.startswith(f"{room}.") for other in self.may_import)
        return room is not None and (name == room or not divided)


def layering(path: str, source: str, directions: Directions) -> list[str]:
    """Find imports against the directions, and files that have no place in them."""
    module = module_of(path)
    room = directions.room(module)
    if room is None or not directions.placed(module):
        return [f"{path}:1: {module} has no place in the order of rooms: give it one"]
    return _report(path, _layering(path, source, room, directions))


def _layering(path: str, source: str, room: str, directions: Directions) -> Found:
    allowed = directions.may_import[room]
    libraries = directions.libraries.get(room)
    ours = {name.split(".")[0] for name in directions.may_import}
    for item in imports(ast.parse(source), path):
        top = item.target.split(".")[0]
        if item.target == "?":
            yield item.line, "imports by a name that is not written out"
        elif top in directions.closed:
            yield item.line, f"{room} may not import {top}"
        elif top in ours:
            other = directions.room(item.target)
            if other is None:
                yield item.line, f"{item.target} has no place in the order of rooms"
            elif other != room and other not in allowed:
                yield item.line, f"{room} may not import {other}"
        elif libraries is not None and top not in libraries and top not in sys.stdlib_module_names:
            yield item.line, f"{room} may not use {top}"


# Purity.


@dataclass(frozen=True, slots=True)
class Purity:
    """What a pure room does without.

    Attributes:
        modules: modules that it may not import, each with the reason.
        builtins: built-in functions that it may not name, each with the reason.
        methods: methods that it may not call on anything, each with the reason.
    """

    modules: Mapping[str, str]
    builtins: Mapping[str, str]
    methods: Mapping[str, str]


def purity(path: str, source: str, rules: Purity) -> list[str]:
    """Find what reaches the clock, the disk, the network or chance, and orders that differ between runs."""
    tree = ast.parse(source)
    return _report(path, chain(_impure(tree, path, rules), _unordered(tree)))


def _impure(tree: ast.AST, path: str, rules: Purity) -> Found:
    names = aliases(tree)
    for item in imports(tree, path):
        for module, reason in rules.modules.items():
            if within(item.target, module):
                yield item.line, f"imports {module}: {reason}"
    for node in ast.walk(tree):
        match node:
            case ast.Name(id=name, ctx=ast.Load()) if name in rules.builtins:
                yield node.lineno, f"uses {name}: {rules.builtins[name]}"
            case ast.Call(func=ast.Attribute(attr=method)) if method in rules.methods:
                yield node.lineno, f"calls .{method}(): {rules.methods[method]}"
            case ast.Attribute():
                # `np.random` needs no import of its own, so the whole name is looked at as well.
                whole = dotted(node, names)
                for module, reason in rules.modules.items():
                    if "." in module and within(whole, module):
                        yield node.lineno, f"imports {module}: {reason}"


_SET_METHODS = frozenset({"union", "intersection", "difference", "symmetric_difference", "keys"})
_IN_ORDER = frozenset({"list", "tuple", "enumerate", "iter", "next", "zip", "map", "filter", "reversed"})


def _unordered(tree: ast.AST) -> Found:
    """Find walks through a set, whose order depends on the hash seed; `sorted(...)` around it mends that."""
    scopes = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.Module)]
    for scope in scopes:
        known = _names_of_sets(scope)
        for node in ast.walk(scope):
            for walked in _walked(node):
                if _is_set(walked, known):
                    yield walked.lineno, "walks through a set: its order depends on the hash seed, sort it"


def _walked(node: ast.AST) -> list[ast.expr]:
    match node:
        case ast.For(iter=walked) | ast.comprehension(iter=walked) | ast.Starred(value=walked):
            return [walked]
        case ast.Call(func=ast.Name(id=name), args=arguments) if name in _IN_ORDER:
            return arguments
        case ast.Call(func=ast.Attribute(attr="join"), args=arguments):
            return arguments
        case ast.Call(func=ast.Attribute(value=value, attr="pop"), args=[]):
            return [value]
    return []


def _is_set(node: ast.expr, known: frozenset[str]) -> bool:
    match node:
        case ast.Set() | ast.SetComp():
            return True
        case ast.Name(id=name):
            return name in known
        case ast.Call(func=ast.Name(id="set" | "frozenset")):
            return True
        case ast.Call(func=ast.Attribute(value=value, attr=method)) if method in _SET_METHODS - {"keys"}:
            return _is_set(value, known)
        case ast.BinOp(left=left, op=ast.Sub() | ast.BitOr() | ast.BitAnd() | ast.BitXor(), right=right):
            return any(_is_set(side, known) or _is_keys(side) for side in (left, right))
    return False


def _is_keys(node: ast.expr) -> bool:
    return isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "keys"


def _names_of_sets(scope: ast.FunctionDef | ast.Module) -> frozenset[str]:
    """Return the names that this function (or the module's top level) gives to sets, and to nothing else."""
    sets: set[str] = set()
    others: set[str] = set()
    for node in _own(scope):
        match node:
            case ast.arg(arg=name, annotation=ast.expr() as annotation):
                (sets if _annotates_set(annotation) else others).add(name)
            case ast.AnnAssign(target=ast.Name(id=name), annotation=annotation):
                (sets if _annotates_set(annotation) else others).add(name)
            case ast.Assign(targets=[ast.Name(id=name)], value=value):
                (sets if _is_set(value, frozenset(sets)) else others).add(name)
    return frozenset(sets - others)


def _own(scope: ast.FunctionDef | ast.Module) -> Iterator[ast.AST]:
    """Yield the nodes of a scope in the order of the text, without those of the functions inside it."""
    waiting: list[ast.AST] = list(ast.iter_child_nodes(scope))[::-1]
    while waiting:
        node = waiting.pop()
        yield node
        if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef | ast.Lambda):
            waiting.extend(list(ast.iter_child_nodes(node))[::-1])


def _annotates_set(annotation: ast.expr) -> bool:
    whole = ast.unparse(annotation).strip("'\"")
    return whole.split("[")[0] in {"set", "frozenset", "Set", "AbstractSet", "collections.abc.Set"}


Checker: TypeAlias = Callable[[str, str], list[str]]
"""Path and source text in, violations out."""


def check_all(sources: Mapping[str, str], checker: Checker) -> list[str]:
    """Return the violations of many files, in the order of their paths."""
    return [violation for path in sorted(sources) for violation in checker(path, sources[path])]
