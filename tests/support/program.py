"""The program `lamproom` in a process of its own, as an owner starts it."""

from __future__ import annotations

import subprocess
import sys
from typing import Final

START: Final = "from bridge.start import main; main()"
"""What the command `lamproom` does, for the Python that the tests run on."""


def lamproom(*words: str, start: str = START) -> subprocess.CompletedProcess[str]:
    """Run it to its end, with nobody to ask."""
    command = [sys.executable, "-c", start, *words]
    return subprocess.run(
        command, capture_output=True, text=True, timeout=120, check=False, stdin=subprocess.DEVNULL
    )
