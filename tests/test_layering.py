"""Imports run one way through the rooms, in the real tree and against planted violations."""

from __future__ import annotations

from typing import Final

import pytest

from tests.support.rules import Directions, check_all, layering
from tests.support.tree import sources

# Left to right: a room may import whatever stands to its left, never a neighbour between the same bars.
ORDER: Final = """
errors | events | layout | logic light | chain | commands | trial | stage | engine | check record sheet | picture
| service | web | cli | start
"""

# Built-in adapters come in by entry points, like anyone's: if a room of the bridge could import one, it would
# soon know more of it than the contract says, and a stranger's adapter would be a second-class one. The rooms
# below need the contract itself, since they are what an adapter meets on the other side of the door.
MEETS_ADAPTERS: Final = frozenset({"bridge.service", "bridge.web", "bridge.cli"})

FACTS: Final = frozenset({"bridge.errors", "bridge.events"})
ADAPTERS: Final = frozenset(
    {
        "adapters.contract",
        "adapters.cut",
        "adapters.keys",
        "adapters.events",
        "adapters.outputs",
        "adapters.testing",
    }
)


def directions() -> Directions:
    """Return the order of the rooms as a table of who may import whom."""
    may_import = {"bridge": frozenset[str](), "adapters": frozenset[str]()}
    left = {"bridge"}  # the package itself holds the version and imports nothing
    for bay in ORDER.split("|"):
        rooms = {f"bridge.{name}" for name in bay.split()}
        for room in rooms:
            may_import[room] = frozenset(left | ({"adapters.contract"} if room in MEETS_ADAPTERS else set()))
        left |= rooms
    for room in ADAPTERS:
        may_import[room] = FACTS | ADAPTERS
    # Third parties import the contract: it brings nothing of ours with it but the facts.
    may_import["adapters.contract"] = FACTS
    return Directions(may_import, libraries={"adapters.contract": frozenset({"pydantic"})})


def found(path: str, source: str) -> list[str]:
    """Check one file by the order of the rooms."""
    return layering(path, source, directions())


def test_imports_of_the_tree_run_one_way() -> None:
    """Every file of both packages has its place and imports only what stands before it."""
    tree = sources("bridge", "adapters")
    assert "bridge/events.py" in tree
    assert [] == check_all(tree, found)


@pytest.mark.parametrize(
    ("path", "source", "message"),
    [
        ("bridge/layout/x.py", "import bridge.web", "bridge.layout may not import bridge.web"),
        ("bridge/layout/x.py", "from bridge import engine", "bridge.layout may not import bridge.engine"),
        ("bridge/logic/x.py", "from bridge.light import x", "bridge.logic may not import bridge.light"),
        ("bridge/light/x.py", "from bridge.logic.y import x", "bridge.light may not import bridge.logic"),
        ("bridge/light/x.py", "from ..logic import x", "bridge.light may not import bridge.logic"),
        ("bridge/engine.py", "from .service import x", "bridge.engine may not import bridge.service"),
        ("bridge/errors.py", "from bridge.events import x", "bridge.errors may not import bridge.events"),
        ("bridge/record/x.py", "import bridge.check", "bridge.record may not import bridge.check"),
        ("bridge/service/x.py", "from bridge.web import x", "bridge.service may not import bridge.web"),
        ("bridge/__init__.py", "from bridge.cli import x", "bridge may not import bridge.cli"),
        (
            "bridge/service/x.py",
            "from adapters.outputs.mqtt import x",
            "bridge.service may not import adapters.outputs",
        ),
        ("bridge/engine.py", "import adapters.contract", "bridge.engine may not import adapters.contract"),
        ("bridge/chain/x.py", "from tests.support import x", "bridge.chain may not import tests"),
        ("adapters/events/x.py", "import bridge.layout", "adapters.events may not import bridge.layout"),
        ("adapters/contract.py", "import numpy", "adapters.contract may not use numpy"),
        (
            "adapters/contract.py",
            "from adapters.testing import x",
            "adapters.contract may not import adapters.testing",
        ),
        ("bridge/web/x.py", "import importlib as i\ni.import_module(name)", "imports by a name that is not"),
        (
            "bridge/chain/x.py",
            "from importlib import import_module\nimport_module('bridge.cli')",
            "bridge.chain may not import bridge.cli",
        ),
        ("bridge/attic/x.py", "", "bridge.attic.x has no place in the order of rooms"),
        ("bridge/attic.py", "", "bridge.attic has no place in the order of rooms"),
        ("adapters/attic.py", "", "adapters.attic has no place in the order of rooms"),
    ],
)
def test_an_import_against_the_order_is_found(path: str, source: str, message: str) -> None:
    """A planted import against the order, or a file without a place, is found with its line."""
    (violation,) = found(path, source)
    line = source.count("\n") + 1
    assert violation.startswith(f"{path}:{line}: {message}")


def test_an_import_for_type_checking_counts() -> None:
    """An import under TYPE_CHECKING, or inside a function, ties two rooms together like any other."""
    source = "if TYPE_CHECKING:\n    from bridge.web import x\ndef f():\n    import bridge.cli\n"
    assert [
        "bridge/chain/x.py:2: bridge.chain may not import bridge.web",
        "bridge/chain/x.py:4: bridge.chain may not import bridge.cli",
    ] == found("bridge/chain/x.py", source)


@pytest.mark.parametrize(
    ("path", "source"),
    [
        ("bridge/events.py", "from bridge.errors import x"),
        ("bridge/chain/x.py", "from bridge.logic import x\nfrom bridge.light import y\nfrom . import z"),
        ("bridge/cli/x.py", "from bridge import __version__, web\nimport adapters.contract, typer"),
        ("bridge/service/x.py", "from adapters import contract"),
        ("adapters/contract.py", "import typing\nimport pydantic\nfrom bridge.events import x"),
        ("adapters/outputs/x.py", "import paho.mqtt.client\nfrom adapters.contract import x"),
    ],
)
def test_an_import_along_the_order_is_let_through(path: str, source: str) -> None:
    """An import of a room to the left, of one's own room, or of a library is no violation."""
    assert [] == found(path, source)
