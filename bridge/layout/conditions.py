"""Conditions: what lights, zones and the switch that stills all flashing go by, as the layout file has it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, TypeAlias

from bridge.events import BlockState, Position

MODEL_DAY: Final = 86_400
"""Seconds of a day of the model clock."""


@dataclass(frozen=True, slots=True)
class Always:
    """Holds always."""


@dataclass(frozen=True, slots=True)
class AccessoryStands:
    """An accessory was last ordered to a position, or is proved there."""

    number: int
    position: Position
    proved: bool = False


@dataclass(frozen=True, slots=True)
class NumberOrdered:
    """An extended accessory was last ordered to show one of these aspect numbers."""

    accessory: int
    numbers: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class BlockIs:
    """A block is occupied, or clear."""

    block: str
    state: BlockState


@dataclass(frozen=True, slots=True)
class BlockEntered:
    """A clear block became occupied less than `time` nanoseconds ago."""

    block: str
    time: int


@dataclass(frozen=True, slots=True)
class ButtonHeld:
    """A button is held."""

    button: str


@dataclass(frozen=True, slots=True)
class ButtonToggled:
    """A button was pressed an odd number of times."""

    button: str


@dataclass(frozen=True, slots=True)
class ButtonRuns:
    """A button was pressed less than `time` nanoseconds ago."""

    button: str
    time: int


@dataclass(frozen=True, slots=True)
class SignalShows:
    """A signal shows one of these aspects."""

    signal: str
    aspects: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LightIsOn:
    """Another light is on."""

    light: str


@dataclass(frozen=True, slots=True)
class Hours:
    """The model clock is at `start` or past it and not yet at `end`, over midnight where `end` comes first.

    Attributes:
        start: seconds of the model day.
        end: seconds of the model day, never the same.
        spread: seconds of model time; each device that asks is early or late by up to half of it.
    """

    start: int
    end: int
    spread: int = 0


@dataclass(frozen=True, slots=True)
class AllOf:
    """All of these hold."""

    parts: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class AnyOf:
    """One or more of these hold."""

    parts: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class Not:
    """This does not hold."""

    part: Condition


Leaf: TypeAlias = (
    Always
    | AccessoryStands
    | NumberOrdered
    | BlockIs
    | BlockEntered
    | ButtonHeld
    | ButtonToggled
    | ButtonRuns
    | SignalShows
    | LightIsOn
    | Hours
)
Condition: TypeAlias = Leaf | AllOf | AnyOf | Not


def leaves(condition: Condition) -> Iterator[Leaf]:
    """Yield everything that a condition goes by, in the order of the file."""
    match condition:
        case AllOf(parts) | AnyOf(parts):
            for part in parts:
                yield from leaves(part)
        case Not(part):
            yield from leaves(part)
        case _:
            yield condition
