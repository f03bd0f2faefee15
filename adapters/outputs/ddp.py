"""Frames by DDP to one controller: a long chain in several packets, the last of which has it shown."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, ClassVar, Final, cast

from pydantic import Field

from adapters.contract import ChainPlace, Claim, Fault, Options, OutputHost
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
    whole,
)
from adapters.outputs import ddp_packets as wire
from adapters.outputs.span import spans
from adapters.outputs.udp import Packet, UdpFrames

REFRESH: Final = 60
"""Frames a second unless told otherwise: the protocol has no limit, and controllers have theirs."""

AGAIN: Final = 2
"""So often the last frame is repeated: nothing else says that it is the last."""

_KINDS: Final = {3: wire.RGB, 4: wire.RGBW}


class DdpChain(Options):
    """The keys of one chain.

    Attributes:
        destination: the id of the controller's output.
        offset: bytes of that output before the chain's first.
    """

    destination: Annotated[int, whole("a destination", wire.DESTINATIONS[0], wire.DESTINATIONS[-1])] = 1
    offset: Annotated[int, whole("an offset", 0, wire.OFFSETS[-1])] = 0


class DdpOptions(Options):
    """The keys of a DDP output.

    Attributes:
        host: the controller.
        port: where it listens.
        local_address: the address of this machine to send from.
        local_port: the port to send from; any if left out.
        refresh: frames a second at the most.
        chains: for each chain, by `node/chain`, where it is.
    """

    host: Host
    port: Port = wire.PORT
    local_address: Address | None = None
    local_port: Port | None = None
    refresh: Refresh = REFRESH
    chains: dict[str, DdpChain] = Field(default_factory=dict)

    def faults(self, places: tuple[ChainPlace, ...]) -> tuple[Fault, ...]:
        """Find chains that have no place, and chains that do not end within what an offset can say."""
        return (
            *one_version(self.host, self.local_address),
            *look_at_chains(self.chains, places, "{offset: 0}"),
            *too_many(self._claims(places), wire.OFFSETS),
        )

    def claims(self, places: tuple[ChainPlace, ...]) -> tuple[Claim, ...]:
        """Return the bytes of each chain, in the order of the file, and the port to send from."""
        return (*self._claims(places), *local_port_claim(self.local_address, self.local_port))

    def _claims(self, places: tuple[ChainPlace, ...]) -> Iterator[Claim]:
        by_key = {place.key: place for place in places}
        for key, chain in self.chains.items():
            place = by_key.get(key)
            if place is not None:
                last = chain.offset + place.length - 1
                space = f"of DDP at {at(self.host, self.port)}, destination {chain.destination},"
                yield Claim(space, "byte", chain.offset, last, key, ("chains", key))


class Count:
    """The sequence of a controller: its chains share it, so that no two packets in a row have the same."""

    def __init__(self) -> None:
        self._last = 0

    def next(self) -> int:
        """Return the next one."""
        self._last = self._last % wire.SEQUENCES + 1
        return self._last


class DdpStream:
    """One chain on the wire: its packets, which are filled anew for every frame."""

    def __init__(self, place: ChainPlace, options: DdpOptions, count: Count) -> None:
        said = options.chains[place.key]
        channels = {run.channels for run in place.chips}
        kind = _KINDS.get(channels.pop(), wire.UNDEFINED) if len(channels) == 1 else wire.UNDEFINED
        parts = spans(place.chips, wire.LONGEST)
        self._count = count
        self._parts = [
            (
                part,
                wire.ddp_packet(
                    said.destination,
                    said.offset + part.start,
                    part.stop - part.start,
                    kind=kind,
                    push=part is parts[-1],
                ),
            )
            for part in parts
        ]

    def packets(self, levels: bytes) -> Iterator[Packet]:
        """Yield the packets of a frame; the last one pushes it."""
        for part, packet in self._parts:
            packet[wire.SEQUENCE] = self._count.next()
            packet[wire.LEVELS :] = levels[part]
            yield packet, None

    def farewell(self, levels: bytes) -> Iterator[Packet]:
        """Yield the last frame again."""
        for _time in range(AGAIN):
            yield from self.packets(levels)


class DdpFrames(UdpFrames):
    """A frame output by DDP."""

    options: ClassVar[type[Options]] = DdpOptions

    protocol: ClassVar[str] = "DDP"

    def streams(
        self,
        options: Options,
        places: tuple[ChainPlace, ...],
        host: OutputHost,  # noqa: ARG002 - a controller is not told who sends
    ) -> list[DdpStream]:
        """Return one stream for each chain."""
        count = Count()
        return [DdpStream(place, cast("DdpOptions", options), count) for place in places]
