"""The oldest numpy that lamproom runs with, in a folder of its own."""

from __future__ import annotations

import atexit
import os
import shutil
import subprocess
import sys
import tomllib
from dataclasses import dataclass
from functools import cache
from tempfile import mkdtemp
from typing import Final

from tests.support.missing import is_missing
from tests.support.tree import ROOT

_FIRST_FOR: Final = {12: "", 13: "2.1", 14: "2.3"}
"""The first numpy that there is for a newer Python; the oldest that is allowed is there for those before."""


@dataclass(frozen=True, slots=True)
class OldNumpy:
    """Where it lies.

    Attributes:
        version: its first two numbers.
        path: for `PYTHONPATH`, the folder of the project behind it.
    """

    version: str
    path: str


def oldest_version() -> str:
    """Return the oldest numpy that pyproject.toml allows and that there is for this Python."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    needed: list[str] = project["dependencies"]
    (allowed,) = (each.removeprefix("numpy>=") for each in needed if each.startswith("numpy"))
    return max(allowed, _FIRST_FOR.get(max(sys.version_info.minor, 12), ""))


@cache
def old_numpy() -> OldNumpy:
    """Install it, once for all tests of this process."""
    version, folder = oldest_version(), mkdtemp(prefix="old-numpy-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    pip = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--target", folder]
    done = subprocess.run(
        [*pip, f"numpy=={version}.*"], capture_output=True, text=True, timeout=300, check=False
    )
    if done.returncode:
        is_missing(f"numpy {version} could not be installed: {done.stderr[-300:]}")
    return OldNumpy(version, os.pathsep.join([folder, str(ROOT)]))
