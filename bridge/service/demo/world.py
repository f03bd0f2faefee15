"""The pretend layout as a whole: its nodes, its trains and its people, each on a link of their own."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from importlib.metadata import entry_points
from random import Random
from typing import Final, Protocol

from adapters.contract import Broker, Raw
from bridge.errors import LamproomError
from bridge.layout.model import Layout
from bridge.service.broker import BrokerAddress, BrokerLink
from bridge.service.connection import Note
from bridge.service.demo.player import Player
from bridge.service.demo.railroad import railroad
from bridge.service.demo.seen import TOPICS

NODES: Final = "lamproom.nodes"
"""The entry points of pretend nodes, each under the kind of the output that it is the other end of."""


class PretendNode(Protocol):
    """What a pretend node offers."""

    name: str
    shown: dict[str, bytes]
    link_lost: tuple[str, bytes]

    async def start(self) -> None:
        """Begin: announce itself and listen as soon as its link stands."""
        ...

    async def stop(self) -> None:
        """Say that it is gone, while its link still stands."""
        ...


class MakeNode(Protocol):
    """Makes a pretend node: its name, the bytes of a frame by the name of each chain, and a link of its own."""

    def __call__(self, name: str, chains: Mapping[str, int], link: Broker) -> PretendNode:
        """Make a node that does nothing yet."""
        ...


def installed_node(output: str) -> MakeNode:
    """Return how to make a pretend node for an output.

    Raises:
        LamproomError: there is none for this output.
    """
    for point in entry_points(group=NODES, name=output):
        make: MakeNode = point.load()
        return make
    raise LamproomError(
        f"there is no pretend node for the output {output!r}: install the adapter that has one, or lamproom again"
    )


class DemoWorld:
    """Everything around the bridge but the broker.

    Attributes:
        nodes: the pretend nodes by name.

    Args:
        layout: whose nodes and devices these are.
        port: the broker's, on this machine.
        notes: is told, in plain words, what happens to the links.
        seed: another one gives another day on the line.
        node_for: finds the way to make a node for an output.

    Raises:
        LamproomError: the layout is not that of the line, or an output has no pretend node.
    """

    def __init__(
        self,
        layout: Layout,
        port: int,
        *,
        notes: Note,
        seed: int = 1,
        node_for: Callable[[str], MakeNode] = installed_node,
    ) -> None:
        self._address = BrokerAddress("127.0.0.1", port)
        self._notes = notes
        self._links: list[BrokerLink] = []
        self.nodes: dict[str, PretendNode] = {}
        stage = railroad(layout, seed)
        chains: dict[tuple[str, str], dict[str, int]] = {}
        for chain in layout.chains:
            kind = layout.output(chain.output).kind
            chains.setdefault((chain.node, kind), {})[chain.name] = chain.length
        for (name, output), lengths in chains.items():
            link = self._link(f"pretend-node-{name}")
            node = node_for(output)(name, lengths, link)
            link.will(*node.link_lost)
            self.nodes[name] = node

        def seen(raw: Raw) -> None:
            stage.seen.hear(raw.channel, raw.payload)

        trains = self._link("pretend-railroad")
        for topic in TOPICS:
            trains.subscribe(topic, seen)
        self._player = Player(stage, trains)

    def _link(self, client_id: str) -> BrokerLink:
        link = BrokerLink(self._address, client_id=client_id, notes=self._notes, random=Random())  # noqa: S311 - jitter
        self._links.append(link)
        return link

    async def start(self) -> None:
        """Begin to connect; each of them begins its work when its link is up."""
        for node in self.nodes.values():
            await node.start()
        await self._player.start()
        for link in self._links:
            await link.start()

    async def stop(self) -> None:
        """End within a second, whatever the broker does, and leave no task behind."""
        try:
            await self._player.stop()
        finally:
            for node in self.nodes.values():
                await node.stop()
            await asyncio.gather(*(link.stop() for link in self._links))
