"""Streams of bytes from files of this machine that speak: serial ports and named pipes.

A serial port is set up by what the system itself offers for it, since reading one takes no more.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import fcntl
import os
import re
import stat
import termios
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Annotated, Any, Final

from pydantic import BeforeValidator

from adapters.cut import cut
from adapters.events.lines import CHUNK
from bridge.errors import LinkError

SPEEDS: Final = {
    int(name[1:]): int(getattr(termios, name)) for name in dir(termios) if re.fullmatch("B[1-9][0-9]*", name)
}
"""Bits a second that this machine offers, and what it calls each."""

_ADVICE: Final = {
    errno.ENOENT: "is it plugged in, and is the name right? The names in /dev/serial/by-id stay the same",
    errno.EACCES: "this user may not read it: it has to be in the group that the file belongs to, often `dialout`",
    errno.EBUSY: "another program has it: end that one, or give each its own",
}
_FLAGS: Final = os.O_NOCTTY | os.O_NONBLOCK | os.O_CLOEXEC


def _path(value: Any) -> str:
    if not isinstance(value, str) or not value.startswith("/") or not value.isprintable():
        raise ValueError(
            f"{cut(str(value), 40)} is no place of a file: write all of it, such as /dev/ttyUSB0"
        )
    return value


def _speed(value: Any) -> int:
    if type(value) is not int or value not in SPEEDS:
        usual = "9600, 38400, 57600, 115200 or 230400"
        raise ValueError(f"{cut(str(value), 20)} is no speed that a port here has: usual are {usual}")
    return value


DevicePath = Annotated[str, BeforeValidator(_path)]
"""Where a device or a pipe stands, from the root."""

Speed = Annotated[int, BeforeValidator(_speed)]
"""Bits a second of a serial port."""


@asynccontextmanager
async def serial_port(path: str, speed: int) -> AsyncIterator[asyncio.StreamReader]:
    """Open a serial port for reading: eight bits, no parity, one stop bit, no flow control, for us alone.

    Args:
        path: such as `/dev/ttyUSB0`.
        speed: bits a second, one of `SPEEDS`.

    Raises:
        LinkError: it cannot be opened; with the reason and what to look at.
    """
    try:
        port = os.open(path, os.O_RDWR | _FLAGS)
    except OSError as problem:
        raise _refused(path, problem) from None
    try:
        _set_up(port, SPEEDS[speed])
    except BlockingIOError:
        os.close(port)
        raise _refused(path, OSError(errno.EBUSY, "")) from None
    except (OSError, termios.error):
        os.close(port)
        raise LinkError(f"{path} is no serial port: give the one that the device is at", peer=path) from None
    async with _reading(port) as reader:
        yield reader


class NamedPipe:
    """A named pipe that somebody reads from when it is opened until it is closed; where there is none it is made.

    Without a reader, even for a moment between two writers, what is written is lost and nobody hears of it. So the end
    that is read next is open before anything is read from the present one: whoever has written by then is heard by the
    present one up to his end, and of whoever opens it later the next one knows.

    Raises:
        LinkError: it cannot be opened, or is another kind of file; with the reason and what to look at.
    """

    def __init__(self, path: str) -> None:
        self._path = path
        try:
            with contextlib.suppress(FileExistsError):
                os.mkfifo(path, 0o600)
            self._next = os.open(path, os.O_RDONLY | _FLAGS)
        except OSError as problem:
            raise _refused(path, problem, "does its folder exist, and may this user write there?") from None
        self._own = os.fstat(self._next)
        if not stat.S_ISFIFO(self._own.st_mode):
            self.close()
            raise LinkError(
                f"{path} is no named pipe: move it away, and a pipe is made in its place", peer=path
            )

    def close(self) -> None:
        """Read it no more."""
        os.close(self._next)

    def stands(self) -> bool:
        """Say whether it still stands at its path.

        A script that makes its pipe anew writes to another one, and nothing would ever come from this.
        """
        try:
            return os.path.samestat(self._own, os.stat(self._path))  # noqa: PTH116 - beside `os.open` and `os.fstat`
        except OSError:
            return False

    def taken_away(self) -> LinkError:
        """Return what to tell when it stands there no more."""
        text = (
            f"the pipe {self._path} was taken away or replaced: whoever still has it open must open it anew"
        )
        return LinkError(text, peer=self._path)

    @asynccontextmanager
    async def reading(self) -> AsyncIterator[asyncio.StreamReader]:
        """Give what reads it until everybody who writes has closed it, which is at once if they already have.

        Raises:
            LinkError: it was taken away or replaced.
        """
        present, self._next = self._next, self._open_again()
        async with _reading(present) as reader:
            yield reader

    def _open_again(self) -> int:
        try:
            again = os.open(self._path, os.O_RDONLY | _FLAGS)
        except OSError:
            raise self.taken_away() from None
        if not os.path.samestat(self._own, os.fstat(again)):
            os.close(again)
            raise self.taken_away()
        return again


@asynccontextmanager
async def _reading(descriptor: int) -> AsyncIterator[asyncio.StreamReader]:
    reader = asyncio.StreamReader(limit=CHUNK)
    file = os.fdopen(descriptor, "rb", buffering=0)
    loop = asyncio.get_running_loop()
    transport, _ = await loop.connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), file)
    try:
        yield reader
    finally:
        transport.close()
        await asyncio.sleep(0)  # it closes the file in the next turn


def _set_up(port: int, speed: int) -> None:
    """Give a port raw bytes at a speed, whatever it was used for before."""
    fcntl.flock(port, fcntl.LOCK_EX | fcntl.LOCK_NB)  # what follows does not keep root out
    fcntl.ioctl(port, termios.TIOCEXCL)
    flags = termios.CS8 | termios.CREAD | termios.CLOCAL  # no HUPCL: closing would reset some boards
    settings = termios.tcgetattr(port)
    settings[:6] = [termios.IGNBRK, 0, flags, 0, speed, speed]
    settings[6][termios.VMIN], settings[6][termios.VTIME] = 1, 0
    termios.tcsetattr(port, termios.TCSANOW, settings)
    termios.tcflush(port, termios.TCIFLUSH)


def _refused(path: str, problem: OSError, advice: str = "") -> LinkError:
    why = os.strerror(problem.errno or 0)
    remedy = advice or _ADVICE.get(problem.errno or 0, "is the name right?")
    return LinkError(f"{path} cannot be opened ({why}): {remedy}", peer=path)
