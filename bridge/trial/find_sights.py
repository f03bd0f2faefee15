"""What the owner can see of a chain: every light under a name of its own, and the ways in which a chip can be soldered.

The finder knows nothing of the layout beyond this page, so it does not matter to it whether a light is a die of a
pixel, an LED on a driver, a fixture that shares its chip with another or a lamp behind a transistor that turns its
level round.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import permutations
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from bridge.layout.chips import DIE_COLOURS
from bridge.layout.model import Chain, Chip, Fixture, Head, Lamp, LampKind

Masks: TypeAlias = NDArray[np.int64]

NOWHERE: Final = -1
"""What hangs on a channel that nothing hangs on."""

SPARE_CHIPS: Final = 3
"""So many chips more than the file has can be found on a chain; frames are longer by as much."""

_TWO: Final = ("top", "bottom")
_THREE: Final = ("top", "middle", "bottom")


@dataclass(frozen=True, slots=True)
class Sight:
    """A light that its owner can tell from any other.

    Attributes:
        fixture: where it is.
        what: which light of the fixture, in words; empty where the fixture has no other.
        also: words that say the same and are understood as well.
    """

    fixture: str
    what: str
    also: tuple[str, ...] = ()

    def __str__(self) -> str:
        return f"{self.fixture} {self.what}".rstrip()


@dataclass(frozen=True, slots=True)
class Soldering:
    """One way in which the bytes of a chip can reach its lights.

    Attributes:
        channels: for each byte, the channel (by the file's wiring) that it lights, counted from 0.
        broken: which of the chip's sights never lights; `NOWHERE` if all do.
        double: a second chip of the same kind follows and lights the same.
    """

    channels: tuple[int, ...]
    broken: int = NOWHERE
    double: bool = False


@dataclass(frozen=True, slots=True)
class Pattern:
    """What chips have in common that look alike to the finder.

    Attributes:
        bytes: how many the chip takes off the line.
        window: how many bytes, from its first, decide what is seen.
        local: for each channel, which of the chip's sights it lights, or `NOWHERE`.
        inverted: for each channel, whether it is lit by 0.
        solderings: those that can be told from each other.
        table: for each soldering and each window of bits (bit j is byte j), which sights are lit, a bit for each.
        without_data: which are lit while no data arrive.
    """

    bytes: int
    window: int
    local: tuple[int, ...]
    inverted: tuple[bool, ...]
    solderings: tuple[Soldering, ...]
    table: Masks
    without_data: int


@dataclass(frozen=True, slots=True)
class Place:
    """One chip of the file with what is to be seen of it.

    Attributes:
        chip: as the file has it.
        fixtures: the fixtures that it lights or belongs to, first the one where it stands.
        sights: numbers of its sights in `Sights.all`, by local number.
        pattern: how it may be soldered.
        shared: a bit for each of its sights that other chips light as well.
    """

    chip: Chip
    fixtures: tuple[Fixture, ...]
    sights: tuple[int, ...]
    pattern: Pattern
    shared: int

    @property
    def name(self) -> str:
        """How it is called in a sentence: by its fixture, and by its number where that has several chips."""
        first = self.fixtures[0]
        if len(first.positions) == 1:
            return first.name
        return f"{first.name} (chip {first.positions.index(self.chip.position) + 1})"

    @property
    def channels(self) -> tuple[int, ...]:
        """For each byte, the channel that it lights by the file."""
        return tuple(self.chip.order.index(byte) for byte in range(self.pattern.bytes))


class Sights:
    """All that can be seen of one chain.

    Attributes:
        chain: as the file has it.
        coloured: whether colours are told from each other; if not, lights at one place are one sight.
        all: every sight.
        places: the chips of the file in their order.
        widest: the most bytes that a chip of it takes.
        offsets: every byte of a frame at which a chip may begin, whatever stands before it.
        length: bytes of a picture: the file's, and those of the spare chips.
    """

    def __init__(self, chain: Chain, *, coloured: bool = True) -> None:
        self.chain = chain
        self.coloured = coloured
        self._numbers: dict[Sight, int] = {}
        self._patterns: dict[tuple[tuple[int, ...], tuple[bool, ...]], Pattern] = {}
        owners: dict[int, int] = {}
        drafts: list[tuple[Chip, tuple[Fixture, ...], tuple[int, ...], Pattern]] = []
        for chip in chain.chips:
            fixtures = tuple(each for each in chain.fixtures if chip.position in each.positions)
            channels = [self._on_channel(chip, channel, fixtures) for channel in range(chip.type.channels)]
            sights = tuple(dict.fromkeys(number for number, _inverted in channels if number != NOWHERE))
            local = tuple(NOWHERE if number == NOWHERE else sights.index(number) for number, _ in channels)
            pattern = self._pattern(local, tuple(inverted for _number, inverted in channels))
            for number in sights:
                owners[number] = owners.get(number, 0) + 1
            drafts.append((chip, fixtures, sights, pattern))
        self.all = tuple(self._numbers)
        self.places = tuple(
            Place(
                *draft,
                shared=sum(1 << local for local, number in enumerate(draft[2]) if owners[number] > 1),
            )
            for draft in drafts
        )
        self.widest = max(chip.type.channels for chip in chain.chips)
        self.length = chain.length + SPARE_CHIPS * self.widest
        self.offsets: Masks = np.array(self._starts(), dtype=np.int64)

    def _starts(self) -> list[int]:
        """Return where a chip may begin: after any number of chips of the types that there are."""
        counts = [chip.type.channels for chip in self.chain.chips]
        few = {width: counts.count(width) + SPARE_CHIPS for width in sorted(set(counts))}
        starts = {0}
        for width, most in few.items():
            starts = {start + width * times for start in sorted(starts) for times in range(most + 1)}
        return [start for start in sorted(starts) if start <= self.length - min(counts)]

    def _pattern(self, local: tuple[int, ...], inverted: tuple[bool, ...]) -> Pattern:
        key = local, inverted
        if key not in self._patterns:
            self._patterns[key] = sound_pattern(local, inverted)
        return self._patterns[key]

    def _number(self, sight: Sight) -> int:
        return self._numbers.setdefault(sight, len(self._numbers))

    def _on_channel(self, chip: Chip, channel: int, fixtures: tuple[Fixture, ...]) -> tuple[int, bool]:
        """Return the sight on a channel and whether it is inverted."""
        on_chip: list[tuple[Fixture, Head, Lamp]] = []
        for fixture in fixtures:
            for head in fixture.heads:
                for lamp in head.lamps:
                    for wire in lamp.wires:
                        if wire.chip != chip.position:
                            continue
                        if wire.channel == channel:
                            return self._number(self._sight(fixture, head, lamp, wire.die)), wire.inverted
                        on_chip.append((fixture, head, lamp))
        if chip.type.driver:
            return NOWHERE, False
        # Nothing is said of this die, and it is there and will shine.
        letter = chip.type.order[channel]
        if on_chip:
            fixture, head, lamp = on_chip[0]
            return self._number(self._sight(fixture, head, lamp, letter, unused=True)), False
        number = fixtures[0].positions.index(chip.position) + 1
        colour = f" {DIE_COLOURS[letter]}" if self.coloured else ""
        return self._number(Sight(fixtures[0].name, f"chip {number}{colour}")), False

    def _sight(self, fixture: Fixture, head: Head, lamp: Lamp, die: str, *, unused: bool = False) -> Sight:
        """Return what its owner calls a light of a fixture: as short as can be, and what else it may be called."""
        if not self.coloured:
            return Sight(fixture.name, _from_the_top(fixture, head, lamp))
        inside = lamp.kind is LampKind.FULL_COLOUR or unused
        several = sum(bool(other.wires) for other in head.lamps) > 1
        words = [head.name] if len(fixture.heads) > 1 else []
        if several or not (inside or words):
            words.append(lamp.name)
        if inside:
            words.append(DIE_COLOURS[die])
        known = (head.name, lamp.name, DIE_COLOURS[die] if inside else lamp.colour)
        return Sight(fixture.name, " ".join(words), tuple(word for word in known if word))


def _from_the_top(fixture: Fixture, head: Head, lamp: Lamp) -> str:
    """Return where a light sits on its fixture: lamps stand in the file from the top down."""
    holes = list(
        dict.fromkeys(
            (each.name, other.lens, "" if other.lens else other.name)
            for each in fixture.heads
            for other in each.lamps
            if other.wires
        )
    )
    at = holes.index((head.name, lamp.lens, "" if lamp.lens else lamp.name))
    match len(holes):
        case 1:
            return ""
        case 2:
            return _TWO[at]
        case 3:
            return _THREE[at]
        case _:
            return f"place {at + 1}"


def _lit(channels: tuple[int, ...], local: tuple[int, ...], inverted: tuple[bool, ...], bits: int) -> int:
    seen = 0
    for byte, channel in enumerate(channels):
        if local[channel] != NOWHERE and bool(bits >> byte & 1) != inverted[channel]:
            seen |= 1 << local[channel]
    return seen


def _without_data(local: tuple[int, ...], inverted: tuple[bool, ...]) -> int:
    return _lit(tuple(range(len(local))), local, inverted, 0)


def sound_pattern(local: tuple[int, ...], inverted: tuple[bool, ...]) -> Pattern:
    """Return all solderings of a chip of which everything lights, each that looks different once."""
    width = len(local)
    rows: dict[tuple[int, ...], Soldering] = {}
    for channels in permutations(range(width)):
        row = tuple(_lit(channels, local, inverted, bits) for bits in range(1 << width))
        rows.setdefault(row, Soldering(channels))
    return Pattern(
        bytes=width,
        window=width,
        local=local,
        inverted=inverted,
        solderings=tuple(rows.values()),
        table=np.array(tuple(rows), dtype=np.int64),
        without_data=_without_data(local, inverted),
    )


def broken_pattern(sound: Pattern) -> Pattern:
    """Return what else a chip may be: one of its lights is broken, or a second chip follows that lights the same.

    These are looked at only when nothing sound fits the answers, because there are so many of them.
    """
    rows: dict[tuple[int, ...], Soldering] = {}
    low = (1 << sound.bytes) - 1
    every_window = range(1 << 2 * sound.bytes)
    for soldering, row in zip(sound.solderings, sound.table, strict=True):
        lit = [int(seen) for seen in row]
        for broken in range(max(sound.local) + 1):
            dim = tuple(lit[bits & low] & ~(1 << broken) for bits in every_window)
            rows.setdefault(dim, Soldering(soldering.channels, broken=broken))
        twice = tuple(lit[bits & low] | lit[bits >> sound.bytes] for bits in every_window)
        rows.setdefault(twice, Soldering(soldering.channels, double=True))
    return Pattern(
        bytes=sound.bytes,
        window=2 * sound.bytes,
        local=sound.local,
        inverted=sound.inverted,
        solderings=tuple(rows.values()),
        table=np.array(tuple(rows), dtype=np.int64),
        without_data=sound.without_data,
    )


def soldering_of(pattern: Pattern, channels: tuple[int, ...]) -> int:
    """Return the index of the soldering of a sound pattern that looks like this one."""
    row = [_lit(channels, pattern.local, pattern.inverted, bits) for bits in range(1 << pattern.window)]
    return int(np.flatnonzero((pattern.table == np.array(row, dtype=np.int64)).all(axis=1))[0])
