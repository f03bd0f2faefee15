"""Scales, and how long light takes from lamp to lamp at a scale speed."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any, Final

from bridge.layout.findings import choice, said

RATIOS: Final = {
    "Z": 2200,
    "N": 1600,
    "TT": 1200,
    "HO": 871,
    "H0": 870,
    "OO": 762,
    "S": 640,
    "O": 480,
    "0": 450,
    "1": 320,
}
"""Tenths of the reduction by the name of a scale: NMRA S-1.2, and NEM 010 for H0, 0 and 1."""

_RATIO: Final = re.compile(r"1:([1-9][0-9]{0,2})(?:\.([0-9]))?")
_QUANTITY: Final = re.compile(r"([0-9]{1,6}(?:\.[0-9]{1,4})?) ?([a-z/]+)")
_LENGTHS: Final = {"mm": 1000, "cm": 10_000, "m": 1_000_000, "in": 25_400}
_SPEEDS: Final = {
    "km/h": Decimal(10**9) / 3600,
    "mph": Decimal(447_040),
    "m/s": Decimal(10**6),
}
_MODEL: Final = {"mm/s": Decimal(1000), "cm/s": Decimal(10_000)}


def ratio(scale: Any) -> int:
    """Return tenths of the reduction of a scale, `N` or `1:160`; raises `ValueError`."""
    text = str(scale)
    match = _RATIO.fullmatch(text)
    if match is not None:
        return int(match[1]) * 10 + int(match[2] or 0)
    if text not in RATIOS:
        raise ValueError(
            f"no scale is called {said(scale)}; {choice(scale, RATIOS)}; or write a ratio, such as 1:22.5"
        )
    return RATIOS[text]


def micrometres(value: Any) -> int:
    """Read `16.7 mm` as micrometres; raises `ValueError`."""
    match = _QUANTITY.fullmatch(value) if isinstance(value, str) else None
    if match is None or match[2] not in _LENGTHS or not Decimal(match[1]):
        raise ValueError(
            f"{said(value)} is not a length: write a number and mm, cm, m or in, such as 16.7 mm"
        )
    return int(Decimal(match[1]) * _LENGTHS[match[2]] + Decimal(1) / 2)


def needs_scale(speed: Any) -> bool:
    """Return whether a speed is one of the prototype."""
    return not isinstance(speed, str) or not speed.endswith(tuple(_MODEL))


def step_time(speed: Any, pitch: int, scale: Any) -> int:
    """Return the nanoseconds from lamp to lamp.

    Args:
        speed: `40 km/h`, `30 mph` or `10 m/s` in the prototype, or `84 mm/s` on the layout.
        pitch: micrometres from lamp to lamp on the layout.
        scale: the scale, for a speed of the prototype.

    Raises:
        ValueError: the speed or the scale is none.
    """
    match = _QUANTITY.fullmatch(speed) if isinstance(speed, str) else None
    if match is None or match[2] not in {**_SPEEDS, **_MODEL} or not Decimal(match[1]):
        raise ValueError(
            f"{said(speed)} is not a speed: write a number and km/h, mph or m/s for the prototype, "
            "or mm/s for the model, such as 40 km/h"
        )
    if match[2] in _MODEL:
        return int(pitch * Decimal(10**9) / (Decimal(match[1]) * _MODEL[match[2]]))
    return int(pitch * Decimal(10**8) * ratio(scale) / (Decimal(match[1]) * _SPEEDS[match[2]]))
