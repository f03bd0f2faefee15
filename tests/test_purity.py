"""The pure rooms reach no clock, disk, network or chance: by their syntax trees, and by the linter."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tomllib
from typing import TYPE_CHECKING, Final

import pytest

from tests.support.rules import Purity, check_all, purity
from tests.support.tree import ROOT, sources

if TYPE_CHECKING:
    from pathlib import Path

PURE: Final[dict[str, str]] = {
    "errors": "what every room raises",
    "events": "facts, stamped by whoever delivers them",
    "layout": "is given the text of a file and gives back the layout, or the new text",
    "logic": "events to aspects",
    "light": "aspects to levels over time, and time is handed in",
    "chain": "levels to bytes",
    "trial": "lays levels over others",
    "engine": "the whole core behind one door",
    # Reading the file is left to whoever asks, so that a text not yet saved can be checked as well.
    "check": "is given the text of a file, and gives back findings",
}
"""The pure rooms, each with the reason why it can be one."""

_REASONS: Final = {
    "time comes in as data, in the event or as an instant": "datetime sched time zoneinfo",
    "the same log must give the same light: a seed comes from the layout": (
        "numpy.random random secrets uuid"
    ),
    "a pure room waits for nothing": (
        "_thread asyncio concurrent multiprocessing queue selectors signal threading"
    ),
    "a pure room touches no disk and no process": (
        "ctypes fcntl glob mmap os pathlib pickle shutil sqlite3 subprocess sys tempfile"
    ),
    "a pure room touches no network": (
        "aiohttp amqtt http paho requests select socket socketserver ssl urllib"
    ),
    "what there is to say goes out as data, and the service tells it": (
        "logging rich structlog syslog typer warnings"
    ),
    "the result must not depend on the machine or the owner's settings": "gc locale platform weakref",
    "what a room needs is imported by its name": "importlib pkgutil",
}

MODULES: Final = {module: reason for reason, modules in _REASONS.items() for module in modules.split()}

RULES: Final = Purity(
    modules=MODULES,
    builtins={
        "hash": "it differs between runs; take a digest of the name",
        "id": "an address differs between runs",
        "open": "a pure room touches no disk",
        "print": "what there is to say goes out as data",
        "input": "a pure room waits for nothing",
        "breakpoint": "a pure room waits for nothing",
        "eval": "what a room does is written in it",
        "exec": "what a room does is written in it",
    },
    methods={
        "__hash__": "it differs between runs; take a digest of the name",
        "read_bytes": "a pure room touches no disk",
        "read_text": "a pure room touches no disk",
        "write_bytes": "a pure room touches no disk",
        "write_text": "a pure room touches no disk",
        "tofile": "a pure room touches no disk",
    },
)


def found(path: str, source: str) -> list[str]:
    """Check one file of a pure room."""
    return purity(path, source, RULES)


def pure_sources() -> dict[str, str]:
    """Return the files of the pure rooms, whether a room is one file or a package."""
    tree = sources("bridge")
    return {path: source for path, source in tree.items() if path.removesuffix(".py").split("/")[1] in PURE}


def pure_packages() -> list[str]:
    """Return the pure rooms that are packages at present."""
    return [room for room in PURE if (ROOT / "bridge" / room).is_dir()]


def test_the_pure_rooms_are_pure() -> None:
    """No file of a pure room reaches outside, and none depends on an order that differs between runs."""
    tree = pure_sources()
    assert {"bridge/errors.py", "bridge/events.py", "bridge/layout/__init__.py"} <= set(tree)
    assert [] == check_all(tree, found)


@pytest.mark.parametrize("module", MODULES)
def test_an_import_that_reaches_outside_is_found(module: str) -> None:
    """Each banned module is found by every way of importing it, at the line of the import."""
    message = f"imports {module}: {MODULES[module]}"
    for source in (f"import {module} as it", f"from {module} import it", f"import {module}.deeper"):
        assert [f"bridge/light/x.py:2: {message}"] == found("bridge/light/x.py", f"\n{source}\n")


@pytest.mark.parametrize(
    ("source", "message"),
    [
        ("hash('T4')", "uses hash: it differs between runs; take a digest of the name"),
        ("sorted(lamps, key=id)", "uses id: an address differs between runs"),
        ("with open('x') as f: pass", "uses open: a pure room touches no disk"),
        ("print('x')", "uses print: what there is to say goes out as data"),
        ("input()", "uses input: a pure room waits for nothing"),
        ("breakpoint()", "uses breakpoint: a pure room waits for nothing"),
        ("eval('1')", "uses eval: what a room does is written in it"),
        ("exec('1')", "uses exec: what a room does is written in it"),
        ("name.__hash__()", "calls .__hash__(): it differs between runs; take a digest of the name"),
        ("where.read_text()", "calls .read_text(): a pure room touches no disk"),
        ("import numpy as np; np.random.rand()", f"imports numpy.random: {MODULES['numpy.random']}"),
        ("__import__('time')", f"imports time: {MODULES['time']}"),
    ],
)
def test_a_reach_outside_without_an_import_is_found(source: str, message: str) -> None:
    """What needs no import, or hides it, is found as well."""
    assert [f"bridge/light/x.py:1: {message}"] == found("bridge/light/x.py", source)


@pytest.mark.parametrize(
    "source",
    [
        "for x in {1, 2}: pass",
        "[x for x in set(names)]",
        "list({x for x in names})",
        "tuple(frozenset(names) - others)",
        "', '.join(set(names))",
        "for x in set(a).union(b): pass",
        "for x in a.keys() - b.keys(): pass",
        "(*{1, 2},)",
        "{1, 2}.pop()",
        "def f():\n    seen = set()\n    return [x for x in seen]",
        "def f(names: frozenset[str]):\n    return ', '.join(names)",
    ],
)
def test_a_walk_through_a_set_is_found(source: str) -> None:
    """The order of a set of strings depends on the hash seed, so walking through one is found."""
    line = source.count("\n") + 1
    assert [
        f"bridge/logic/x.py:{line}: walks through a set: its order depends on the hash seed, sort it"
    ] == found("bridge/logic/x.py", source)


@pytest.mark.parametrize(
    "source",
    [
        "for x in sorted({1, 2}): pass",
        "x in {1, 2}",
        "for x in names.keys(): pass",
        "for x in dict.fromkeys(names): pass",
        "names = []\ndef f():\n    names = set()\ndef g(names: list[str]):\n    return tuple(names)",
        "import numpy as np; np.zeros(3, np.uint8)",
        "import hashlib, json, struct",
        "from timeit_of_ours import x",
    ],
)
def test_what_is_pure_is_let_through(source: str) -> None:
    """Sorted walks, membership, dictionaries and libraries that only compute are no violation."""
    assert [] == found("bridge/logic/x.py", source)


def test_the_linter_has_the_same_list() -> None:
    """The linter refuses the same modules for the same reasons."""
    settings = tomllib.loads((ROOT / "bridge/pure.toml").read_text(encoding="utf-8"))
    banned = settings["lint"]["flake8-tidy-imports"]["banned-api"]
    assert {module: {"msg": reason} for module, reason in MODULES.items()} == banned


@pytest.mark.parametrize("room", pure_packages())
def test_the_linter_refuses_what_a_pure_room_may_not_import(room: str, tmp_path: Path) -> None:
    """Each pure package has the linter's rule, and the linter holds every planted import against it."""
    for name in ("pyproject.toml", "bridge/pure.toml", f"bridge/{room}/ruff.toml"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(ROOT / name, tmp_path / name)
    planted = "".join(f"import {module} as m{number}\n" for number, module in enumerate(MODULES))
    (tmp_path / "bridge" / room / "planted.py").write_text(planted, encoding="utf-8")
    (tmp_path / "bridge" / "beside.py").write_text(planted, encoding="utf-8")

    ran = subprocess.run(
        [
            sys.executable,
            "-m",
            "ruff",
            "check",
            "--no-cache",
            "--select",
            "TID251",
            "--output-format",
            "concise",
            ".",
        ],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    refused = re.findall(r"^(\S+?):\d+:\d+: TID251 `(\S+?)` is banned: (.*)$", ran.stdout, re.MULTILINE)

    assert 1 == ran.returncode, ran.stderr
    assert [(f"bridge/{room}/planted.py", *pair) for pair in MODULES.items()] == refused
