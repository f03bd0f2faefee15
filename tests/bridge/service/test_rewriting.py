"""A layout file is written whole or not at all, and only over the text that was read."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from bridge.errors import LayoutError
from bridge.service.rewriting import rewrite


@pytest.fixture
def file(tmp_path: Path) -> Path:
    file = tmp_path / "layout.yaml"
    file.write_bytes(b"layout: Old\r\n")
    file.chmod(0o640)
    return file


def names(file: Path) -> list[str]:
    return sorted(each.name for each in file.parent.iterdir())


def test_the_file_as_it_was_is_kept_aside(file: Path) -> None:
    """The new text is there to the byte, the old one beside it, both with the old mode, and nothing else is left."""
    aside = rewrite(str(file), b"layout: Old\r\n", "layout: Né\r\n")
    assert "layout: Né\r\n".encode() == file.read_bytes()
    assert b"layout: Old\r\n" == aside.read_bytes()
    assert {0o640} == {stat.S_IMODE(each.stat().st_mode) for each in (file, aside)}
    assert ["layout.yaml", "layout.yaml.before"] == names(file)


@pytest.mark.skipif(os.geteuid() != 0, reason="only root may give files away")
def test_the_owner_stays(file: Path) -> None:
    """A file of somebody else is still his when root has written it."""
    os.chown(file, 1234, 4321)
    rewrite(str(file), b"layout: Old\r\n", "layout: New\r\n")
    assert (1234, 4321) == (file.stat().st_uid, file.stat().st_gid)


def test_a_link_stays_a_link(file: Path, tmp_path: Path) -> None:
    """What it leads to is written, where it stands."""
    (tmp_path / "home").mkdir()
    link = tmp_path / "home" / "mine.yaml"
    link.symlink_to(file)
    rewrite(str(link), b"layout: Old\r\n", "layout: New\r\n")
    assert link.is_symlink()
    assert "layout: New\r\n" == file.read_bytes().decode()
    assert ["mine.yaml"] == names(link)


def test_a_mark_at_the_beginning_stays(file: Path) -> None:
    """An editor that writes the mark of UTF-8 finds it again."""
    file.write_bytes(b"\xef\xbb\xbflayout: Old\n")
    rewrite(str(file), b"\xef\xbb\xbflayout: Old\n", "layout: New\n")
    assert b"\xef\xbb\xbflayout: New\n" == file.read_bytes()


def test_what_somebody_else_has_written_meanwhile_is_left_alone(file: Path) -> None:
    """The file is as they left it, and the message says what to do."""
    file.write_bytes(b"layout: Theirs\n")
    with pytest.raises(LayoutError, match="was changed by somebody else meanwhile, so it was left alone"):
        rewrite(str(file), b"layout: Old\r\n", "layout: New\r\n")
    assert b"layout: Theirs\n" == file.read_bytes()
    assert ["layout.yaml"] == names(file)


def test_a_disk_that_fails_leaves_the_file_as_it_was(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing half written stays behind, under no name."""

    def full(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(LayoutError, match="cannot be written, and is as it was: No space left on device"):
        rewrite(str(file), b"layout: Old\r\n", "layout: New\r\n")
    assert b"layout: Old\r\n" == file.read_bytes()
    assert ["layout.yaml"] == names(file)


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    """No file is made where none was."""
    with pytest.raises(LayoutError, match="cannot be written, and is as it was: No such file"):
        rewrite(str(tmp_path / "none.yaml"), b"", "layout: New\n")
    assert [] == list(tmp_path.iterdir())
