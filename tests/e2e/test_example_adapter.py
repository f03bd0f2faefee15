"""The guide's example of an adapter: what stands in the guide is built, installed and run, as its reader would."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest

from tests.support.pages import fenced_blocks
from tests.support.tree import ROOT
from tests.support.waiting import PATIENCE, wait

EXAMPLE = ROOT / "tests/support/bellwire"
STOP = "00ff00"  # green, red, blue


@pytest.mark.parametrize(
    ("name", "language"),
    [
        ("lamproom_bellwire.py", "python"),
        ("test_bellwire.py", "python"),
        ("pyproject.toml", "toml"),
        ("bench.yaml", "yaml"),
    ],
)
def test_the_guide_shows_the_example_as_it_is(name: str, language: str) -> None:
    """Word for word, so that what is tried here is what a reader copies."""
    blocks = fenced_blocks((ROOT / "adapters/README.md").read_text(encoding="utf-8"), language)
    assert (EXAMPLE / name).read_text(encoding="utf-8") in [block.text for block in blocks]


def ran(*words: str | Path, folder: Path) -> str:
    """Run a command that has to succeed, with nothing of this checkout on its path; return what it said."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("PYTHON", "COV"))}
    done = subprocess.run(
        [str(word) for word in words],
        cwd=folder,
        env=kept,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        timeout=240,
        check=False,
    )
    assert 0 == done.returncode, done.stdout
    return done.stdout


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Return the programs of an environment with lamproom and the example from their wheels, and the folder.

    What lamproom needs is taken from the environment of the tests, at the end of the path; a checkout that is
    installed there as editable is not found that way.
    """
    folder = tmp_path_factory.mktemp("bellwire")
    shutil.copytree(EXAMPLE, folder, dirs_exist_ok=True, ignore=shutil.ignore_patterns("__pycache__"))
    wheels = folder / "dist"
    for project in (ROOT, folder):
        build = ("-m", "build", "--wheel", "--no-isolation", "--outdir", str(wheels), str(project))
        ran(sys.executable, *build, folder=folder)
    venv = folder / "venv"
    ran(sys.executable, "-m", "venv", "--without-pip", venv, folder=folder)
    python = venv / "bin/python"
    pip = (sys.executable, "-m", "pip", "--disable-pip-version-check", "--python", python)
    ran(*pip, "install", "-q", "--no-deps", "--no-index", *wheels.glob("*.whl"), folder=folder)
    site = next(venv.glob("lib/python*/site-packages"))
    (site / "what-lamproom-needs.pth").write_text(sysconfig.get_path("purelib") + "\n", encoding="utf-8")
    return venv / "bin", folder


def test_it_is_listed_with_where_it_comes_from(installed: tuple[Path, Path]) -> None:
    """By its entry point, with package, version and keys; and lamproom itself is that of the wheel."""
    programs, folder = installed
    place = ran(programs / "python", "-c", "import adapters; print(adapters.__file__)", folder=folder)
    assert Path(place.strip()).is_relative_to(programs.parent)
    said = ran(programs / "lamproom", "adapters", folder=folder).splitlines()
    head = "event source bellwire, from lamproom-bellwire 1.0 (lamproom.events, lamproom_bellwire:BellWire)"
    at = said.index(head)
    assert ["  host: 127.0.0.1", "  port: 7061"] == said[at + 1 : at + 3]


def test_its_own_tests_pass_where_it_is_installed(installed: tuple[Path, Path]) -> None:
    """The contract suite comes with lamproom, and finds nothing."""
    programs, folder = installed
    said = ran(programs / "python", "-m", "pytest", "-q", "test_bellwire.py", folder=folder)
    assert "10 passed" in said


def test_an_event_of_the_box_becomes_a_frame(installed: tuple[Path, Path]) -> None:
    """`lamproom run` with the guide's layout: a line lights the signal, and without its box the signal shows stop."""
    programs, folder = installed
    frames = folder / "frames.txt"

    def newest() -> str:
        lines = frames.read_text(encoding="utf-8").splitlines() if frames.exists() else []
        return lines[-1].split()[2] if lines else ""

    with socket.create_server(("127.0.0.1", 0)) as box:
        box.settimeout(PATIENCE)
        port = box.getsockname()[1]
        layout = (folder / "bench.yaml").read_text(encoding="utf-8").replace("7061", str(port))
        (folder / "here.yaml").write_text(layout, encoding="utf-8")
        words = [str(programs / "lamproom"), "run", "here.yaml", "--page", "none", "--state", "state"]
        words += ["--broker", "127.0.0.1:9"]  # no broker is needed, and one that is there is left alone
        with subprocess.Popen(words, cwd=folder, stderr=subprocess.PIPE, text=True) as running:
            try:
                link, _peer = box.accept()
                with link:
                    wait(lambda: newest() == STOP, lambda: f"at first it shows {newest()}")
                    link.sendall(b"turnout 61 reverse\nturnout what\n")
                    wait(lambda: newest()[:2] > newest()[2:4], lambda: f"it shows {newest()}, no green")
                wait(lambda: newest() == STOP, lambda: f"without its box it shows {newest()}")
                link, _peer = box.accept()
                link.close()
            finally:
                running.terminate()
                said = running.communicate(timeout=PATIENCE)[1]
    at = f"the bell wire's box at 127.0.0.1:{port}"
    assert f"events from box come in: {at} is connected" in said
    assert f"{at} has ended the connection: is it being restarted?; S1 shows stop; trying again" in said
    assert "this is no line of a bell wire; understood would be: `turnout 61 reverse`" in said
    assert 0 == running.returncode
