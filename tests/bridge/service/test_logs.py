"""What the service writes to standard error."""

from __future__ import annotations

import subprocess
import sys

FAULT = """
from bridge.service.logs import set_up_logs
from bridge.service.notes import Notes

set_up_logs()
try:
    raise RuntimeError("invented")
except RuntimeError as error:
    Notes().say("something failed", "error", exc_info=error)
"""


def test_a_fault_of_our_own_is_written_with_its_traceback() -> None:
    """The sentence comes first, and the lines that a developer needs stand below it, with nothing else around."""
    done = subprocess.run(
        [sys.executable, "-W", "always", "-c", FAULT], capture_output=True, text=True, check=True, timeout=60
    )
    first, second, *_middle, last = done.stderr.splitlines()
    assert "something failed" in first
    assert "Traceback (most recent call last):" == second
    assert "RuntimeError: invented" == last
