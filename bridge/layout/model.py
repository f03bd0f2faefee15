"""A layout as the other rooms see it: everything resolved, placed and frozen.

Byte offsets count from 0 within a chain's frame, positions of chips from 1 next to the node, levels from 0
to 65535 in linear light.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Final, NamedTuple

from bridge.events import SECOND
from bridge.layout.chips import CHIP_TYPES, ChipType
from bridge.layout.conditions import Condition
from bridge.layout.connections import BrokerPlace, Output, Source
from bridge.layout.controls import CommandRow, Control, LastCommand
from bridge.layout.crossings import Crossing
from bridge.layout.dies import Dies
from bridge.layout.effects.families import Effect
from bridge.layout.findings import Mark
from bridge.layout.keeping import Keeping
from bridge.layout.routes import Locking, Route
from bridge.layout.targets import Target
from bridge.layout.trackside import District, Turnout
from bridge.layout.units import FULL_LEVEL
from bridge.layout.zones import Zone

DARK: Final = "dark"
"""The aspect of a signal that shows no light at all; every signal has it."""

MINUTE: Final = 60 * SECOND

ON: Final = "on"
OFF: Final = "off"
"""The two aspects of a light that is no signal."""


class LampKind(StrEnum):
    """How a lamp makes its light."""

    FULL_COLOUR = "full-colour"  # the channels of one chip mix any colour
    LEDS = "leds"  # one or more channels, each with LEDs of the lamp's own colour
    MIX = "mix"  # other lamps of the head, lit together


@dataclass(frozen=True, slots=True)
class Wire:
    """One channel of a lamp.

    Attributes:
        chip: in a build, the index of its chip; on a chain, the chip's position.
        channel: index of the channel in the order of the data sheet.
        offset: byte in the chain's frame; below 0 where the frame has none for it, each on the chain another.
        die: letter of the data sheet for a full-colour lamp, empty for LEDs outside the chip.
        share: this channel's part of the lamp's level.
        inverted: full light is sent as 0.
        leds: LEDs in series.
        supply_mv: voltage at the far end of the LEDs, millivolts.
        resistor_ohm: series resistor, ohms.
        kind: the type of its chip.
        trim: so much of its light is used; on a chain, all trims together.
        least: the lowest level at which it still lights; 0 if nothing is known of that.
        lost: why it cannot be relied upon, in words: nothing is soldered to it yet, or its chip has died; or empty.
    """

    chip: int
    channel: int
    offset: int
    die: str
    share: int
    inverted: bool
    leds: int
    supply_mv: int
    resistor_ohm: int
    kind: str
    trim: int = FULL_LEVEL
    least: int = 0
    lost: str = ""


@dataclass(frozen=True, slots=True)
class Lamp:
    """A named light of a fixture.

    Attributes:
        name: unique in its head.
        kind: how it makes its light.
        colour: what its owner says of its colour, or empty.
        wires: its channels; none for a mix.
        mix: for a mix, the other lamps by name with their levels.
        dimmable: whether it may be lit in part.
        lens: lamps of one head with the same lens look out of the same hole.
        mark: its place in the file.
        colour_mark: the place of its colour, or its own.
        trim: so much of its light is used.
        mcd: the full light of a lamp made of LEDs, millicandela; 0 if nothing is known of it.
    """

    name: str
    kind: LampKind
    colour: str
    wires: tuple[Wire, ...]
    mix: tuple[tuple[str, int], ...]
    dimmable: bool
    lens: str
    mark: Mark
    colour_mark: Mark
    trim: int = FULL_LEVEL
    mcd: int = 0


@dataclass(frozen=True, slots=True)
class Head:
    """Lamps that show one indication together, top to bottom; the name is empty where there is only one."""

    name: str
    lamps: tuple[Lamp, ...]


@dataclass(frozen=True, slots=True)
class Build:
    """How a kind of fixture is made.

    Attributes:
        name: as the layout file has it.
        chips: in the order of the data line.
        orders: the byte index by channel of each chip, None if usual.
        heads: top to bottom.
        trim: so much of the light of all its lamps is used.
    """

    name: str
    chips: tuple[ChipType, ...]
    orders: tuple[tuple[int, ...] | None, ...]
    heads: tuple[Head, ...]
    trim: int = FULL_LEVEL


@dataclass(frozen=True, slots=True)
class Chip:
    """One chip in its place on a chain; `order[channel]` is the index of that channel's byte in the chip.

    One that is not on the data line has the position 0 and an offset below 0. `lost` is as that of a wire.
    """

    type: ChipType
    position: int
    offset: int
    order: tuple[int, ...]
    lost: str = ""


@dataclass(frozen=True, slots=True)
class Fixture:
    """Something planted on the layout, with its lamps wired to bytes of its chain's frame.

    `chain` is an index into `Layout.all_chains`, and `positions` are those of its chips that are on the data line.
    """

    name: str
    build: str
    chain: int
    positions: tuple[int, ...]
    heads: tuple[Head, ...]
    mark: Mark
    planned: bool = False

    @property
    def lost(self) -> str:
        """Why one of its lamps cannot be relied upon, in words; empty if all can."""
        wires = (wire for head in self.heads for lamp in head.lamps for wire in lamp.wires)
        return next((wire.lost for wire in wires if wire.lost), "")

    def lamp(self, head: str, name: str) -> Lamp:
        """Return one of its lamps."""
        (own,) = (each for each in self.heads if each.name == head)
        return next(lamp for lamp in own.lamps if lamp.name == name)

    def lamp_lost(self, head: str, name: str) -> str:
        """Return why one of its lamps, or what is mixed in it, cannot be relied upon, in words; empty if it can."""
        lamp = self.lamp(head, name)
        lit = (lamp, *(self.lamp(head, other) for other, _level in lamp.mix))
        return next((wire.lost for each in lit for wire in each.wires if wire.lost), "")

    def only(self, heads: Collection[str]) -> Fixture:
        """Return this fixture as it is for who uses some of its heads, in the order in which they sit on the mast."""
        return replace(self, heads=tuple(head for head in self.heads if head.name in heads))


@dataclass(frozen=True, slots=True)
class Chain:
    """One data line: its chips in order, and the length of a whole frame in bytes; with no chip there is no frame."""

    node: str
    name: str
    output: str
    chips: tuple[Chip, ...]
    fixtures: tuple[Fixture, ...]
    mark: Mark

    @property
    def key(self) -> str:
        """How the chain is called outside this file: `node/chain`."""
        return f"{self.node}/{self.name}"

    @property
    def length(self) -> int:
        """Bytes of a whole frame."""
        return sum(chip.type.channels for chip in self.chips)


@dataclass(frozen=True, slots=True)
class Shown:
    """One lamp or colour that is asked for, by its word, with a level.

    Attributes:
        word: the lamp or the colour.
        level: its light.
        mark: its place in the file.
        flashing: it is lit in the first part of each flash only.
        alternating: it is lit in the other part only: as what flashes goes dark, it comes on.
    """

    word: str
    level: int
    mark: Mark
    flashing: bool = False
    alternating: bool = False


@dataclass(frozen=True, slots=True)
class Flash:
    """How the lamps of a signal flash: so many times a minute, lit for so many hundredths of each time.

    No standard number was found for signals; once a second and half of it lit is common practice.
    """

    rate: int = 60
    lit: int = 50

    @property
    def period(self) -> int:
        """Nanoseconds from one flash to the next."""
        return MINUTE // self.rate


@dataclass(frozen=True, slots=True)
class AspectRow:
    """An aspect and what each head shows for it.

    Attributes:
        name: as the rule book has it.
        heads: for each head by name, the lamps or colours that are lit; none lit is dark.
        mark: its place in the file.
        required: whether it has to be possible; a row of a shared set only has to be where it is ordered.
    """

    name: str
    heads: tuple[tuple[str, tuple[Shown, ...]], ...]
    mark: Mark
    required: bool


class Way(StrEnum):
    """How one picture gives way to the next."""

    CUT = "cut"  # at once
    FADE = "fade"  # in even steps of lightness
    FILAMENT = "filament"  # as a lamp warms up and cools down
    DARK = "through dark"  # what was lit is dark for a while before anything else is lit
    RED = "through red"  # a head that changes its colour is red for a while between them


@dataclass(frozen=True, slots=True)
class Change:
    """How one picture gives way to the next.

    Attributes:
        way: the way.
        time: nanoseconds: of a fade as a whole, of a filament until it gives nine tenths of its light, of what lies
            between as long as it lasts; 0 for a cut.
    """

    way: Way = Way.CUT
    time: int = 0


@dataclass(frozen=True, slots=True)
class Signal:
    """A signal: the fixture it stands on, its aspects and what tells it which of them to show.

    Attributes:
        name: unique among all devices.
        fixture: where it stands.
        aspects: the most restrictive first.
        sequence: those of automatic signalling, by the number of clear sections ahead; none if it has no such.
        controls: what tells it; the most restrictive of what they say counts.
        dark_under: the main signal of its mast, under which it is dark while that shows its most restrictive aspect.
        lit_by: the blocks of which one has to be occupied for it to be lit; none if it is always lit.
        routes: from it to the next signals; with any, it is interlocked and clears for none but these.
        locking: how it locks them.
        restores: whether it takes up again what it was ordered before a restart.
        change: how one aspect gives way to the next.
        mark: its place in the file.
        heads: the heads of the fixture that it uses, top to bottom; its aspects are about these.
        flash: how its lamps flash, where they do.
        plate: whether it has a number plate, so that a train may pass its most restrictive aspect after a stop.
        arm: where its semaphore arm stands for each aspect, if it has one; for any other, as for the most restrictive.
        zone: with what its lamps are dimmed, or empty.
        matched: whether its lamps are as bright as each other at the same level.
        lost: why its lamps cannot be relied upon, in words, and it is out of use for that; or empty.
    """

    name: str
    fixture: str
    aspects: tuple[AspectRow, ...]
    sequence: tuple[str, ...]
    controls: tuple[Control, ...]
    dark_under: str
    lit_by: tuple[str, ...]
    routes: tuple[Route, ...]
    locking: Locking
    restores: bool
    change: Change
    mark: Mark
    heads: tuple[str, ...]
    flash: Flash = Flash()
    plate: bool = False
    arm: dict[str, str] = field(default_factory=dict)
    zone: str = ""
    matched: bool = True
    lost: str = ""

    @property
    def commands(self) -> tuple[CommandRow, ...]:
        """The accessories that order it directly."""
        return tuple(row for each in self.controls if isinstance(each, LastCommand) for row in each.rows)

    @property
    def rest(self) -> str:
        """The most restrictive aspect."""
        return self.aspects[0].name


@dataclass(frozen=True, slots=True)
class Block:
    """A stretch of track with a detector of its own; times in nanoseconds.

    Attributes:
        name: as its detector's events have it.
        district: the power district that it lies in, or empty.
        occupied_after: it is taken for occupied when it was reported so for this long.
        clear_after: and for clear when it was reported so for this long.
        mark: its place in the file.
        fouls: blocks in which a train would be hit by one in here; said of one of two, it holds for both.
    """

    name: str
    district: str
    occupied_after: int
    clear_after: int
    mark: Mark
    fouls: tuple[str, ...] = ()


class WhenUnknown(StrEnum):
    """What a light does while it does not know what it should do."""

    HOLD = "hold"
    OFF = "off"
    ON = "on"


class Place(NamedTuple):
    """A lamp where it is planted: the fixture, the head and the lamp by their names."""

    fixture: str
    head: str
    lamp: str


@dataclass(frozen=True, slots=True)
class Light:
    """A light that is no signal: on while a condition holds.

    Attributes:
        name: unique among all devices.
        lamps: those that are its own, in the order in which what runs along them runs.
        shows: what it looks like when it is on.
        effect: what it does then, or nothing if it is steady.
        spread: each lamp comes on and goes out a little later than the light, up to so many nanoseconds.
        when: when it is on.
        when_unknown: what it does while nobody knows whether the condition holds.
        restores: whether an order that was given before a restart counts for it.
        change: how it comes on and goes out.
        mark: its place in the file.
        zone: with what it is dimmed, or empty.
        lost: why none of its lamps can be relied upon, in words, and it is out of use for that; or empty.
    """

    name: str
    lamps: tuple[Place, ...]
    shows: Shown
    effect: Effect | None
    spread: int
    when: Condition
    when_unknown: WhenUnknown
    restores: bool
    change: Change
    mark: Mark
    zone: str = ""
    lost: str = ""


@dataclass(frozen=True, slots=True)
class Layout:
    """A whole layout, ready to be driven.

    The posts of crossings are signals that follow their crossing, and come last among them. `lamp_names` has also the
    lamps of builds that could not be read. `dies` is what the owner measured of types of chips, and `still` is when all
    flashing is stilled, if that is ever. `chains` are those that have a frame, and `unbuilt` those that have none yet.
    """

    name: str
    scale: str
    frames_per_second: int
    restore_within: int
    broker: BrokerPlace
    sources: tuple[Source, ...]
    chains: tuple[Chain, ...]
    districts: tuple[District, ...]
    blocks: tuple[Block, ...]
    turnouts: tuple[Turnout, ...]
    signals: tuple[Signal, ...]
    lights: tuple[Light, ...]
    crossings: tuple[Crossing, ...]
    colours: dict[str, Target]
    colour_marks: dict[str, Mark] = field(default_factory=dict)
    builds: tuple[Build, ...] = ()
    lamp_names: frozenset[str] = frozenset()
    outputs: tuple[Output, ...] = ()
    zones: tuple[Zone, ...] = ()
    still: Condition | None = None
    dies: dict[str, Dies] = field(default_factory=dict)
    keeping: Keeping = field(default_factory=Keeping)
    unbuilt: tuple[Chain, ...] = ()

    @property
    def all_chains(self) -> tuple[Chain, ...]:
        """The chains that have a frame, and then those that have none."""
        return (*self.chains, *self.unbuilt)

    def dies_of(self, kind: str) -> Dies:
        """Return what shines in a type of chip here: what the owner measured, or else what its data sheet says."""
        return self.dies.get(kind) or CHIP_TYPES[kind].dies

    def fixture(self, name: str) -> Fixture:
        """Return a fixture by its name; there is always one for a device's fixture."""
        return self.fixtures()[name]

    def fixtures(self) -> dict[str, Fixture]:
        """Return all fixtures by name, in the order of the data lines."""
        return {fixture.name: fixture for chain in self.all_chains for fixture in chain.fixtures}

    def output(self, name: str) -> Output:
        """Return an output by its name; there is always one for a chain's output."""
        return next(output for output in self.outputs if output.name == name)
