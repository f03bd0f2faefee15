"""Other ends of sources that are neither a server nor a broker: real pipes, serial lines, ports, and pins."""

from __future__ import annotations

import asyncio
import os
import pty
import socket
import tty
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from gpiozero.pins import mock

from adapters.events.pins import BoardPins
from adapters.testing import FarEnd, SourceBench


class Lines(FarEnd):
    """Says lines, one after the other and round again."""

    def __init__(self, lines: Sequence[bytes]) -> None:
        self._lines = tuple(lines)
        self._next = 0

    async def say(self) -> None:
        """Say the next line."""
        await self.write(self._lines[self._next % len(self._lines)])
        self._next += 1

    async def flood(self, count: int) -> None:
        """Say so many lines as one piece."""
        await self.write(b"".join(self._lines[number % len(self._lines)] for number in range(count)))

    async def write(self, data: bytes) -> None:
        """Say bytes."""
        raise NotImplementedError


class SerialLine(Lines):
    """A serial line that can be unplugged: a name that stays, and behind it a port that is another each time."""

    def __init__(self, name: Path, lines: Sequence[bytes] = ()) -> None:
        super().__init__(lines)
        self.name = name
        self.device = -1

    def plug_in(self) -> None:
        """Be there, by the same name."""
        self.device, port = pty.openpty()
        tty.setraw(port)  # what is written before anybody listens is neither echoed nor kept back
        self.name.unlink(missing_ok=True)
        self.name.symlink_to(os.ttyname(port))
        os.close(port)

    def print(self, data: bytes) -> None:
        """Print something."""
        os.write(self.device, data)

    def unplug(self) -> None:
        """Be gone."""
        if self.device >= 0:
            os.close(self.device)
        self.device = -1
        self.name.unlink(missing_ok=True)

    async def come_up(self) -> None:
        """Be plugged in."""
        if self.device < 0:
            self.plug_in()

    async def write(self, data: bytes) -> None:
        """Print bytes, as fast as the line takes them."""
        device = os.dup(self.device)
        try:
            while data:
                written = await asyncio.get_running_loop().run_in_executor(None, os.write, device, data)
                data = data[written:]
        finally:
            os.close(device)

    async def cut(self, *, hard: bool) -> None:
        """Be unplugged."""
        del hard
        self.unplug()


class Pipe(Lines):
    """Whoever writes into a named pipe. It is not there while its folder is not."""

    def __init__(self, folder: Path, lines: Sequence[bytes]) -> None:
        super().__init__(lines)
        self.folder = folder
        self.path = folder / "facts"

    async def come_up(self) -> None:
        """Have a folder for the pipe."""
        self.folder.mkdir(exist_ok=True)

    async def write(self, data: bytes) -> None:
        """Write bytes, as a shell does: open, write, close."""
        await asyncio.get_running_loop().run_in_executor(None, self.path.write_bytes, data)

    async def cut(self, *, hard: bool) -> None:
        """Take pipe and folder away."""
        del hard
        self.path.unlink()
        self.folder.rmdir()


class Speaker(Lines):
    """Whoever connects to a port and says lines there. While it is down, another program has the port."""

    def __init__(self, lines: Sequence[bytes]) -> None:
        super().__init__(lines)
        self._other: socket.socket | None = socket.socket()
        self._other.bind(("127.0.0.1", 0))
        self._other.listen()
        self.port = int(self._other.getsockname()[1])

    def close(self) -> None:
        """Let go of the port."""
        if self._other is not None:
            self._other.close()
        self._other = None

    async def come_up(self) -> None:
        """Have the other program end."""
        self.close()

    async def write(self, data: bytes) -> None:
        """Connect, say something and close."""
        _reader, writer = await asyncio.open_connection("127.0.0.1", self.port)
        writer.write(data)
        await writer.drain()
        writer.close()
        await writer.wait_closed()


class Requests(FarEnd):
    """Whoever asks over HTTP. While it is down no page is open."""

    def __init__(self, host: SourceBench, facts: Sequence[tuple[str, bytes]]) -> None:
        self._door = host.door
        self._address, self._door.address = self._door.address, None
        self._facts = tuple(facts)
        self._next = 0

    async def come_up(self) -> None:
        """Open the page."""
        self._door.address = self._address

    async def say(self) -> None:
        """Make the next request."""
        self._door.ask(*self._facts[self._next % len(self._facts)])
        self._next += 1

    async def flood(self, count: int) -> None:
        """Make so many; each is a turn of the server's own."""
        for _ in range(count):
            await self.say()
            await asyncio.sleep(0)


class Fingers(FarEnd):
    """Whoever presses the button at GPIO17 of `gpiozero`'s own pins for tests. While it is down there are no pins.

    Attributes:
        source: whose pins they are.
    """

    def __init__(self, patch: pytest.MonkeyPatch) -> None:
        self._patch = patch
        self.source: BoardPins | None = None

        def none_there(*_args: Any, **_more: Any) -> None:
            raise OSError("no chip of pins")

        patch.setattr(mock.MockFactory, "__init__", none_there)

    async def come_up(self) -> None:
        """Have pins."""
        self._patch.undo()

    async def say(self) -> None:
        """Press or let go."""
        assert self.source is not None
        pin = self.source._factory.pin(17)
        (pin.drive_low if pin.state else pin.drive_high)()
