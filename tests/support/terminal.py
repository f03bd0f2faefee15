"""A command that talks with whoever sits at the terminal, with a pipe at each end."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.support.program import START
from tests.support.waiting import PATIENCE


class Terminal:
    """One command that runs.

    Attributes:
        process: the process.
        said: all lines that it has written so far.
    """

    def __init__(self, words: tuple[str, ...], port: int, state: Path) -> None:
        command = [*words, "--broker", str(port), "--state", str(state)]
        self.process = subprocess.Popen(
            [sys.executable, "-c", START, *command],
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
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.close()
        # Not by `communicate`, which passes over what was read ahead of the last line.
        watchdog = threading.Timer(PATIENCE, self.process.kill)
        watchdog.start()
        self.said += self.process.stdout
        watchdog.cancel()
        return self.process.wait(PATIENCE)

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
        opened.process.wait()
        for pipe in (opened.process.stdin, opened.process.stdout):
            if pipe is not None:
                with contextlib.suppress(BrokenPipeError):
                    pipe.close()
