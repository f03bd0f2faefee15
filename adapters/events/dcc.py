"""An event source for DCC: whatever prints the packets on the rails as lines of hexadecimal bytes.

It listens at a serial port or over TCP, and says nothing to the other side.
"""

from __future__ import annotations

import re
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Final, cast

from pydantic import BeforeValidator

from adapters.contract import Fault, Options, Raw, SourceHost
from adapters.cut import cut
from adapters.events.dcc_packets import (
    BasicAccessory,
    ExtendedAccessory,
    OtherPacket,
    Packet,
    ReservedAccessory,
    decode,
    decoder_of,
    encode,
    shift_number,
)
from adapters.events.dcc_text import read_text, write_text
from adapters.events.dcc_words import describe
from adapters.events.devices import DevicePath, Speed, serial_port
from adapters.events.lines import Lines, close, connect, hand_on
from adapters.keys import Host, Port, whole
from bridge.errors import DecodeError, LinkError
from bridge.events import (
    ACCESSORY_NUMBERS,
    SECOND,
    AccessoryOrdered,
    AccessoryReleased,
    AspectOrdered,
    Event,
    Instant,
    LinkState,
)

if TYPE_CHECKING:
    import asyncio

    from adapters.contract import ChainPlace

SIGN_OF_LIFE: Final = SECOND
"""Of packets for no accessory so many are handed on: one shows that the rails are heard, all would fill the log."""

MOST_BROADCAST: Final = 256
"""Accessories that one broadcast orders: each is an order of its own, and all of them one step."""

_RANGE: Final = re.compile(r"([0-9]{1,4})(?: ?- ?([0-9]{1,4}))?")


def _numbers(value: Any) -> tuple[int, ...]:
    found = _RANGE.fullmatch(str(value).strip()) if isinstance(value, str | int) else None
    first, last = (int(found[1]), int(found[2] or found[1])) if found is not None else (0, 0)
    if first not in ACCESSORY_NUMBERS or last not in ACCESSORY_NUMBERS or last < first:
        text = f"{cut(str(value), 20)} names no accessories: write the first and the last, such as 1-64"
        raise ValueError(text)
    if last - first >= MOST_BROADCAST:
        raise ValueError(
            f"{last - first + 1} accessories are too many for a broadcast: {MOST_BROADCAST} are allowed"
        )
    return tuple(range(first, last + 1))


class DccOptions(Options):
    """The keys of a DCC source in the layout file.

    Attributes:
        serial: the serial port that the packets are printed at; or else
        host: who prints them over TCP, and
        port: where.
        speed: of the serial port, bits a second.
        offset: what is added to the linear number of a packet; 4 where the system calls 5 what is 1 here.
        broadcast_to: the accessories, by their numbers here, that a broadcast is for; none unless they are named.
    """

    serial: DevicePath | None = None
    host: Host | None = None
    port: Port | None = None
    speed: Speed = 115_200
    offset: Annotated[int, whole("an offset", -2047, 2047)] = 0
    broadcast_to: Annotated[tuple[int, ...], BeforeValidator(_numbers)] = ()

    def faults(self, places: tuple[ChainPlace, ...]) -> tuple[Fault, ...]:  # noqa: ARG002 - a source serves no chain
        """Return what is wrong with where it listens: at one serial port, or at one address."""
        if self.serial is None and (self.host is None or self.port is None):
            return (Fault((), "where are the packets printed? Give `serial`, or `host` and `port`"),)
        if self.serial is not None and (self.host is not None or self.port is not None):
            return (Fault(("serial",), "a source listens at one place: `serial`, or `host` and `port`"),)
        if self.serial is None and "speed" in self.model_fields_set:
            return (Fault(("speed",), "the speed is one of a serial port, and there is none"),)
        return ()


