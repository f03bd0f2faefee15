"""The model clock as a mapped message tells it: a time, a rate, whether it runs, or only some of that."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, NamedTuple

from adapters.cut import cut
from adapters.events.mapped.meanings import Value, number_of, text_of, whole_of
from adapters.events.model_clock import rate_quarters, seconds_of_day
from bridge.errors import DecodeError

TIMES: Final = ("time", "minutes", "seconds")
"""The parts that are a time: HH:MM or HH:MM:SS, or whole minutes or seconds since midnight. A message has one."""

PARTS: Final = (*TIMES, "rate", "value")
"""All parts of which a clock needs one; what is not told stays as it was."""


class Told(NamedTuple):
    """What a message tells of the clock, in the fields of its event; None for what it does not tell."""

    seconds: int | None
    to_minute: bool
    rate_quarters: int | None
    running: bool | None


def told_of_clock(parts: Mapping[str, Value], running: bool | None, rate: Any) -> Told:
    """Return what the parts of a message tell.

    Args:
        parts: what stands in them.
        running: what the part `value` means, or None where there is none.
        rate: what the layout file says of the rate, or None; such a clock runs whenever it tells the time.

    Raises:
        DecodeError: a part is neither a time nor a rate.
    """
    time = next((part for part in TIMES if part in parts), None)
    seconds, to_minute = (None, False) if time is None else _time(time, parts[time])
    quarters: int | None = None
    if "rate" in parts:
        number = number_of(parts["rate"])
        quarters = None if number == 0 else _rate(parts["rate"])
        # A rate of 0 is how some clocks say that they stand, whatever else they say.
        running = number != 0 and running is not False
    elif rate is not None and seconds is not None:
        quarters = rate_quarters(rate)
        running = True if running is None else running
    return Told(seconds, to_minute, quarters, running)


def _time(part: str, value: Value) -> tuple[int, bool]:
    """Return the seconds of the day, and whether they only say in which minute it is."""
    seconds: int | None
    if part == "time":
        seconds = seconds_of_day(value)
        expected = "HH:MM or HH:MM:SS"
    else:
        unit = 60 if part == "minutes" else 1
        whole = whole_of(value, range(86_400 // unit))
        seconds = None if whole is None else whole * unit
        expected = f"whole {part} since midnight, up to {86_400 // unit - 1}"
    if seconds is None:
        raise DecodeError(f"`{cut(text_of(value), 30)}` is no time of day", expected=expected)
    return seconds, part == "minutes" or (part == "time" and text_of(value).count(":") == 1)


def _rate(value: Value) -> int:
    quarters = rate_quarters(number_of(value))
    if quarters is None:
        raise DecodeError(
            f"`{cut(text_of(value), 30)}` is no rate of a clock",
            expected="a number from 0.25 to 511.75 in steps of a quarter, or 0 while it stands",
        )
    return quarters
