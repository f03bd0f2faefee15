"""Put one bridge together, run it, and take it apart again."""

from __future__ import annotations

import asyncio
import gc
import os
import signal
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from random import Random
from typing import Final, Protocol, TypeAlias

from bridge.engine import Engine
from bridge.layout import Layout
from bridge.record.store import SESSIONS, tidy
from bridge.record.writer import SessionLog, make_header
from bridge.service.address import Address, password_path, read_password
from bridge.service.boards import Boards
from bridge.service.broker import BrokerAddress, BrokerLink
from bridge.service.drops import Drops
from bridge.service.files import LayoutFile
from bridge.service.memory import Memory
from bridge.service.notes import Notes
from bridge.service.plugins import Adapters
from bridge.service.runner import STOP_WITHIN, Runner
from bridge.service.screen import Screen
from bridge.service.state import StateFile, default_state_directory
from bridge.service.status import Status
from bridge.service.term import Term

TIDY_EVERY: Final = 60.0
"""Seconds between two looks at how much room the session logs take."""


class OpenPage(Protocol):
    """The page, as far as whoever opens and closes it knows it."""

    async def start(self) -> str:
        """Open it and return its address."""
        ...

    async def stop(self) -> None:
        """Close it."""
        ...


MakePage: TypeAlias = Callable[[Screen, str, int], OpenPage]
"""Makes a page for a view at a host and port. The page's room stands behind this one, so it is handed in."""


@dataclass(frozen=True, slots=True)
class Settings:
    """What a run is told from outside the layout file."""

    looked: LayoutFile
    layout: Layout
    broker: BrokerAddress | None
    state: Path | None
    page: Address | None
    name: str = "main"
    number: int = 0


class Bridge:
    """One running bridge with its page.

    Attributes:
        page: address of the page, or None.
        log: path of the session log.
    """

    def __init__(self, settings: Settings, adapters: Adapters) -> None:
        layout = settings.layout
        self.notes = Notes()
        self.page: str | None = None
        directory = settings.state or default_state_directory()
        state = StateFile(directory)
        place = broker_place(layout, settings.looked.name, settings.broker)
        self.link = BrokerLink(
            place,
            client_id=f"lamproom-{settings.name}",
            notes=self.notes.say,
            random=Random(),  # noqa: S311 - for the jitter of reconnecting
        )
        term = Term(self.link, state, name=settings.name, number=settings.number)
        status = Status(self.link, term, name=settings.name, layout=layout.name)
        log = _session_log(directory, settings)
        self.log = log.path
        engine = Engine(layout)
        self.runner = Runner(engine, self.link, term, status, log, self.notes)
        self.runner.boards = Boards(state, self.notes)
        Drops(self.link, self.notes, lambda count: self.runner.tally.counts.update(dropped=count))
        self._memory = Memory(state, engine, instant=self.runner.now)
        self._room = layout.keeping.room
        self._keepers: list[asyncio.Task[None]] = []
        self._stopping = False
        self.screen = Screen(self.runner, self.notes, bridge=settings.name, broker=str(place))
        self.runner.furnish(adapters, state.identity())
        self._page_address = settings.page
        self._page: OpenPage | None = None

    async def start(self, make_page: MakePage | None = None) -> None:
        """Open the page, show the first picture, and begin to connect.

        Raises:
            LinkError: the page cannot be opened.
        """
        if self._page_address is not None and make_page is not None:
            self._page = make_page(self.screen, self._page_address.host, self._page_address.port)
            self.page = await self._page.start()
            self.runner.doors.page = self.page
        locks, dropped = self._memory.locks(0)
        for words in dropped:
            self.notes.say(words, "warning")
        await self.runner.start(locks)
        for event in self._memory.recall(0):
            self.runner.tell_again(event)
        self.runner.decided = self._memory.look
        self._keepers = [
            asyncio.create_task(self._memory.keep(), name="orders"),
            asyncio.create_task(self._keep_room(), name="room for logs"),
        ]
        await self.link.start()
        gc.freeze()  # what was built at the start stays: the collector need not look at it again

    async def stop(self) -> None:
        """Send the last frames, say goodbye, close everything."""
        self._stopping = True
        for keeper in self._keepers:
            keeper.cancel()
        if self._keepers:
            await asyncio.to_thread(self._memory.save)
        await self.runner.stop()
        if self._keepers:  # a route may have been locked while the file was written
            await asyncio.to_thread(self._memory.save)
        await self.link.stop()
        if self._page is not None:
            await self._page.stop()

    async def _keep_room(self) -> None:
        def go_on() -> bool:  # a thread cannot be cancelled, and packing a long log takes many seconds
            return not self._stopping

        while True:
            for words in await asyncio.to_thread(tidy, self.log.parent, self._room, go_on):
                self.notes.once(words, words, "warning")
            await asyncio.sleep(TIDY_EVERY)


def _session_log(directory: Path, settings: Settings) -> SessionLog:
    started = datetime.now(UTC)
    path = directory / SESSIONS / f"{started:%Y-%m-%dT%H-%M-%S-%f}Z.jsonl"
    looked = settings.looked
    header = make_header(settings.layout, looked.text, file=looked.name, started=started.isoformat())
    return SessionLog(path, header, settings.layout)


def broker_place(layout: Layout, file: str, broker: BrokerAddress | None) -> BrokerAddress:
    """Return where the broker is, and who we are there.

    Args:
        layout: says so.
        file: where it was read from: a password stands in a file beside it.
        broker: another address than it says.
    """
    said = layout.broker
    where = broker or BrokerAddress(said.host, said.port)
    password = None
    if said.password_file:
        password = read_password(password_path(file, said.password_file))
    return BrokerAddress(where.host, where.port, said.user or None, password)


async def run_until_stopped(
    settings: Settings,
    adapters: Adapters,
    *,
    make_page: MakePage,
    ready: Callable[[str | None, Path], None],
) -> None:
    """Run a bridge until SIGINT or SIGTERM."""
    stopped = stop_signal()  # before anything is said: whoever reads it may end us at once
    bridge = Bridge(settings, adapters)
    try:
        await bridge.start(make_page)
        ready(bridge.page, bridge.log)
        await stopped.wait()
    finally:
        await bridge.stop()
        await _end_the_rest(bridge.notes)


async def _end_the_rest(notes: Notes) -> None:
    """Cancel what still runs, and end the process if something will not end: nobody waits for it."""
    rest = asyncio.all_tasks() - {asyncio.current_task()}
    for task in rest:
        task.cancel()
    stubborn = (await asyncio.wait(rest, timeout=STOP_WITHIN))[1] if rest else set()
    if stubborn:
        names = ", ".join(sorted(task.get_name() for task in stubborn))
        notes.say(f"{names} will not end, and the bridge ends without it", "error")
        sys.stderr.flush()
        os._exit(0)  # the loop would wait for it for ever


def stop_signal() -> asyncio.Event:
    """Return an event that is set by SIGINT or SIGTERM."""
    stopped = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stopped.set)
    return stopped
