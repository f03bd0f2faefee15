"""The keys of an effect in a layout file: one model for each family."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from bridge.layout.findings import said
from bridge.layout.rules.flashers import ANY_PART, ANY_RATE
from bridge.layout.rules.lamps import BEACON_COLOURS, ROAD_RULES
from bridge.layout.schema import Entry
from bridge.layout.units import Duration, Name, Truth, one_of, whole, whole_percent

MOST_LAMPS = 1024


def _rate(value: Any) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or value not in ANY_RATE:
        raise ValueError(
            f"{said(value)} does not fit: write how often a minute, {ANY_RATE[0]} to {ANY_RATE[-1]}"
        )
    return value


def _part(value: Any) -> int:
    part = whole_percent(value)
    if part not in ANY_PART:
        raise ValueError(f"{said(value)} does not fit: write from {ANY_PART[0]}% to {ANY_PART[-1]}%")
    return part


Rate = Annotated[int, BeforeValidator(_rate)]
Part = Annotated[int, BeforeValidator(_part)]


class EffectEntry(Entry):
    """What every effect has: its kind, which stands alone where nothing else is said.

    Attributes:
        kind: its word.
        beyond_range: its values may lie outside what is prescribed or usual.
    """

    kind: Any
    beyond_range: Truth = False


class FlasherEntry(EffectEntry):
    """A light that flashes at an even rate.

    Attributes:
        rate: flashes a minute.
        in_step: all that are switched on together flash together.
    """

    rate: Rate | None = None
    in_step: Truth | None = None


class BlinkerEntry(FlasherEntry):
    """One that is lit for a part of each time, `lit`."""

    lit: Part | None = None


class StrobeEntry(FlasherEntry):
    """One that has very short flashes, so many in each time."""

    flashes: Annotated[int, whole(1, 4)] = 1


class MovingEntry(EffectEntry):
    """Light that moves along the lamps.

    Attributes:
        step: time from one lamp to the next.
        speed: instead, its speed: of the prototype in km/h, mph or m/s, or of the model in mm/s.
        pitch: with a speed, from one lamp to the next on the layout.
        scale: with a speed of the prototype, the scale, if not that of the layout.
        every: lamps from one lit one to the next.
        lit: lamps that are lit together.
        tail: lamps behind them that go down to dark.
        direction: which way it moves, in the order of the lamps.
    """

    step: Duration | None = None
    speed: Any = None
    pitch: Any = None
    scale: Any = None
    every: Annotated[int, whole(2, MOST_LAMPS)] | None = None
    lit: Annotated[int, whole(1, MOST_LAMPS)] = 1
    tail: Annotated[int, whole(0, 64)] | None = None
    direction: Annotated[str, one_of("forward", "backward", "to-and-fro")] = "forward"


class ArrowBoardEntry(EffectEntry):
    """An arrow board at a work site.

    Attributes:
        mode: what it shows.
        direction: where the arrow points.
        rate: flashes a minute.
        lit: for how much of each it is lit, where it flashes.
        parts: the lamps of each step, for a board of another make.
    """

    mode: Name
    direction: Annotated[str, one_of("left", "right")] | None = None
    rate: Rate | None = None
    lit: Part | None = None
    parts: Annotated[tuple[Any, ...], Field(min_length=1, max_length=8)] | None = None


class StepEntry(Entry):
    """One step of a programme: which lamps are lit, and for how long."""

    lit: Any
    time: Duration


class ProgrammeEntry(EffectEntry):
    """Lamps that go through steps, again and again unless `loops` is false."""

    steps: Annotated[tuple[StepEntry, ...], Field(min_length=2, max_length=200)]
    loops: Truth = True


class ApproachEntry(Entry):
    """The traffic lights of one approach to a crossroads.

    Attributes:
        red: its red lamp, or several.
        yellow: its yellow lamp, or several.
        amber: the same word for it.
        green: its green lamp, or several.
        time: how long it has green.
    """

    red: Any
    yellow: Any = None
    amber: Any = None
    green: Any
    time: Duration = 15_000_000_000


class TrafficLightsEntry(EffectEntry):
    """Traffic lights.

    Attributes:
        rules: those of which region.
        approaches: its approaches, in the order in which they get green; those that share an entry get it together.
        speed: the speed that is allowed, from which the yellow time follows.
        yellow: the light between green and red, where the speed does not say it.
        amber: the same word for it.
        all_red: how long all are red between two greens.
    """

    rules: Annotated[str, one_of(*ROAD_RULES)]
    approaches: Annotated[dict[Name, ApproachEntry], Field(min_length=1, max_length=8)]
    speed: Any = None
    yellow: Duration | None = None
    amber: Duration | None = None
    all_red: Duration | None = None


class CharacterEntry(EffectEntry):
    """A light character.

    Attributes:
        character: in the notation of a chart.
        flash: how long each flash is.
        eclipse: how long each eclipse is; with flashes, within a group.
        in_step: it begins at the beginning when it is switched on.
    """

    kind: Any = "light-character"
    character: Any
    flash: Duration | None = None
    eclipse: Duration | None = None
    in_step: Truth = False


class AirportBeaconEntry(EffectEntry):
    """The beacon of an airport: of which kind of place, and flashes a minute."""

    place: Annotated[str, one_of(*BEACON_COLOURS)] = "land"
    rate: Rate | None = None


class CodeBeaconEntry(EffectEntry):
    """A beacon that gives letters in Morse code.

    Attributes:
        letters: the letters.
        rate: how often a minute.
        place: on land or on water.
    """

    letters: Any
    rate: Rate | None = None
    place: Annotated[str, one_of("land", "water")] = "land"


class FireEntry(EffectEntry):
    """An open fire, so wide in the prototype."""

    diameter: Any = "1 m"


class SmallFlameEntry(EffectEntry):
    """A candle or a lamp with a wick: how often a second it flickers."""

    rate: Annotated[int, whole(1, 25)] | None = None


class FailingTubeEntry(EffectEntry):
    """A tube that does not start; with a safety starter, the time after which that gives up."""

    gives_up: Duration | None = None


class DischargeEntry(EffectEntry):
    """A discharge lamp: how long it takes to its full light."""

    time: Duration | None = None
