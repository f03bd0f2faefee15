"""The live link: whole first, then only what changed; newest wins; idle is silent."""

from __future__ import annotations

import asyncio
import json
from typing import TYPE_CHECKING, Any

import pytest

from bridge.web.live import difference

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

    import aiohttp

    from tests.bridge.web.memory_view import MemoryView

    Link = aiohttp.ClientWebSocketResponse

THROAT = "tarn-yard/throat"


@pytest.fixture
async def link(address: str, session: aiohttp.ClientSession) -> AsyncIterator[Link]:
    async with session.ws_connect(address + "api/live") as link:
        yield link


async def take(link: Link) -> dict[str, Any]:
    message: dict[str, Any] = json.loads(await link.receive_str(timeout=5))
    return message


async def test_first_the_layout_then_the_whole_state(link: Link, view: MemoryView) -> None:
    """A page that has just been opened needs nothing but these two."""
    assert {"layout": view.described} == await take(link)
    assert {"now": view.state} == await take(link)


async def test_then_only_what_changed(link: Link, view: MemoryView) -> None:
    """A lamp that changes does not bring the rest of the layout along."""
    await take(link)
    await take(link)
    view.state["devices"]["T4"] = {"aspect": "approach", "reason": "accessory 62", "since": "15:40:00"}
    view.state["counts"]["events"] = 13
    view.frame(THROAT, b5=255)
    assert {
        "now": {
            "frames": {THROAT: view.state["frames"][THROAT]},
            "devices": {"T4": view.state["devices"]["T4"]},
            "counts": view.state["counts"],
        }
    } == await take(link)


async def test_notes_come_along(link: Link, view: MemoryView) -> None:
    """A new note is sent by itself, once."""
    await take(link)
    await take(link)
    view.note("warning", "first")
    assert {"notes": view.noted[:1]} == await take(link)
    view.note("error", "second")
    assert {"notes": view.noted[1:]} == await take(link)


async def test_a_new_layout_is_sent_whole(link: Link, view: MemoryView) -> None:
    """After another layout was loaded nothing of the old picture is relied on."""
    await take(link)
    await take(link)
    view.described["layout"] = "Fernhollow only"
    view.description_number += 1
    view.change()
    assert {"layout": view.described} == await take(link)
    assert {"now": view.state} == await take(link)


async def test_idle_is_silent(link: Link, view: MemoryView) -> None:
    """While nothing changes nothing is sent, and a watcher's false alarm sends nothing either."""
    await take(link)
    await take(link)
    view.change()
    with pytest.raises(TimeoutError):
        await link.receive_str(timeout=0.3)


async def test_a_page_that_asks_is_answered(link: Link) -> None:
    """A script cannot see a ping, so it asks in words; anything else that it says is passed over."""
    await take(link)
    await take(link)
    await link.send_str("nonsense")
    await link.send_str("there?")
    assert {"here": True} == await take(link)


async def test_at_most_twenty_messages_a_second(link: Link, view: MemoryView) -> None:
    """However often the layout changes, a page is told at most every 50 ms, and the last state arrives."""
    await take(link)
    await take(link)
    loop = asyncio.get_running_loop()
    begun = loop.time()
    received: list[dict[str, Any]] = []

    async def read() -> None:
        while not received or received[-1]["now"]["counts"]["changes"] != 300:
            received.append(await take(link))

    reading = asyncio.create_task(read())
    for change in range(1, 301):
        view.state["counts"]["changes"] = change
        view.change()
        await asyncio.sleep(0.001)
    await reading
    elapsed = loop.time() - begun
    assert 2 <= len(received) <= elapsed / 0.05 + 1


async def test_a_slow_reader_gets_the_newest_next(
    link: Link, view: MemoryView, address: str, session: Any
) -> None:
    """A page that reads nothing for a while has no queue waiting, only the newest state."""
    async with session.ws_connect(address + "api/live") as quick:
        await take(quick)
        await take(quick)
        for change in range(1, 6):  # the quick one shows that each of these went out while the slow one slept
            view.state["counts"]["changes"] = 1000 + change
            view.frame(THROAT, b0=change)
            assert 1000 + change == (await take(quick))["now"]["counts"]["changes"]
    assert "layout" in await take(link)
    assert "now" in await take(link)
    newest = await take(link)
    assert 1005 == newest["now"]["counts"]["changes"]
    assert view.state["frames"][THROAT] == newest["now"]["frames"][THROAT]


async def test_the_view_is_read_once_for_all_pages(
    address: str, session: aiohttp.ClientSession, view: MemoryView
) -> None:
    """Five open pages cost one reading of the state a change, and none is watched when the last has gone."""
    links = [await session.ws_connect(address + "api/live") for _ in range(5)]
    for link in links:
        await take(link)
        await take(link)
    before = view.pictures
    view.state["counts"]["changes"] += 1
    view.change()
    for link in links:
        assert "now" in await take(link)
    assert 1 == view.pictures - before
    assert 1 == len(view.watchers)
    for link in links:
        await link.close()
    async with asyncio.timeout(5):
        await view.unwatched.wait()
    assert [] == view.watchers


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ({}, {"clock": None, "nodes": {}}, {"clock": None, "nodes": {}}),
        ({"clock": "16:02"}, {"clock": None}, {"clock": None}),
        ({"nodes": {"a": 1, "b": 2}}, {"nodes": {"a": 1, "b": 3}}, {"nodes": {"b": 3}}),
        ({"nodes": {"a": 1, "b": 2}}, {"nodes": {"b": 2}}, {"nodes": {"a": None}}),
        ({"nodes": {"a": 1}}, {"nodes": {"a": 1}}, {}),
        (
            {"counts": {"events": 1, "frames": 2}},
            {"counts": {"events": 1, "frames": 3}},
            {"counts": {"events": 1, "frames": 3}},
        ),
    ],
)
def test_difference(old: dict[str, Any], new: dict[str, Any], expected: dict[str, Any]) -> None:
    """Entries by name are compared one by one; a figure that stands alone is given whole."""
    assert expected == difference(old, new)
