"""Files that come with lamproom, wherever it was installed: layout files, and the program for nodes."""

from __future__ import annotations

from importlib import resources
from importlib.resources.abc import Traversable
from typing import Final

from bridge.errors import LamproomError

DEMO: Final = "fernhollow.yaml"
"""What `lamproom demo` runs."""

_SUFFIX: Final = ".yaml"

_NODE: Final = "node.py"


def shipped_layouts() -> dict[str, str]:
    """Return the text of every layout file that is shipped, by its file name, in the order of the names.

    Raises:
        LamproomError: they are not where they belong, so this installation is not whole.
    """
    folder = _folder()
    names = sorted(item.name for item in folder.iterdir() if item.name.endswith(_SUFFIX))
    return {name: (folder / name).read_text(encoding="utf-8") for name in names}


def shipped_layout(name: str) -> str:
    """Return the text of one shipped layout file.

    Args:
        name: its file name, such as `first-steps.yaml`.

    Raises:
        LamproomError: none has that name, or this installation is not whole.
    """
    layouts = shipped_layouts()
    if name not in layouts:
        raise LamproomError(f"no layout called {name!r} is shipped; there are {', '.join(layouts)}")
    return layouts[name]


def node_program() -> dict[str, str]:
    """Return the text of each file of the program for MicroPython boards, by its name.

    Raises:
        LamproomError: they are not where they belong, so this installation is not whole.
    """
    folder = _folder("deploy/node", _NODE, "the program for nodes is")
    return {
        item.name: item.read_text(encoding="utf-8")
        for item in sorted(folder.iterdir(), key=lambda item: item.name)
        if item.name.endswith(".py")
    }


def _folder(path: str = "config", holds: str = DEMO, what: str = "the shipped layouts are") -> Traversable:
    package = resources.files("bridge")
    # A wheel carries the folder inside the package. In a checkout it stands beside it, where people look for it.
    for folder in (package.joinpath(path), package.joinpath("..", path)):
        if (folder / holds).is_file():
            return folder
    raise LamproomError(
        f"{what} not beside {package}: install lamproom again, from a whole wheel or checkout"
    )
