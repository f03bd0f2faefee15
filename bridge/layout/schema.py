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
    AspectNumber,
    Duration,
    FlashRate,
    Hue,
    Kelvin,
    LitPart,
    Name,
    Percent,
    Resistance,
    Trim,
    Truth,
    Voltage,
    at_most,
    one_of,
    whole,
)

RESTORED = "restored"
ChipNumber = Annotated[int, whole(1, 64)]
Millicandela = Annotated[int, whole(1, 100_000)]


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
        trim: so much of its light is used.
        mcd: its full light, where it is made of LEDs.
        least: the lowest level at which it still lights.
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
    trim: Trim = FULL_LEVEL
    mcd: Millicandela | None = None
    least: Percent = 0


class BuildEntry(Entry):
    """How a kind of fixture is made.

    Attributes:
        chips: its chips in the order of the data line, each a type or a `ChipEntry`.
        lamps: the lamps of its one head, top to bottom as they sit on the mast.
        heads: its heads, top to bottom, each with its lamps; instead of `lamps`.
        trim: so much of the light of all its lamps is used.
    """

    chips: Annotated[tuple[Any, ...], Field(min_length=1, max_length=64)]
    lamps: Annotated[dict[Name, LampEntry], Field(min_length=1)] | None = None
    heads: (
        Annotated[dict[Name, Annotated[dict[Name, LampEntry], Field(min_length=1)]], Field(min_length=1)]
        | None
    ) = None
    trim: Trim = FULL_LEVEL


class ChipEntry(Entry):
    """One chip of a build, where more than its type has to be said."""

    type: Name
    order: Any = None


class NodeEntry(Entry):
    """One node; its chains are validated one by one.

    Attributes:
        output: the name of the output that reaches it.
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
        trim: so much of the light of all that hangs on it is used.
    """

    name: Name
    order: dict[str, Any] = Field(default_factory=dict)
    fixtures: Annotated[tuple[Any, ...], Field(min_length=1)]
    trim: Trim = FULL_LEVEL


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


class TableRowEntry(Entry):
    """One row of a signal's table.

    Attributes:
        when: for each accessory the position it has to have been ordered to; `any` is as good as leaving it out.
        show: the aspect.
    """

    when: dict[Accessory, Annotated[str, one_of("normal", "reverse", "closed", "thrown", "any")]]
    show: Name


class NumberEntry(Entry):
    """A signal that is ordered by the number of an aspect, as an extended accessory.

    Attributes:
        accessory: its number.
        aspects: the aspect for each number.
    """

    accessory: Accessory
    aspects: Annotated[dict[AspectNumber, Name], Field(min_length=1)]


class WayEntry(Entry):
    """One way that a train may take behind a signal.

    Attributes:
        turnouts: where they have to stand for it to be this way.
        blocks: all blocks up to the next signal.
        next: the next signal.
        shows: the aspect for an aspect of the next signal, where it is not that of the sequence.
        beyond: the aspect where no next signal is known of, or it shows one that nothing is said of.
    """

    turnouts: dict[Accessory, Annotated[str, one_of("normal", "reverse", "closed", "thrown")]] = Field(
        default_factory=dict
    )
    blocks: tuple[Name, ...] = ()
    next: Name | None = None
    shows: dict[Name, Name] = Field(default_factory=dict)
    beyond: Name | None = None


class SteppedEntry(Entry):
    """One button and the aspects that it goes through."""

    button: Name
    aspects: Annotated[tuple[Name, ...], Field(min_length=2)]


class ButtonsEntry(Entry):
    """A signal that is told by push buttons: one of `held`, `latched` and `stepped`.

    Attributes:
        held: the aspect for as long as a button is held.
        otherwise: the aspect while none is held; the most restrictive if left out.
        latched: the aspect from the press of a button until another is pressed.
        stepped: one button that goes on to the next aspect with each press.
    """

    held: Annotated[dict[Name, Name], Field(min_length=1)] | None = None
    otherwise: Name | None = None
    latched: Annotated[dict[Name, Name], Field(min_length=1)] | None = None
    stepped: SteppedEntry | None = None


