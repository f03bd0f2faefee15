"""Fires, arcs, tubes and lamps that take their time, from the words of a layout file."""

from __future__ import annotations

from math import isqrt
from typing import Any, Final

from bridge.layout.effects import families
from bridge.layout.effects.families import Effect
from bridge.layout.effects.own_lamps import OwnLamps
from bridge.layout.effects.ranges import in_range
from bridge.layout.effects.scales import micrometres
from bridge.layout.effects.schema import (
    DischargeEntry,
    EffectEntry,
    FailingTubeEntry,
    FireEntry,
    SmallFlameEntry,
)
from bridge.layout.entries import Desk
from bridge.layout.findings import said
from bridge.layout.rules.lamps import (
    CANDLE_PUFFS,
    FIRE_SIZES,
    GIVES_UP,
    MERCURY_TIME,
    MINUTE,
    SODIUM_TIME,
)
from bridge.layout.text import Path
from bridge.layout.units import seconds

HUES: Final = {
    # Low pressure: the neon that starts it is red; the sodium comes with the heat.
    "sodium-lamp": ((0, "red"), (35, "red"), (100, "sodium")),
    # High pressure: a bluish start from mercury and xenon, then the yellow of cold sodium, then broad and golden.
    "high-pressure-sodium": ((0, "7000 K"), (20, "sodium"), (60, "sodium"), (100, "2100 K")),
    "mercury-lamp": ((0, "blue"), (30, "mercury"), (100, "mercury")),
}
"""The colours of a discharge lamp by hundredths of its time: trade practice, no source."""


def read_fire(desk: Desk, kind: str, data: Any, _lamps: OwnLamps, path: Path) -> Effect | None:
    """Read an open fire; its puffing follows from its width."""
    entry = desk.entry(FireEntry, data, path)
    if entry is None:
        return None
    try:
        across = micrometres(entry.diameter) // 1000
    except ValueError as problem:
        desk.error((*path, "diameter"), str(problem))
        return None
    if across not in FIRE_SIZES:
        desk.error(
            (*path, "diameter"),
            f"{said(entry.diameter)} does not fit: write how wide the real fire is, {FIRE_SIZES[0] // 10} cm to "
            f"{FIRE_SIZES[-1] // 1000} m",
        )
        return None
    puffs = isqrt(1500 * 1500 * 1000 // across)
    return families.Flame(kind, puffs, 40, desk.key_mark(path))


def read_small_flame(desk: Desk, kind: str, data: Any, _lamps: OwnLamps, path: Path) -> Effect | None:
    """Read a candle or a lamp with a wick."""
    entry = desk.entry(SmallFlameEntry, data, path)
    if entry is None:
        return None
    rate = CANDLE_PUFFS.usual if entry.rate is None else entry.rate
    if not entry.beyond_range and not in_range(
        desk, (*path, "rate"), "how often a second a small flame flickers", rate, CANDLE_PUFFS
    ):
        return None
    return families.Flame(kind, rate * 1000, 8, desk.key_mark(path))


def read_arc(desk: Desk, kind: str, data: Any, _lamps: OwnLamps, path: Path) -> Effect | None:
    """Read a welder's arc."""
    entry = desk.entry(EffectEntry, data, path)
    return None if entry is None else families.Arc(kind, desk.key_mark(path))


def read_tube(desk: Desk, kind: str, data: Any, _lamps: OwnLamps, path: Path) -> Effect | None:
    """Read a tube that starts."""
    entry = desk.entry(EffectEntry, data, path)
    return None if entry is None else families.Tube(kind, fails=False, gives_up=0, mark=desk.key_mark(path))


def read_failing_tube(desk: Desk, kind: str, data: Any, _lamps: OwnLamps, path: Path) -> Effect | None:
    """Read a tube that does not start."""
    entry = desk.entry(FailingTubeEntry, data, path)
    if entry is None:
        return None
    time = entry.gives_up
    if (
        time is not None
        and not entry.beyond_range
        and not in_range(desk, (*path, "gives-up"), "the time of a safety starter", time, GIVES_UP, time=True)
    ):
        return None
    return families.Tube(kind, fails=True, gives_up=time or 0, mark=desk.key_mark(path))


def read_discharge(desk: Desk, kind: str, data: Any, _lamps: OwnLamps, path: Path) -> Effect | None:
    """Read a lamp that takes minutes to its full light."""
    entry = desk.entry(DischargeEntry, data, path)
    if entry is None:
        return None
    figure = MERCURY_TIME if kind == "mercury-lamp" else SODIUM_TIME
    time = figure.usual if entry.time is None else entry.time
    if not 10 * MINUTE // 60 <= time <= 20 * MINUTE:
        desk.error((*path, "time"), f"{seconds(time)} does not fit: 10 s to 20 min can be shown")
        return None
    if not entry.beyond_range and not in_range(
        desk, (*path, "time"), "the time that this lamp takes", time, figure, time=True
    ):
        return None
    return families.WarmUp(kind, time, 6, HUES[kind], desk.key_mark(path))


def read_screen(desk: Desk, kind: str, data: Any, _lamps: OwnLamps, path: Path) -> Effect | None:
    """Read the glow of a screen."""
    entry = desk.entry(EffectEntry, data, path)
    return None if entry is None else families.Screen(kind, desk.key_mark(path))


def read_gas_tube(desk: Desk, kind: str, data: Any, _lamps: OwnLamps, path: Path) -> Effect | None:
    """Read a gas tube with a fault."""
    entry = desk.entry(EffectEntry, data, path)
    return None if entry is None else families.GasTube(kind, desk.key_mark(path))
