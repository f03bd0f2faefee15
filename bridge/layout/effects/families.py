"""What an effect is made of, once its words in the layout file are read: one class for each family.

Times are whole nanoseconds, rates times a minute, and lamps are counted from 0 in the order of their light.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple, TypeAlias

from bridge.layout.findings import Mark


class Shape(StrEnum):
    """How one flash comes and goes."""

    BLINK = "blink"  # lit for a part of each time, then dark
    STROBE = "strobe"  # one or more very short flashes at the beginning of each time
    SWEEP = "sweep"  # the beam of a turning mirror passes


class Turns(StrEnum):
    """How the lamps of one light go with each other."""

    TOGETHER = "together"
    HALVES = "halves"  # every second lamp half a time later
    RING = "ring"  # one after the other, evenly round the whole time
    RUN = "run"  # one after the other through two thirds of the time, and then a pause


class Direction(StrEnum):
    """Which way light moves along the lamps, as they are counted."""

    FORWARD = "forward"
    BACKWARD = "backward"
    TO_AND_FRO = "to-and-fro"


@dataclass(frozen=True, slots=True)
class Steady:
    """Lamps that are simply lit."""

    kind: str
    mark: Mark


@dataclass(frozen=True, slots=True)
class Flasher:
    """Lamps that flash at an even rate.

    Attributes:
        kind: its word in the layout file.
        shape: how one flash comes and goes.
        turns: how the lamps go with each other.
        rate: how often a minute.
        lit: for how many hundredths of each time it is lit, if it blinks.
        flashes: how many flashes it has each time, if it is a strobe.
        in_step: all that are switched on together flash together; else each begins somewhere of its own.
        mark: its place in the file.
    """

    kind: str
    shape: Shape
    turns: Turns
    rate: int
    lit: int
    flashes: int
    in_step: bool
    mark: Mark


@dataclass(frozen=True, slots=True)
class Chase:
    """Light that moves along the lamps.

    Attributes:
        kind: its word in the layout file.
        step: time from one lamp to the next.
        every: lamps from one lit one to the next; 0 if only one spot runs along them all.
        lit: lamps of each spot that are fully lit.
        tail: lamps behind each spot that go down to dark.
        direction: which way it moves.
        mark: its place in the file.
    """

    kind: str
    step: int
    every: int
    lit: int
    tail: int
    direction: Direction
    mark: Mark


class Step(NamedTuple):
    """One step of a programme: the lamps that are lit, and for how long."""

    lit: tuple[int, ...]
    time: int


@dataclass(frozen=True, slots=True)
class Programme:
    """Lamps that go through steps.

    Attributes:
        kind: its word in the layout file.
        steps: what is lit, step by step.
        loops: it begins again at its end; else the last step stays.
        flashes: whether it is meant to flash.
        mark: its place in the file.
    """

    kind: str
    steps: tuple[Step, ...]
    loops: bool
    flashes: bool
    mark: Mark


class Phase(NamedTuple):
    """One part of the period of a beacon.

    Attributes:
        time: how long it lasts.
        light: hundredths of full light.
        hue: the colour, or empty for that of the lamp.
    """

    time: int
    light: int
    hue: str = ""


@dataclass(frozen=True, slots=True)
class Beacon:
    """A light that goes through phases again and again: a light character, an aviation beacon.

    Attributes:
        kind: its word in the layout file.
        phases: one period.
        only: for each lamp the one colour that it takes part in, or empty for all of them.
        sectors: for each lamp the colour in which it shows the whole; empty where it does not differ by lamp.
        in_step: it begins with its first phase when it is switched on; else somewhere of its own.
        mark: its place in the file.
    """

    kind: str
    phases: tuple[Phase, ...]
    only: tuple[str, ...]
    sectors: tuple[str, ...]
    in_step: bool
    mark: Mark


@dataclass(frozen=True, slots=True)
class Flame:
    """A fire: it puffs so many thousandths of a hertz; `depth` hundredths of its light come and go with it."""

    kind: str
    puffs: int
    depth: int
    mark: Mark


@dataclass(frozen=True, slots=True)
class Arc:
    """A welder's arc: irregular bursts."""

    kind: str
    mark: Mark


@dataclass(frozen=True, slots=True)
class Tube:
    """A fluorescent tube being switched on.

    Attributes:
        kind: its word in the layout file.
        fails: it never stays lit.
        gives_up: when a safety starter stops trying, or 0 if nothing does.
        mark: its place in the file.
    """

    kind: str
    fails: bool
    gives_up: int
    mark: Mark


@dataclass(frozen=True, slots=True)
class WarmUp:
    """A discharge lamp that takes minutes to its full light, going through some colours.

    Attributes:
        kind: its word in the layout file.
        time: until it has its full light.
        first: hundredths of its light that it begins with.
        hues: its colours, each with the hundredth of the time at which it has it.
        mark: its place in the file.
    """

    kind: str
    time: int
    first: int
    hues: tuple[tuple[int, str], ...]
    mark: Mark


@dataclass(frozen=True, slots=True)
class Screen:
    """The glow of a screen in a room."""

    kind: str
    mark: Mark


@dataclass(frozen=True, slots=True)
class GasTube:
    """A gas tube with a fault: lit, with bursts of flicker."""

    kind: str
    mark: Mark


Effect: TypeAlias = (
    Steady | Flasher | Chase | Programme | Beacon | Flame | Arc | Tube | WarmUp | Screen | GasTube
)
"""Any effect; `mark` is its place in the layout file, `kind` its word there."""
