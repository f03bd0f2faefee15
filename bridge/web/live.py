"""The live link: each open page is sent what changed since what it was sent last, and nothing else.

Newest wins here too. A websocket ping follows each message, and the next message waits for its pong, so a
slow reader has one message on its way and never a queue: what it gets next is made at that moment.
Every websocket client answers a ping by itself (RFC 6455, section 5.5.2). While nothing changes, the same
ping at long intervals tells whether the other end is still there.
"""

from __future__ import annotations

import asyncio
import json
from typing import TYPE_CHECKING, Any, Final

from aiohttp import WSCloseCode, WSMsgType, web

if TYPE_CHECKING:
    from collections.abc import Callable

    from bridge.web.view import View

INTERVAL: Final = 0.05  # seconds between two messages to one page: at most 20 a second
HEARTBEAT: Final = 15.0  # seconds of silence after which the other end is asked whether it is there
PATIENCE: Final = 10.0  # seconds that it has for taking a message and answering
FAREWELL: Final = 0.2  # seconds that it has for saying goodbye when the bridge stops

ASKED: Final = "there?"
"""What a page sends to learn whether the link still stands: its scripts cannot see a websocket ping."""

_HERE: Final = '{"here":true}'
_BY_NAME: Final = ("frames", "devices", "nodes", "chains")


def difference(old: dict[str, Any], new: dict[str, Any]) -> dict[str, Any]:
    """Return what of picture `new` is not in `old`; an entry that is gone is given as None."""
    changed: dict[str, Any] = {}
    for key, value in new.items():
        if key in old and old[key] == value:
            continue
        before = old.get(key)
        if key in _BY_NAME and before is not None:
            entries = {
                name: entry for name, entry in value.items() if name not in before or before[name] != entry
            }
            entries.update((name, None) for name in before if name not in value)
            changed[key] = entries
        else:
            changed[key] = value
    return changed


class Live:
    """All open pages. The view is watched only while there is one, and read once for all of them."""

    def __init__(self, view: View) -> None:
        self._view = view
        self._readers: set[_Reader] = set()
        self._unwatch: Callable[[], None] | None = None
        self._picture: dict[str, Any] | None = None

    async def serve(self, request: web.Request) -> web.WebSocketResponse:
        """Serve one page until it leaves."""
        socket = web.WebSocketResponse(autoping=False, timeout=FAREWELL, max_msg_size=1024, compress=False)
        await socket.prepare(request)
        reader = _Reader(socket, request.transport)
        self._readers.add(reader)
        if self._unwatch is None:
            self._unwatch = self._view.watch(self._changed)
        try:
            async with asyncio.TaskGroup() as group:
                feeding = group.create_task(self._feed(reader), name="feed of one page")
                await reader.listen()
                feeding.cancel()
        finally:
            self._readers.discard(reader)
            if not self._readers:
                self._unwatch()
                self._unwatch = self._picture = None
        return socket

    async def stop(self) -> None:
        """Say goodbye to every page, and wait for none longer than a moment."""
        leaving = [
            asyncio.create_task(reader.leave(), name="goodbye to one page") for reader in self._readers
        ]
        if leaving:
            await asyncio.wait(leaving)

    def _changed(self) -> None:
        self._picture = None
        for reader in self._readers:
            reader.pending.set()

    def _newest(self) -> dict[str, Any]:
        if self._picture is None:
            self._picture = self._view.picture()
        return self._picture

    async def _feed(self, reader: _Reader) -> None:
        clock = asyncio.get_running_loop().time
        reader.noted = max((note["number"] for note in self._view.notes(0)), default=0)
        reader.pending.set()
        try:
            while True:
                due = await reader.due()
                news = self._news(reader) if due else []
                if due and not news:
                    continue
                next_at = clock() + INTERVAL
                await reader.send(news)
                await asyncio.sleep(next_at - clock())
        except (TimeoutError, ConnectionError):
            reader.drop()

    def _news(self, reader: _Reader) -> list[dict[str, Any]]:
        """Return what to send to this page now, and count it as sent."""
        news: list[dict[str, Any]] = []
        if reader.layout != self._view.description_number:
            reader.layout, reader.sent = self._view.description_number, {}
            news.append({"layout": self._view.description()})
        change: dict[str, Any] = {}
        if now := difference(reader.sent, self._newest()):
            change["now"], reader.sent = now, self._newest()
        if notes := self._view.notes(reader.noted):
            change["notes"], reader.noted = notes, notes[-1]["number"]
        return [*news, change] if change else news


class _Reader:
    """One open page: its websocket, what it was sent last, and whether something changed since."""

    def __init__(self, socket: web.WebSocketResponse, transport: asyncio.Transport | None) -> None:
        self._socket = socket
        self._transport = transport
        self.layout: int | None = None
        self.sent: dict[str, Any] = {}
        self.noted = 0
        self.pending = asyncio.Event()
        self._taken = asyncio.Event()
        self._ping = 0

    async def due(self) -> bool:
        """Wait until something changed (True) or it is time to ask whether anybody is there (False)."""
        try:
            async with asyncio.timeout(HEARTBEAT):
                await self.pending.wait()
        except TimeoutError:
            return False
        self.pending.clear()
        return True

    async def send(self, parts: list[dict[str, Any]]) -> None:
        """Send each part and wait until all were taken.

        Raises:
            TimeoutError: nobody answers.
            ConnectionError: the link is closed.
        """
        self._taken.clear()
        self._ping += 1
        async with asyncio.timeout(PATIENCE):
            for part in parts:
                await self._socket.send_str(json.dumps(part, separators=(",", ":")))
            await self._socket.ping(b"%d" % self._ping)
            await self._taken.wait()

    async def listen(self) -> None:
        """Take what the page says until it leaves."""
        async for message in self._socket:
            try:
                if message.type is WSMsgType.PONG and bytes(message.data) == b"%d" % self._ping:
                    self._taken.set()
                elif message.type is WSMsgType.PING:
                    await self._socket.pong(message.data)
                elif message.type is WSMsgType.TEXT and message.data == ASKED:
                    await self._socket.send_str(_HERE)
            except ConnectionError:
                return

    async def leave(self) -> None:
        """Close politely, or at once if the other end does not take part."""
        try:
            async with asyncio.timeout(FAREWELL):
                await self._socket.close(code=WSCloseCode.GOING_AWAY, message=b"lamproom stops", drain=False)
        except TimeoutError:
            self.drop()

    def drop(self) -> None:
        """Cut the link."""
        if self._transport is not None:
            self._transport.abort()
