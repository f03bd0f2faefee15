"""LCC as an event source: a client of a gateway that passes the frames of the bus on over TCP."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterator
from typing import ClassVar, Final, cast

from adapters.contract import AT_ONCE, Options, Raw, SourceHost
from adapters.cut import cut
from adapters.events.lcc.alias import OBJECTIONS_WITHIN, Standing
from adapters.events.lcc.frames import Frame, frame_lines, read_frame, texts
from adapters.events.lcc.meaning import PROVED_BY, Contact, Meanings, said_in
from adapters.events.lcc.messages import Mti, to_all
from adapters.events.lcc.node import Node, named_by
from adapters.events.lcc.numbers import dotted
from adapters.events.lcc.options import LccOptions, read_event
from adapters.events.lcc.times import QUERY
from adapters.events.lines import CHUNK, close, connect
from bridge.errors import DecodeError, LinkError
from bridge.events import AccessoryProved, Event, Instant, LinkState

MOST_CONFLICTS: Final = 20
"""Aliases that were taken in one connection; so many do not happen by chance among 4095."""

MOST_UNSENT: Final = 1 << 16
"""Bytes that wait to be sent to a gateway that takes no more."""

BY_HAND: Final = 0x123
"""The alias that a frame has that is only tried."""

DEVICES: Final = "lamproom/device/"
"""Below this the bridge tells what each signal and light shows."""


class LccSource:
    """An event source: reports of events become our own events, and nodes that ask are answered.

    What is handed in as `Raw` is the text of the frame, and as its channel the number of the node that sent it (or its
    alias while that number was not told): so the log keeps which throttle or panel it was. Handed in are all events
    that are sent, and what nodes say of how events stand where that means something here; on a large bus there is much
    else. The contacts of a turnout come one by one and have a meaning only together: there the frame of the other
    contact stands before.
    """

    options: ClassVar[type[Options]] = LccOptions

    def __init__(self, name: str, options: Options, host: SourceHost) -> None:
        """Make a source that does nothing yet.

        Args:
            name: the source's name in the layout file; its events carry it.
            options: an `LccOptions`.
            host: what the bridge offers.
        """
        self.name = name
        self._options = said = cast("LccOptions", options)
        self._host = host
        self._meanings = Meanings(said)
        self._ask = () if said.clock is None else (said.clock | QUERY,)
        unknown = (*self._ask, *(event for _device, _aspect, event in said.reports))
        self._produced = dict.fromkeys(unknown, Mti.PRODUCER_UNKNOWN)
        self._shown: dict[str, str] = {}
        self._session: _Session | None = None

    async def listen(self) -> None:
        """Connect, become a node of the bus, and hand in what it tells until the connection ends.

        Raises:
            LinkError: the gateway cannot be reached, or the connection ended.
        """
        said = self._options
        for device in said.report:
            self._host.broker.subscribe(f"{DEVICES}{device}", self._reported)
        reader, writer = await connect(self._host, said.host, said.port)
        node = Node(said.node_id, self._meanings.consumed, self._meanings.ranges, self._produced, self._ask)
        peer = f"{said.host}:{said.port}"
        self._session = session = _Session(node, writer, peer)
        try:
            async with asyncio.TaskGroup() as group:
                holding = group.create_task(self._hold(session), name=f"alias of {self.name}")
                why = await self._read(session, reader)
                holding.cancel()
        finally:
            self._session = None
            writer.transport.abort()  # nothing that still waits to be sent is worth waiting for
            await close(writer)
        raise LinkError(f"{peer} {why}", peer=peer)

    async def _hold(self, session: _Session) -> None:
        """Take an alias when nobody has objected in time, at first and after every conflict."""
        node = session.node
        session.send(node.begin())
        while True:
            attempt = node.attempt
            await self._host.sleep(OBJECTIONS_WITHIN)
            if node.attempt == attempt:
                session.send(node.waited())
                session.catch_up()
                self._host.link(LinkState.UP, f"connected to {session.peer}")
                session.asking.clear()
                await session.asking.wait()

    async def _read(self, session: _Session, reader: asyncio.StreamReader) -> str:
        """Take all frames until the connection ends; return why it did and what to look at."""
        lines = frame_lines()
        done = 0
        try:
            while data := await reader.read(CHUNK):
                for piece in lines.feed(data):
                    for text in texts(piece):
                        done += 1 + self._take(session, text)
                        if done >= AT_ONCE:
                            done = 0
                            await self._host.sleep(0)
                if session.node.conflicts >= MOST_CONFLICTS:
                    return (
                        f"seems to send back to us what we send: {MOST_CONFLICTS} aliases were taken as soon as we "
                        "asked for them. Have it pass on only what others send"
                    )
                if session.stuck:
                    return "takes nothing from us any more: restart the gateway"
                await self._host.sleep(0)
        except OSError as problem:
            return f"broke the connection off ({problem.strerror or problem}): look at the gateway and the network"
        return "ended the connection: look whether the gateway still runs, and how many clients it allows"

    def _take(self, session: _Session, text: bytes) -> int:
        """Take what a frame says, and return how many it was answered with: one alone may ask for all events."""
        node = session.node
        try:
            frame = read_frame(text)
        except DecodeError:
            self._host.received(Raw(session.peer, text))
            return 0
        if frame is None:
            return 0
        answers = node.hear(frame)
        session.send(answers)
        if node.standing is Standing.ASKING:
            session.asking.set()
        if self._tells(frame):
            self._host.received(Raw(node.who(frame.alias), session.beside(self._contact(frame), text) + text))
        return len(answers)

    def _tells(self, frame: Frame) -> bool:
        """Return whether a frame has to be handed in."""
        said = said_in(frame)
        if said is None:
            return self._is_twin(frame)
        return said.now or self._contact(frame) is not None or next(self._events(frame, 0), None) is not None

    def _is_twin(self, frame: Frame) -> bool:
        return named_by(frame) == self._options.node_id

    def _contact(self, frame: Frame) -> Contact | None:
        said = said_in(frame)
        found = None if said is None else self._meanings.contact(said)
        return None if found is None else found[0]

    def _events(self, frame: Frame, at: Instant) -> Iterator[Event]:
        said = said_in(frame)
        for fact in () if said is None else self._meanings.facts(said.event):
            event = None if said is None else fact.event(said, at, self.name)
            if event is not None:
                yield event

    def attempt(self, channel: str, payload: str) -> tuple[Raw, ...]:
        """Return an event as it is sent, and as a node says that it is valid; or a frame, if that is what is said.

        It is said to come by `lcc`, or by the name of this source.
        """
        if channel not in {"lcc", self.name}:
            return ()
        if payload.startswith(":"):
            return (Raw("by hand", payload.encode()),)
        try:
            event = read_event(payload)
        except ValueError as problem:
            raise DecodeError(str(problem), received=cut(payload)) from None
        ways = (Mti.EVENT, Mti.PRODUCER_VALID)
        return tuple(Raw("by hand", to_all(mti, BY_HAND, event).text()) for mti in ways)

    def decode(self, raw: Raw, at: Instant) -> tuple[Event, ...]:
        """Return what the last frame of `raw` means; frames before it only tell of a turnout's other contact.

        Raises:
            DecodeError: it is no frame, or tells of another node that has our number.
        """
        lines = frame_lines()
        found = [read_frame(text) for piece in lines.feed(raw.payload) for text in texts(piece)]
        if rest := lines.last().strip():
            read_frame(rest)
        frames = [frame for frame in found if frame is not None]
        if not frames:
            return ()
        if self._is_twin(frames[-1]):
            number = dotted(self._options.node_id, 6)
            raise DecodeError(
                f"another node of this bus has our number {number}: give one of the two another, here by `node-id`",
                received=cut(raw.payload),
            )
        return (*self._proved(frames, at), *self._events(frames[-1], at))

    def _proved(self, frames: list[Frame], at: Instant) -> Iterator[Event]:
        """Yield where a turnout lies, if the last frame tells of one of its contacts."""
        newest = self._contact(frames[-1])
        if newest is None:
            return
        made: dict[bool, bool] = {}
        for frame in frames:
            said = said_in(frame)
            found = None if said is None else self._meanings.contact(said)
            if found is not None and found[0].number == newest.number:
                made[found[0].normal] = found[1]
        position = PROVED_BY[made.get(True), made.get(False)]
        yield AccessoryProved(at=at, source=self.name, number=newest.number, position=position)

    def _reported(self, raw: Raw) -> None:
        """Take what a signal or a light shows, and tell the bus if that is new."""
        device = raw.channel.removeprefix(DEVICES)
        try:
            aspect = str(json.loads(raw.payload)["aspect"])
        except (ValueError, TypeError, KeyError, RecursionError):
            return
        if self._shown.get(device) == aspect:
            return
        self._shown[device] = aspect
        for each, event in self._options.report.get(device, {}).items():
            self._produced[event] = Mti.PRODUCER_VALID if each == aspect else Mti.PRODUCER_INVALID
            if each == aspect and self._session is not None and not raw.retained:
                self._session.report(device, event)


class _Session:
    """One connection.

    Attributes:
        node: what we are on the bus.
        peer: whom we are connected to.
        asking: set when we need another alias.
        stuck: the gateway takes nothing any more.
    """

    def __init__(self, node: Node, writer: asyncio.StreamWriter, peer: str) -> None:
        self.node = node
        self.peer = peer
        self.asking = asyncio.Event()
        self.stuck = False
        self._writer = writer
        self._contacts: dict[Contact, bytes] = {}  # the newest frame of each
        self._late: dict[str, int] = {}  # the newest event of each device, for when we have an alias

    def send(self, frames: list[Frame]) -> None:
        """Send frames, in order."""
        if self._writer.transport.get_write_buffer_size() > MOST_UNSENT:
            self.stuck = True
        elif frames:
            self._writer.write(b"".join(frame.text() for frame in frames))

    def report(self, device: str, event: int) -> None:
        """Send what a device shows, or keep it until we have an alias; only the newest counts."""
        self._late[device] = event
        if self.node.standing is Standing.HOLDING:
            self.catch_up()

    def catch_up(self) -> None:
        """Send what was kept."""
        for event in self._late.values():
            self.send(self.node.report(event))
        self._late.clear()

    def beside(self, contact: Contact | None, text: bytes) -> bytes:
        """Keep the newest frame of a contact, and return that of the turnout's other contact, or nothing."""
        if contact is None:
            return b""
        self._contacts[contact] = text
        return self._contacts.get(contact._replace(normal=not contact.normal), b"")
