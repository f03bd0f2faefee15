"""Spans of time in the layout file, such as `20 ms` or `10 s`."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, Final

from pydantic import BeforeValidator

from adapters.cut import cut

_UNITS: Final = {"ms": Decimal(1) / 1000, "s": Decimal(1), "min": Decimal(60)}


def span(what: str, least: str, most: str) -> BeforeValidator:
    """Return the check of a span of time, which gives seconds; `what` is what it is: `a heartbeat`."""
    low, high = (_seconds(each) for each in (least, most))

    def read(value: Any) -> float:
        seconds = _seconds(value)
        if seconds is None:
            raise ValueError(
                f"{cut(str(value), 30)!r} is not a duration: write a number and ms, s or min, such as {least}"
            )
        if low is None or high is None or not low <= seconds <= high:
            raise ValueError(f"{cut(str(value), 30)!r} does not fit: {what} is {least} to {most}")
        return float(seconds)

    return BeforeValidator(read)


def _seconds(value: Any) -> Decimal | None:
    number, _, unit = value.strip().partition(" ") if isinstance(value, str) else ("", "", "")
    figures = number.replace(".", "", 1)
    if not (figures.isascii() and figures.isdigit() and unit in _UNITS and len(number) <= 12):
        return None
    return Decimal(number) * _UNITS[unit]
