"""Finding the layouts that come with lamproom."""

from __future__ import annotations

import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from bridge.errors import LamproomError
from bridge.service.shipped import shipped_layout, shipped_layouts
from tests.support.tree import ROOT

if TYPE_CHECKING:
    from pathlib import Path

PROGRAM = (
    "from bridge.service.shipped import shipped_layouts; import bridge;"
    "print(bridge.__file__, *shipped_layouts(), sep='\\n')"
)


def lines_of(program: str, folder: Path) -> list[str]:
    """Run a program with the packages of a folder, away from the checkout."""
    ran = subprocess.run(
        [sys.executable, "-c", program],
        cwd=folder,
        env={"PYTHONPATH": str(folder)},
        capture_output=True,
        text=True,
        check=False,
    )
    return (ran.stdout + ran.stderr).splitlines()


@pytest.fixture
def installed(tmp_path: Path) -> Path:
    """Lay the packages out as a wheel does, without the layouts."""
    for package in ("bridge", "adapters"):
        for source in (ROOT / package).rglob("*.py"):
            target = tmp_path / source.relative_to(ROOT)
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(source.read_bytes())
    return tmp_path


def test_a_checkout_has_its_layouts_beside_the_package() -> None:
    """What is edited in `config` is what the commands use."""
    assert (ROOT / "config" / "first-steps.yaml").read_text(encoding="utf-8") == shipped_layout(
        "first-steps.yaml"
    )


def test_a_wheel_has_its_layouts_inside_the_package(installed: Path) -> None:
    """They are found there, and a stranger's `config` beside the package is left alone."""
    for folder, name in (("bridge/config", "fernhollow.yaml"), ("config", "stranger.yaml")):
        (installed / folder).mkdir()
        (installed / folder / name).write_text("layout: x\n")
    assert [str(installed / "bridge/__init__.py"), "fernhollow.yaml"] == lines_of(PROGRAM, installed)


def test_an_installation_without_layouts_is_told_of(installed: Path) -> None:
    """The message says where they should be, and what to do."""
    last = lines_of(PROGRAM, installed)[-1]
    assert f"the shipped layouts are not beside {installed / 'bridge'}: install lamproom again" in last


@pytest.mark.parametrize("name", ["fernhallow.yaml", "../pyproject.toml", "", "/etc/hostname"])
def test_an_unknown_name_is_refused_with_those_that_are_there(name: str) -> None:
    """Only the shipped files are opened, whatever is asked for."""
    with pytest.raises(LamproomError, match=r"is shipped; there are fernhollow\.yaml, first-steps\.yaml"):
        shipped_layout(name)


def test_the_layouts_come_in_the_order_of_their_names() -> None:
    """A list of them reads the same everywhere."""
    assert sorted(shipped_layouts()) == list(shipped_layouts())
