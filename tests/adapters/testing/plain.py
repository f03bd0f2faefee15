"""The plainest output that keeps the contract: lines of a file, written in `show` itself. Faults are planted in it."""

from __future__ import annotations

from io import RawIOBase
from pathlib import Path
from typing import ClassVar, Final, cast

from adapters.contract import ChainPlace, Options, OutputHost
from adapters.outputs.file import FileOptions
from bridge.events import SECOND, Instant, LinkState

FIGURES_EVERY: Final = 1 * SECOND


class PlainFrames:
    """A frame output that writes each frame as a line, and has everything wait for that."""

    options: ClassVar[type[Options]] = FileOptions
    any_length: ClassVar[bool] = True

    def __init__(
        self,
        name: str,  # noqa: ARG002 - every output is made with its name; nobody is told this one
        options: Options,
        places: tuple[ChainPlace, ...],
        host: OutputHost,
    ) -> None:
        """Make an output that writes nothing yet.

        Args:
            name: the output's name in the layout file.
            options: a `FileOptions`.
            places: the chains.
            host: what the bridge offers.
        """
        self._path = Path(cast("FileOptions", options).path)
        self._host = host
        self._places = places
        self._file: RawIOBase | None = None
        self._begun = False
        self._early: dict[int, tuple[bytes, str]] = {}  # the newest frames from before the start
        self._sent = [0] * len(places)
        self._told = [0] * len(places)
        self._figures_at: Instant = 0
        self._asked = False

    async def start(self) -> None:
        """Begin the file, with what was shown before."""
        self._begun = True
        try:
            self._file = self._path.open("wb", buffering=0)
        except OSError as problem:
            self._lose(problem)
        for index, (levels, mark) in self._early.items():
            self._write(index, levels, mark)
        self._early.clear()

    def show(self, index: int, levels: bytes, *, test: bool = False) -> None:
        """Write a frame."""
        mark = " test" if test else ""
        if not self._begun:
            self._early[index] = levels, mark
        self._write(index, levels, mark)
        if not self._asked:
            self._asked = True
            self._host.wake_soon()

    def wake(self, now: Instant) -> Instant | None:
        """Tell the figures, at most once a second."""
        if self._sent == self._told:
            self._asked = False
            return None
        if now < self._figures_at:
            return self._figures_at
        self._figures_at = now + FIGURES_EVERY
        for index, place in enumerate(self._places):
            if self._sent[index] != self._told[index]:
                self._told[index] = self._sent[index]
                self._host.figures(place, sent=self._sent[index])
        self._asked = False
        return None

    async def stop(self, last: tuple[bytes, ...] | None) -> None:
        """Write the last frames, and close the file."""
        for index, levels in enumerate(last or ()):
            self._write(index, levels, " last")
        if self._file is not None:
            self._file.close()
            self._file = None

    def _write(self, index: int, levels: bytes, mark: str) -> None:
        if self._file is None:
            return
        seconds, rest = divmod(self._host.now(), SECOND)
        try:
            self._file.write(f"{seconds}.{rest:09} {self._places[index].key} {levels.hex()}{mark}\n".encode())
        except OSError as problem:
            self._lose(problem)
        else:
            self._sent[index] += 1

    def _lose(self, problem: OSError) -> None:
        if self._file is not None:
            self._file.close()
            self._file = None
        why = (
            f"{self._path} cannot be written ({problem.strerror or problem}): make room, or name another file"
        )
        self._host.link(LinkState.LOST, f"{why}, and start the bridge again", "path")
