"""Nodes and chains: positions counted, byte offsets worked out, every channel given to one lamp."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

from bridge.layout.chips import CHIP_TYPES, parse_order
from bridge.layout.entries import Desk
from bridge.layout.findings import Mark, choice
from bridge.layout.model import Build, Chain, Chip, Fixture, Head, Wire
from bridge.layout.schema import ChainEntry, FixtureEntry, NodeEntry
from bridge.layout.text import Path

MAX_FRAME = 65_000
"""Bytes of one frame: far beyond what a data line can carry at a useful rate."""


@dataclass(slots=True)
class Planting:
    """Everything planted so far: fixtures by name (None if broken), and where each name was first seen."""

    chains: list[Chain] = field(default_factory=list)
    fixtures: dict[str, Fixture | None] = field(default_factory=dict)
    places: dict[str, tuple[str, Mark]] = field(default_factory=dict)


def read_nodes(desk: Desk, builds: dict[str, Build | None]) -> Planting:
    """Read the section `nodes` into chains and fixtures."""
    planting = Planting()
    for node, data, path in desk.section("nodes"):
        entry = desk.entry(NodeEntry, data, path)
        if entry is None:
            continue
        names: dict[str, Mark] = {}
        for index, each in enumerate(entry.chains):
            where = (*path, "chains", index)
            chain = desk.entry(ChainEntry, each, where)
            if chain is None:
                continue
            if chain.name in names:
                first = names[chain.name].line
                desk.error(
                    (*where, "name"),
                    f"{node} has two chains called {chain.name!r}; the first is in line {first}",
                )
                continue
            names[chain.name] = desk.mark(where)
            _Line(desk, builds, planting, node, entry.output).read(chain, where)
    return planting


class _Line:
    """Plants the fixtures of one chain."""

    def __init__(
        self, desk: Desk, builds: dict[str, Build | None], planting: Planting, node: str, output: str
    ) -> None:
        self._desk = desk
        self._builds = builds
        self._planting = planting
        self._node = node
        self._output = output
        self._chips: list[Chip] = []
        self._fixtures: list[Fixture] = []
        self._usual: dict[str, tuple[int, ...]] = {}
        self._used: dict[tuple[int, int], str] = {}
        self._length = 0

    def read(self, entry: ChainEntry, path: Path) -> None:
        for kind, order in entry.order.items():
            self._order_of_type(kind, order, (*path, "order", kind))
        for index, data in enumerate(entry.fixtures):
            where = (*path, "fixtures", index)
            fixture = self._desk.entry(FixtureEntry, data, where)
            if fixture is not None:
                self._plant(fixture, where)
        if self._length > MAX_FRAME:
            self._desk.error(
                path, f"the chain {entry.name!r} has {self._length} bytes: {MAX_FRAME} are allowed"
            )
        self._planting.chains.append(
            Chain(
                node=self._node,
                name=entry.name,
                output=self._output,
                chips=tuple(self._chips),
                fixtures=tuple(self._fixtures),
                mark=self._desk.mark(path),
            )
        )

    def _order_of_type(self, kind: str, order: Any, path: Path) -> None:
        chip = CHIP_TYPES.get(kind)
        if chip is None:
            self._desk.key_error(path, f"no chip is called {kind!r}; {choice(kind, CHIP_TYPES)}")
            return
        try:
            self._usual[kind] = parse_order(chip, order)
        except ValueError as problem:
            self._desk.error(path, str(problem))

    def _plant(self, entry: FixtureEntry, path: Path) -> None:
        seen = self._planting.places.get(entry.name)
        if seen is not None:
            where, first = seen
            self._desk.error(
                (*path, "name"),
                f"a fixture called {entry.name!r} is already on {where} (line {first.line}): "
                "every fixture hangs on one chain, under a name of its own",
            )
            return
        mark = self._desk.mark((*path, "name"))
        self._planting.places[entry.name] = (f"a chain of {self._node}", mark)
        self._planting.fixtures[entry.name] = None
        if entry.build not in self._builds:
            self._desk.error(
                (*path, "build"), f"no build is called {entry.build!r}; {choice(entry.build, self._builds)}"
            )
            return
        build = self._builds[entry.build]
        chips = None if build is None else self._chips_for(build, entry, path)
        if build is None or chips is None:
            return
        heads = tuple(self._place_head(head, chips, entry, path) for head in build.heads)
        fixture = Fixture(
            name=entry.name,
            build=build.name,
            chain=len(self._planting.chains),
            positions=tuple(chip.position for chip in chips),
            heads=heads,
            mark=mark,
        )
        self._fixtures.append(fixture)
        self._planting.fixtures[entry.name] = fixture

    def _chips_for(self, build: Build, entry: FixtureEntry, path: Path) -> list[Chip] | None:
        orders = self._own_orders(build, entry, path)
        if orders is None:
            return None
        chips: list[Chip] = []
        if entry.shares is not None:
            shared = self._shared(build, entry, path)
            if shared is None:
                return None
            chips.append(shared)
        elif entry.first_channel != 1:
            self._desk.error(
                (*path, "first-channel"), "first-channel belongs to a fixture that `shares` a chip"
            )
        for index in range(len(chips), len(build.chips)):
            kind = build.chips[index]
            usual = build.orders[index] or self._usual.get(kind.name) or tuple(range(kind.channels))
            chips.append(Chip(kind, len(self._chips) + 1, self._length, orders[index] or usual))
            self._chips.append(chips[-1])
            self._length += kind.channels
        return chips

    def _own_orders(
        self, build: Build, entry: FixtureEntry, path: Path
    ) -> list[tuple[int, ...] | None] | None:
        said = entry.order if isinstance(entry.order, list) else [entry.order] * len(build.chips)
        where = (*path, "order")
        if entry.order is not None and entry.shares is not None:
            self._desk.error(
                where, f"{entry.name} shares a chip: give the order where that chip is, at {entry.shares}"
            )
            return None
        if len(said) != len(build.chips):
            self._desk.error(
                where,
                f"the build {build.name!r} has {len(build.chips)} chips: give as many orders, not {len(said)}",
            )
            return None
        try:
            return [
                None if order is None else parse_order(kind, order)
                for kind, order in zip(build.chips, said, strict=True)
            ]
        except ValueError as problem:
            self._desk.error(where, str(problem))
            return None

    def _shared(self, build: Build, entry: FixtureEntry, path: Path) -> Chip | None:
        here = {fixture.name: fixture for fixture in self._fixtures}
        name = entry.shares or ""
        where = (*path, "shares")
        if name not in here:
            if self._planting.fixtures.get(name, ...) is None:
                return None  # it is there and has an error of its own
            self._desk.error(
                where, f"no fixture {name!r} stands before this one on the chain; {choice(name, here)}"
            )
            return None
        chip = self._chips[max(here[name].positions) - 1]
        if chip.type is not build.chips[0]:
            self._desk.error(
                where,
                f"{name} ends on a {chip.type.name}, and the build {build.name!r} begins with a {build.chips[0].name}",
            )
            return None
        return chip

    def _place_head(self, head: Head, chips: list[Chip], entry: FixtureEntry, path: Path) -> Head:
        lamps = []
        for lamp in head.lamps:
            wires = [self._place(wire, lamp.name, chips, entry, path) for wire in lamp.wires]
            lamps.append(replace(lamp, wires=tuple(wire for wire in wires if wire is not None)))
        return Head(head.name, tuple(lamps))

    def _place(
        self, wire: Wire, lamp: str, chips: list[Chip], entry: FixtureEntry, path: Path
    ) -> Wire | None:
        chip = chips[wire.chip]
        shift = entry.first_channel - 1 if wire.chip == 0 and entry.shares is not None else 0
        channel = wire.channel + shift
        if channel >= chip.type.channels:
            self._desk.error(
                path,
                f"{entry.name} {lamp} would lie on channel {channel + 1} of the chip at position {chip.position}, "
                f"which has {chip.type.channels}",
            )
            return None
        other = self._used.get((chip.position, channel))
        if other is not None:
            self._desk.error(
                path,
                f"channel {channel + 1} of the chip at position {chip.position} is used twice: it is already {other}; "
                "a fixture that shares a chip says with `first-channel` where it begins",
            )
            return None
        self._used[chip.position, channel] = f"{entry.name} {lamp}"
        return replace(wire, chip=chip.position, channel=channel, offset=chip.offset + chip.order[channel])
