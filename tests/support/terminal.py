"""A command that talks with whoever sits at the terminal, with a pipe at each end."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.support.daemon import PATIENCE


class Terminal:
    """One command that runs.

    Attributes:
        process: the process.
        said: all lines that it has written so far.
    """

    def __init__(self, words: tuple[str, ...], port: int, state: Path) -> None:
        command = [*words, "--broker", str(port), "--state", str(state)]
        self.process = subprocess.Popen(
            [sys.executable, "-c", "from bridge.start import main; main()", *command],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            bufsize=1,
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1", "PYTHONUNBUFFERED": "1"},
        )
        self.said: list[str] = []

    def until(self, *words: str) -> str:
        """Return the next line that has one of these."""
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.said.append(line)
            if any(each in line for each in words):
                return line
        raise AssertionError(f"it ended without saying {words!r}: {''.join(self.said)}")

    def type(self, line: str) -> None:
        """Type a line."""
        assert self.process.stdin is not None
        self.process.stdin.write(f"{line}\n")

    def ended(self) -> int:
        """Return its exit status when it has ended."""
        rest, _none = self.process.communicate(timeout=PATIENCE)
        self.said.append(rest)
        return self.process.returncode

    @property
    def text(self) -> str:
        """All that it has written so far."""
        return "".join(self.said)


@contextmanager
def at_terminal(*words: str, port: int, state: Path) -> Iterator[Terminal]:
    """Give a terminal with a command, and leave no process behind."""
    opened = Terminal(words, port, state)
    try:
        yield opened
    finally:
        if opened.process.poll() is None:
            opened.process.kill()
            opened.process.communicate()
