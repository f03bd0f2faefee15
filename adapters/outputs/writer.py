"""A thread that writes what a driver or a disk may hold up, so that the event loop never waits for either."""

from __future__ import annotations

import asyncio
import threading
from collections import deque
from collections.abc import Callable
from functools import partial
from typing import Protocol


class Port(Protocol):
    """What is written to, once it is open."""

    def write(self, data: bytes) -> None:
        """Write; returns when it is out.

        Raises:
            OSError: it could not be written.
        """
        ...

    def close(self) -> None:
        """Let go of it."""
        ...


class PortError(Exception):
    """A port cannot be opened; the text says why, and what to do about it."""


class Writer:
    """A thread that opens a port and writes what it is handed, one piece after the other.

    It holds one piece. Whoever hands it pieces waits for `done` in between, so the newest is never behind another. Only
    the last piece waits for nothing: it stands behind what is held, since a stop has no time to lose.

    Args:
        name: of what is written to.
        open_port: opens it; called in the thread, and may raise `PortError` or OSError.
        opened: called on the loop when it is open.
        done: called on the loop when a piece is out.
        failed: called on the loop, once, with why nothing can be written any more.
    """

    def __init__(
        self,
        name: str,
        open_port: Callable[[], Port],
        *,
        opened: Callable[[], None],
        done: Callable[[], None],
        failed: Callable[[PortError | OSError], None],
    ) -> None:
        self.ended = asyncio.Event()
        self._open_port = open_port
        self._opened, self._done, self._failed = opened, done, failed
        self._loop = asyncio.get_running_loop()
        self._turn = threading.Condition()
        self._held: deque[bytes] = deque()
        self._ending = False
        # A daemon: a driver that never returns must not keep the bridge from ending.
        threading.Thread(target=self._run, name=f"write {name}", daemon=True).start()

    def hand(self, data: bytes | None, *, ending: bool = False) -> None:
        """Hand over the next piece, and say whether it is the last.

        Raises:
            RuntimeError: the piece before it was not taken yet, and this one is not the last.
        """
        with self._turn:
            if data is not None:
                if self._held and not ending:
                    raise RuntimeError("a piece is still held: wait for `done`")
                self._held.append(data)
            self._ending |= ending
            self._turn.notify()

    def _run(self) -> None:
        try:
            self._write()
        except (PortError, OSError) as problem:
            self._call(partial(self._failed, problem))
        self._call(self.ended.set)

    def _write(self) -> None:
        port = self._open_port()
        self._call(self._opened)
        try:
            while True:
                with self._turn:
                    self._turn.wait_for(lambda: self._held or self._ending)
                    if not self._held:
                        return
                    data = self._held.popleft()
                port.write(data)
                self._call(self._done)
        finally:
            port.close()

    def _call(self, what: Callable[[], None]) -> None:
        if not self._loop.is_closed():
            self._loop.call_soon_threadsafe(what)
