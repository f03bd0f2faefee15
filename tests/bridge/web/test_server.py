"""The server: files, present state, refusals, starting and stopping."""

from __future__ import annotations

import asyncio
import json
import socket
from typing import TYPE_CHECKING

import pytest

from bridge.errors import LinkError
from bridge.service.doors import Answer
from bridge.web.server import Page

if TYPE_CHECKING:
    import aiohttp

    from tests.bridge.web.memory_view import MemoryView

FILES = {
    "": "text/html",
    "index.html": "text/html",
    "app.js": "text/javascript",
    "style.css": "text/css",
    "chains.css": "text/css",
    "mark.svg": "image/svg+xml",
}


@pytest.mark.parametrize("name", [*FILES, "api/now", "api/nothing"])
async def test_every_answer_carries_the_strict_headers(
    address: str, session: aiohttp.ClientSession, name: str
) -> None:
    """Whatever is answered, nothing from elsewhere may be loaded into it and nothing is kept."""
    async with session.get(address + name) as answer:
        assert answer.headers["Content-Security-Policy"].startswith("default-src 'self';")
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize(("name", "kind"), FILES.items())
async def test_serves_its_files(address: str, session: aiohttp.ClientSession, name: str, kind: str) -> None:
    """Each file comes with its own type: the browser is told not to guess."""
    async with session.get(address + name) as answer:
        assert (answer.status, answer.content_type) == (200, kind)


async def test_loads_nothing_from_a_remote_host(address: str, session: aiohttp.ClientSession) -> None:
    """The page works where there is no internet: no file names another host, but for XML's own namespace."""
    names = ["index.html", "app.js", "chains.js", "devices.js", "dom.js", "health.js", "light.js", "link.js"]
    for name in [*names, "mast.js", "notes.js", "style.css", "mark.svg"]:
        async with session.get(address + name) as answer:
            assert answer.status == 200
            text = (await answer.text()).replace("http://www.w3.org/2000/svg", "")
        assert "//" not in "".join(line for line in text.splitlines() if "http" in line), name


@pytest.mark.parametrize(
    "path",
    ["nothing", "api", "api/", "static/app.js", "..%2fserver.py", "%2e%2e/server.py", "app.js/", "server.py"],
)
async def test_an_unknown_path_is_a_short_plain_404(
    address: str, session: aiohttp.ClientSession, path: str
) -> None:
    """A path is looked up among the page's own files and is never a path on the disk."""
    async with session.get(address + path) as answer:
        assert (404, "text/plain") == (answer.status, answer.content_type)
        assert await answer.text() == "There is nothing here.\n"


async def test_nothing_can_be_written(address: str, session: aiohttp.ClientSession) -> None:
    """The page only reads."""
    async with session.post(address + "api/now", data=b"x") as answer:
        assert answer.status == 405
        assert answer.headers["Allow"] == "GET, HEAD"


async def test_the_present_state_is_plain_json(
    address: str, session: aiohttp.ClientSession, view: MemoryView
) -> None:
    """A script may read what the page reads."""
    async with session.get(address + "api/layout") as answer:
        assert view.described == await answer.json()
    async with session.get(address + "api/now") as answer:
        assert view.state == await answer.json()


async def test_an_event_is_posted_to_a_source(
    address: str, session: aiohttp.ClientSession, view: MemoryView
) -> None:
    """Source and channel come from the path, undone of its escapes; the answer is what became of it."""
    view.answer = Answer(422, {"refused": "no"})
    async with session.post(address + "api/events/phone/button/bell%20tower", data=b"pressed") as answer:
        assert (422, {"refused": "no"}) == (answer.status, await answer.json())
    assert [("phone", "button/bell tower", b"pressed")] == view.requests


async def test_an_event_is_not_read_and_has_an_end(
    address: str, session: aiohttp.ClientSession, view: MemoryView
) -> None:
    """A visit changes nothing, and nobody fills the memory."""
    async with session.get(address + "api/events/phone/button/bell") as answer:
        assert (405, "POST", "An event is posted.\n") == (
            answer.status,
            answer.headers["Allow"],
            await answer.text(),
        )
    async with session.post(address + "api/events/phone/button/bell", data=b"x" * 5000) as answer:
        assert (413, "An event has at most 4096 bytes.\n") == (answer.status, await answer.text())
    assert [] == view.requests