class FollowingEntry(Entry):
    """A signal that follows another.

    Attributes:
        signal: the other.
        shows: the aspect for each of its aspects; if left out, the aspect of the same name.
    """

    signal: Name
    shows: dict[Name, Name] = Field(default_factory=dict)


class RouteEntry(Entry):
    """One route from a signal.

    Attributes:
        turnouts: where the turnouts in it have to stand.
        flank: where turnouts beside it have to stand.
        sections: its blocks in the order in which a train takes them.
        clear: other blocks that have to be clear.
        conflicts: signals that may not be better than their most restrictive aspect at the same time.
        at_most: the best aspect for this route.
    """

    turnouts: dict[Accessory, Annotated[str, one_of("normal", "reverse", "closed", "thrown")]] = Field(
        default_factory=dict
    )
    flank: dict[Accessory, Annotated[str, one_of("normal", "reverse", "closed", "thrown")]] = Field(
        default_factory=dict
    )
    sections: Annotated[tuple[Name, ...], Field(min_length=1)]
    clear: tuple[Name, ...] = ()
    conflicts: tuple[Name, ...] = ()
    at_most: Name | None = None


class LockingEntry(Entry):
    """How a signal locks its routes.

    Attributes:
        approach: the blocks before the signal; with none, a route always stays locked for `time`.
        time: how long a route stays locked after its signal was put back in the face of a train.
        release: how long a section behind a train has to be clear; 5 s at the least.
        refused: what becomes of an order that cannot be obeyed: `hold` or `drop`.
        reclear: whether the signal clears again by itself for the next train.
        stopping: how long a train that is near may take until it has stopped or passed; `time` is held to it.
    """

    approach: tuple[Name, ...] = ()
    time: Annotated[Duration, at_most("10 min")] = 20_000_000_000
    release: Annotated[Duration, at_most("60 s")] = 5_000_000_000
    refused: Annotated[str, one_of("hold", "drop")] = "hold"
    reclear: Truth = False
    stopping: Annotated[Duration, at_most("10 min")] = 0


class FlashEntry(Entry):
    """How lamps flash: how often a minute, and for how much of each time they are lit."""

    rate: FlashRate = 60
    lit: LitPart = 50


class TableEntry(Entry):
    """What a table of aspects may say beside its aspects.

    Attributes:
        from_: the set that it begins with.
        flash: how the lamps flash.
        sequence: the aspects of an automatic block, by the number of clear sections ahead.
    """

    from_: Name | None = Field(default=None, alias="from")
    flash: FlashEntry | None = None
    sequence: Annotated[tuple[Name, ...], Field(min_length=2)] | None = None


class PlacedEntry(Entry):
    """An aspect with its place in a table that begins with another: next less restrictive after an aspect of it."""

    shows: Any
    after: Name


class SignalEntry(Entry):
    """One signal: where it stands and what tells it which aspect to show; of several, the most restrictive counts.

    Attributes:
        fixture: the fixture that it uses; the signal's own name if left out.
        commands: for each accessory, the aspect that each position orders; the last order counts.
        table: a table over the positions of several accessories; the first row that fits counts.
        aspect_number: the aspects by number of one extended accessory.
        ahead: the ways ahead, with their turnouts, blocks and next signal.
        buttons: push buttons.
        follows: another signal.
        sequence: the aspects of automatic signalling, by the number of clear sections ahead.
        aspects: the name of a set of aspects, or the aspects themselves, the most restrictive first.
        dark_under: the main signal under which it is dark while that is at its most restrictive.
        lit_by: the blocks of which one has to be occupied for it to be lit.
        routes: the routes from it, by name; with any, it clears for none but these.
        locking: how it locks them.
        at_start: what it does after a restart: `anew`, it knows nothing, or `restored`, the last order counts again.
        arm: where its semaphore arm stands for each aspect, in the owner's own words; published for what moves it.
        change: how one aspect gives way to the next.
        heads: the heads of the fixture that it uses; all if left out.
        plate: whether it has a number plate.
        flash: how its lamps flash, if not as its set says.
        zone: the zone that its lamps are dimmed with.
        matched: whether its lamps are as bright as each other at the same level.
    """

    fixture: Name | None = None
    commands: Annotated[dict[Accessory, CommandEntry], Field(min_length=1)] | None = None
    table: Annotated[tuple[TableRowEntry, ...], Field(min_length=1)] | None = None
    aspect_number: NumberEntry | None = None
    ahead: Annotated[tuple[WayEntry, ...], Field(min_length=1)] | None = None
    buttons: ButtonsEntry | None = None
    follows: Any = None
    sequence: Annotated[tuple[Name, ...], Field(min_length=2)] | None = None
    aspects: Any = None
    dark_under: Name | None = None
    lit_by: Annotated[tuple[Name, ...], Field(min_length=1)] | None = None
    routes: Annotated[dict[Name, RouteEntry], Field(min_length=1)] | None = None
    locking: LockingEntry | None = None
    at_start: Annotated[str, one_of("anew", RESTORED)] = "anew"
    arm: Annotated[dict[Name, Name], Field(min_length=1)] | None = None
    change: Any = None
    heads: Annotated[tuple[Name, ...], Field(min_length=1)] | None = None
    plate: Truth = False
    flash: FlashEntry | None = None
    zone: Name | None = None
    matched: Truth = True