class DccSource:
    """An event source: accessory packets are orders; everything else on the rails is none.

    A broadcast is an order for the number that it stands for (2041 to 2044, as LCC has it too), and for those in
    `broadcast-to`. The emergency stop of basic accessories switches outputs off, and so orders nothing.
    """

    options: ClassVar[type[Options]] = DccOptions

    def __init__(self, name: str, options: Options, host: SourceHost) -> None:
        """Make a source that does nothing yet.

        Args:
            name: the source's name in the layout file; its events carry it.
            options: a `DccOptions`.
            host: what the bridge offers.
        """
        said = cast("DccOptions", options)
        self.name = name
        self._said = said
        self._host = host
        self._place = said.serial or f"{said.host}:{said.port}"
        self._alive: Instant | None = None

    async def listen(self) -> None:
        """Listen until the connection ends.

        Raises:
            LinkError: it cannot be made, or has ended.
        """
        async with self._open() as reader:
            self._host.link(LinkState.UP, f"{self._place} is open")
            try:
                await hand_on(reader, Lines(), self._take)
            except OSError as problem:
                why = problem.strerror or str(problem)
                raise LinkError(
                    f"{self._place} broke off ({why}): is it still there?", peer=self._place
                ) from None
        raise LinkError(f"{self._place} has ended: is the device still plugged in and on?", peer=self._place)

    @asynccontextmanager
    async def _open(self) -> AsyncIterator[asyncio.StreamReader]:
        said = self._said
        if said.serial is not None:
            async with serial_port(said.serial, said.speed) as reader:
                yield reader
            return
        reader, writer = await connect(self._host, said.host or "", said.port or 0)
        try:
            yield reader
        finally:
            await close(writer)

    def _take(self, line: bytes) -> None:
        """Hand in a line; of those that say nothing of accessories only now and then one."""
        try:
            foreign = isinstance(_packet(line), OtherPacket)
        except DecodeError:
            foreign = False
        if foreign:
            now = self._host.now()
            if self._alive is not None and now - self._alive < SIGN_OF_LIFE:
                return
            self._alive = now
        self._host.received(Raw(self._place, line))

    def attempt(self, channel: str, payload: str) -> tuple[Raw, ...]:
        """Return a line as it comes, if it is said to come by `dcc` or by the name of this source."""
        return (Raw(self._place, payload.encode()),) if channel in {"dcc", self.name} else ()

    def decode(self, raw: Raw, at: Instant) -> tuple[Event, ...]:
        """Return what a packet orders: one event, several for a broadcast, none for what is for no accessory.

        Raises:
            DecodeError: no packet, a damaged one, or one of a form that the standard leaves free.
        """
        try:
            packet = _packet(raw.payload)
        except DecodeError as error:
            raise DecodeError(str(error), received=cut(raw.payload), expected=error.expected) from None
        match packet:
            case ReservedAccessory():
                raise DecodeError(describe(packet), received=cut(raw.payload))
            case BasicAccessory(position=position, active=True):
                return tuple(
                    AccessoryOrdered(at=at, source=self.name, number=number, position=position)
                    for number in self._numbers(packet)
                )
            case BasicAccessory():
                return tuple(
                    AccessoryReleased(at=at, source=self.name, number=number)
                    for number in self._numbers(packet)
                )
            case ExtendedAccessory(aspect=aspect):
                return tuple(
                    AspectOrdered(at=at, source=self.name, number=number, aspect=aspect)
                    for number in self._numbers(packet)
                )
        return ()

    def _numbers(self, packet: BasicAccessory | ExtendedAccessory) -> tuple[int, ...]:
        """Return whom a packet is for, by the numbers of this source."""
        said = self._said
        own = shift_number(packet.number, said.offset)
        if not packet.broadcast:
            return (own,)
        others = [number for number in said.broadcast_to if number != own]
        if isinstance(packet, BasicAccessory):
            pair = decoder_of(packet.number)[1]
            others = [each for each in others if decoder_of(shift_number(each, -said.offset))[1] == pair]
        return (own, *others)

    def explain(self, raw: Raw) -> str:
        """Return what a packet says, in a sentence.

        Raises:
            DecodeError: it is none, or a damaged one.
        """
        packet = _packet(raw.payload)
        said = describe(packet)
        if isinstance(packet, BasicAccessory | ExtendedAccessory) and self._said.offset:
            said += f"; with the offset {self._said.offset} that is accessory {self._numbers(packet)[0]} here"
        return f"{write_text(encode(packet))} is {_article(said)}"


def _packet(line: bytes) -> Packet:
    """Return what a line says.

    Raises:
        DecodeError: it is no packet.
    """
    return decode(read_text(line.decode("utf-8", "backslashreplace")))


def _article(sentence: str) -> str:
    if sentence.startswith(("a ", "programming", "no operation")):
        return sentence
    return f"{'an' if sentence.startswith(('e', 'i')) else 'a'} {sentence}"
