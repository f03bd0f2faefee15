"""The unit for systemd is one that systemd understands."""

from __future__ import annotations

import shutil
import subprocess
from typing import TYPE_CHECKING, Final

import pytest

from tests.support.missing import is_missing
from tests.support.pages import fenced_blocks
from tests.support.tree import ROOT

if TYPE_CHECKING:
    from pathlib import Path

PROGRAM: Final = "/opt/lamproom/bin/lamproom"


def complaints(text: str, folder: Path) -> str:
    """Return what systemd has to say about a unit, whose program stands in for one not installed here."""
    if shutil.which("systemd-analyze") is None:
        is_missing("there is no systemd-analyze on this machine")
    unit = folder / "lamproom.service"
    assert "ExecStart=/opt/lamproom/bin/lamproom run /etc/lamproom/layout.yaml\n" in text
    unit.write_text(text.replace(PROGRAM, "/bin/true"), encoding="utf-8")
    ran = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", unit], capture_output=True, text=True, check=False
    )
    said = ran.stdout + ran.stderr
    # Units of the machine itself are read along with ours, and their faults are not ours to mend.
    return "\n".join(line for line in said.splitlines() if "lamproom" in line)


def test_systemd_understands_the_unit(tmp_path: Path) -> None:
    """Every section, key and value of the unit is known to systemd."""
    text = (ROOT / "deploy/lamproom.service").read_text(encoding="utf-8")
    assert "" == complaints(text, tmp_path)


def test_a_misspelt_key_is_found(tmp_path: Path) -> None:
    """A key that systemd would ignore in silence is seen by this check."""
    text = (ROOT / "deploy/lamproom.service").read_text(encoding="utf-8")
    assert "ProtectHomes" in complaints(text.replace("ProtectHome=", "ProtectHomes="), tmp_path)


@pytest.mark.parametrize("misspelt", [False, True])
def test_systemd_understands_what_the_page_adds_to_the_unit(tmp_path: Path, misspelt: bool) -> None:
    """What deploy/README.md has the owner write by `systemctl edit` is known to systemd, all of it together."""
    added = [block.text for block in fenced_blocks((ROOT / "deploy/README.md").read_text("utf-8"), "ini")]
    assert 2 == len(added)
    text = "\n".join(added).replace(PROGRAM, "/bin/true")
    folder = tmp_path / "lamproom.service.d"
    folder.mkdir()
    wrong = text.replace("LoadCredential=", "LoadCredentials=")
    (folder / "override.conf").write_text(wrong if misspelt else text, encoding="utf-8")
    said = complaints((ROOT / "deploy/lamproom.service").read_text(encoding="utf-8"), tmp_path)
    assert ("LoadCredentials" in said) if misspelt else not said
