"""What a device can show, down to its channels, and what it takes to get from one of its looks to another."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from math import gcd
from typing import NamedTuple

from bridge.layout.model import Change, Flash, Way
from bridge.light.filament import Filament, filament, flashing_filament
from bridge.light.tapes import UNIT, Tape


class Look(NamedTuple):
    """What one aspect is for the channels of a device, as a 16-bit linear level for each.

    A channel flashes where the first two differ.

    Attributes:
        lit: while the lamps that flash are lit; of what plays, at the full light of its tape.
        unlit: while they are not; of what plays, 0.
        plays: the channels that play something else than a flash.
        stilled: what is shown instead where nothing may flash; None if nothing does.
    """

    lit: tuple[int, ...]
    unlit: tuple[int, ...]
    plays: tuple[Play, ...] = ()
    stilled: tuple[int, ...] | None = None


class Play(NamedTuple):
    """Channels that play together.

    Attributes:
        wires: the channels, by their index within the device.
        tapes: the tape of each; all of the same length.
        shift: nanoseconds by which they begin later than the aspect.
    """

    wires: tuple[int, ...]
    tapes: tuple[Tape, ...]
    shift: int


@dataclass(frozen=True, slots=True)
class DevicePlan:
    """What one device can show.

    Attributes:
        name: the device.
        places: its channels, each as the index of its chain and the byte of that chain's frame; below 0 is one for
            which the frame has no byte: what it would show is worked out like that of all others, and goes nowhere.
        dimmable: for each of them, whether it may be lit in part.
        lenses: for each of them, the number of the lens that it shines out of, counted within the device.
        looks: for each aspect by name, the levels of each of them; a signal can always be dark.
        rest: the aspect that it shows when it knows nothing.
        change: how one aspect gives way to the next.
        flash: how its lamps flash, where they do.
        filaments: for each channel, how it warms up and cools down where it changes so; else none.
        reds: for each channel, its level where its lens is red between two colours; else none.
        delays: for each channel, nanoseconds by which it changes later than the device; none if all change together.
    """

    name: str
    places: tuple[tuple[int, int], ...]
    dimmable: tuple[bool, ...]
    lenses: tuple[int, ...]
    looks: dict[str, Look]
    rest: str
    change: Change
    flash: Tape
    filaments: tuple[Filament, ...] = ()
    reds: tuple[int, ...] = ()
    delays: tuple[int, ...] = ()

    @property
    def chains(self) -> frozenset[int]:
        """The indexes of the chains that it hangs on, of those that have a frame."""
        return frozenset(chain for chain, offset in self.places if offset >= 0)

    @property
    def tapes(self) -> Iterator[Tape]:
        """All tapes that it may play."""
        yield self.flash
        yield from (tape for each in self.filaments for tape in each)
        yield from (tape for look in self.looks.values() for play in look.plays for tape in play.tapes)


def flash_tape(flash: Flash, change: Change) -> Tape:
    """Return how lamps flash: lit first; with filaments, as these follow."""
    if change.way is Way.FILAMENT:
        return flashing_filament(flash.period, flash.lit, change.time)
    common = gcd(flash.lit, 100)
    lit, count = flash.lit // common, 100 // common
    return _square(lit, count - lit, flash.period)


@cache
def _square(lit: int, unlit: int, period: int) -> Tape:
    return Tape((UNIT,) * lit + (0,) * unlit, period)


def filaments(change: Change, wires: int) -> tuple[Filament, ...]:
    """Return how each of so many channels warms up and cools down, or nothing where none does."""
    return (filament(change.time),) * wires if change.way is Way.FILAMENT else ()
