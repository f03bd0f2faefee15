"""What the finder found, as data: how the chain is wired, what differs from the file, and what to write there.

Nothing here writes. An edit says what has to become of which fixture or build; who has the text of the layout file
makes a difference of it, and its owner decides.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TypeAlias


class Kind(StrEnum):
    """In which way a chain differs from the file."""

    ORDER = "order"  # the bytes of a pixel arrive in another order
    LAMPS = "lamps"  # separate LEDs lie on other channels
    EXCHANGED = "exchanged"  # two fixtures stand in each other's places
    MOVED = "moved"  # fixtures stand elsewhere
    REVERSED = "reversed"  # the chain runs the other way round
    INSIDE = "inside"  # the chips of one fixture follow each other in another order, or not at once
    MISSING = "missing"  # a chip is not on the line
    SURPLUS = "surplus"  # a chip is on the line that the file does not have
    DARK = "dark"  # a chip takes its bytes and shows nothing
    END = "end"  # from here on nothing gets data
    BROKEN = "broken"  # one light of a chip never lights
    DOUBLE = "double"  # two chips show what the file has one for
    FORKED = "forked"  # several chips get the same bytes
    OPEN = "open"  # it could not be found out
    UNTOLD = "untold"  # it cannot be told without colours


@dataclass(frozen=True, slots=True)
class OrderOfType:
    """On a chain, all chips of a type take their bytes in this order; it stands at the chain below `order`."""

    node: str
    chain: str
    chip: str
    order: str


@dataclass(frozen=True, slots=True)
class OrderOfFixture:
    """A chip of a fixture takes its bytes in this order; `chip` counts the build's chips from 1."""

    fixture: str
    chip: int
    order: str


@dataclass(frozen=True, slots=True)
class LampsOfBuild:
    """Lamps of a build lie on other channels: for each head, lamp, chip and old channel (from 1) the new one."""

    build: str
    channels: tuple[tuple[str, str, int, int, int], ...]


@dataclass(frozen=True, slots=True)
class FixturesInOrder:
    """The fixtures of a chain stand in this order."""

    node: str
    chain: str
    fixtures: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ChipsInOrder:
    """The chips of a fixture follow each other in this order of their numbers: it needs a build of its own."""

    fixture: str
    chips: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class SplitUp:
    """Other fixtures hang between the chips of one: it has to be written as several, or soldered in one piece."""

    fixture: str
    between: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TakeOut:
    """A chip of a fixture (counted from 1 in its build) is not on the line: it has to go from the file."""

    fixture: str
    chip: int


@dataclass(frozen=True, slots=True)
class PutIn:
    """A chip has to be added behind a fixture; empty is the beginning of the chain. `chip` is its likely type."""

    node: str
    chain: str
    behind: str
    chip: str


@dataclass(frozen=True, slots=True)
class NothingBehind:
    """From this chip of a fixture on (counted from 1 in its build) nothing lights: until it is mended it is broken."""

    fixture: str
    chip: int


Edit: TypeAlias = (
    OrderOfType
    | OrderOfFixture
    | LampsOfBuild
    | FixturesInOrder
    | ChipsInOrder
    | SplitUp
    | TakeOut
    | PutIn
    | NothingBehind
)


@dataclass(frozen=True, slots=True)
class Finding:
    """One difference from the file.

    Attributes:
        kind: in which way.
        words: a sentence for the owner.
        fixtures: those that it is about.
        edits: what to write if the wiring stays as it is; none where it has to be mended with the iron.
    """

    kind: Kind
    words: str
    fixtures: tuple[str, ...] = ()
    edits: tuple[Edit, ...] = ()


@dataclass(frozen=True, slots=True)
class Link:
    """One chip as it hangs on the line.

    Attributes:
        chip: its number in the file's chain, counted from 0; -1 if the file does not have it.
        offset: the first byte that it takes.
        width: how many bytes it takes.
        channels: for each byte, the channel by the file's wiring that it lights.
        shows: whether it shows anything at all.
        data: whether it gets any; what gets none stands at the end, with the first byte that it would take.
        broken: number of the sight that never lights; -1 if all do.
        double: a second chip follows, takes as many bytes and lights the same.
    """

    chip: int
    offset: int
    width: int
    channels: tuple[int, ...]
    shows: bool = True
    data: bool = True
    broken: int = -1
    double: bool = False


@dataclass(frozen=True, slots=True)
class Explanation:
    """One way in which the whole chain can be wired, and how it differs from the file."""

    links: tuple[Link, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What was found.

    Attributes:
        explanations: those that are left, the likeliest first; no picture can tell them from each other.
        open: what could not be found out, because the owner could not say or does not tell colours.
        settled: whether every chip was found out about.
    """

    explanations: tuple[Explanation, ...]
    open: tuple[Finding, ...]
    settled: bool

    @property
    def common(self) -> tuple[Finding, ...]:
        """What is true in every explanation that is left."""
        first, *others = self.explanations
        return tuple(each for each in first.findings if all(each in other.findings for other in others))
