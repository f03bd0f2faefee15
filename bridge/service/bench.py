"""A place at the bench: one client of a bridge's lamp test, with whoever sits at the terminal.

What is tried is the affair of `lamps` (the lamp test) and of `showing` (one picture after the other, with a question
about each); which bridge does it, that of `lending`.
"""

from __future__ import annotations

import asyncio
import secrets
import signal
import sys
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final, TextIO

from adapters.contract import Raw
from bridge.errors import LamproomError, LinkError
from bridge.events import LinkState
from bridge.service.broker import BrokerAddress
from bridge.service.lamp_tests import SUBJECT
from bridge.service.term import BRIDGE_FILTER, BRIDGE_TOPIC
from bridge.service.visitor import Visitor, json_object

ANSWER_WITHIN: Final = 5.0
"""Seconds that a bridge has to answer."""

MOST_EARLY: Final = 100
"""Answers that are read before they are asked for: whoever pipes in more has the rest wait."""

LONGEST_ANSWER: Final = 1000
"""Characters of an answer; the rest of a longer line is passed over."""

OWN_NAME: Final = "lamps"
"""What our own bridge is called on the broker, where none runs."""

YES: Final = frozenset({"y", "yes"})
NO: Final = frozenset({"n", "no"})
LEAVE: Final = frozenset({"q", "end"})


@dataclass(frozen=True, slots=True)
class Told:
    """What a bridge says of its lamp test."""

    state: str
    reason: str
    more: dict[str, Any]

    @property
    def warning(self) -> str:
        """What will become of the signals of the chain that is to be confirmed."""
        signals = self.more["signals"]
        what = f"{signals} will show false aspects" if signals else "no signal is concerned"
        return f"{self.more['chain']}: {what}, for up to {self.more['seconds']} s."


@dataclass(frozen=True, slots=True)
class Line:
    """A line from the terminal; None at its end."""

    text: str | None


@dataclass(frozen=True, slots=True)
class Stop:
    """Whoever sits there wants to leave (`why` empty), or it cannot go on."""

    why: str = ""


