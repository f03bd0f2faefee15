"""How many may be connected to the page, for how long without asking for anything, and whose faults are told.

Each connection has a file of this process, and those are counted: where none is left, the broker is not reached
again and no log goes on. So strangers get only some of them.
"""

from __future__ import annotations

import asyncio
import logging
from typing import Final, cast

from aiohttp import web
from aiohttp.http import HttpProcessingError

MOST: Final = 200
"""Connections. A browser makes up to seven; those that come in one turn of the loop are not counted yet."""

IDLE: Final = 15.0
"""Seconds after which a connection is closed that asks for nothing, or is not done with asking."""

MOST_TOLD: Final = 20
"""Different faults of our own that are told."""

_FULL: Final = b"Too many are connected: close some pages, and come back.\n"
_REFUSAL: Final = (
    b"HTTP/1.1 503 Service Unavailable\r\nContent-Type: text/plain\r\nContent-Length: %d\r\n"
    b"Connection: close\r\n\r\n%b" % (len(_FULL), _FULL)
)


class Connections:
    """Makes the protocol of each connection: the server's own, or while too many are there one that says so."""

    def __init__(self, server: web.Server) -> None:
        self._server = server

    def __call__(self) -> asyncio.Protocol:
        """Return a protocol for one more connection."""
        return _Full() if len(self._server.connections) >= MOST else self._server()


class _Full(asyncio.Protocol):
    """Says that there is no room, and ends."""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        answering = cast("asyncio.Transport", transport)
        answering.write(_REFUSAL)
        answering.close()


class _OwnFaults(logging.Filter):
    """Lets pass what is a fault of the page, each once.

    Whoever sends something that is no HTTP, or leaves in the midst of it, has his answer already, and could fill the
    journal with tracebacks.
    """

    def __init__(self) -> None:
        super().__init__()
        self._told: set[str] = set()

    def filter(self, record: logging.LogRecord) -> bool:
        problem = record.exc_info[1] if record.exc_info else None
        if isinstance(problem, HttpProcessingError | ConnectionError | web.PayloadAccessError):
            return False
        key = f"{record.msg} {problem!r}"
        if key in self._told or len(self._told) >= MOST_TOLD:
            return False
        self._told.add(key)
        return True


LOG: Final = logging.getLogger("lamproom.page")
"""Where the server tells of its faults."""

LOG.addFilter(_OwnFaults())
