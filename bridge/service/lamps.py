"""The lamp test from a terminal: asks a running bridge for it by MQTT, or runs one for as long as it takes."""

from __future__ import annotations

import asyncio
import json
import secrets
import signal
import sys
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from random import Random
from typing import Any, Final, TextIO

from adapters.contract import Raw
from bridge.errors import LamproomError, LinkError
from bridge.events import LampTestWay, LinkState
from bridge.layout import Layout
from bridge.light.pictures import plan_devices
from bridge.service.app import Bridge, Settings, broker_place
from bridge.service.broker import BrokerAddress, BrokerLink
from bridge.service.lamp_tests import SUBJECT
from bridge.service.plugins import Adapters
from bridge.service.term import BRIDGE_FILTER, BRIDGE_TOPIC
from bridge.trial.areas import ALL, Areas

CONNECT_WITHIN: Final = 5.0
"""Seconds that the broker has to let us in."""

HEAR_WITHIN: Final = 1.0
"""Seconds in which a bridge that runs is heard of: what it said of itself is kept by the broker."""

ANSWER_WITHIN: Final = 5.0
"""Seconds that a bridge has to answer."""

OWN_NAME: Final = "lamps"
"""What our own bridge is called on the broker, where none runs."""

WAYS: Final = (LampTestWay.CHIPS, LampTestWay.CHANNELS, LampTestWay.TOGETHER, LampTestWay.BLINK)
"""What can be asked for from a terminal; pictures are for programs."""

CAUTIONS: Final = (
    "Take care: lamps go on and off, and signals show false aspects, on models only. Flashing light can harm people",
    "with photosensitive epilepsy: warn who is near. A chip that is fully lit draws the most it can, and a short",
    "circuit that was hidden shows now: fuse each feed, and switch off what smells or grows hot. Ctrl-C ends a test.",
)


@dataclass(frozen=True, slots=True)
class Wanted:
    """What was said on the command line; without `way` it is asked for, again and again."""

    way: LampTestWay | None
    area: str | None
    seconds: int
    yes: bool


@dataclass(frozen=True, slots=True)
class _Told:
    """What a bridge says of its lamp test."""

    state: str
    reason: str
    more: dict[str, Any]


@dataclass(frozen=True, slots=True)
class _Line:
    """A line from the terminal; None at its end."""

    text: str | None


@dataclass(frozen=True, slots=True)
class _Stop:
    """Whoever sits there wants to leave (`why` empty), or it cannot go on."""

    why: str = ""


async def run_lamps(
    settings: Settings, adapters: Adapters, wanted: Wanted, say: Callable[[str], None]
) -> None:
    """Hold the dialogue, and end every test that it began.

    Raises:
        LamproomError: what is wanted does not fit the layout, or was refused.
        LinkError: the broker cannot be reached, or the bridge is gone.
    """
    areas = Areas(settings.layout, plan_devices(settings.layout)[0])
    root = _root(settings.layout)
    if wanted.area is not None:
        _look_at_area(areas, wanted.area, wanted.yes)
    place = broker_place(settings.layout, settings.looked.name, settings.broker)
    bench = Bench(place, settings.layout.name, root, say)
    own: Bridge | None = None
    try:
        await bench.open()
        if not await bench.find(HEAR_WITHIN):
            say("no bridge drives this layout here: one is started for as long as this takes")
            own = Bridge(replace(settings, page=None, name=OWN_NAME), adapters)
            await own.start()
            if not await bench.find(CONNECT_WITHIN):
                raise LinkError(f"the broker at {place} takes no frames from here", peer=str(place))
        for line in CAUTIONS:
            say(line)
        if wanted.way is not None:
            await bench.test(wanted.way, wanted.area or ALL, wanted.seconds, yes=wanted.yes)
        else:
            await _ask_and_test(bench, areas, wanted, say)
    finally:
        await bench.close()
        if own is not None:
            await own.stop()


async def _ask_and_test(bench: Bench, areas: Areas, wanted: Wanted, say: Callable[[str], None]) -> None:
    words = ", ".join(WAYS)
    while True:
        way = await bench.question(f"What shall light? {words}; or q to leave")
        if way in (None, "q"):
            return
        if way not in WAYS:
            say(f"{way!r} is none of these")
            continue
        area = wanted.area or await bench.question(
            f"Where? {ALL}, a node, a chain as node/chain, a fixture or a device; nothing for {ALL}"
        )
        if area is None:
            return
        try:
            _look_at_area(areas, area or ALL, yes=wanted.yes)
            going_on = await bench.test(LampTestWay(way), area or ALL, wanted.seconds, yes=wanted.yes)
        except LinkError:
            raise
        except LamproomError as problem:
            say(str(problem))
        else:
            if not going_on:
                return


