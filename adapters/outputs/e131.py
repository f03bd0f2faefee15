"""Frames by ANSI E1.31 (streaming ACN): to one controller, or to the multicast group of each universe."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, ClassVar, Final, cast
from uuid import UUID, uuid5

from pydantic import Field, field_validator

from adapters.contract import ChainPlace, Claim, Fault, Options, OutputHost
from adapters.cut import cut
from adapters.keys import (
    Address,
    Host,
    Port,
    Refresh,
    at,
    local_port_claim,
    look_at_chains,
    one_version,
    too_many,
    version_of,
    whole,
)
from adapters.outputs import e131_packets as wire
from adapters.outputs.span import UNIVERSE, spans
from adapters.outputs.udp import Packet, UdpFrames
from bridge.events import SECOND

DMX_REFRESH: Final = 44
"""Frames a second of ANSI E1.11 (DMX512-A) with 512 slots: section 6.6.1 allows no more unless the owner says so."""

TERMINATIONS: Final = 3
"""Packets that say that a stream ends, section 6.2.6."""

_Universe = Annotated[int, whole("a universe", wire.UNIVERSES[0], wire.UNIVERSES[-1])]


class E131Chain(Options):
    """The keys of one chain.

    Attributes:
        universe: its first universe; it takes as many as it needs, one after the other.
        priority: where it differs from the output's.
    """

    universe: _Universe
    priority: Annotated[int, whole("a priority", 0, wire.PRIORITIES[-1])] | None = None


class E131Options(Options):
    """The keys of an E1.31 output.

    Attributes:
        host: the controller; each universe goes to its multicast group if left out.
        port: where it listens.
        local_address: the address of this machine to send from.
        local_port: the port to send from; any if left out.
        priority: of several senders of a universe the highest counts.
        source_name: what receivers show for us.
        synchronise: a universe whose synchronization packet has all chains shown together; none if left out.
        refresh: frames a second at the most.
        chains: for each chain, by `node/chain`, where it is.
    """

    host: Host | None = None
    port: Port = wire.PORT
    local_address: Address | None = None
    local_port: Port | None = None
    priority: Annotated[int, whole("a priority", 0, wire.PRIORITIES[-1])] = 100
    source_name: str = "lamproom"
    synchronise: _Universe | None = None
    refresh: Refresh = DMX_REFRESH
    chains: dict[str, E131Chain] = Field(default_factory=dict)

    @field_validator("source_name")
    @classmethod
    def _name(cls, name: str) -> str:
        size = len(name.encode("utf-8", "replace"))
        if not name.isprintable() or not 0 < size <= wire.LONGEST_NAME:
            raise ValueError(
                f"{cut(name, 40)!r} is no source name: it has {size} bytes of text where 1 to {wire.LONGEST_NAME} fit"
            )
        return name

    def faults(self, places: tuple[ChainPlace, ...]) -> tuple[Fault, ...]:
        """Find chains without a universe, and chains that need more of them than there are."""
        return (
            *one_version(self.host, self.local_address),
            *look_at_chains(self.chains, places, "{universe: 1}"),
            *too_many(self._claims(places), wire.UNIVERSES),
        )

    def claims(self, places: tuple[ChainPlace, ...]) -> tuple[Claim, ...]:
        """Return the universes of each chain, in the order of the file, and the port to send from."""
        return (*self._claims(places), *local_port_claim(self.local_address, self.local_port))

    def _claims(self, places: tuple[ChainPlace, ...]) -> Iterator[Claim]:
        by_key = {place.key: place for place in places}
        everywhere = "of E1.31 by multicast" + (f" to port {self.port}" if self.port != wire.PORT else "")
        # A universe is the same one however its packets come (section 9.1.1), and what goes to its group reaches
        # every controller that takes it. Two controllers, each with packets of its own, may number theirs alike.
        space, within = (
            (f"of E1.31 at {at(self.host, self.port)}", everywhere) if self.host else (everywhere, "")
        )
        for key, chain in self.chains.items():
            place = by_key.get(key)
            if place is not None:
                last = chain.universe + len(spans(place.chips, UNIVERSE)) - 1
                keys = ("chains", key, "universe")
                yield Claim(space, "universe", chain.universe, last, key, keys, within)


def _group(universe: int, options: E131Options) -> tuple[str, int]:
    """Return group and port of a universe; by IPv6 where the address of this machine is one of that."""
    return wire.group_of(universe, version_of(options.local_address or "") or 4), options.port


class E131Stream:
    """One chain on the wire: its universes, each with a packet that is filled anew for every frame.

    Args:
        place: the chain.
        options: of the output.
        cid: who sends.
    """

    def __init__(self, place: ChainPlace, options: E131Options, cid: UUID) -> None:
        said = options.chains[place.key]
        priority = options.priority if said.priority is None else said.priority
        self._parts: list[tuple[slice, bytearray, tuple[str, int] | None]] = []
        for number, part in enumerate(spans(place.chips, UNIVERSE)):
            universe = said.universe + number
            packet = wire.data_packet(
                cid,
                options.source_name,
                universe,
                part.stop - part.start,
                priority=priority,
                sync=options.synchronise or 0,
            )
            address = None if options.host else _group(universe, options)
            self._parts.append((part, packet, address))

    def packets(self, levels: bytes) -> Iterator[Packet]:
        """Yield one packet for each universe; all of a chain count alike, since each frame is in all of them."""
        for part, packet, address in self._parts:
            packet[wire.SEQUENCE] = (packet[wire.SEQUENCE] + 1) & 0xFF
            packet[wire.LEVELS :] = levels[part]
            yield packet, address

    def farewell(self, levels: bytes) -> Iterator[Packet]:
        """Yield, three times, a packet for each universe that says that its stream ends."""
        for _time in range(TERMINATIONS):
            for packet, address in self.packets(levels):
                packet[wire.OPTIONS] = wire.TERMINATED
                yield packet, address


class _Together:
    """The synchronization packet."""

    def __init__(self, universe: int, options: E131Options, cid: UUID) -> None:
        self._packet = wire.sync_packet(cid, universe)
        self._address = None if options.host else _group(universe, options)

    def packets(self) -> Iterator[Packet]:
        """Yield it."""
        self._packet[wire.SYNC_SEQUENCE] = (self._packet[wire.SYNC_SEQUENCE] + 1) & 0xFF
        yield self._packet, self._address


class _Listing:
    """The packets that say which universes come from here: what is sent by multicast, and its synchronization."""

    every: Final = wire.DISCOVERY_EVERY_S * SECOND

    def __init__(self, options: E131Options, places: tuple[ChainPlace, ...], cid: UUID) -> None:
        universes = {options.synchronise} if options.synchronise else set[int]()
        for place in places:
            first = options.chains[place.key].universe
            universes |= set(range(first, first + len(spans(place.chips, UNIVERSE))))
        self._pages = wire.discovery_packets(cid, options.source_name, universes)
        self._address = _group(wire.DISCOVERY, options)

    def packets(self) -> Iterator[Packet]:
        """Yield each page."""
        for page in self._pages:
            yield page, self._address


class E131Frames(UdpFrames):
    """A frame output by E1.31: a chain in as many universes as it needs, and no chip in two of them.

    Each output is a source of its own, since the list of a source's universes has to be whole, and one output knows
    nothing of another's.
    """

    options: ClassVar[type[Options]] = E131Options

    protocol: ClassVar[str] = "E1.31"

    def __init__(self, name: str, options: Options, places: tuple[ChainPlace, ...], host: OutputHost) -> None:
        self._cid = uuid5(host.identity, name)
        super().__init__(name, options, places, host)

    def streams(
        self,
        options: Options,
        places: tuple[ChainPlace, ...],
        host: OutputHost,  # noqa: ARG002 - the source is this output
    ) -> list[E131Stream]:
        """Return one stream for each chain."""
        return [E131Stream(place, cast("E131Options", options), self._cid) for place in places]

    def signal(
        self,
        options: Options,
        host: OutputHost,  # noqa: ARG002 - the source is this output
    ) -> _Together | None:
        """Return the synchronization packet, if it was asked for."""
        said = cast("E131Options", options)
        return _Together(said.synchronise, said, self._cid) if said.synchronise else None

    def herald(
        self,
        options: Options,
        places: tuple[ChainPlace, ...],
        host: OutputHost,  # noqa: ARG002 - the source is this output
    ) -> _Listing | None:
        """Return the list of universes, for those that go to everybody; one controller needs no list of its own."""
        said = cast("E131Options", options)
        return None if said.host or not places else _Listing(said, places, self._cid)
