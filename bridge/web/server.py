"""The page's server: its own files, the present state as JSON, the live link, and requests to sources."""

from __future__ import annotations

import asyncio
import errno
import json
from importlib.resources import files
from ipaddress import ip_address
from typing import TYPE_CHECKING, Any, Final, cast

from aiohttp import web

from bridge.errors import LinkError
from bridge.web.connections import IDLE, LOG, Connections
from bridge.web.guard import HEADERS, refusal
from bridge.web.live import Live

if TYPE_CHECKING:
    from bridge.web.view import View

_TYPES: Final = {".html": "text/html", ".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}
_LARGEST_BODY: Final = 4096  # bytes of a request; an event has some 60
_BODY_WITHIN: Final = 5.0  # seconds that it may take to come
_LARGEST_NOTE: Final = 2**63 - 1


class Page:
    """One page for one bridge.

    It reads from the view, and hands it requests to those sources that take them. Its files are read once, here, so a
    request can never name a path.
    """

    def __init__(self, view: View, *, host: str = "127.0.0.1", port: int = 0) -> None:
        self._view = view
        self._host = host
        self._port = port
        self._live = Live(view)
        self._files = _static_files()
        self._runner: web.AppRunner | None = None
        self._connections: asyncio.Server | None = None

    async def start(self) -> str:
        """Open the page and return its address; with port 0 the system chooses a free one.

        Raises:
            LinkError: the address cannot be used.
        """
        app = web.Application(middlewares=[self._guard], client_max_size=_LARGEST_BODY)
        app.on_response_prepare.append(_add_headers)
        app.on_shutdown.append(self._say_goodbye)
        app.router.add_get("/api/layout", self._layout)
        app.router.add_get("/api/now", self._now)
        app.router.add_get("/api/notes", self._notes)
        app.router.add_get("/api/live", self._live.serve)
        app.router.add_post(r"/api/events/{source}/{channel:[\s\S]+}", self._event)
        app.router.add_get("/{name:[^/]*}", self._file)
        # What unfolds may be a thousand times as large as what came, and an event needs no packing.
        runner = web.AppRunner(
            app,
            access_log=None,
            shutdown_timeout=0.1,
            keepalive_timeout=IDLE,
            logger=LOG,
            auto_decompress=False,
        )
        await runner.setup()
        server = cast("web.Server", runner.server)
        loop = asyncio.get_running_loop()
        try:
            connections = await loop.create_server(Connections(server), self._host, self._port)
        except OSError as error:
            await runner.cleanup()
            peer = f"{self._host}:{self._port}"
            hint = "; give it another port" if error.errno == errno.EADDRINUSE else ""
            raise LinkError(
                f"the page cannot be opened at {peer}: {error.strerror or error}{hint}", peer=peer
            ) from None
        self._runner, self._connections = runner, connections
        port = connections.sockets[0].getsockname()[1]
        return f"http://{_reachable(self._host)}:{port}/"

    async def stop(self) -> None:
        """Close the page and every live link; well under half a second, whoever is still reading."""
        if self._connections is not None:
            self._connections.close()
            self._connections = None
        if self._runner is not None:
            runner, self._runner = self._runner, None
            await runner.cleanup()

    @web.middleware
    async def _guard(self, request: web.Request, handler: Any) -> web.StreamResponse:
        origin = ", ".join(request.headers.getall("Origin", ())) if "Origin" in request.headers else None
        why = refusal(request.headers.get("Host"), origin, self._host)
        if why is not None:
            return web.Response(status=403, text=f"{why}\n")
        try:
            answer: web.StreamResponse = await handler(request)
        except web.HTTPNotFound:
            return web.Response(status=404, text="There is nothing here.\n")
        except web.HTTPMethodNotAllowed as error:
            allow = ", ".join(sorted(error.allowed_methods))
            told = (
                "An event is posted.\n"
                if error.allowed_methods == {"POST"}
                else "This page can only be read.\n"
            )
            return web.Response(status=405, text=told, headers={"Allow": allow})
        except web.HTTPRequestEntityTooLarge:
            return web.Response(status=413, text=f"An event has at most {_LARGEST_BODY} bytes.\n")
        return answer

    async def _file(self, request: web.Request) -> web.Response:
        try:
            body, kind = self._files[request.match_info["name"] or "index.html"]
        except KeyError:
            raise web.HTTPNotFound from None
        return web.Response(body=body, content_type=kind, charset="utf-8")

    async def _layout(self, _request: web.Request) -> web.Response:
        return _json(self._view.description())

    async def _now(self, _request: web.Request) -> web.Response:
        return _json(self._view.picture())

    async def _notes(self, request: web.Request) -> web.Response:
        text = request.query.get("after", "0")
        # isdecimal alone also takes the digits of other scripts, and int() a sign, spaces and underscores
        if not (text.isascii() and text.isdecimal() and len(text) < 20 and int(text) <= _LARGEST_NOTE):
            return _json(
                {"error": f"after={text[:40]!r} is not the number of a note: give 0 or more"}, status=400
            )
        return _json({"notes": self._view.notes(int(text))})

    async def _event(self, request: web.Request) -> web.Response:
        if request.headers.get("Content-Encoding", "identity") != "identity":
            return web.Response(status=415, text="An event is sent as it is, without Content-Encoding.\n")
        try:
            async with asyncio.timeout(_BODY_WITHIN):
                body = await request.read()
        except TimeoutError:
            return web.Response(status=408, text=f"The event did not come within {_BODY_WITHIN:.0f} s.\n")
        said = request.match_info
        answer = self._view.hand_in(said["source"], said["channel"], body)
        return _json(answer.said, status=answer.status)

    async def _say_goodbye(self, _app: web.Application) -> None:
        await self._live.stop()


def _static_files() -> dict[str, tuple[bytes, str]]:
    served: dict[str, tuple[bytes, str]] = {}
    for path in files("bridge.web").joinpath("static").iterdir():
        kind = _TYPES.get(path.name[path.name.rfind(".") :])
        if kind is not None:
            served[path.name] = (path.read_bytes(), kind)
    return served


def _json(data: dict[str, Any], *, status: int = 200) -> web.Response:
    text = json.dumps(data, separators=(",", ":"))
    return web.Response(status=status, text=text, content_type="application/json")


async def _add_headers(_request: web.Request, response: web.StreamResponse) -> None:
    response.headers.update(HEADERS)


def _reachable(host: str) -> str:
    """Return `host` as it stands in an address; for "every interface" that is this machine itself."""
    try:
        address = ip_address(host)
    except ValueError:
        return host
    if address.is_unspecified:
        return "127.0.0.1" if address.version == 4 else "[::1]"
    return host if address.version == 4 else f"[{host}]"