@pytest.mark.parametrize(
    "headers", [{"Host": "elsewhere.example"}, {"Origin": "http://elsewhere.example"}, {"Origin": "null"}]
)
async def test_a_stranger_posts_no_event(
    address: str, session: aiohttp.ClientSession, view: MemoryView, headers: dict[str, str]
) -> None:
    """A browser says where each POST comes from (Fetch standard, "append a request Origin header")."""
    async with session.post(
        address + "api/events/phone/button/bell", data=b"pressed", headers=headers
    ) as answer:
        assert 403 == answer.status
    assert [] == view.requests


async def test_notes_come_after_a_number(
    address: str, session: aiohttp.ClientSession, view: MemoryView
) -> None:
    """Only newer notes are given; without a number, all."""
    view.note("info", "first")
    view.note("error", "second")
    async with session.get(address + "api/notes?after=1") as answer:
        assert {"notes": [view.noted[1]]} == await answer.json()
    async with session.get(address + "api/notes") as answer:
        assert {"notes": view.noted} == await answer.json()


@pytest.mark.parametrize("after", ["", "x", "-1", "+1", "1.5", "1_0", "٣", "%201", "9" * 19, "9" * 5000])
async def test_a_bad_note_number_is_refused_in_words(
    address: str, session: aiohttp.ClientSession, after: str
) -> None:
    """The answer is 400 and says what was given and what is wanted."""
    async with session.get(f"{address}api/notes?after={after}") as answer:
        assert answer.status == 400
        assert "is not the number of a note: give 0 or more" in (await answer.json())["error"]


@pytest.mark.parametrize(
    "headers", [{"Host": "elsewhere.example"}, {"Origin": "http://elsewhere.example"}, {"Origin": "null"}]
)
@pytest.mark.parametrize("path", ["", "app.js", "api/now", "api/live", "nothing"])
async def test_strangers_are_refused_everywhere(
    address: str, session: aiohttp.ClientSession, headers: dict[str, str], path: str
) -> None:
    """A web site that the reader visits elsewhere gets neither files nor state nor the live link."""
    upgrade = {"Connection": "Upgrade", "Upgrade": "websocket", "Sec-WebSocket-Version": "13"}
    upgrade["Sec-WebSocket-Key"] = "dGhlIHNhbXBsZSBub25jZQ=="
    async with session.get(
        address + path, headers=headers | (upgrade if path == "api/live" else {})
    ) as answer:
        assert (403, "text/plain") == (answer.status, answer.content_type)


async def test_a_port_in_use_is_said_in_one_message(view: MemoryView) -> None:
    """The owner learns which address was refused and what to do."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(
            LinkError, match=f"cannot be opened at 127.0.0.1:{port}: .*give it another port"
        ) as caught:
            await Page(view, port=port).start()
    assert caught.value.peer == f"127.0.0.1:{port}"


@pytest.mark.parametrize(
    ("host", "begins"),
    [
        ("127.0.0.1", "http://127.0.0.1:"),
        ("0.0.0.0", "http://127.0.0.1:"),  # noqa: S104 - serving every interface is what is tried
        ("localhost", "http://localhost:"),
    ],
)
async def test_the_address_can_be_opened(
    view: MemoryView, session: aiohttp.ClientSession, host: str, begins: str
) -> None:
    """What `start` returns is what a person can type, also when every interface is served."""
    page = Page(view, host=host)
    address = await page.start()
    async with session.get(address) as answer:
        assert answer.status == 200
    await page.stop()
    assert begins == address[: len(begins)]


@pytest.mark.parametrize("reading", [True, False])
async def test_stops_at_once_with_open_links(
    view: MemoryView, session: aiohttp.ClientSession, *, reading: bool
) -> None:
    """Stopping takes less than half a second, with readers that take part and with one that is hung."""
    page = Page(view)
    address = await page.start()
    links = [await session.ws_connect(address + "api/live") for _ in range(3)]
    for link in links:
        assert "layout" in json.loads(await link.receive_str(timeout=5))
    readers = [asyncio.create_task(link.receive()) for link in links] if reading else []
    loop = asyncio.get_running_loop()
    begun = loop.time()
    await page.stop()
    assert 0.5 > loop.time() - begun
    assert [] == view.watchers
    await asyncio.gather(*readers)
    for link in links:
        await link.close()


async def test_stopping_twice_or_before_starting_is_no_error(view: MemoryView) -> None:
    """A service that failed half-way stops everything it has."""
    page = Page(view)
    await page.stop()
    await page.start()
    await page.stop()
    await page.stop()