def _look_at_area(areas: Areas, word: str, yes: bool) -> None:
    try:
        chains = [part.key for part in areas.find(word).parts]
    except ValueError as problem:
        raise LamproomError(str(problem)) from None
    if yes and len(chains) > 1:
        raise LamproomError(
            f"--yes confirms one chain, and {word} has {len(chains)}: name one of {', '.join(chains)}, or leave it out"
        )


def _root(layout: Layout) -> str:
    for source in layout.sources:
        if source.kind == "mqtt":
            return str(source.options.get("root", "layout"))
    raise LamproomError(
        "a lamp test is asked for by MQTT, and this layout has no source of that kind: "
        "add one, such as `sources: {bus: {kind: mqtt}}`"
    )


class Bench:
    """One client of a bridge's lamp test, with whoever sits at the terminal.

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
        self._troubles: deque[str] = deque(maxlen=1)
        self._link = BrokerLink(
            place,
            client_id=f"lamproom-lamps-{secrets.token_hex(4)}",
            notes=self._note,
            random=Random(),  # noqa: S311 - for the jitter of reconnecting
        )
        self._bridges: dict[str, bool] = {}  # those of this layout, and whether they are up
        self._bridge = ""
        self._inbox: asyncio.Queue[_Told | _Line | _Stop] = asyncio.Queue()
        self._early: deque[_Line] = deque()  # answers that were typed before they were asked for
        self._reading = False
        self._ended = False  # there are no more lines
        self._mark = ""  # of the test that we began and that is not over
        self._heard = asyncio.Event()
        self._up = asyncio.Event()

    async def open(self) -> None:
        """Connect.

        Raises:
            LinkError: the broker cannot be reached in time.
        """
        loop = asyncio.get_running_loop()
        for number in (signal.SIGINT, signal.SIGTERM):
            loop.add_signal_handler(number, self._inbox.put_nowait, _Stop())
        self._link.subscribe(BRIDGE_FILTER, self._bridge_said)
        self._link.subscribe(f"lamproom/{SUBJECT}/+", self._test_said)
        self._link.watch(self._link_changed)
        await self._link.start()
        try:
            async with asyncio.timeout(CONNECT_WITHIN):
                await self._up.wait()
        except TimeoutError:
            why = self._troubles[0] if self._troubles else f"the broker at {self._place} cannot be reached"
            raise LinkError(
                f"{why}: is it running? give another with --broker", peer=str(self._place)
            ) from None

    async def close(self) -> None:
        """End our test, if one is left, and say goodbye."""
        if self._mark:
            self._link.publish(f"{self._root}/lamp-test/end", self._mark.encode())
        await self._link.stop()

    async def find(self, within: float) -> bool:
        """Wait until a bridge of this layout is heard of, and return whether one is there."""
        try:
            async with asyncio.timeout(within):
                while not any(self._bridges.values()):
                    self._heard.clear()
                    await self._heard.wait()
        except TimeoutError:
            return False
        self._bridge = min(name for name, up in self._bridges.items() if up)
        return True

    async def question(self, text: str) -> str | None:
        """Ask, and return the answer; None at the end of all answers, or where whoever sits there leaves."""
        self._say(text)
        while True:
            came = await self._next(lines=True)
            if isinstance(came, _Line):
                return None if came.text is None else came.text.strip()
            if isinstance(came, _Stop):
                self._look_at(came)
                return None

    async def test(self, way: LampTestWay, area: str, seconds: int, *, yes: bool) -> bool:
        """Have one area tested; return whether whoever sits there stays.

        Raises:
            LamproomError: it was refused.
            LinkError: the bridge or the broker is gone, or does not answer.
        """
        mark = self._mark = secrets.token_hex(3)
        self._publish(f"{way}/{area}", f"{seconds or 'start'} {mark}")
        state, chain = "", ""
        answered = True  # there is no question that waits for an answer
        while True:
            # A test that runs needs nobody; whoever is there may end it.
            lines = (state == "waiting" and not answered) or (state == "running" and not self._ended)
            came = await self._next(
                lines=lines, within=ANSWER_WITHIN if answered and state != "running" else None
            )
            match came:
                case _Told() if not self._is_ours(came):
                    continue
                case _Told(state="off"):
                    self._mark = ""
                    self._say(came.reason)
                    return True
                case _Told() if (came.state, came.more["chain"]) != (state, chain):
                    state, chain = came.state, came.more["chain"]
                    self._begin(came, yes=yes)
                    answered = yes
                case _Line():
                    answered = self._answer(came.text, state, chain)
                case _Stop():
                    self._look_at(came)
                    self._publish("end", mark)
                    await self._until_off(mark)
                    return False
                case None:
                    raise LinkError(
                        f"the bridge {self._bridge} does not answer on {self._root}/lamp-test",
                        peer=self._bridge,
                    )

    def _is_ours(self, told: _Told) -> bool:
        """Return whether this is about our test.

        Raises:
            LamproomError: it says that our test was refused.
        """
        if told.more.get("refused-mark") == self._mark:
            self._mark = ""
            raise LamproomError(f"the bridge {self._bridge} refused: {told.more.get('refused')}")
        return told.more.get("mark") == self._mark

    # ---- the dialogue --------------------------------------------------------------------------------------

    def _begin(self, told: _Told, *, yes: bool) -> None:
        if told.state == "running":
            stop = "" if self._ended else "; Enter ends this chain, q all"
            self._say(f"{told.reason}{stop}")
            return
        signals, chain = told.more["signals"], told.more["chain"]
        what = f"{signals} will show false aspects" if signals else "no signal is concerned"
        question = "" if yes else " Begin? y or n"
        self._say(f"{chain}: {what}, for up to {told.more['seconds']} s.{question}")
        if yes:
            self._publish(f"confirm/{chain}", self._mark)

    def _answer(self, text: str | None, state: str, chain: str) -> bool:
        """Pass an answer on, and return whether it was one."""
        word = (text or "").strip().lower()
        if state == "waiting":
            if text is None or word in ("q", "end"):
                self._publish("end", self._mark)
            elif word in ("y", "yes"):
                self._publish(f"confirm/{chain}", self._mark)
            elif word in ("n", "no"):
                self._publish(f"next/{chain}", self._mark)
            else:
                self._say("y begins, n leaves this chain out, q ends it all")
                return False
        elif text is not None:
            self._publish(*(("end", self._mark) if word in ("q", "end") else (f"next/{chain}", self._mark)))
        return True

    async def _until_off(self, mark: str) -> None:
        """Wait until the bridge has given the lamps back, and not for ever."""
        try:
            async with asyncio.timeout(ANSWER_WITHIN):
                while True:
                    came = await self._inbox.get()
                    if isinstance(came, _Told) and came.state == "off":
                        if came.more.get("mark") == mark:
                            self._mark = ""
                        self._say(came.reason)
                        return
        except TimeoutError:
            self._say(f"the bridge {self._bridge} did not say that it has ended: its own time limit ends it")

    def _publish(self, topic: str, payload: str) -> None:
        if not self._link.publish(f"{self._root}/lamp-test/{topic}", payload.encode()):
            raise LinkError(f"the link to the broker at {self._place} is lost", peer=str(self._place))

    def _look_at(self, stop: _Stop) -> None:
        if stop.why:
            raise LinkError(stop.why, peer=self._bridge)

    # ---- what comes in -------------------------------------------------------------------------------------

    async def _next(self, *, lines: bool, within: float | None = None) -> _Told | _Line | _Stop | None:
        """Return what comes next, None if nothing came in time; a line only where one is wanted."""
        if lines:
            self._read_lines()
            if self._early:
                return self._early.popleft()
            if self._ended:
                return _Line(None)
        try:
            async with asyncio.timeout(within):
                while True:
                    came = await self._inbox.get()
                    if not isinstance(came, _Line):
                        return came
                    self._ended |= came.text is None
                    if lines:
                        return came
                    if came.text is not None:
                        self._early.append(came)
        except TimeoutError:
            return None

    def _read_lines(self) -> None:
        """Begin to read the terminal, in a thread that nobody waits for: it may sit there for ever."""
        if self._reading:
            return
        self._reading = True
        loop = asyncio.get_running_loop()

        def put(line: _Line) -> None:
            if not loop.is_closed():
                loop.call_soon_threadsafe(self._inbox.put_nowait, line)

        def read() -> None:
            for line in self._stdin:
                put(_Line(line))
            put(_Line(None))

        threading.Thread(target=read, daemon=True, name="lines").start()

    def _bridge_said(self, raw: Raw) -> None:
        said = _object(raw.payload)
        if said is None or said.get("layout") != self._layout:
            return
        name = raw.channel.removeprefix(BRIDGE_TOPIC)
        self._bridges[name] = said.get("state") == "up"
        if name == self._bridge and not self._bridges[name]:
            self._inbox.put_nowait(_Stop(f"the bridge {name} has ended, and with it the lamp test"))
        self._heard.set()

    def _test_said(self, raw: Raw) -> None:
        said = _object(raw.payload)
        if (
            not self._bridge
            or raw.channel != f"lamproom/{SUBJECT}/{self._bridge}"
            or raw.retained
            or said is None
        ):
            return
        self._inbox.put_nowait(_Told(str(said.get("state")), str(said.get("reason")), said))

    def _link_changed(self, state: LinkState) -> None:
        if state is LinkState.UP:
            self._up.set()
        elif self._up.is_set():
            self._inbox.put_nowait(_Stop(f"the link to the broker at {self._place} is lost"))

    def _note(self, text: str, level: str, **_facts: object) -> None:
        if level != "info":
            self._troubles.append(text.split(";", maxsplit=1)[0])


def _object(payload: bytes) -> dict[str, Any] | None:
    try:
        said = json.loads(payload)
    except (ValueError, RecursionError):
        return None
    return said if isinstance(said, dict) else None
