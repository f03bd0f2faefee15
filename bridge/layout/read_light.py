"""What the owner says of light itself: colours of their own, and what they measured of a type of chip."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any, Final

from bridge.layout.chips import CHIP_TYPES
from bridge.layout.dies import DIE_KEYS, Die, Dies
from bridge.layout.entries import Desk
from bridge.layout.findings import Mark, choice, said
from bridge.layout.schema import ChipLightEntry, ColourEntry, DieEntry
from bridge.layout.targets import Point, Screen, Shares, Target, Temperature, Wavelength
from bridge.layout.text import Path
from bridge.layout.units import FULL_LEVEL

_WAYS: Final = ("xy", "srgb", "temperature", "wavelength")
_HEX: Final = re.compile(r"#?([0-9A-Fa-f]{6})\Z")
_LEAST_Y: Final = Decimal("0.001")
_HUES: Final = {"red": range(5900, 7001), "green": range(5000, 5801), "blue": range(4000, 5000)}
"""Wavelengths that a die of this name can have, tenths of a nanometre: so three of them always span a gamut."""

_NOTHING: Final = Shares(0, 0, 0, 0)


def read_colours(desk: Desk) -> tuple[dict[str, Target], dict[str, Mark]]:
    """Read the section `colours`; one with an error still has its name."""
    colours: dict[str, Target] = {}
    marks: dict[str, Mark] = {}
    for key, data, path in desk.section("colours"):
        entry = desk.entry(ColourEntry, data, path)
        colours[key] = _NOTHING if entry is None else _colour(desk, entry, path) or _NOTHING
        marks[key] = desk.key_mark(path)
    return colours, marks


def _colour(desk: Desk, entry: ColourEntry, path: Path) -> Target | None:
    ways: list[str] = [way for way in _WAYS if way in entry.model_fields_set]
    if any(die in entry.model_fields_set for die in DIE_KEYS):
        ways.append("shares of dies")
    if len(ways) > 1:
        desk.error(path, f"a colour is said in one way, and here stand {' and '.join(ways)}: keep one")
        return None
    try:
        if entry.xy is not None:
            return point(entry.xy)
        if entry.srgb is not None:
            return screen(entry.srgb)
    except ValueError as problem:
        desk.error((*path, ways[0]), str(problem))
        return None
    if entry.temperature is not None:
        return Temperature(entry.temperature)
    if entry.wavelength is not None:
        return Wavelength(entry.wavelength)
    if ways and ways[0] in _WAYS:
        example = {"xy": "[0.41, 0.39]", "srgb": '"#ffb060"'}[ways[0]]
        hint = ", in quotes because # begins a comment" if ways[0] == "srgb" else ""
        desk.error((*path, ways[0]), f"nothing stands here: write {example}{hint}")
        return None
    return Shares(entry.red, entry.green, entry.blue, entry.white)


def point(value: Any) -> Point:
    """Read `[0.41, 0.39]`, x and y of the CIE 1931 diagram, to the millionth."""
    problem = f"{said(value)} does not fit: write x and y of the CIE 1931 diagram, such as [0.41, 0.39]"
    numbers = value if isinstance(value, list) else []
    if len(numbers) != 2 or not all(
        isinstance(each, int | float) and not isinstance(each, bool) for each in numbers
    ):
        raise ValueError(problem)
    x, y = (Decimal(str(each)) for each in numbers)
    if not (0 <= x <= 1 and _LEAST_Y <= y <= 1 and x + y <= 1):
        raise ValueError(f"x {x} and y {y} are no colour: both lie between 0 and 1, and so does their sum")
    return Point(int(x * 1_000_000), int(y * 1_000_000))


def screen(value: Any) -> Screen:
    """Read `"#ffb060"` or `[255, 176, 96]`, a colour of a screen (sRGB)."""
    match = _HEX.match(value) if isinstance(value, str) else None
    if match is not None:
        codes = list(bytes.fromhex(match[1]))
    elif isinstance(value, list) and len(value) == 3 and all(type(each) is int for each in value):
        codes = value
    else:
        raise ValueError(
            f'{said(value)} does not fit: write the six digits of a screen\'s colour in quotes, such as "#ffb060", '
            "or three numbers, such as [255, 176, 96]"
        )
    if not all(0 <= code <= 255 for code in codes):
        raise ValueError(f"{codes} does not fit: each of the three numbers is 0 to 255")
    if not any(codes):
        raise ValueError(
            "black is no colour of a lamp: a level says how bright it is, and `dark` is no light"
        )
    return Screen(*codes)


def read_chips(desk: Desk) -> tuple[dict[str, Dies], dict[str, int]]:
    """Read the section `chips`.

    Returns:
        By type of chip, what shines in it, and so much of its light as is used.
    """
    dies: dict[str, Dies] = {}
    trims: dict[str, int] = {}
    for kind, data, path in desk.section("chips"):
        if kind not in CHIP_TYPES:
            desk.key_error(path, f"no chip is called {said(kind)}; {choice(kind, CHIP_TYPES)}")
            continue
        entry = desk.entry(ChipLightEntry, data, path)
        if entry is not None:
            dies[kind] = _dies(desk, entry, kind, path)
            trims[kind] = entry.trim
    return dies, {kind: trim for kind, trim in trims.items() if trim != FULL_LEVEL}


def _dies(desk: Desk, entry: ChipLightEntry, kind: str, path: Path) -> Dies:
    usual = CHIP_TYPES[kind].dies
    measured: dict[str, Die] = {}
    for key, letter in DIE_KEYS.items():
        said_so: DieEntry | None = getattr(entry, key)
        if said_so is None:
            continue
        if letter not in usual.letters:
            desk.key_error((*path, key), f"{CHIP_TYPES[kind].called} has no {key} die; leave this out")
            continue
        wrong, right = ("wavelength", "temperature") if letter == "W" else ("temperature", "wavelength")
        if getattr(said_so, wrong) is not None:
            desk.key_error((*path, key, wrong), f"a {key} die has no {wrong}: give its {right}")
        hue = said_so.wavelength
        if hue is not None and letter != "W" and hue not in _HUES[key]:
            low, high = _HUES[key][0], _HUES[key][-1]
            text = f"no {key} die has {hue // 10} nm: write {low // 10} nm to {-(-high // 10)} nm"
            desk.error((*path, key, "wavelength"), text)
            hue = None
        die = usual[letter]
        measured[key] = Die(
            mcd=said_so.mcd or die.mcd,
            wavelength=hue or die.wavelength,
            kelvin=said_so.temperature or die.kelvin,
        )
    found = {key: measured.get(key, getattr(usual, key)) for key in DIE_KEYS}
    return Dies(**found)
