"""The keys of a layout file and what each may hold: one model for each kind of entry.

An entry is validated on its own, so that one broken entry hides no error of another. What one entry says
of another (a build's name, a lamp) is looked at by those who read the sections.
"""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

from bridge.layout.units import (
    FULL_LEVEL,
    Accessory,
    Duration,
    Name,
    Percent,
    Resistance,
    Truth,
    Voltage,
    one_of,
    whole,
)

ChipNumber = Annotated[int, whole(1, 64)]


class Entry(BaseModel):
    """What every entry has in common: keys are written with hyphens, and a key nobody knows is refused."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", alias_generator=lambda name: name.replace("_", "-")
    )


class SolderedEntry(Entry):
    """What is soldered to a channel.

    Attributes:
        inverted: full light is sent as 0 (an external transistor stage turns the level round).
        leds: how many LEDs stand in series.
        supply: voltage at the far end of the LEDs, millivolts.
        resistor: series resistor, ohms.
    """

    inverted: Truth = False
    leds: Annotated[int, whole(1, 24)] = 1
    supply: Voltage = 5000
    resistor: Resistance = 0


class WireEntry(SolderedEntry):
    """One of several channels of a lamp.

    Attributes:
        chip: which of the build's chips, counted from 1.
        channel: number or letter of the channel, in the order of the chip's data sheet.
        level: this channel's light when the lamp is at full level.
    """

    chip: ChipNumber = 1
    channel: Any
    level: Percent = FULL_LEVEL


class LampEntry(SolderedEntry):
    """One lamp of a build: exactly one of `full-colour`, `channel`, `channels` and `mix` says how it is lit.

    Attributes:
        full_colour: the chip whose channels together are this lamp.
        channel: the one channel it is wired to, on chip `chip`.
        channels: the several channels it is wired to.
        mix: other lamps of the same head with their levels; together they look like this lamp.
        colour: its colour, where its name does not say it; of a full-colour lamp, the colour of plain `on`.
        dimmable: false where it may only be switched.
        lens: lamps with the same word here sit behind one lens (a three-lead LED).
        wiring: how its LED is made.
    """

    full_colour: ChipNumber | None = None
    chip: ChipNumber = 1
    channel: Any = None
    channels: Annotated[tuple[WireEntry, ...], Field(min_length=1)] | None = None
    mix: Annotated[dict[Name, Percent], Field(min_length=1)] | None = None
    colour: Name | None = None
    dimmable: Truth = True
    lens: Name | None = None
    wiring: Annotated[str, one_of("separate", "common-anode", "common-cathode", "two-lead")] = "separate"


class BuildEntry(Entry):
    """How a kind of fixture is made.

    Attributes:
        chips: its chips in the order of the data line, each a type or a `ChipEntry`.
        lamps: the lamps of its one head, top to bottom as they sit on the mast.
        heads: its heads, top to bottom, each with its lamps; instead of `lamps`.
    """

    chips: Annotated[tuple[Any, ...], Field(min_length=1, max_length=64)]
    lamps: Annotated[dict[Name, LampEntry], Field(min_length=1)] | None = None
    heads: (
        Annotated[dict[Name, Annotated[dict[Name, LampEntry], Field(min_length=1)]], Field(min_length=1)]
        | None
    ) = None


class ChipEntry(Entry):
    """One chip of a build, where more than its type has to be said."""

    type: Name
    order: Any = None


class NodeEntry(Entry):
    """One node; its chains are validated one by one.

    Attributes:
        output: the output adapter that reaches it.
        chains: its data lines.
    """

    output: Name = "mqtt"
    chains: Annotated[tuple[Any, ...], Field(min_length=1)]


class ChainEntry(Entry):
    """One data line; its fixtures are validated one by one.

    Attributes:
        name: unique on its node.
        order: the order of the bytes by chip type, for this whole chain.
        fixtures: what hangs on it, in the order of the data line.
    """

    name: Name
    order: dict[str, Any] = Field(default_factory=dict)
    fixtures: Annotated[tuple[Any, ...], Field(min_length=1)]


class FixtureEntry(Entry):
    """One fixture of a chain, in the order in which it is wired.

    Attributes:
        name: unique in the whole layout.
        build: how it is made.
        order: the order of the bytes of its chips where it differs: for all of them, or a list, one a chip.
        shares: an earlier fixture of this chain; our first chip is its last one, with the order it has there.
        first_channel: where our channel 1 lies on the shared chip.
    """

    name: Name
    build: Name
    order: Any = None
    shares: Name | None = None
    first_channel: Annotated[int, whole(1, 4)] = 1


class CommandEntry(Entry):
    """The aspects that the two positions of one accessory order; one may be left out.

    `closed` is the hobby's word for normal, and `thrown` for reverse.
    """

    normal: Name | None = None
    reverse: Name | None = None
    closed: Name | None = None
    thrown: Name | None = None


class SignalEntry(Entry):
    """One signal: where it stands and how its aspect is chosen.

    Attributes:
        fixture: the fixture that it uses; the signal's own name if left out.
        chosen_by: how its aspect is chosen.
        commands: for each accessory, the aspect that each position orders.
        aspects: the name of a set of aspects, or the aspects themselves, the most restrictive first.
        change: how one aspect gives way to the next.
    """

    fixture: Name | None = None
    chosen_by: Annotated[str, one_of("last-command")] = "last-command"
    commands: Annotated[dict[Accessory, CommandEntry], Field(min_length=1)]
    aspects: Any = None
    change: Any = None


class LightEntry(Entry):
    """One light that is no signal.

    Attributes:
        fixture: the fixture that it uses; the light's own name if left out.
        lamps: which of the fixture's lamps; all if left out.
        shows: what it looks like when it is on: a colour, a level, or both.
        switched_by: the accessory that switches it.
        on_when: the position of that accessory in which it is on.
        held_by: the button that lights it for as long as it is held.
        when_unknown: what it does while it does not know: `hold` if left out, and `off` if a button holds it.
        change: how it comes on and goes out.
    """

    fixture: Name | None = None
    lamps: Annotated[tuple[Name, ...], Field(min_length=1)] | None = None
    shows: Any = "on"
    switched_by: Accessory | None = None
    on_when: Annotated[str, one_of("normal", "reverse", "closed", "thrown")] = "reverse"
    held_by: Name | None = None
    when_unknown: Annotated[str, one_of("hold", "off", "on")] | None = None
    change: Any = None


class ColourEntry(Entry):
    """A colour of the owner's own: the light of each die, as a share of its full light."""

    red: Percent = 0
    green: Percent = 0
    blue: Percent = 0
    white: Percent = 0


class SourceEntry(Entry):
    """An event source. Keys that are not here are the adapter's own."""

    model_config = ConfigDict(extra="allow")

    kind: Name
    repeat_window: Duration = 0


class BrokerEntry(Entry):
    """Where the MQTT broker is."""

    host: str = "127.0.0.1"
    port: Annotated[int, whole(1, 65_535)] = 1883
    user: str | None = None
    password_file: str | None = None
