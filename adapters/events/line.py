"""An event source for anything that can write a line: a shell script, a cron job, a board with a network.

Each line is one fact: its topic as on MQTT, without the root, and its payload.

    accessory/61/ordered reverse
    block/tarn-2 occupied

The first space ends the topic; where a name has spaces itself a tab does. Nothing is answered.
"""

from __future__ import annotations

import asyncio
import errno
import os
from contextlib import closing
from functools import lru_cache, partial
from ipaddress import IPv4Address
from typing import TYPE_CHECKING, ClassVar, Final, cast

from adapters.contract import Claim, Fault, Options, Raw, SourceHost
from adapters.cut import cut
from adapters.events.devices import DevicePath, NamedPipe
from adapters.events.facts import KNOWN_TOPICS, read_fact
from adapters.events.lines import CHUNK, LONGEST_LINE, Lines, close, hand_on, watch
from adapters.keys import Address, Port
from bridge.errors import DecodeError, LinkError
from bridge.events import Event, Instant, LinkState

if TYPE_CHECKING:
    from adapters.contract import ChainPlace

USUAL_PORT: Final = 8471
MOST_AT_ONCE: Final = 64
"""Connections. Each has a file of this process, and those are counted."""

LOOK_EVERY: Final = 2.0
"""Seconds between two looks whether a pipe still stands at its path."""

_EXPECTED: Final = "a topic, a space and a payload, such as `accessory/61/ordered reverse`"
_ADVICE: Final = {
    errno.EADDRINUSE: "something listens there already: give another `port`",
    errno.EADDRNOTAVAIL: "this machine has no such `address`",
    errno.EACCES: "this user may not listen there: give a `port` above 1023",
}


class LineOptions(Options):
    """The keys of a line source in the layout file.

    Attributes:
        address: where it listens: only on this machine unless told otherwise.
        port: the TCP port there.
        pipe: a named pipe that it reads instead.
    """

    address: Address = "127.0.0.1"
    port: Port = USUAL_PORT
    pipe: DevicePath | None = None

    def faults(self, places: tuple[ChainPlace, ...]) -> tuple[Fault, ...]:  # noqa: ARG002 - a source serves no chain
        """Return what is wrong with where it listens, and who else could reach it."""
        given = self.model_fields_set & {"address", "port"}
        if self.pipe is not None and given:
            return (
                Fault(("pipe",), "a source listens at one place: at a `pipe`, or at `address` and `port`"),
            )
        if not IPv4Address(self.address).is_loopback:
            text = f"whoever reaches {self.address} can give orders here: let only a network that you trust do so"
            return (Fault(("address",), text, warning=True),)
        return ()

    def claims(self, places: tuple[ChainPlace, ...]) -> tuple[Claim, ...]:  # noqa: ARG002 - a source serves no chain
        """Return the port that it listens at."""
        if self.pipe is not None:
            return ()
        return (Claim("of this machine, for lines,", "port", self.port, self.port, "one source", ("port",)),)


