"""The model clock as it is told in a message: `{"time": "06:45", "rate": 2.5, "running": true}`."""

from __future__ import annotations

import json
import re
from decimal import Decimal
from typing import Any, Final, NamedTuple

from adapters.cut import cut
from bridge.errors import DecodeError

EXPECTED: Final = (
    '{"time": "HH:MM" or "HH:MM:SS", "rate": 0.25 to 511.75 in quarters, "running": true or false}'
)

RATE_QUARTERS: Final = range(1, 2048)
"""Rates in quarter steps. The upper end is that of LCC Broadcast Time (12 bits, signed, in quarters). There
is no rate 0, because a clock that stands says `"running": false`, and none that runs backwards."""

_TIME: Final = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])(?::([0-5][0-9]))?", re.ASCII)


class ModelClock(NamedTuple):
    """What a message said: seconds of the model day, rate in quarter steps, and whether the clock runs."""

    seconds: int
    rate_quarters: int
    running: bool


def read_model_clock(text: str) -> ModelClock:
    """Return the model clock that a JSON object tells.

    Numbers are read as `Decimal`, so that a quarter step is exact and a huge exponent costs nothing.

    Raises:
        DecodeError: not such an object; the message says which part and what it may be.
    """
    values = _read_object(text)
    for key in values:
        if key not in {"time", "rate", "running"}:
            raise DecodeError(f"the clock has no `{cut(key, 30)}`", expected=EXPECTED)
    return ModelClock(
        _read_time(values.get("time")),
        _read_rate(values.get("rate", Decimal(1))),
        _read_running(values.get("running", True)),
    )


def _pairs(items: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(items)
    if len(found) != len(items):
        raise DecodeError("a key stands there twice, and only one of them can count", expected=EXPECTED)
    return found


def _constant(name: str) -> None:
    raise DecodeError(f"{name} is no number that a clock can use", expected=EXPECTED)


_JSON: Final = json.JSONDecoder(
    object_pairs_hook=_pairs, parse_float=Decimal, parse_int=Decimal, parse_constant=_constant
)


def _read_object(text: str) -> dict[str, Any]:
    try:
        values = _JSON.decode(text)
    except (ValueError, ArithmeticError, RecursionError):
        raise DecodeError("the clock's message is not a JSON object", expected=EXPECTED) from None
    if not isinstance(values, dict):
        raise DecodeError("the clock's message is not a JSON object", expected=EXPECTED)
    return values


def seconds_of_day(value: Any) -> int | None:
    """Return the seconds of the day of a time such as `06:45` or `23:59:30`, or None where it is none."""
    found = _TIME.fullmatch(value) if isinstance(value, str) else None
    if found is None:
        return None
    hours, minutes, seconds = found.groups(default="0")
    return int(hours) * 3600 + int(minutes) * 60 + int(seconds)


def rate_quarters(value: Any) -> int | None:
    """Return a rate in quarter steps, or None where it is none."""
    if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
        return None
    rate = Decimal(str(value))
    # The bounds come first: comparing is exact and cheap for an exponent of any size, and multiplying is not.
    if not 0 < rate < len(RATE_QUARTERS):
        return None
    quarters = int(rate * 4)
    return quarters if quarters in RATE_QUARTERS and Decimal(quarters) / 4 == rate else None


def _read_time(value: Any) -> int:
    if value is None:
        raise DecodeError('the clock\'s `"time"` is missing', expected=EXPECTED)
    seconds = seconds_of_day(value)
    if seconds is None:
        raise DecodeError(
            'the clock\'s `"time"` is not a time of day like "06:45" or "23:59:30"', expected=EXPECTED
        )
    return seconds


def _read_rate(value: Any) -> int:
    quarters = rate_quarters(value)
    if quarters is not None:
        return quarters
    raise DecodeError(
        'the clock\'s `"rate"` is not a number from 0.25 to 511.75 in steps of a quarter'
        ' (a clock that stands says `"running": false`)',
        expected=EXPECTED,
    )


def _read_running(value: Any) -> bool:
    if value is True or value is False:
        return bool(value)
    raise DecodeError('the clock\'s `"running"` is neither true nor false', expected=EXPECTED)
