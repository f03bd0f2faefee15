"""A page that is served, and the view that it shows."""

from __future__ import annotations

from typing import TYPE_CHECKING

import aiohttp
import pytest

from bridge.web.server import Page
from tests.bridge.web.memory_view import MemoryView

if TYPE_CHECKING:
    from collections.abc import AsyncIterator


@pytest.fixture
def view() -> MemoryView:
    return MemoryView()


@pytest.fixture
async def address(view: MemoryView) -> AsyncIterator[str]:
    """The address of a page on a free port, ending with a slash."""
    page = Page(view)
    yield await page.start()
    await page.stop()


@pytest.fixture
async def session() -> AsyncIterator[aiohttp.ClientSession]:
    async with aiohttp.ClientSession() as session:
        yield session