class LineSource:
    """An event source that takes one fact a line, from any number of connections at once or from a named pipe."""

    options: ClassVar[type[Options]] = LineOptions

    def __init__(self, name: str, options: Options, host: SourceHost) -> None:
        """Make a source that does nothing yet.

        Args:
            name: the source's name in the layout file; its events carry it.
            options: a `LineOptions`.
            host: what the bridge offers.
        """
        self.name = name
        self._said = cast("LineOptions", options)
        self._host = host
        self._open = 0
        self._fact = lru_cache(maxsize=KNOWN_TOPICS)(read_fact)

    async def listen(self) -> None:
        """Listen until it is cancelled: who speaks may come and go.

        Raises:
            LinkError: it cannot listen there.
        """
        if self._said.pipe is not None:
            await self._read(self._said.pipe)
        else:
            await self._serve(self._said.address, self._said.port)

    async def _read(self, path: str) -> None:
        """Read a pipe, whoever writes to it, for as long as it stands at its path.

        Raises:
            LinkError: it cannot be opened, or is there no more.
        """
        with closing(NamedPipe(path)) as pipe:
            self._host.link(LinkState.UP, f"the pipe {path} is open")
            looking = asyncio.create_task(self._look_at_pipe(pipe), name=f"pipe of {self.name}")
            reading = asyncio.create_task(self._read_lines(path, pipe), name=f"lines of {self.name}")
            try:
                done, _pending = await asyncio.wait((looking, reading), return_when=asyncio.FIRST_COMPLETED)
                for task in done:
                    await task
            finally:
                looking.cancel()
                reading.cancel()
                await asyncio.gather(looking, reading, return_exceptions=True)

    async def _read_lines(self, path: str, pipe: NamedPipe) -> None:
        """Read it again and again: its end is only that of those who write just now.

        Raises:
            LinkError: those who wrote to it closed it as it was taken away.
        """
        while pipe.stands():
            async with pipe.reading() as reader:
                await hand_on(reader, Lines(), partial(self._take, path))
        raise pipe.taken_away()

    async def _look_at_pipe(self, pipe: NamedPipe) -> None:
        """See now and then that the pipe is still the one that others write to.

        Raises:
            LinkError: it is not.
        """
        while pipe.stands():
            await self._host.sleep(LOOK_EVERY)
        raise pipe.taken_away()

    async def _serve(self, address: str, port: int) -> None:
        talks = asyncio.TaskGroup()
        ends = False

        def begin(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            if ends:  # a connection that was taken just before comes only now
                writer.transport.abort()
            else:
                # One that is cancelled before its first step closes nothing itself.
                talk = talks.create_task(self._hear(reader, writer))
                talk.add_done_callback(lambda _talk: writer.close())

        place = f"{address}:{port}"
        try:
            server = await asyncio.start_server(begin, address, port, limit=CHUNK, start_serving=False)
        except OSError as problem:
            why = os.strerror(problem.errno or 0)
            remedy = _ADVICE.get(problem.errno or 0, "are `address` and `port` right?")
            raise LinkError(f"it cannot listen at {place} ({why}): {remedy}", peer=place) from None
        try:
            async with talks:
                await server.start_serving()
                self._host.link(LinkState.UP, f"it listens at {place}")
                try:
                    await asyncio.Event().wait()
                finally:
                    ends = True
                    server.close()
        finally:
            server.close()

    async def _hear(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Take the lines of one connection until it ends, in whatever way."""
        self._open += 1
        try:
            if self._open > MOST_AT_ONCE:
                writer.write(b"too many speak at once: close a connection, and come back\n")
                return
            watch(writer)
            peer = str(writer.get_extra_info("peername")[0])
            await hand_on(reader, Lines(), partial(self._take, peer))
        except OSError:
            pass  # who speaks has gone in the midst of it; what was said before counts
        finally:
            self._open -= 1
            await close(writer)

    def _take(self, channel: str, line: bytes) -> None:
        self._host.received(Raw(channel, line))

    def attempt(self, channel: str, payload: str) -> tuple[Raw, ...]:
        """Return a line as it comes, if it is said to come by `line` or by the name of this source."""
        heard = channel in {"line", self.name}
        return (Raw(self._said.pipe or self._said.address, payload.encode()),) if heard else ()

    def decode(self, raw: Raw, at: Instant) -> tuple[Event, ...]:
        """Return the one event that a line means.

        Raises:
            DecodeError: it means nothing here; it carries the line, cut, and what was expected.
        """
        try:
            return (self._read_line(raw.payload, at),)
        except DecodeError as error:
            raise DecodeError(str(error), received=cut(raw.payload), expected=error.expected) from None

    def _read_line(self, line: bytes, at: Instant) -> Event:
        if len(line) > LONGEST_LINE:
            raise DecodeError(f"the line is longer than {LONGEST_LINE} bytes", expected=_EXPECTED)
        line = line.strip()
        topic, _, payload = line.partition(b"\t" if b"\t" in line else b" ")
        try:
            fact = self._fact(topic.decode())
        except UnicodeDecodeError:
            raise DecodeError("the line is not UTF-8 text", expected=_EXPECTED) from None
        if not payload:
            raise DecodeError("the line has a topic and no payload", expected=fact.expected)
        return fact.event(payload, at, self.name, retained=False)
