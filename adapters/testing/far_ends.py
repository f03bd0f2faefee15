"""The other end of a bus, for the contract suite: what it is asked to do, and two that are ready made."""

from __future__ import annotations

import asyncio
import contextlib
import socket
import struct
from collections.abc import Callable, Sequence
from types import TracebackType
from typing import Self

from adapters.testing.hosts import SourceBench
from bridge.events import LinkState


class FarEnd:
    """The other end of a source's bus. It is down at first, and closes its side when the source closes its own."""

    async def come_up(self) -> None:
        """Be there: whoever connects is served, or what is said can be heard. Also called when it is up."""
        raise NotImplementedError

    async def say(self) -> None:
        """Say one thing that is an event."""
        raise NotImplementedError

    async def flood(self, count: int) -> None:
        """Say so many things that each come in, at once, as far as the bus lets you."""
        for _ in range(count):
            await self.say()

    async def cut(self, *, hard: bool) -> None:
        """Go: end what is connected and serve nobody. `hard` is as if the plug was pulled, where that differs."""
        raise NotImplementedError

    async def live(self) -> None:
        """Say what a healthy one says by itself while nothing happens, such as a heartbeat; asked every few seconds."""


class _Served(asyncio.Protocol):
    """One connection of a `LineServer`."""

    def __init__(self, server: LineServer) -> None:
        self._server = server
        self._rest = b""
        self.gone = asyncio.Event()
        self.transport: asyncio.Transport

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)  # noqa: S101 - that of a TCP server is one
        self.transport = transport
        self._server.connected.append(self)
        if self._server.greeting:
            transport.write(self._server.greeting)

    def data_received(self, data: bytes) -> None:
        *lines, self._rest = (self._rest + data).split(b"\n")
        for line in lines:
            self._server.heard.append(line)
            answer = self._server.answer(line)
            if answer:
                self.transport.write(answer)

    def connection_lost(self, exc: Exception | None) -> None:
        del exc
        self._server.connected.remove(self)
        self.gone.set()


class LineServer(FarEnd):
    """A bus that speaks lines of text over TCP, on a port of this machine that is free.

    Attributes:
        port: where it listens, also while it is down: then a connection is refused.
        heard: the lines that the source has sent.
        connected: the connections that stand.
        greeting: what it says to whoever connects.
        answer: returns what is answered to a line, or nothing.
    """

    def __init__(
        self,
        lines: Sequence[bytes],
        *,
        greeting: bytes = b"",
        answer: Callable[[bytes], bytes] = lambda _line: b"",
    ) -> None:
        """Make one.

        Args:
            lines: what it says, one after the other and round again, each an event, with its end of line.
            greeting: what it says to whoever connects.
            answer: returns what is answered to a line, or nothing.
        """
        self.greeting = greeting
        self.answer = answer
        self.heard: list[bytes] = []
        self.connected: list[_Served] = []
        self.port = 0
        self._lines = tuple(lines)
        self._next = 0
        self._socket: socket.socket | None = None
        self._server: asyncio.Server | None = None

    async def __aenter__(self) -> Self:
        self._bind()
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        await self.cut(hard=True)
        if self._socket is not None:
            self._socket.close()

    def _bind(self) -> None:
        """Take the port; nobody can connect before `come_up`."""
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self._socket.bind(("127.0.0.1", self.port))
        self.port = self._socket.getsockname()[1]

    async def come_up(self) -> None:
        """Serve whoever connects."""
        if self._server is None and self._socket is not None:
            taken, self._socket = self._socket, None
            loop = asyncio.get_running_loop()
            self._server = await loop.create_server(lambda: _Served(self), sock=taken)

    async def say(self) -> None:
        """Send the next line to all that are connected."""
        self.send(self._lines[self._next % len(self._lines)])
        self._next += 1

    async def flood(self, count: int) -> None:
        """Send so many lines as one piece."""
        self.send(b"".join(self._lines[number % len(self._lines)] for number in range(count)))

    def send(self, data: bytes) -> None:
        """Send bytes to all that are connected."""
        for each in tuple(self.connected):
            each.transport.write(data)

    async def cut(self, *, hard: bool) -> None:
        """End all connections, by a reset where it is `hard`, and refuse new ones."""
        if self._server is None:
            return
        self._server.close()
        self._server = None
        for each in tuple(self.connected):
            if hard:
                link = each.transport.get_extra_info("socket")
                with contextlib.suppress(OSError):
                    link.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            each.transport.abort()
        await asyncio.gather(*(each.gone.wait() for each in tuple(self.connected)))
        self._bind()


class BrokerEnd(FarEnd):
    """A bus that is topics of the bridge's broker."""

    def __init__(self, host: SourceBench, messages: Sequence[tuple[str, bytes]]) -> None:
        """Make one.

        Args:
            host: the source's host, whose broker it is.
            messages: what is said, one after the other and round again, each an event.
        """
        self._broker = host.broker
        self._messages = tuple(messages)
        self._next = 0

    async def come_up(self) -> None:
        """Bring the link up."""
        if not self._broker.connected:
            self._broker.turn(LinkState.UP)

    async def say(self) -> None:
        """Bring the next message."""
        self._broker.hand(*self._messages[self._next % len(self._messages)])
        self._next += 1

    async def flood(self, count: int) -> None:
        """Bring so many, as the link does: a few in each turn."""
        for number in range(count):
            await self.say()
            if number % 50 == 49:
                await asyncio.sleep(0)

    async def cut(self, *, hard: bool) -> None:
        """Take the link down."""
        del hard
        self._broker.turn(LinkState.LOST)
