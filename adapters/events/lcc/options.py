"""The keys of an LCC source in the layout file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Final

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from adapters.contract import Mention, Options
from adapters.cut import cut
from adapters.events.lcc.numbers import CLOCKS, NAMED, SENSOR_ACTIVE, SENSOR_INACTIVE, SENSORS, read_dotted
from adapters.events.makers import LONGEST_NAME
from adapters.keys import Host, Port, whole
from bridge.events import ACCESSORY_NUMBERS

USUAL_PORT: Final = 12021
"""A convention of the preliminary note on TCP transfer, and of no adopted standard."""

NO_CLOCK: Final = "none"


def read_event(value: Any) -> int:
    """Return the event that an owner wrote down, by its number or by its name.

    Raises:
        ValueError: it is neither.
    """
    if isinstance(value, str) and value in NAMED:
        return NAMED[value]
    try:
        return read_dotted(value, 8)
    except ValueError as problem:
        raise ValueError(
            f"{cut(str(value), 40)} is no event number: {problem}, such as 01.02.03.04.05.06.00.01; "
            f"or it is one of {', '.join(NAMED)}"
        ) from None


def _node(value: Any) -> int:
    try:
        number = read_dotted(value, 6)
    except ValueError as problem:
        raise ValueError(
            f"{cut(str(value), 40)} is no node number: {problem}. Take one that was assigned to you and that no "
            "other device of yours uses"
        ) from None
    if number < 1 << 40:
        raise ValueError(
            f"{value} begins with 00, which is kept for the standard: take a number that was assigned to you"
        )
    return number


def _clock(value: Any) -> int | None:
    if value == NO_CLOCK:
        return None
    if isinstance(value, str) and value in CLOCKS:
        return CLOCKS[value]
    try:
        return read_dotted(value, 6) << 16
    except ValueError:
        raise ValueError(
            f"{cut(str(value), 40)} is no clock: write {', '.join(CLOCKS)}, {NO_CLOCK}, or the six bytes in hex with "
            "which all events of another clock begin"
        ) from None


def _accessory(value: Any) -> int:
    text = str(value)  # a key of the layout file is text
    if not (text.isascii() and text.isdigit() and len(text) <= 4) or int(text) not in ACCESSORY_NUMBERS:
        least, most = ACCESSORY_NUMBERS[0], ACCESSORY_NUMBERS[-1]
        raise ValueError(f"{cut(text, 30)} is not an accessory number: write {least} to {most}")
    return int(text)


def _name(value: str) -> str:
    if not 0 < len(value) <= LONGEST_NAME or not value.isprintable():
        raise ValueError(f"{cut(value, 30)} is no name: write 1 to {LONGEST_NAME} printable characters")
    return value


EventNumber = Annotated[int, BeforeValidator(read_event)]
"""An event: eight bytes in hex, `01.02.03.04.05.06.00.01`, or a name of the standard."""

NodeNumber = Annotated[int, BeforeValidator(_node)]
"""A node: six bytes in hex."""

Name = Annotated[str, AfterValidator(_name)]
Sensor = Annotated[int, whole("the number of a sensor", SENSORS[0], SENSORS[-1])]
Accessory = Annotated[int, BeforeValidator(_accessory)]


class _TwoStates(Options):
    """Something that is one way or the other: by the number of a sensor, or by two events."""

    sensor: Sensor | None = None

    @property
    def pair(self) -> tuple[int | None, int | None]:
        """The event that turns it on and the one that turns it off."""
        if self.sensor is not None:
            return SENSOR_ACTIVE | self.sensor, SENSOR_INACTIVE | self.sensor
        on, off = (getattr(self, word) for word in type(self).words())
        return on, off

    @classmethod
    def words(cls) -> tuple[str, str]:
        """Return the names of the two events."""
        first, second = (name for name in cls.model_fields if name != "sensor")
        return first, second

    @model_validator(mode="after")
    def _told(self) -> Any:
        on, off = type(self).words()
        events = (getattr(self, on), getattr(self, off))
        if self.sensor is not None and events != (None, None):
            raise ValueError(f"it has a `sensor` and events as well: leave out one or the other, `{on}` here")
        if self.sensor is None and None in events:
            missing = on if events[0] is None else off
            raise ValueError(
                f"`{missing}` is missing: write the event for `{on}` and the one for `{off}`, or a `sensor`"
            )
        if self.sensor is None and events[0] == events[1]:
            raise ValueError(f"`{on}` and `{off}` are the same event: one of them must be another")
        return self


class BlockEvents(_TwoStates):
    """How a block is told: by a sensor of the standard's range, or by two events of the owner's."""

    occupied: EventNumber | None = None
    clear: EventNumber | None = None


class ButtonEvents(_TwoStates):
    """How a button is told."""

    pressed: EventNumber | None = None
    released: EventNumber | None = None


class _Different(Options):
    """Events of one thing, each of which says something else."""

    @model_validator(mode="after")
    def _differ(self) -> Any:
        told = self.told()
        if not told:
            raise ValueError(f"it has no event: write one for {_list(type(self).model_fields)}")
        for name, event in told.items():
            others = [each for each, number in told.items() if number == event and each != name]
            if others:
                raise ValueError(
                    f"`{name}` and `{others[0]}` are the same event: one of them must be another"
                )
        return self

    def told(self) -> dict[str, int]:
        """Return the events that are there, by their keys."""
        events = (
            (field.alias or name, getattr(self, name)) for name, field in type(self).model_fields.items()
        )
        return {name: event for name, event in events if event is not None}


def _list(names: Mapping[str, Any]) -> str:
    *first, last = (f"`{name.replace('_', '-')}`" for name in names)
    return f"{', '.join(first)} or {last}"


class PowerEvents(_Different):
    """How the track power of a district is told."""

    on: EventNumber | None = None
    off: EventNumber | None = None
    shorted: EventNumber | None = None


class TurnoutEvents(_Different):
    """How a turnout is told by events of the owner's, beside those of the standard's range."""

    normal: EventNumber | None = None
    reverse: EventNumber | None = None
    proved_normal: EventNumber | None = None
    proved_reverse: EventNumber | None = None


class LccOptions(Options):
    """The keys of an LCC source.

    Attributes:
        host: the gateway between TCP and the bus.
        port: its port; the usual one is a convention and in no standard.
        node_id: our own number among all nodes, one that was assigned to the owner.
        offset: added to accessory numbers, for a system that counts otherwise.
        clock: the first event of the clock whose time counts, or None for none of them.
        blocks, buttons, power, turnouts: events by the name of what they tell of.
        report: events that are sent when a signal or light comes to show an aspect.
    """

    host: Host
    port: Port = USUAL_PORT
    node_id: NodeNumber
    offset: Annotated[int, whole("an offset", -2047, 2047)] = 0
    clock: Annotated[int | None, BeforeValidator(_clock), Field(examples=["fast"])] = CLOCKS["fast"]
    blocks: dict[Name, BlockEvents] = Field(default_factory=dict)
    buttons: dict[Name, ButtonEvents] = Field(default_factory=dict)
    power: dict[Name, PowerEvents] = Field(default_factory=dict)
    turnouts: dict[Accessory, TurnoutEvents] = Field(default_factory=dict)
    report: dict[Name, dict[Name, EventNumber]] = Field(default_factory=dict)

    def mentions(self) -> tuple[Mention, ...]:
        """Return the blocks, districts, signals and lights that have events here."""
        return (
            *(Mention("block", name, ("blocks", name)) for name in self.blocks),
            *(Mention("district", name, ("power", name)) for name in self.power),
            *(
                Mention("device", name, ("report", name), tuple(events))
                for name, events in self.report.items()
            ),
        )

    @property
    def reports(self) -> Iterator[tuple[str, str, int]]:
        """Device, aspect and event of all that is sent."""
        return (
            (name, aspect, event) for name, events in self.report.items() for aspect, event in events.items()
        )

    @model_validator(mode="after")
    def _each_event_once(self) -> Any:
        seen: dict[int, str] = {}
        for name, aspect, event in self.reports:
            where = f"`{aspect}` of `{name}`"
            if event in seen:
                raise ValueError(
                    f"under `report` {seen[event]} and {where} have the same event, so that nobody could tell which of "
                    "them is shown: give one of them another"
                )
            seen[event] = where
        return self
