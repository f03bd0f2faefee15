"""What can be said of a layout file only where it lies."""

from __future__ import annotations

from pathlib import Path

import pytest

from bridge.service.files import read_file
from bridge.service.plugins import Adapters
from tests.support.layouts import changed

BROKER = "broker: {host: 127.0.0.1, port: 1883}"


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """A layout file with a password file beside it in its folder, called by a relative path."""
    path = tmp_path / "layout.yaml"
    text = changed(BROKER, "broker: {user: yard, password-file: secret}")
    path.write_text(text, encoding="utf-8")
    return path


def told(file: Path) -> list[str]:
    """Return what is told of the password file; it never keeps a layout from being looked at."""
    looked = read_file(str(file), Adapters())
    assert looked.layout is not None
    return [line for line in looked.lines() if "the password file" in line]


def test_a_password_file_is_looked_for_beside_the_layout_file(file: Path) -> None:
    """Wherever the program is started, a relative path starts from the folder of the layout file."""
    (file.parent / "secret").write_text("lantern\n", encoding="utf-8")
    assert [] == told(file)


def test_a_password_file_that_cannot_be_read_is_told_at_its_name(file: Path) -> None:
    """A check finds it before a run does: a file that is missing, a folder, or no text."""
    secret = file.parent / "secret"
    says = f"{file}:4:37: warning: the password file {secret} "
    [line] = told(file)
    assert line.startswith(f"{says}cannot be read (No such file or directory): write the password into it")
    secret.mkdir()
    assert told(file)[0].startswith(f"{says}cannot be read (Is a directory)")
    secret.rmdir()
    secret.write_bytes(b"\xff")
    assert [f"{says}is not UTF-8 text: write the password into it, and nothing else"] == told(file)
