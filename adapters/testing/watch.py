"""What an adapter must not do, and no test of what it does would show: leave something behind, or look at a clock."""

from __future__ import annotations

import ast
import asyncio
import inspect
import re
import sys
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any, Final

OPEN_FILES: Final = Path("/proc/self/fd")
"""Where Linux lists what a process has open; elsewhere this is not looked at."""

_CLOCKS: Final = frozenset({"time", "sched"})
_NOW: Final = frozenset({"now", "utcnow", "today"})
_WAITS: Final = frozenset({"call_later", "call_at", "wait_for", "timeout", "timeout_at"})


@dataclass(frozen=True, slots=True)
class Before:
    """What was there before an adapter did something."""

    tasks: frozenset[asyncio.Task[Any]]
    threads: frozenset[threading.Thread]
    files: int

    def left(self) -> str:
        """Return in words what is there now beyond that, or nothing."""
        tasks = asyncio.all_tasks() - self.tasks
        threads = _threads() - self.threads
        more = _files() - self.files
        found = [f"the task {task.get_name()} ({_name(task)})" for task in tasks]
        found += [f"the thread {thread.name}" for thread in threads]
        if more > 0:
            found.append("one open socket or file" if more == 1 else f"{more} open sockets or files")
        return ", ".join(sorted(found))


def before() -> Before:
    """Return what is there now."""
    return Before(frozenset(asyncio.all_tasks()), _threads(), _files())


def _files() -> int:
    return len(list(OPEN_FILES.iterdir())) if OPEN_FILES.is_dir() else 0


def _name(task: asyncio.Task[Any]) -> str:
    return getattr(task.get_coro(), "__qualname__", "?")


def clocks(kind: type, *, waits: bool) -> list[str]:
    """Return where the code of an adapter looks at a clock: its module, and those beside it that it uses.

    Args:
        kind: the adapter's class.
        waits: look for waiting by the clock of the event loop as well.
    """
    found = []
    for module in sorted(_modules(kind), key=lambda each: each.__name__):
        tree = ast.parse(inspect.getsource(module))
        name = Path(str(module.__file__)).name
        found += [f"{name}, line {line}: {what}" for line, what in sorted(_looks(tree, waits=waits))]
    return found


def _modules(kind: type) -> set[ModuleType]:
    """Return the module of a class and all of its own package that it leads to."""
    package = kind.__module__.rpartition(".")[0]
    names = {each.__module__ for each in kind.__mro__}
    found: set[ModuleType] = set()
    while names:
        name = names.pop()
        module = sys.modules.get(name)
        own = name == kind.__module__ or (package and name.startswith(f"{package}."))
        if module is None or module in found or not own:
            continue
        found.add(module)
        for value in list(vars(module).values()):
            leads = value.__name__ if inspect.ismodule(value) else getattr(value, "__module__", None)
            if isinstance(leads, str):
                names.add(leads)
    return found


def _looks(tree: ast.AST, *, waits: bool) -> Iterator[tuple[int, str]]:
    imported = _imported(tree)
    for node in ast.walk(tree):
        match node:
            case ast.Import(names=names):
                yield from ((node.lineno, f"import {each.name}") for each in names if each.name in _CLOCKS)
            case ast.ImportFrom(module=str(module), level=0) if module in _CLOCKS:
                yield node.lineno, f"from {module} import"
            case ast.Call(func=ast.Attribute() | ast.Name() as called):
                text = ast.unparse(called)
                of, _, name = _in_full(text, imported).rpartition(".")
                arguments = ", ".join(map(ast.unparse, node.args))
                if _asks(name, of) or (waits and _waits(name, of) and arguments != "0"):
                    yield node.lineno, f"{text}({arguments})"


def _imported(tree: ast.AST) -> dict[str, str]:
    """Return what each imported name of a module stands for, in full; those of its own package are its own."""
    found: dict[str, str] = {}
    for node in ast.walk(tree):
        match node:
            case ast.Import(names=names):
                found |= {each.asname: each.name for each in names if each.asname is not None}
            case ast.ImportFrom(module=str(module), names=names, level=0):
                found |= {each.asname or each.name: f"{module}.{each.name}" for each in names}
    return found


def _in_full(text: str, imported: dict[str, str]) -> str:
    """Return the text of what is called, with what its first name stands for."""
    first = re.match(r"\w*", text)
    name = first.group() if first else ""
    return imported.get(name, name) + text[len(name) :]


def _asks(name: str, of: str) -> bool:
    return name in _NOW and "date" in of


def _waits(name: str, of: str) -> bool:
    if of.partition(".")[0] == "asyncio" and name in {"sleep", *_WAITS}:
        return True
    if not of or "host" in of:  # what is called by its bare name and is not imported is its own
        return False
    return name in _WAITS or (name == "time" and "loop" in of)


def _threads() -> frozenset[threading.Thread]:
    """Return the threads; those of the loop's executor are the loop's, and wait for more to do."""
    return frozenset(each for each in threading.enumerate() if not each.name.startswith("asyncio_"))
