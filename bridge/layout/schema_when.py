"""The keys of conditions, of zones that are dimmed together, and of the switch that stills all flashing."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field

from bridge.layout.schema import Entry
from bridge.layout.units import (
    FULL_LEVEL,
    Accessory,
    Duration,
    Name,
    Percent,
    TimeOfDay,
    Truth,
    at_most,
    one_of,
)

_POSITIONS = ("normal", "reverse", "closed", "thrown")


class AccessoryWhen(Entry):
    """Holds while an accessory stands so: one of three, or `ordered: reverse` if none is said.

    Attributes:
        accessory: its number.
        ordered: where it was ordered to last.
        proved: where it is known to be.
        aspect_number: the aspect, or one of several, that it was ordered to show as an extended accessory.
    """

    accessory: Accessory
    ordered: Annotated[str, one_of(*_POSITIONS)] | None = None
    proved: Annotated[str, one_of(*_POSITIONS)] | None = None
    aspect_number: Any = None


class BlockWhen(Entry):
    """Holds while a block is `occupied` or `clear`, or for a while after it was entered."""

    block: Name
    is_: Annotated[str, one_of("occupied", "clear")] | None = Field(default=None, alias="is")
    entered: Annotated[Duration, at_most("1 h")] | None = None


class ButtonWhen(Entry):
    """Holds while a button is held; or each press turns it round; or it runs for a time after each press."""

    button: Name
    toggles: Truth = False
    runs: Annotated[Duration, at_most("1 h")] | None = None


class SignalWhen(Entry):
    """Holds while a signal shows an aspect, or one of several."""

    signal: Name
    shows: Any


class LightWhen(Entry):
    """Holds while another light is on."""

    light: Name


class ClockWhen(Entry):
    """Holds between two times of the model clock.

    Attributes:
        clock: the two times with `to` between them; `dusk` and `dawn` are times too.
        spread: model time over which the devices that say so are spread.
    """

    clock: Any
    spread: Annotated[Duration, at_most("12 h")] = 0


class AllWhen(Entry):
    """Holds while all of several conditions hold."""

    all_: Annotated[tuple[Any, ...], Field(min_length=1, alias="all")]


class AnyWhen(Entry):
    """Holds while one or more of several conditions hold."""

    any_: Annotated[tuple[Any, ...], Field(min_length=1, alias="any")]


class NotWhen(Entry):
    """Holds while a condition does not."""

    not_: Any = Field(alias="not")


class DaylightEntry(Entry):
    """When it gets light and dark on the model clock."""

    dawn: TimeOfDay
    dusk: TimeOfDay


class ZoneRowEntry(Entry):
    """The level of a zone while a condition holds."""

    when: Any
    level: Percent


class ZoneEntry(Entry):
    """Lights that are dimmed together.

    Attributes:
        level: of all its light while no row holds.
        change: how long it takes to come to another level.
        rows: the first whose condition holds counts.
    """

    level: Percent = FULL_LEVEL
    change: Annotated[Duration, at_most("10 min")] = 0
    rows: tuple[ZoneRowEntry, ...] = ()


class StillEntry(Entry):
    """When all flashing is stilled."""

    when: Any
