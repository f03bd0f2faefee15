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
from collections.abc import AsyncIterator, Callable
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


@asynccontextmanager
async def named_pipe(path: str) -> AsyncIterator[tuple[asyncio.StreamReader, Callable[[], bool]]]:
    """Open a named pipe for reading, until everybody who writes has closed it; where there is none it is made.

    Beside the reader comes what says whether the pipe still is what stands at its path.

    Raises:
        LinkError: it cannot be opened, or is another kind of file; with the reason and what to look at.
    """
    try:
        with contextlib.suppress(FileExistsError):
            os.mkfifo(path, 0o600)
        pipe = os.open(path, os.O_RDONLY | _FLAGS)
    except OSError as problem:
        raise _refused(path, problem, "does its folder exist, and may this user write there?") from None
    opened = os.fstat(pipe)
    if not stat.S_ISFIFO(opened.st_mode):
        os.close(pipe)
        raise LinkError(f"{path} is no named pipe: move it away, and a pipe is made in its place", peer=path)

    def stands() -> bool:
        try:
            return os.path.samestat(os.stat(path), opened)  # noqa: PTH116 - beside `fstat`
        except OSError:
            return False

    async with _reading(pipe) as reader:
        yield reader, stands


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
