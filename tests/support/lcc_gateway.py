"""A gateway to an invented bus of LCC: real TCP, and a test says what comes from the bus and sees what goes to it."""

from __future__ import annotations

import asyncio
import contextlib
import re
import socket
import struct
from collections.abc import Iterable, Mapping
from types import TracebackType
from typing import Final, Self

_CID: Final = re.compile(r":X17[0-9A-F]{3}([0-9A-F]{3})N;")


class Client(asyncio.Protocol):
    """One connection.

    Attributes:
        heard: the frames that came, in order.
        gone: set when the connection has ended.
    """

    def __init__(self, gateway: Gateway) -> None:
        self.heard: list[str] = []
        self.gone = asyncio.Event()
        self.transport: asyncio.Transport
        self._gateway = gateway
        self._rest = ""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self.transport = transport
        self._gateway.clients.append(self)

    def data_received(self, data: bytes) -> None:
        *frames, self._rest = (self._rest + data.decode("ascii")).split(";")
        for frame in frames:
            self.heard.append(f"{frame};")
            for answer in self._gateway.answers(self.heard[-1]):
                self.say(answer)

    def connection_lost(self, exc: Exception | None) -> None:
        del exc
        self.gone.set()

    @property
    def alias(self) -> str:
        """The alias that the client asked for last."""
        found = [match[1] for match in map(_CID.fullmatch, self.heard) if match]
        return found[-1] if found else "???"

    def told(self) -> list[str]:
        """Return what came, with `aaa` for the client's alias."""
        return [frame.replace(self.alias, "aaa", 1) for frame in self.heard]

    def say(self, *frames: str) -> None:
        """Send frames, `aaa` in them for the client's alias."""
        self.transport.write("".join(frames).replace("aaa", self.alias).encode("latin-1"))

    def close(self, *, hard: bool = False) -> None:
        """End the connection, by a reset where it is `hard`."""
        if hard:
            end = self.transport.get_extra_info("socket")
            end.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            self.transport.abort()
        else:
            self.transport.close()


class Gateway:
    """A gateway on a free port of this machine.

    Attributes:
        port: where it listens.
        clients: the connections, the newest last.
        when: what is answered to frames, `aaa` for the client's alias: by the first letters of a frame.
    """

    def __init__(self, when: Mapping[str, Iterable[str]] | None = None) -> None:
        self.port = 0
        self.clients: list[Client] = []
        self.when = when or {}
        self._server: asyncio.Server | None = None

    async def __aenter__(self) -> Self:
        await self.open()
        return self

    async def open(self) -> None:
        """Serve whoever connects, again on the same port."""
        loop = asyncio.get_running_loop()
        self._server = await loop.create_server(
            lambda: Client(self), "127.0.0.1", self.port, reuse_address=True
        )
        self.port = self._server.sockets[0].getsockname()[1]

    async def shut(self, *, hard: bool = True) -> None:
        """End all connections and refuse new ones."""
        if self._server is not None:
            self._server.close()
        for client in self.clients:
            if not client.gone.is_set():
                client.close(hard=hard)
            await client.gone.wait()

    async def __aexit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        with contextlib.suppress(OSError):
            await self.shut()

    def answers(self, frame: str) -> list[str]:
        """Return what the bus answers to a frame."""
        return [
            answer for begins, answers in self.when.items() if frame.startswith(begins) for answer in answers
        ]

    @property
    def client(self) -> Client:
        """The newest connection."""
        return self.clients[-1]