class LightEntry(Entry):
    """One light that is no signal.

    Attributes:
        fixture: the fixture that it uses; the light's own name if left out.
        fixtures: several, in the order in which what runs along them runs.
        lamps: which of their lamps; all if left out.
        shows: what it looks like when it is on: a colour, a level, or both.
        effect: what it does when it is on; it is steady if left out.
        spread: its lamps come on and go out one by one within this time, each after a time of its own.
        when: the condition under which it is on.
        when_unknown: what it does while it does not know: `hold` if left out, and `off` if a button holds it.
        at_start: what it does after a restart: `anew`, it knows nothing, or `restored`, the last order counts again.
        change: how it comes on and goes out.
        zone: the zone that it is dimmed with.
    """

    fixture: Name | None = None
    fixtures: Annotated[tuple[Name, ...], Field(min_length=1)] | None = None
    lamps: Annotated[tuple[Name, ...], Field(min_length=1)] | None = None
    shows: Any = "on"
    effect: Any = None
    spread: Annotated[Duration, at_most("10 min")] = 0
    when: Any = None
    when_unknown: Annotated[str, one_of("hold", "off", "on")] | None = None
    at_start: Annotated[str, one_of("anew", RESTORED)] = "anew"
    change: Any = None
    zone: Name | None = None


class ColourEntry(Entry):
    """A colour of the owner's own, said in one way.

    Attributes:
        red: the light of this die, as a share of its full light; so for `green`, `blue` and `white`.
        xy: where it lies in the CIE 1931 diagram.
        srgb: the colour of a screen.
        temperature: that of a black body.
        wavelength: that of light of one wavelength.
    """

    red: Percent = 0
    green: Percent = 0
    blue: Percent = 0
    white: Percent = 0
    xy: Any = None
    srgb: Any = None
    temperature: Kelvin | None = None
    wavelength: Hue | None = None


class DieEntry(Entry):
    """The light of one die: a dominant wavelength, or for a white one a temperature, and its full light."""

    wavelength: Hue | None = None
    temperature: Kelvin | None = None
    mcd: Millicandela | None = None


class ChipLightEntry(Entry):
    """What the owner measured of a type of chip; what is not said is as its data sheet has it.

    Attributes:
        red: the light of this die; so for `green`, `blue` and `white`.
        trim: so much of the light of all chips of this type is used.
    """

    red: DieEntry | None = None
    green: DieEntry | None = None
    blue: DieEntry | None = None
    white: DieEntry | None = None
    trim: Trim = FULL_LEVEL


class SourceEntry(Entry):
    """An event source. Keys that are not here are the adapter's own."""

    model_config = ConfigDict(extra="allow")

    kind: Name
    repeat_window: Duration = 0
    refresh_every: Duration = 0
    lost_after: Duration = 0


class OutputEntry(Entry):
    """A frame output: one way to nodes. Keys that are not here are the adapter's own."""

    model_config = ConfigDict(extra="allow")

    kind: Name


class BrokerEntry(Entry):
    """Where the MQTT broker is."""

    host: str = "127.0.0.1"
    port: Annotated[int, whole(1, 65_535)] = 1883
    user: str | None = None
    password_file: str | None = None
