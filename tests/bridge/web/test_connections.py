"""Strangers at the page: what is no HTTP, who holds connections open, and what unfolds into more than it was."""

from __future__ import annotations

import asyncio
import gzip
import logging
from contextlib import AsyncExitStack, asynccontextmanager
from typing import TYPE_CHECKING, Final
from urllib.parse import urlsplit

import pytest

from bridge.web import connections, server

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

EVENT: Final = b"POST /api/events/phone/button/bell HTTP/1.1\r\nHost: 127.0.0.1\r\n"

BROKEN: Final = {
    "TLS": bytes.fromhex("160301020001000001fc0303"),
    "no address": b"POST  HTTP/1.1\r\n\r\n",
    "another byte in the address": b"POST /\xff HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n",
    "an endless header": EVENT + b"X: " + b"y" * 20_000 + b"\r\n\r\n",
    "two lengths": EVENT + b"Content-Length: 3\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
    "a broken chunk": EVENT + b"Transfer-Encoding: chunked\r\n\r\nZZ\r\n",
    "left in the midst": EVENT + b"Content-Length: 7\r\n\r\npre",
}


@asynccontextmanager
async def speaking(address: str) -> AsyncIterator[tuple[asyncio.StreamReader, asyncio.StreamWriter]]:
    """A connection to the page, and no more."""
    place = urlsplit(address)
    reader, writer = await asyncio.open_connection(place.hostname, place.port)
    try:
        yield reader, writer
    finally:
        writer.close()


async def answer(address: str, request: bytes, *, leave: bool = False) -> bytes:
    """The first line of what a request is answered."""
    async with asyncio.timeout(10), speaking(address) as (reader, writer):
        writer.write(request)
        if leave:
            await writer.drain()
            writer.transport.abort()
            return b""
        return await reader.readline()


@pytest.mark.parametrize("kind", BROKEN)
async def test_broken_requests_print_no_traceback(
    address: str, kind: str, caplog: pytest.LogCaptureFixture
) -> None:
    """Whoever sends it is told; a neighbour who goes on and on does not fill the journal."""
    with caplog.at_level(logging.INFO):
        line = await answer(address, BROKEN[kind], leave=kind == "left in the midst")
        assert not line or line.split()[1] == b"400"
        assert (await answer(address, b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")).split()[1] == b"200"
    assert [record.getMessage() for record in caplog.records] == []


def test_faults_of_our_own_are_told_once(caplog: pytest.LogCaptureFixture) -> None:
    """What is no stranger's doing has its traceback, and the same again is not told again."""
    for _time in range(3):
        connections.LOG.error("Error handling request", exc_info=ZeroDivisionError("a fault of the page"))
    assert [record.levelname for record in caplog.records] == ["ERROR"]


async def test_only_so_many_are_connected(address: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Files of this process are left for the broker and the logs; who comes too many is told, and may come later."""
    monkeypatch.setattr(connections, "MOST", 3)
    visit = b"GET /api/now HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"
    async with AsyncExitStack() as stack:
        for _number in range(3):
            reader, writer = await stack.enter_async_context(speaking(address))
            writer.write(visit)
            assert (await reader.readline()).split()[1] == b"200"
        assert (await answer(address, visit)).split()[1] == b"503"
    async with asyncio.timeout(10):
        while (await answer(address, visit)).split()[1] != b"200":
            pass


async def test_an_event_has_to_come_soon(address: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever sends a byte now and then keeps no connection for it."""
    monkeypatch.setattr(server, "_BODY_WITHIN", 0.05)
    assert (await answer(address, EVENT + b"Content-Length: 7\r\n\r\npre")).split()[1] == b"408"


async def test_a_packed_body_is_not_unfolded(address: str) -> None:
    """A kilobyte that unfolds into a megabyte costs nothing (RFC 9110, section 15.5.16)."""
    packed = gzip.compress(bytes(1_000_000))
    head = EVENT + b"Content-Encoding: gzip\r\nContent-Length: %d\r\n\r\n" % len(packed)
    assert (await answer(address, head + packed)).split()[1] == b"415"


async def test_one_origin_among_two_is_none(address: str) -> None:
    """A request that names the page and somebody else as where it comes from comes from elsewhere."""
    own = address.rstrip("/").encode()
    host = b"Host: " + own.removeprefix(b"http://")
    origins = b"Origin: " + own + b"\r\nOrigin: http://elsewhere.example\r\n"
    asked = b"GET / HTTP/1.1\r\n" + host + b"\r\n" + origins + b"\r\n"
    assert (await answer(address, asked)).split()[1] == b"403"
