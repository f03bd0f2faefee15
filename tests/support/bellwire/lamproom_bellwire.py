"""Lets lamproom listen to a bell wire: lines over TCP, such as `turnout 61 reverse` or `block yard occupied`."""

from __future__ import annotations

import asyncio
from typing import ClassVar, Final, cast

from pydantic import Field

from adapters.contract import AT_ONCE, Options, Raw, SourceHost
from bridge.errors import DecodeError, LinkError
from bridge.events import (
    ACCESSORY_NUMBERS,
    AccessoryOrdered,
    BlockReported,
    BlockState,
    Event,
    Instant,
    LinkState,
    Position,
)

LONGEST_LINE: Final = 1000
EXPECTED: Final = "`turnout 61 reverse` (or normal), or `block yard occupied` (or clear)"


class BellWireOptions(Options):
    """The keys of a bell wire in the layout file: where its box is."""

    host: str = "127.0.0.1"
    port: int = Field(default=7061, ge=1, le=65_535)


class BellWire:
    """An event source: one TCP connection, and each line is an event or is refused."""

    options: ClassVar[type[Options]] = BellWireOptions

    def __init__(self, name: str, options: Options, host: SourceHost) -> None:
        """Make a source that does nothing yet."""
        self.name = name
        self._options = cast("BellWireOptions", options)
        self._host = host

    async def listen(self) -> None:
        """Connect, and hand in line after line until the connection ends."""
        box = f"the bell wire's box at {self._options.host}:{self._options.port}"
        try:
            async with self._host.timeout(5):
                reader, writer = await asyncio.open_connection(
                    self._options.host, self._options.port, limit=LONGEST_LINE
                )
        except (OSError, TimeoutError) as problem:
            raise LinkError(f"{box} does not answer: switch it on, or correct `host` and `port`") from problem
        try:
            self._host.link(LinkState.UP, f"{box} is connected")
            await self._hand_in(reader)
        except ValueError as problem:
            raise LinkError(f"{box} sends lines of more than {LONGEST_LINE} bytes: is it one?") from problem
        except OSError as problem:
            raise LinkError(f"{box} was cut off: look at its cable and its supply") from problem
        finally:
            writer.close()
        raise LinkError(f"{box} has ended the connection: is it being restarted?")

    async def _hand_in(self, reader: asyncio.StreamReader) -> None:
        count = 0
        while line := await reader.readline():
            self._host.received(Raw("line", line.rstrip(b"\r\n")))
            count += 1
            if count % AT_ONCE == 0:  # a line that is there already is read without waiting
                await self._host.sleep(0)

    def decode(self, raw: Raw, at: Instant) -> tuple[Event, ...]:
        """Return the one event that a line means.

        Raises:
            DecodeError: it means nothing here.
        """
        match raw.payload.decode("ascii", "replace").split(" "):
            case ["turnout", number, ("normal" | "reverse") as position] if _is_accessory(number):
                ordered = AccessoryOrdered(
                    at=at, source=self.name, number=int(number), position=Position(position)
                )
                return (ordered,)
            case ["block", name, ("occupied" | "clear") as state] if name.isalnum():
                return (BlockReported(at=at, source=self.name, name=name, state=BlockState(state)),)
        received = ascii(raw.payload[:60])
        raise DecodeError("this is no line of a bell wire", received=received, expected=EXPECTED)


def _is_accessory(text: str) -> bool:
    return text.isdecimal() and len(text) <= 4 and int(text) in ACCESSORY_NUMBERS
