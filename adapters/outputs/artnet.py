"""Frames by Art-Net 4 (ArtDmx) to one controller."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, ClassVar, Final, cast

from pydantic import Field

from adapters.contract import ChainPlace, Claim, Fault, Options, OutputHost
from adapters.keys import (
    Port,
    Refresh,
    ShortAddress,
    ShortHost,
    local_port_claim,
    look_at_chains,
    too_many,
    whole,
)
from adapters.outputs import artnet_packets as wire
from adapters.outputs.span import UNIVERSE, spans
from adapters.outputs.udp import Packet, UdpFrames

DMX_REFRESH: Final = 44
"""Frames a second of ANSI E1.11 (DMX512-A) with 512 slots, which is what the outputs of a controller have."""

AGAIN: Final = 2
"""So often the last frame is repeated: nothing else says that it is the last."""


class ArtNetChain(Options):
    """The keys of one chain.

    Attributes:
        universe: its first port address; it takes as many as it needs, one after the other.
    """

    universe: Annotated[int, whole("a universe", 0, wire.PORT_ADDRESSES[-1])]


class ArtNetOptions(Options):
    """The keys of an Art-Net output.

    Attributes:
        host: the controller.
        port: where it listens.
        local_address: the address of this machine to send from.
        local_port: the port to send from; any if left out.
        refresh: frames a second at the most.
        chains: for each chain, by `node/chain`, where it is.
    """

    host: ShortHost
    port: Port = wire.PORT
    local_address: ShortAddress | None = None
    local_port: Port | None = None
    refresh: Refresh = DMX_REFRESH
    chains: dict[str, ArtNetChain] = Field(default_factory=dict)

    def faults(self, places: tuple[ChainPlace, ...]) -> tuple[Fault, ...]:
        """Find chains without a universe, and chains that need more of them than there are."""
        return (
            *look_at_chains(self.chains, places, "{universe: 0}"),
            *too_many(self._claims(places), wire.PORT_ADDRESSES),
        )

    def claims(self, places: tuple[ChainPlace, ...]) -> tuple[Claim, ...]:
        """Return the port addresses of each chain, in the order of the file, and the port to send from."""
        return (*self._claims(places), *local_port_claim(self.local_address, self.local_port))

    def _claims(self, places: tuple[ChainPlace, ...]) -> Iterator[Claim]:
        by_key = {place.key: place for place in places}
        for key, chain in self.chains.items():
            place = by_key.get(key)
            if place is not None:
                last = chain.universe + len(spans(place.chips, UNIVERSE)) - 1
                keys = ("chains", key, "universe")
                space = f"of Art-Net at {self.host}:{self.port}"
                yield Claim(space, "universe", chain.universe, last, key, keys)


class ArtNetStream:
    """One chain on the wire: its universes, each with a packet that is filled anew for every frame."""

    def __init__(self, place: ChainPlace, options: ArtNetOptions) -> None:
        first = options.chains[place.key].universe
        self._parts = [
            (part, part.stop - part.start, wire.dmx_packet(first + number, part.stop - part.start))
            for number, part in enumerate(spans(place.chips, UNIVERSE))
        ]

    def packets(self, levels: bytes) -> Iterator[Packet]:
        """Yield one packet for each universe; each counts for itself from 1 to 255."""
        for part, size, packet in self._parts:
            packet[wire.SEQUENCE] = packet[wire.SEQUENCE] % wire.SEQUENCES + 1
            packet[wire.LEVELS : wire.LEVELS + size] = levels[part]
            yield packet, None

    def farewell(self, levels: bytes) -> Iterator[Packet]:
        """Yield the last frame again."""
        for _time in range(AGAIN):
            yield from self.packets(levels)


class ArtNetFrames(UdpFrames):
    """A frame output by Art-Net: a chain in as many universes as it needs, and no chip in two of them."""

    options: ClassVar[type[Options]] = ArtNetOptions

    protocol: ClassVar[str] = "Art-Net"

    def streams(
        self,
        options: Options,
        places: tuple[ChainPlace, ...],
        host: OutputHost,  # noqa: ARG002 - a controller is not told who sends
    ) -> list[ArtNetStream]:
        """Return one stream for each chain."""
        return [ArtNetStream(place, cast("ArtNetOptions", options)) for place in places]
