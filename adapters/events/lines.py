"""Lines out of a stream of bytes, for every source whose bus is text: cut anyhow on the way, and sent by anyone."""

from __future__ import annotations

import asyncio
import contextlib
import re
import socket
from collections.abc import Callable
from typing import Final

from adapters.contract import SourceHost
from bridge.errors import LinkError

LONGEST_LINE: Final = 1024
"""Bytes of a line that is handed on whole. The longest honest one is a clock's, and has about 70."""

AT_A_TIME: Final = 16
"""Lines that are handed on before everybody else has a turn: about a millisecond's worth of orders."""

CHUNK: Final = 4096
CONNECT_WITHIN: Final = 10.0
"""Seconds. The usual limit of a system is two minutes, in which nobody would hear why nothing comes."""

KEEP_ALIVE: Final = ((socket.TCP_KEEPIDLE, 10), (socket.TCP_KEEPINTVL, 5), (socket.TCP_KEEPCNT, 3))
"""A peer that lost its power says nothing; so after 10 s of quiet it is asked, and given up 15 s later."""


class Lines:
    """Puts the pieces of a stream together and cuts it into lines. Pure.

    Empty lines are left out. A line that is longer than `longest` is cut to one byte more than that, so that
    whoever reads it sees that it is too long and can say so, and the rest of it takes no memory.
    """

    def __init__(self, *, ends: bytes = b"\r\n", longest: int = LONGEST_LINE) -> None:
        """Make a cutter with nothing in it.

        Args:
            ends: the bytes each of which ends a line, and is no part of it.
            longest: bytes.
        """
        self._end = re.compile(b"[" + re.escape(ends) + b"]")
        self._longest = longest
        self._rest = b""

    def feed(self, data: bytes) -> list[bytes]:
        """Take the next piece of the stream and return the lines that are complete by it, without their ends."""
        first, *others = self._end.split(data)
        pieces = [self._join(first), *(piece[: self._longest + 1] for piece in others)]
        self._rest = pieces.pop()
        return [piece for piece in pieces if piece]

    def last(self) -> bytes:
        """Return what came after the last end, or nothing, and forget it: the stream is over."""
        rest, self._rest = self._rest, b""
        return rest

    def _join(self, piece: bytes) -> bytes:
        return self._rest + piece[: self._longest + 1 - len(self._rest)]


async def hand_on(reader: asyncio.StreamReader, lines: Lines, take: Callable[[bytes], None]) -> None:
    """Give every line to `take` until the stream ends; what stands behind the last end of a line counts as one.

    However fast they come, nobody else waits longer for a turn than a few of them take. What comes faster
    than `take` works stays in the stream, and its sender has to wait.

    Raises:
        OSError: the stream broke off.
    """
    while data := await reader.read(CHUNK):
        for number, line in enumerate(lines.feed(data), 1):
            take(line)
            if number % AT_A_TIME == 0:
                await asyncio.sleep(0)
        await asyncio.sleep(0)  # `read` itself does not wait while there is something to read
    if rest := lines.last():
        take(rest)


async def connect(
    host: SourceHost, name: str, port: int
) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
    """Return a connection that notices when the other end has gone without a word.

    Args:
        host: what the bridge offers to the source.
        name: of the machine that is to be reached, or its address.
        port: there.

    Raises:
        LinkError: nobody answers there; with the reason and what to look at.
    """
    peer = f"{name}:{port}"
    try:
        async with host.timeout(CONNECT_WITHIN):
            reader, writer = await asyncio.open_connection(name, port, limit=CHUNK)
    except TimeoutError:
        text = f"{peer} does not answer within {CONNECT_WITHIN:.0f} s: is it switched on, and is the address right?"
        raise LinkError(text, peer=peer) from None
    except ConnectionRefusedError:
        text = f"{peer} takes no connection: does the program that sends there run, and is the port right?"
        raise LinkError(text, peer=peer) from None
    except OSError as problem:
        why = problem.strerror or str(problem)
        text = f"{peer} cannot be reached ({why}): are the address and the network right?"
        raise LinkError(text, peer=peer) from None
    watch(writer)
    return reader, writer


def watch(writer: asyncio.StreamWriter) -> None:
    """Have the system look from time to time whether the other end of a connection is still there."""
    end: socket.socket = writer.get_extra_info("socket")
    end.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    for option, value in KEEP_ALIVE:
        end.setsockopt(socket.IPPROTO_TCP, option, value)


async def close(writer: asyncio.StreamWriter) -> None:
    """Close a connection, whatever state it is in."""
    writer.close()
    with contextlib.suppress(OSError):
        await writer.wait_closed()
