"""Writing the session log: the light of a step goes out first, and is written down after it.

Whoever drives the engine hands over what happened, which costs an append to a queue. Every 100 ms `flush`
turns what has gathered into lines and writes them, away from the event loop. A disk that is full, slow or
gone ends the log and never the lights.
"""

from __future__ import annotations

import errno
import os
import platform
from collections import deque
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from threading import Lock
from time import sleep
from typing import Any, Final

import numpy as np

import bridge
from bridge.commands import Command
from bridge.events import Event, Instant
from bridge.layout.model import Layout
from bridge.record.digests import tables_digest, text_digest
from bridge.record.lines import LONGEST_REFUSED, Header, Lost, Refused, Snapshot, line_bytes
from bridge.record.scribe import Came, Ended, Entry, Followed, RawForm, Scribe, Stepped, Stood, entry_bytes
from bridge.record.store import UNFINISHED, hold, piece_path

MOST_WAITING: Final = 100_000
"""Entries that may wait for the disk."""

MOST_BYTES: Final = 64 * 1024 * 1024
"""Memory that they may take, as far as `entry_bytes` knows it: entries of a large layout in motion are large."""

LINES_IN_A_ROW: Final = 16
"""Lines that are formatted, in some 0.2 ms, before the event loop is let in: it would come by itself, but only after
the interpreter's switch interval of 5 ms, and an event would have waited."""


FLUSHES_A_SYNC: Final = 10
"""`flush` is called every 100 ms, so the disk is asked about once a second to keep what it was given."""


def make_header(layout: Layout, text: str, *, file: str, started: str) -> Header:
    """Return the header of a session that drives `layout`, which was read from `text`."""
    return Header(
        started=started,
        version=bridge.__version__,
        python=platform.python_version(),
        numpy=np.__version__,
        layout=layout.name,
        file=file,
        digest=text_digest(text),
        text=text,
        tables=tables_digest(),
    )


