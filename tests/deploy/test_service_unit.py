"""The unit for systemd is one that systemd understands."""

from __future__ import annotations

import os
import shutil
import subprocess
from typing import TYPE_CHECKING

import pytest

from tests.support.tree import ROOT

if TYPE_CHECKING:
    from pathlib import Path


def complaints(text: str, folder: Path) -> str:
    """Return what systemd has to say about a unit, whose program stands in for one not installed here."""
    if shutil.which("systemd-analyze") is None and "CI" not in os.environ:
        pytest.skip("there is no systemd-analyze on this machine")
    unit = folder / "lamproom.service"
    assert "ExecStart=/opt/lamproom/bin/lamproom run /etc/lamproom/layout.yaml\n" in text
    unit.write_text(text.replace("/opt/lamproom/bin/lamproom", "/bin/true"), encoding="utf-8")
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
