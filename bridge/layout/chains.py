"""Nodes and chains: positions counted, byte offsets worked out, every channel given to one lamp."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

from bridge.layout.chips import CHIP_TYPES, ChipType, parse_order
from bridge.layout.entries import Desk
from bridge.layout.findings import Mark, choice, count
from bridge.layout.model import Build, Chain, Chip, Fixture, Head, Wire
from bridge.layout.schema import ChainEntry, FixtureEntry, NodeEntry
from bridge.layout.text import Path
from bridge.layout.units import FULL_LEVEL, part

MAX_FRAME = 65_000
"""Bytes of one frame: far beyond what a data line can carry at a useful rate."""


@dataclass(slots=True)
class Planting:
    """Everything planted so far: fixtures by name (None if broken), and where each name was first seen.

    `chains` have a frame and `unbuilt` have none yet; what is planned counts as built where `as_planned` says so.
    """

    trims: dict[str, int]
    as_planned: bool = False
    chains: list[Chain] = field(default_factory=list)
    unbuilt: list[Chain] = field(default_factory=list)
    fixtures: dict[str, Fixture | None] = field(default_factory=dict)
    places: dict[str, tuple[str, Mark]] = field(default_factory=dict)


def read_nodes(
    desk: Desk, builds: dict[str, Build | None], trims: dict[str, int], *, as_planned: bool = False
) -> Planting:
    """Read the section `nodes` into chains and fixtures.

    Args:
        desk: the document.
        builds: how each kind of fixture is made.
        trims: so much of the light of chips of these types is used.
        as_planned: read them as they will be once all that is planned is built.
    """
    planting = Planting(trims=trims, as_planned=as_planned)
    chains: list[Chain] = []
    broken: list[Any] = []
    for node, data, path in desk.section("nodes"):
        entry = desk.entry(NodeEntry, data, path)
        if entry is None:
            broken.append(data)
            continue
        names: dict[str, Mark] = {}
        for index, each in enumerate(entry.chains):
            where = (*path, "chains", index)
            chain = desk.entry(ChainEntry, each, where)
            if chain is None:
                broken.append(each)
                continue
            if chain.name in names:
                first = names[chain.name].line
                desk.error(
                    (*where, "name"),
                    f"{node} has two chains called {chain.name!r}; the first is in line {first}",
                )
            names.setdefault(chain.name, desk.mark((*where, "name")))
            chains.append(_Line(desk, builds, planting, node, chain).read(entry.output, where))
    for name in _names(broken):
        planting.fixtures.setdefault(name, None)
    _number(planting, chains)
    return planting


def _number(planting: Planting, chains: list[Chain]) -> None:
    """Give each chain its number, those that have a frame first, and tell it to the fixtures."""
    having = [chain for chain in chains if chain.chips]
    for number, chain in enumerate((*having, *(chain for chain in chains if not chain.chips))):
        fixtures = tuple(replace(fixture, chain=number) for fixture in chain.fixtures)
        planting.fixtures.update((fixture.name, fixture) for fixture in fixtures)
        (planting.chains if chain.chips else planting.unbuilt).append(replace(chain, fixtures=fixtures))


def _names(data: Any) -> Iterator[str]:
    """Find everything that is called something in what could not be read, so that its users are not blamed."""
    if isinstance(data, dict) and not isinstance(data.get("name"), dict | list | None):
        yield str(data["name"])
    for inner in data.values() if isinstance(data, dict) else data if isinstance(data, list) else ():
        yield from _names(inner)


class _Line:
    """Plants the fixtures of one chain."""

    def __init__(
        self, desk: Desk, builds: dict[str, Build | None], planting: Planting, node: str, chain: ChainEntry
    ) -> None:
        self._desk = desk
        self._builds = builds
        self._planting = planting
        self._node = node
        self._entry = chain
        self._chips: list[Chip] = []
        self._fixtures: dict[str, Fixture] = {}
        self._usual: dict[str, tuple[int, ...]] = {}
        self._used: dict[tuple[int, int], str] = {}
        self._length = 0
        self._last: dict[str, Chip] = {}  # the last chip of each fixture
        self._unplaced = 0  # bytes of all chips that are not on the data line
        self._broken: tuple[str, str] | None = (
            None  # the chip that nothing gets past, in words, and its fixture
        )

    def read(self, output: str, path: Path) -> Chain:
        for kind, order in self._entry.order.items():
            self._order_of_type(kind, order, (*path, "order", kind))
        for index, data in enumerate(self._entry.fixtures):
            where = (*path, "fixtures", index)
            fixture = self._desk.entry(FixtureEntry, data, where)
            if fixture is not None:
                self._plant(fixture, where)
                continue
            names = list(_names(data))
            self._planting.fixtures |= {name: None for name in names if name not in self._planting.fixtures}
            if not names:
                self._desk.unread.add("nodes")
        chain = Chain(
            node=self._node,
            name=self._entry.name,
            output=output,
            chips=tuple(self._chips),
            fixtures=tuple(self._fixtures.values()),
            mark=self._desk.mark(path),
        )
        if self._length > MAX_FRAME:
            self._desk.error(
                path,
                f"a frame of {chain.key} has {self._length} bytes: {MAX_FRAME} are allowed, so split the chain",
            )
        return chain

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
        self._planting.places[entry.name] = (f"{self._node}/{self._entry.name}", mark)
        self._planting.fixtures[entry.name] = None
        if entry.build not in self._builds and "builds" not in self._desk.unread:
            self._desk.error(
                (*path, "build"), f"no build is called {entry.build!r}; {choice(entry.build, self._builds)}"
            )
        build = self._builds.get(entry.build)
        chips = None if build is None else self._chips_for(build, entry, path)
        if build is None or chips is None:
            return
        found = len(self._desk.findings)
        heads = tuple(self._place_head(head, build, chips, entry, path) for head in build.heads)
        if len(self._desk.findings) > found:
            return
        fixture = Fixture(
            name=entry.name,
            build=build.name,
            chain=-1,
            positions=tuple(chip.position for chip in chips if chip.position),
            heads=heads,
            mark=mark,
            planned=self._planned(entry),
        )
        self._fixtures[entry.name] = fixture
        self._last[entry.name] = chips[-1]
        self._planting.fixtures[entry.name] = fixture

    def _planned(self, entry: FixtureEntry) -> bool:
        return (entry.planned or self._entry.planned) and not self._planting.as_planned

    def _chips_for(self, build: Build, entry: FixtureEntry, path: Path) -> list[Chip] | None:
        orders = self._own_orders(build, entry, path)
        if orders is None or not self._are_chips(build, entry, path):
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
            chips.append(self._string(entry, index + 1, kind, orders[index] or usual))
        return chips

    def _string(self, entry: FixtureEntry, number: int, kind: ChipType, order: tuple[int, ...]) -> Chip:
        """Put a chip on the data line; or beside it, if it is not built yet or was bypassed."""
        called = f"chip {number} of {entry.name}"
        if self._planned(entry):
            return self._beside(kind, order, self._not_built(entry))
        if number in entry.bypassed:
            return self._beside(kind, order, f"{called} is bypassed")
        if self._broken is None and number in entry.broken:
            self._broken = called, entry.name
        lost = ""
        if self._broken is not None:
            first, fixture = self._broken
            lost = f"{first} is broken" + (
                "" if fixture == entry.name else f", and {entry.name} lies behind it"
            )
        chip = Chip(kind, len(self._chips) + 1, self._length, order, lost)
        self._chips.append(chip)
        self._length += kind.channels
        return chip

    def _beside(self, kind: ChipType, order: tuple[int, ...], lost: str) -> Chip:
        self._unplaced += kind.channels
        return Chip(kind, 0, -self._unplaced, order, lost)

    def _not_built(self, entry: FixtureEntry) -> str:
        what = f"the chain {self._node}/{self._entry.name}"
        return f"{what if self._entry.planned else entry.name} is planned and not built yet"

    def _are_chips(self, build: Build, entry: FixtureEntry, path: Path) -> bool:
        """Return whether what is said of single chips can be so, and note it if not."""
        sound = True
        for key, numbers in (("bypassed", entry.bypassed), ("broken", entry.broken)):
            for index, number in enumerate(numbers):
                wrong = ""
                if number > len(build.chips):
                    wrong = f"there is no chip {number}: the build {build.name!r} has {count(len(build.chips), 'chip')}"
                elif number == 1 and entry.shares is not None:
                    wrong = f"chip 1 of {entry.name} is the last one of {entry.shares}: say it there"
                elif entry.planned or self._entry.planned:
                    wrong = f"{entry.name} is planned, so it has no chip yet that could be {key}"
                elif key == "broken" and number in entry.bypassed:
                    wrong = f"chip {number} of {entry.name} is bypassed: what it does no longer matters"
                if wrong:
                    self._desk.error((*path, key, index), wrong)
                    sound = False
        return sound

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
                f"the build {build.name!r} has {count(len(build.chips), 'chip')}, "
                f"and here {'is' if len(said) == 1 else 'are'} {count(len(said), 'order')}: give one for each chip, "
                "or one word for all, such as order: GRB",
            )
            return None
        orders: list[tuple[int, ...] | None] = []
        for index, (kind, order) in enumerate(zip(build.chips, said, strict=True)):
            try:
                orders.append(None if order is None else parse_order(kind, order))
            except ValueError as problem:
                self._desk.error((*where, index), str(problem))
                return None
        return orders

    def _shared(self, build: Build, entry: FixtureEntry, path: Path) -> Chip | None:
        here = self._fixtures
        name = entry.shares or ""
        where = (*path, "shares")
        if name not in here:
            if self._planting.fixtures.get(name, ...) is None and name != entry.name:
                return None  # it is there and has an error of its own
            allowed = choice(name, here) if here else "this one is the first"
            self._desk.error(where, f"no fixture {name!r} stands before this one on the chain; {allowed}")
            return None
        if here[name].planned and not self._planned(entry):
            self._desk.error(
                where,
                f"{name} is planned, so it has no chip yet that could be shared: "
                f"say `planned: true` of {entry.name} as well",
            )
            return None
        chip = self._last[name]
        if chip.type is not build.chips[0]:
            self._desk.error(
                where,
                f"{name} ends on {chip.type.called}, and the build {build.name!r} begins with {build.chips[0].called}",
            )
            return None
        if entry.first_channel > 1 and not chip.type.driver:
            self._desk.error(
                (*path, "first-channel"),
                f"{chip.type.called} has its LEDs inside, each with its colour: first-channel belongs to a driver",
            )
            return None
        return self._beside(chip.type, chip.order, self._not_built(entry)) if self._planned(entry) else chip

    def _place_head(
        self, head: Head, build: Build, chips: list[Chip], entry: FixtureEntry, path: Path
    ) -> Head:
        lamps = []
        for lamp in head.lamps:
            wires = []
            for wire in lamp.wires:
                placed = self._place(wire, lamp.name, chips, entry, path)
                if placed is None:
                    break
                of_type = self._planting.trims.get(wire.kind, FULL_LEVEL)
                trim = part(lamp.trim, build.trim, of_type, self._entry.trim)
                wires.append(replace(placed, trim=trim))
            lamps.append(replace(lamp, wires=tuple(wires)))
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
                f"the lamp {lamp} of {entry.name} would lie on channel {channel + 1} of {chip.type.called}, "
                f"which has {chip.type.channels}",
            )
            return None
        other = self._used.get((chip.offset, channel))
        if other is not None:
            self._desk.error(
                path,
                f"channel {channel + 1} of this chip is used twice: it already lights {other}; "
                "a fixture that shares a chip says with `first-channel` where it begins",
            )
            return None
        self._used[chip.offset, channel] = f"the lamp {lamp} of {entry.name}"
        return replace(
            wire,
            chip=chip.position,
            channel=channel,
            offset=chip.offset + chip.order[channel],
            lost=chip.lost,
        )