class SessionLog:
    """One session's log.

    `input`, `refused`, `commands`, `rendered` and `end` are for the event loop: they touch no disk, format
    nothing and never wait. `flush` and `close` are for one worker thread at a time (a second call waits for
    the first). A file is made when it is first written to; one that is there already is never written to.

    A snapshot is wanted as often as the layout file says; the first after a file is full, or of a new day, begins a
    new file.

    Attributes:
        path: the file that is written to now.
        left_out: entries for which there was no room, since the beginning.

    Args:
        path: the first file to make; its directory is made where there is none.
        header: what `make_header` gave.
        layout: what is driven.
        most_waiting: entries that may wait for the disk; what finds no room is counted and lost.
        most_bytes: the same in bytes.
        today: returns the day, in whatever words.
    """

    def __init__(
        self,
        path: Path,
        header: Header,
        layout: Layout,
        *,
        most_waiting: int = MOST_WAITING,
        most_bytes: int = MOST_BYTES,
        today: Callable[[], str] = lambda: datetime.now(UTC).strftime("%Y-%m-%d"),
    ) -> None:
        self.path = path
        self.left_out = 0
        self._begins = path
        self._keeping = layout.keeping
        self._devices = len(layout.signals) + len(layout.lights)
        self._today = today
        self._day = today()
        self._full = False
        self._size = 0
        self._stood: Instant = 0
        self._stirred = False
        self._most_waiting = most_waiting
        self._most_bytes = most_bytes
        # Each end of a deque may be used by a thread of its own; a list would have to be swapped under a lock.
        self._waiting: deque[tuple[Entry, int]] = deque()
        # Bytes that came in and went out, each counted by one thread alone; what waits is the difference.
        self._bytes_in = 0
        self._bytes_out = 0
        self._lost = 0
        self._lost_since: Instant = 0
        self._refused = 0
        self._stopped = False
        self._lock = Lock()
        self._file = -1
        self._flushes = 0
        self._unsynced = False
        self._scribe = Scribe(tuple(chain.key for chain in layout.chains))
        self._header = header

    def input(
        self,
        number: int,
        at: Instant,
        source: str,
        raw: RawForm | None,
        events: tuple[Event, ...],
        took: int | None = None,
    ) -> None:
        """Take an input that was handled.

        Args:
            number: of its first event.
            at: when it was delivered.
            source: that it came by.
            raw: how it came, or None where it had no such form.
            events: what it meant.
            took: nanoseconds until its frames were with their outputs, if somebody looked.
        """
        self._put(Came(number, at, source, raw, events, took), at)

    def refused(self, at: Instant, source: str, raw: RawForm, why: str) -> None:
        """Take an input that meant nothing."""
        self._refused += 1
        payload = raw.payload[:LONGEST_REFUSED]
        length = len(raw.payload)
        line = Refused(self._refused, at, source, raw.channel, payload, length, why, raw.retained)
        self._put(line, at)

    def commands(self, commands: Sequence[Command]) -> None:
        """Take what the engine returned from `start`, `handle` or `closing`, after the input that caused it.

        The list is kept as it is: whoever hands it over changes it no more.
        """
        if commands:
            self._put(Followed(commands), commands[0].at)

    def rendered(self, at: Instant, commands: Sequence[Command]) -> None:
        """Take an instant that was rendered and the frames that came of it, also where there were none."""
        self._put(Stepped(at, commands), at)

    def wants_snapshot(self, at: Instant) -> bool:
        """Return whether `snapshot` is wanted at an instant; where nothing happened it never is."""
        if self._stopped or not self._stirred:
            return False
        return self._full or at - self._stood >= self._keeping.snapshot_every

    def snapshot(self, at: Instant, engine: dict[str, Any]) -> None:
        """Take the whole state of the engine, between two of its steps; nobody changes it any more."""
        self._put(Stood(at, engine, self._devices), at)
        self._stood = at
        self._stirred = False

    def end(self, at: Instant) -> None:
        """Take the clean end of the session; `close` writes it."""
        self._put(Ended(at), at)

    def _put(self, entry: Entry, at: Instant) -> None:
        if self._stopped:
            return
        size = entry_bytes(entry)
        waiting = self._bytes_in - self._bytes_out
        if len(self._waiting) >= self._most_waiting or waiting + size > self._most_bytes:
            self._lost_since = self._lost_since if self._lost else at
            self._lost += 1
            self.left_out += 1
            return
        if self._lost:
            self._waiting.append((Lost(self._lost, self._lost_since), 0))
            self._lost = 0
        self._waiting.append((entry, size))
        self._bytes_in += size
        self._stirred = True

    def flush(self) -> str | None:
        """Write what has gathered, whole lines in one go.

        Returns:
            None; or, once, a sentence about why the log has ended here. It never raises.
        """
        with self._lock:
            return self._guarded(last=False)

    def close(self) -> str | None:
        """Write what is left and let go of the file; returns like `flush`."""
        with self._lock:
            trouble = self._guarded(last=True)
            self._let_go()
            return trouble

    def _drain(self) -> list[Entry]:
        # Only what was there at the beginning: a loop that keeps appending must not keep this one from ending.
        taken = [self._waiting.popleft() for _ in range(len(self._waiting))]
        self._bytes_out += sum(size for _entry, size in taken)
        return [entry for entry, _size in taken]

    def _guarded(self, *, last: bool) -> str | None:
        if self._stopped:
            return None
        try:
            self._write_down(last=last)
        except FileExistsError as error:
            why = "a file stands there already, and no log is ever written over"
            if error.filename != str(self.path):
                why = f"{error.filename} is a file and no folder"
            return self._give_up(why, "move it away")
        except OSError as error:
            remedy = "make room on that disk, or name another place for the log"
            return self._give_up(error.strerror or str(error), remedy)
        except Exception as error:  # noqa: BLE001 - a fault of ours in here must not take the lights with it
            return self._give_up(
                f"{type(error).__name__}: {error}", "this is a fault of lamproom: please report it"
            )
        return None

    def _give_up(self, why: str, remedy: str) -> str:
        self._let_go()
        self._waiting.clear()
        return (
            f"the session log {self.path} cannot be written: {why}. The lights run on, and this session is "
            f"recorded no further; {remedy}, then start again"
        )

    def _let_go(self) -> None:
        self._stopped = True
        if self._file >= 0:
            with suppress(OSError):
                os.close(self._file)
            self._file = -1

    def _write_down(self, *, last: bool) -> None:
        if last and self._lost:
            self._waiting.append((Lost(self._lost, self._lost_since), 0))
        if self._file < 0:
            self._open()
        lines: list[bytes] = []
        for line in self._scribe.lines(self._drain()):
            if isinstance(line, Snapshot) and self._is_full():
                self._append(lines)
                lines = []
                self._begin_next()
            lines.append(line_bytes(line))
            if len(lines) % LINES_IN_A_ROW == 0:
                sleep(0)  # lets the event loop have the interpreter
        self._append(lines)
        self._full = self._is_full()
        self._flushes += 1
        if last or self._flushes % FLUSHES_A_SYNC == 1:
            self._sync()

    def _is_full(self) -> bool:
        return self._size >= self._keeping.piece or self._today() != self._day

    def _begin_next(self) -> None:
        """Go on in a new file, which begins with the snapshot that is about to be written."""
        self._sync()
        os.close(self._file)
        self._file = -1
        self._header = replace(self._header, piece=self._header.piece + 1, before=self.path.name)
        self.path = piece_path(self._begins, self._header.piece)
        self._open()

    def _open(self) -> None:
        header = line_bytes(self._header)
        self._file = _create(self.path, header)
        self._size, self._unsynced = len(header), True
        self._day = self._today()

    def _append(self, lines: list[bytes]) -> None:
        data = b"".join(lines)
        if data:
            _write(self._file, data)
            self._size += len(data)
            self._unsynced = True

    def _sync(self) -> None:
        if self._unsynced:
            os.fsync(self._file)
            self._unsynced = False


def _create(path: Path, header: bytes) -> int:
    """Make a file that has its header from its first moment on: without one it would be the log of nothing."""
    path.parent.mkdir(parents=True, exist_ok=True)
    made = path.with_name(path.name + UNFINISHED)
    file = os.open(made, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND | os.O_CLOEXEC, 0o644)
    try:
        hold(file)
        _write(file, header)
        if os.path.lexists(path):
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path))
        made.rename(path)
    except OSError:
        os.close(file)
        with suppress(OSError):
            made.unlink()
        raise
    return file


def _write(file: int, data: bytes) -> None:
    """Write everything, or take back the line that could not be finished and raise."""
    whole = os.fstat(file).st_size
    written = 0
    try:
        while written < len(data):
            written += os.write(file, memoryview(data)[written:])
    except OSError:
        with suppress(OSError):
            os.ftruncate(file, whole + data.rfind(b"\n", 0, written) + 1)
        raise
