"""A real Chromium before a real page, for tests that look at what a person sees."""

from __future__ import annotations

import asyncio
import threading
import time
from typing import TYPE_CHECKING, Any

from selenium.webdriver import Chrome, ChromeOptions, ChromeService

from bridge.web.server import Page
from tests.bridge.web.memory_view import MemoryView

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
)


def open_chromium(profile: Path, *, width: int = 1280, height: int = 1400) -> Chrome:
    """Start Debian's Chromium with a fresh profile; that it is missing is a failure."""
    options = ChromeOptions()
    options.binary_location = "/usr/bin/chromium"
    for flag in (*FLAGS, f"--user-data-dir={profile}", f"--window-size={width},{height}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    return Chrome(options=options, service=ChromeService("/usr/bin/chromedriver"))


class ServedPage:
    """A page on a loop in a thread of its own, because a browser driver blocks the thread it is used in."""

    def __init__(self) -> None:
        self.view = MemoryView()
        self.address = ""
        self._page: Page | None = None
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, name="page under test")
        self._thread.start()

    def start(self) -> str:
        """Serve the view; a second time at the same address."""
        port = int(self.address.rstrip("/").rsplit(":", 1)[1]) if self.address else 0
        self._page = Page(self.view, port=port)
        self.address = self._wait(self._page.start())
        return self.address

    def stop(self) -> None:
        """End the server and cut its links."""
        if self._page is not None:
            self._wait(self._page.stop())
            self._page = None

    def close(self) -> None:
        """End everything."""
        self.stop()
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join()
        self._loop.close()

    def do(self, change: Callable[[], None]) -> None:
        """Run `change` on the loop, where a view is used, and wait until it is done."""

        async def run() -> None:
            change()

        self._wait(run())

    def freeze(self) -> threading.Event:
        """Stop the loop until the returned event is set: a link that stands and is mute."""
        thaw = threading.Event()
        self._loop.call_soon_threadsafe(thaw.wait)
        return thaw

    def _wait(self, work: Any) -> Any:
        return asyncio.run_coroutine_threadsafe(work, self._loop).result(10)


def until(condition: Callable[[], Any], *, within: float = 10.0) -> Any:
    """Return the first true value of `condition`, or fail when it did not come in time (seconds)."""
    deadline = time.monotonic() + within
    while True:
        value = condition()
        if value:
            return value
        assert time.monotonic() < deadline, "it did not come true in time"
        time.sleep(0.02)
