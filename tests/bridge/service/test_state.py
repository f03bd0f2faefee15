"""The state file: whole or not at all, and never a reason to stop."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from bridge.errors import LamproomError
from bridge.service.state import STATE_FILE, StateFile, default_state_directory


def test_number_is_there_in_the_next_run(tmp_path: Path) -> None:
    """Only ever a higher one, and with nothing left beside the file."""
    folder = tmp_path / "not" / "there"
    state = StateFile(folder)
    assert 0 == state.number("epoch")
    state.keep("epoch", 7)
    state.keep("epoch", 5)
    assert 7 == state.number("epoch") == StateFile(folder).number("epoch")
    assert [STATE_FILE] == [path.name for path in folder.iterdir()]


@pytest.mark.parametrize(
    "text", ["", "{", "[]", "\ufffd", '{"epoch": "7"}', '{"epoch": -1}', '{"epoch": true}']
)
def test_file_that_is_damaged_counts_as_none_and_is_written_anew(tmp_path: Path, text: str) -> None:
    """A power cut, or somebody's editor: the bridge starts, and learns the rest from the broker."""
    (tmp_path / STATE_FILE).write_text(text, encoding="utf-8")
    state = StateFile(tmp_path)
    assert 0 == state.number("epoch")
    state.keep("epoch", 3)
    assert 3 == json.loads((tmp_path / STATE_FILE).read_text(encoding="utf-8"))["epoch"]


def test_what_is_not_ours_in_the_file_stays(tmp_path: Path) -> None:
    """A later version may keep more there, and an earlier one must not throw it away."""
    (tmp_path / STATE_FILE).write_text('{"epoch": 1, "more": [2]}', encoding="utf-8")
    StateFile(tmp_path).keep("epoch", 2)
    assert {"epoch": 2, "more": [2]} == json.loads((tmp_path / STATE_FILE).read_text(encoding="utf-8"))


def test_file_that_cannot_be_written_lasts_for_this_run(tmp_path: Path) -> None:
    """No disk is a reason to leave the lights dark."""
    (tmp_path / "bridge.new").mkdir()  # in the way, also for root
    state = StateFile(tmp_path)
    state.keep("epoch", 4)
    assert 4 == state.number("epoch")
    assert 0 == StateFile(tmp_path).number("epoch")


def test_directory_that_cannot_be_made_is_told_with_its_remedy(tmp_path: Path) -> None:
    """The message names it and says what to do."""
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(LamproomError, match=r"file/state cannot be made \(.*\): give another with --state"):
        StateFile(tmp_path / "file" / "state")


def test_directory_is_that_of_the_service_manager_or_of_the_user(monkeypatch: pytest.MonkeyPatch) -> None:
    """systemd's `StateDirectory` first, of several the first; then the XDG Base Directory for state."""
    monkeypatch.setenv("STATE_DIRECTORY", "/var/lib/lamproom:/var/lib/other")
    assert Path("/var/lib/lamproom") == default_state_directory()
    monkeypatch.delenv("STATE_DIRECTORY")
    monkeypatch.setenv("XDG_STATE_HOME", "/srv/ada/state")
    assert Path("/srv/ada/state/lamproom") == default_state_directory()
    monkeypatch.delenv("XDG_STATE_HOME")
    monkeypatch.setenv("HOME", "/srv/ada")
    assert Path("/srv/ada/.local/state/lamproom") == default_state_directory()


@pytest.mark.parametrize("text", ["{}", '{"identity": 7}', '{"identity": "nobody"}', "["])
def test_an_identity_is_drawn_once_and_stays(tmp_path: Path, text: str) -> None:
    """Over restarts too; another bridge has another, and one that cannot be read is drawn anew."""
    (tmp_path / STATE_FILE).write_text(text, encoding="utf-8")
    drawn = StateFile(tmp_path).identity()
    assert drawn == StateFile(tmp_path).identity()
    assert drawn != StateFile(tmp_path / "other").identity()
