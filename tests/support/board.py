"""A node's board: the program that is shipped, under a real MicroPython in a process of its own.

Only the driver of the data lines is replaced, by one that writes down what it is told to show.
"""

from __future__ import annotations

import contextlib
import json
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final, NamedTuple

from bridge.check import check_text
from bridge.service.node_settings import DRIVER, SETTINGS, Wishes, write_board
from tests.support.waiting import PATIENCE, wait

_RECORDING: Final = Path(__file__).with_name("recording_pixels.py")
_HEAD: Final = 7


class Picture(NamedTuple):
    """What a data line was told to show, and the memory in use at that moment, bytes."""

    pin: int
    levels: bytes
    used: int


class Board:
    """One node, switched on.

    Attributes:
        output: what it said at its serial port so far.
    """

    def __init__(self, folder: Path) -> None:
        self.output = ""
        self._folder = folder
        self._shown = folder / "shown.bin"
        self._shown.unlink(missing_ok=True)
        self._process = subprocess.Popen(
            [sys.executable, "-m", "micropython_unix", "main.py"],
            cwd=folder,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def pictures(self) -> list[Picture]:
        """Return all that was shown so far, in order."""
        try:
            data = self._shown.read_bytes()
        except FileNotFoundError:
            return []
        found, at = [], 0
        while at + _HEAD <= len(data):
            size = int.from_bytes(data[at + 1 : at + 3], "big")
            levels = data[at + _HEAD : at + _HEAD + size]
            if len(levels) < size:
                break  # it is being written at this moment
            found.append(Picture(data[at], levels, int.from_bytes(data[at + 3 : at + _HEAD], "big")))
            at += _HEAD + size
        return found

    def shows(self, pin: int = 2) -> bytes | None:
        """Return what a data line shows now, or None if it was told nothing yet."""
        own = [picture.levels for picture in self.pictures() if picture.pin == pin]
        return own[-1] if own else None

    def wait_until_it_shows(self, expected: bytes, pin: int = 2, within: float = PATIENCE) -> None:
        """Wait until a data line shows this."""

        def otherwise() -> str:
            shown = self.shows(pin)
            return (
                f"pin {pin} shows {None if shown is None else shown.hex()} and not {expected.hex()}; the board said:\n"
                f"{self.output}"
            )

        wait(lambda: self.shows(pin) == expected, otherwise, within=within)

    def wait_for(self, words: str, within: float = PATIENCE) -> None:
        """Wait until it has said something."""
        wait(
            lambda: words in self.output,
            lambda: f"it never said {words!r}, but\n{self.output}",
            within=within,
        )

    @property
    def runs(self) -> bool:
        """Whether the program has not ended."""
        return self._process.poll() is None

    def freeze(self) -> None:
        """Let it do nothing any more, and tell nobody."""
        self._process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        """Let it go on."""
        self._process.send_signal(signal.SIGCONT)

    def switch_off(self) -> None:
        """Take its power away."""
        with contextlib.suppress(ProcessLookupError):
            self._process.kill()
        self._process.wait(10)
        self._reader.join(5)
        assert self._process.stdout is not None
        self._process.stdout.close()

    def _read(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            self.output += line


def board_folder(
    folder: Path,
    layout: str,
    node: str,
    port: int,
    wishes: Wishes | None = None,
    *,
    pause_ms: int = 0,
    **settings: object,
) -> Path:
    """Write all that a board needs, as its owner does, with the recording driver; return the folder.

    Args:
        folder: where to make it.
        layout: text of the layout file.
        node: its name there.
        port: of the broker on this machine.
        wishes: pins, and chains that hold.
        pause_ms: so long the board does nothing after each frame.
        settings: other settings than those that are worked out.
    """
    checked = check_text(layout)
    assert checked.layout is not None, checked.findings
    asked = wishes or Wishes()
    place = Wishes(("127.0.0.1", port), "", asked.pins, asked.hold)
    board = folder / f"board-{node}"
    write_board(board, checked.layout, node, place)
    driver = _RECORDING.read_text(encoding="utf-8").replace("_PAUSE_MS = 0", f"_PAUSE_MS = {pause_ms}")
    (board / DRIVER).write_text(driver, encoding="utf-8")
    change_settings(board, **settings)
    return board


def change_settings(board: Path, **settings: object) -> None:
    """Write other settings, as its owner would by hand."""
    file = board / SETTINGS
    file.write_text(json.dumps(json.loads(file.read_text()) | settings))


@contextmanager
def switched_on(folder: Path) -> Iterator[Board]:
    """Run the program in a folder that `board_folder` made."""
    board = Board(folder)
    try:
        yield board
    finally:
        board.switch_off()
