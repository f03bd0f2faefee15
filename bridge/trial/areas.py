"""What a lamp test is of: the channels that a word of the layout file stands for, chain by chain."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, NamedTuple

from bridge.layout.findings import choice
from bridge.layout.model import Chain, Layout
from bridge.light.plans import DevicePlan
from bridge.light.wires import wires_of

ALL: Final = "all"
"""The area that is the whole layout."""


class Channel(NamedTuple):
    """One channel: its chip's position on the chain, its own number in the data sheet, its byte in the frame."""

    position: int
    number: int
    offset: int


@dataclass(frozen=True, slots=True)
class Part:
    """What lies on one chain.

    Attributes:
        chain: index of the chain.
        key: `node/chain`.
        channels: in the order of the data line; those of one chip in the order of its data sheet.
        whole: it is all of the chain.
        signals: the signals that show something false while these are tried.
        devices: these, and all lights besides.
    """

    chain: int
    key: str
    channels: tuple[Channel, ...]
    whole: bool
    signals: tuple[str, ...]
    devices: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Area:
    """What a word stands for; `single` where it is one fixture or one device."""

    word: str
    parts: tuple[Part, ...]
    single: bool


class Areas:
    """All areas of a layout."""

    def __init__(self, layout: Layout, plans: tuple[DevicePlan, ...]) -> None:
        self._layout = layout
        self._plans = plans
        self._channels = [_channels(chain) for chain in layout.chains]

    def find(self, word: str) -> Area:
        """Return what a word stands for: the first that has this name of nodes, chains, fixtures and devices.

        Raises:
            ValueError: nothing is called so, or it has no channel; the message says what there is.
        """
        chains = self._layout.chains
        whole = [
            index
            for index, chain in enumerate(chains)
            if word in (ALL, chain.node, chain.key) and chain.length
        ]
        if whole:
            return Area(word, tuple(self._whole(index) for index in whole), single=False)
        fixture = self._layout.fixtures().get(word)
        if fixture is not None:
            places = [(fixture.chain, wire.offset) for wire, _lamp in wires_of(fixture)]
        else:
            plan = next((plan for plan in self._plans if plan.name == word), None)
            if plan is None:
                raise ValueError(f"there is no {word!r} in this layout; {choice(word, self.words())}")
            places = list(plan.places)
        if not places:
            raise ValueError(f"{word} has no lamp that could be tried")
        of_chains = sorted({chain for chain, _offset in places})
        parts = [
            self._part(chain, {offset for index, offset in places if index == chain}) for chain in of_chains
        ]
        return Area(word, tuple(parts), single=True)

    def words(self) -> list[str]:
        """Return the names of all areas, the large ones first, each once."""
        chains = self._layout.chains
        found = [ALL, *(chain.node for chain in chains), *(chain.key for chain in chains)]
        return list(dict.fromkeys([*found, *self._layout.fixtures(), *(plan.name for plan in self._plans)]))

    def _whole(self, chain: int) -> Part:
        return self._part(chain, {channel.offset for channel in self._channels[chain]})

    def _part(self, chain: int, offsets: set[int]) -> Part:
        own = tuple(channel for channel in self._channels[chain] if channel.offset in offsets)
        signals = len(self._layout.signals)
        concerned = [
            (index, plan.name)
            for index, plan in enumerate(self._plans)
            if any(each == chain and offset in offsets for each, offset in plan.places)
        ]
        return Part(
            chain=chain,
            key=self._layout.chains[chain].key,
            channels=own,
            whole=len(own) == len(self._channels[chain]),
            signals=tuple(name for index, name in concerned if index < signals),
            devices=tuple(name for _index, name in concerned),
        )


def _channels(chain: Chain) -> tuple[Channel, ...]:
    return tuple(
        Channel(chip.position, channel + 1, chip.offset + chip.order[channel])
        for chip in chain.chips
        for channel in range(chip.type.channels)
    )


def inverted(chain: Chain) -> frozenset[int]:
    """Return the bytes of a chain's frame that are dark at 255."""
    return frozenset(_inverted(chain))


def _inverted(chain: Chain) -> Iterable[int]:
    for fixture in chain.fixtures:
        for head in fixture.heads:
            for lamp in head.lamps:
                yield from (wire.offset for wire in lamp.wires if wire.inverted)
