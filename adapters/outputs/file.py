"""Frames as lines of a file, for trying a layout out and for tests: no node, no network.

12.345678901 tarn/throat 00ff00        seconds of the session, chain, levels in the order of the data line
12.400000000 tarn/throat 00ff00 test   a picture of a lamp test
97.000000000 tarn/throat ff0000 last   the last frame

A thread writes them, since a disk may be slow or a share in the network away. While it is at it, the newest frame of
each chain is kept, and those before it are passed over and counted.
"""

from __future__ import annotations

import errno
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import ClassVar, cast

from pydantic import field_validator

from adapters.contract import ChainPlace, Options, OutputHost
from adapters.cut import cut
from adapters.outputs.figures import Figures
from adapters.outputs.pace import NEVER
from adapters.outputs.writer import Port, PortError, Writer
from bridge.events import SECOND, Instant, LinkState


class FileOptions(Options):
    """The keys of a file output.

    Attributes:
        path: the file, from the folder in which the bridge is started; it is written anew at each start.
    """

    path: str

    @field_validator("path")
    @classmethod
    def _path(cls, path: str) -> str:
        if not path or not path.isprintable():
            raise ValueError(f"{cut(path, 60)!r} is no path of a file: write one such as frames.txt")
        return path


@dataclass(slots=True)
class Counters:
    """What happened on a chain since the session began: frames written, and frames passed over by newer ones."""

    sent: int = 0
    skipped: int = 0


@dataclass(slots=True, eq=False)
class _Lane:
    """One chain: its line that is not handed over yet, and what was last told of it."""

    place: ChainPlace
    counters: Counters
    figures: Figures
    line: bytes | None = None


class FileFrames:
    """A frame output that writes each frame as a line, at once unless the file is slow."""

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
        self._lanes: list[_Lane] = []
        for place in places:
            counters = Counters()
            self._lanes.append(_Lane(place, counters, Figures(host, place, counters)))
        self._due: dict[int, None] = {}  # chains with a line, in the order in which they were shown
        self._writer: Writer | None = None
        self._over = False  # the file cannot be written, or the output has ended
        self._idle = False  # the file is open, and what was handed over is written
        self._asked = False

    async def start(self) -> None:
        """Begin the file, with what was shown before."""
        self._writer = Writer(
            str(self._path),
            partial(open_file, self._path),
            opened=self._out,
            done=self._out,
            failed=self._failed,
        )

    def show(self, index: int, levels: bytes, *, test: bool = False) -> None:
        """Take a frame; write it now, or when what is on its way is out."""
        if self._over:
            return
        self._take(index, levels, " test" if test else "")
        self._serve()
        self._ask()

    def wake(self, now: Instant) -> Instant | None:
        """Tell the figures."""
        due = min((lane.figures.tell(now) for lane in self._lanes), default=NEVER)
        self._asked = due != NEVER  # a promised call will do for what is counted until then
        return due if self._asked else None

    async def stop(self, last: tuple[bytes, ...] | None) -> None:
        """Write what waits and the last frames, and close the file."""
        self._over = True
        if self._writer is None:
            return
        waiting = self._lines()
        for index, levels in enumerate(last or ()):
            self._take(index, levels, " last")
        writer = self._writer
        writer.hand(waiting + self._lines() or None, ending=True)  # one piece: a slow file is waited for once
        await writer.ended.wait()
        self._writer = None

    def _take(self, index: int, levels: bytes, mark: str) -> None:
        lane = self._lanes[index]
        lane.counters.skipped += lane.line is not None
        seconds, rest = divmod(self._host.now(), SECOND)
        lane.line = f"{seconds}.{rest:09} {lane.place.key} {levels.hex()}{mark}\n".encode()
        self._due.pop(index, None)
        self._due[index] = None  # behind the others: lines stand in the order of their instants

    def _serve(self) -> None:
        """Hand over the newest line of each chain, if the file is free."""
        if self._due and self._idle and self._writer is not None:
            self._idle = False
            self._writer.hand(self._lines())

    def _lines(self) -> bytes:
        """Take the lines that wait."""
        lines = []
        for index in self._due:
            lane = self._lanes[index]
            lines.append(lane.line or b"")
            lane.line = None
            lane.counters.sent += 1
        self._due.clear()
        return b"".join(lines)

    def _out(self) -> None:
        self._idle = True
        if self._due:
            self._serve()
            self._ask()

    def _ask(self) -> None:
        """Have the figures told."""
        if not self._asked:
            self._asked = True
            self._host.wake_soon()

    def _failed(self, problem: PortError | OSError) -> None:
        self._idle = True
        if self._writer is None:
            return
        self._over = True
        self._writer = None
        self._due.clear()
        number, reason = (problem.errno, problem.strerror) if isinstance(problem, OSError) else (None, None)
        match number:
            case errno.ENOENT:
                remedy = f"make the folder {self._path.absolute().parent}"
            case errno.EACCES | errno.EPERM | errno.EROFS:
                remedy = "let the user of the bridge write there"
            case errno.EISDIR:
                remedy = "take that folder away"
            case _:
                remedy = "make room"
        why = f"{self._path} cannot be written ({reason or problem}): {remedy}, or name another file"
        self._host.link(LinkState.LOST, f"{why}, and start the bridge again", "path")


def open_file(path: Path) -> Port:
    """Begin a file anew; what is written is there at once.

    Raises:
        OSError: it cannot be opened.
    """
    return _Opened(path)


class _Opened:
    def __init__(self, path: Path) -> None:
        self._file = path.open("wb", buffering=0)

    def write(self, data: bytes) -> None:
        left = memoryview(data)
        while left:  # of what a disk that is nearly full takes a part
            left = left[self._file.write(left) :]

    def close(self) -> None:
        self._file.close()