class Bench:
    """One client of a bridge's lamp test, with whoever sits at the terminal.

    Attributes:
        bridge: the name of the bridge, once `find` has found one.
        mark: of the test that we asked for and that is not over; empty where there is none.
        ended: there are no more lines to come.

    Args:
        place: the broker.
        layout: name of the layout.
        root: the topic below which its bridge listens.
        say: prints a line.
        lines: where answers come from.
    """

    def __init__(
        self,
        place: BrokerAddress,
        layout: str,
        root: str,
        say: Callable[[str], None],
        lines: TextIO = sys.stdin,
    ) -> None:
        self._place = place
        self._layout = layout
        self._root = root
        self._say = say
        self._stdin = lines
        self._visitor = Visitor(place, "lamps")
        self._link = self._visitor.link
        self._bridges: dict[str, bool] = {}  # those of this layout, and whether they are up
        self.bridge = ""
        self._inbox: asyncio.Queue[Told | Line | Stop] = asyncio.Queue()
        self._early: deque[Line] = deque()  # answers that were typed before they were asked for
        self._room = threading.Semaphore(MOST_EARLY)
        self._reading = False
        self.ended = False
        self.mark = ""
        self._heard = asyncio.Event()
        self._listens = asyncio.Event()  # the bridge that we ask has said how its lamp test stands

    async def open(self) -> None:
        """Connect.

        Raises:
            LinkError: the broker cannot be reached in time.
        """
        loop = asyncio.get_running_loop()
        for number in (signal.SIGINT, signal.SIGTERM):
            loop.add_signal_handler(number, self._inbox.put_nowait, Stop())
        self._link.subscribe(BRIDGE_FILTER, self._bridge_said)
        self._link.subscribe(f"lamproom/{SUBJECT}/+", self._test_said)
        self._link.watch(self._link_changed)
        await self._visitor.enter()

    async def close(self) -> None:
        """End our test, if one is left, and say goodbye."""
        if self.mark:
            self._link.publish(f"{self._root}/lamp-test/end", self.mark.encode())
        await self._visitor.leave()

    async def find(self, within: float) -> bool:
        """Wait until a bridge of this layout is heard of, and return whether one is there."""
        try:
            async with asyncio.timeout(within):
                while not any(self._bridges.values()):
                    self._heard.clear()
                    await self._heard.wait()
        except TimeoutError:
            return False
        self.bridge = min(name for name, up in self._bridges.items() if up)
        return True

    async def find_own(self, within: float) -> bool:
        """Wait until our own bridge listens, and return whether it does.

        That it is up it says first, and then it may connect once more. What it says of its lamp test comes last.
        """
        self.bridge = OWN_NAME
        try:
            async with asyncio.timeout(within):
                await self._listens.wait()
        except TimeoutError:
            return False
        return True

    async def question(self, text: str) -> str | None:
        """Ask, and return the answer; None at the end of all answers, or where whoever sits there leaves."""
        self._say(text)
        while True:
            came = await self.next(lines=True)
            if isinstance(came, Line):
                return None if came.text is None else came.text.strip()
            if isinstance(came, Stop):
                self.look_at(came)
                return None

    async def agrees(self, text: str) -> bool:
        """Ask for a yes or a no, until it is one of them; the end of all answers is a no."""
        said = await self.question(f"{text} y or n")
        while said is not None:
            word = said.lower()
            if word in YES or word in NO | LEAVE:
                return word in YES
            said = await self.question("y is yes, n is no")
        return False

    # ---- the lamp test of a bridge -------------------------------------------------------------------------

    def begin(self, what: str, payload: str) -> str:
        """Ask for a test, and return the mark that it goes by.

        Args:
            what: way and area.
            payload: what stands before the mark.

        Raises:
            LinkError: the link to the broker is lost.
        """
        self.mark = secrets.token_hex(3)
        self.publish(what, f"{payload} {self.mark}")
        return self.mark

    def is_ours(self, told: Told) -> bool:
        """Return whether this is about our test.

        Raises:
            LamproomError: it says that our test was refused.
        """
        if told.more.get("refused-mark") == self.mark:
            self.mark = ""
            raise LamproomError(f"the bridge {self.bridge} refused: {told.more.get('refused')}")
        return told.more.get("mark") == self.mark

    async def until_off(self, mark: str) -> None:
        """Wait until the bridge has given the lamps back, and not for ever."""
        loop = asyncio.get_running_loop()
        until = loop.time() + ANSWER_WITHIN
        while (left := until - loop.time()) > 0:
            came = await self.next(lines=False, within=left)
            if isinstance(came, Told) and came.state == "off" and came.more.get("mark") == mark:
                self.mark = ""
                self._say(came.reason)
                return
            if isinstance(came, Stop):
                self.look_at(came)
        self._say(f"the bridge {self.bridge} did not say that it has ended: its own time limit ends it")

    def publish(self, topic: str, payload: str) -> None:
        """Publish below the topic of lamp tests.

        Raises:
            LinkError: the link to the broker is lost.
        """
        if not self._link.publish(f"{self._root}/lamp-test/{topic}", payload.encode()):
            raise LinkError(f"the link to the broker at {self._place} is lost", peer=str(self._place))

    def silent(self) -> LinkError:
        """Return what is raised where the bridge does not answer."""
        where = f"{self._root}/lamp-test"
        return LinkError(f"the bridge {self.bridge} does not answer on {where}", peer=self.bridge)

    def look_at(self, stop: Stop) -> None:
        """Raise what keeps it from going on; whoever sits there and wants to leave is no error.

        Raises:
            LinkError: the bridge or the broker is gone.
        """
        if stop.why:
            raise LinkError(stop.why, peer=self.bridge)

    # ---- what comes in -------------------------------------------------------------------------------------

    async def next(self, *, lines: bool, within: float | None = None) -> Told | Line | Stop | None:
        """Return what comes next, None if nothing came in time; a line only where one is wanted."""
        if lines:
            self._read_lines()
            if self._early:
                return self._taken(self._early.popleft())
            if self.ended:
                return Line(None)
        try:
            async with asyncio.timeout(within):
                while True:
                    came = await self._inbox.get()
                    if not isinstance(came, Line):
                        return came
                    self.ended |= came.text is None
                    if lines:
                        return self._taken(came)
                    if came.text is not None:
                        self._early.append(came)
        except TimeoutError:
            return None

    def _taken(self, line: Line) -> Line:
        """Return a line, and let another be read."""
        self._room.release()
        return line

    def _read_lines(self) -> None:
        """Begin to read the terminal, in a thread that nobody waits for: it may sit there for ever."""
        if self._reading:
            return
        self._reading = True
        loop = asyncio.get_running_loop()

        def put(line: Line) -> None:
            if not loop.is_closed():
                loop.call_soon_threadsafe(self._inbox.put_nowait, line)

        def read() -> None:
            while True:
                self._room.acquire()
                line = answer = self._stdin.readline(LONGEST_ANSWER)
                while line and not line.endswith("\n"):
                    line = self._stdin.readline(LONGEST_ANSWER)
                put(Line(answer or None))
                if not answer:
                    return

        threading.Thread(target=read, daemon=True, name="lines").start()

    def _bridge_said(self, raw: Raw) -> None:
        said = json_object(raw.payload)
        if said is None or said.get("layout") != self._layout:
            return
        name = raw.channel.removeprefix(BRIDGE_TOPIC)
        self._bridges[name] = said.get("state") == "up"
        if name == self.bridge and not self._bridges[name]:
            self._inbox.put_nowait(Stop(f"the bridge {name} has ended, and with it the lamp test"))
        self._heard.set()

    def _test_said(self, raw: Raw) -> None:
        said = json_object(raw.payload)
        if (
            not self.bridge
            or raw.channel != f"lamproom/{SUBJECT}/{self.bridge}"
            or raw.retained
            or said is None
        ):
            return
        self._listens.set()
        self._inbox.put_nowait(Told(str(said.get("state")), str(said.get("reason")), said))

    def _link_changed(self, state: LinkState) -> None:
        if state is not LinkState.UP and self._visitor.entered:
            self._inbox.put_nowait(Stop(f"the link to the broker at {self._place} is lost"))
