"""The small notations of the layout file: percentages, durations, voltages, resistances, names.

Every reader here takes what YAML gave and raises `ValueError` with a sentence that says what to write.
"""

from __future__ import annotations

import re
from decimal import Decimal
from math import prod
from typing import Annotated, Any, Final

from pydantic import AfterValidator, BeforeValidator

from bridge.events import ACCESSORY_NUMBERS, ASPECT_NUMBERS
from bridge.layout.findings import either, said
from bridge.layout.targets import KELVIN, WAVELENGTHS

FULL_LEVEL: Final = 65_535
"""Full light in the 16-bit linear scale that levels are counted in."""

MAX_NAME: Final = 64

FLASH_RATES: Final = range(20, 181)
"""Flashes a minute that are allowed."""

LIT_PARTS: Final = range(30, 71)
"""Hundredths of a flash for which it may be lit."""


_PERCENT: Final = re.compile(r"([0-9]{1,3}(?:\.[0-9]{1,3})?) ?%\Z")
_WHOLE_PERCENT: Final = re.compile(r"([0-9]{1,3}) ?%\Z")
_QUANTITY: Final = re.compile(r"([0-9]{1,9}(?:\.[0-9]{1,6})?) ?([A-Za-zµΩ]+)\Z")
_HUES: Final = {"nm": 10}
_KELVINS: Final = {"K": 1}
_DURATIONS: Final = {"ms": 10**6, "s": 10**9, "min": 60 * 10**9, "h": 3600 * 10**9}
_SIZES: Final = {"kB": 10**3, "MB": 10**6, "GB": 10**9}
_VOLTS: Final = {"V": 1000, "mV": 1}
_OHMS: Final = {"ohm": 1, "Ω": 1, "kohm": 1000, "kΩ": 1000}
_ASPECT: Final = re.compile(r"(0|[1-9][0-9]{0,9})\Z")
_NUMBER: Final = re.compile(r"[1-9][0-9]{0,9}\Z")
_TIME: Final = re.compile(r"([01]?[0-9]|2[0-3]):([0-5][0-9])(?::([0-5][0-9]))?\Z", re.ASCII)
_UNFIT: Final = frozenset("/+#\\\"'{}[]")


def percent(value: Any) -> int:
    """Read `60%` as a share of full light: 0 to `FULL_LEVEL`, rounded once, halves up."""
    match = _PERCENT.match(value) if isinstance(value, str) else None
    if match is None or Decimal(match[1]) > 100:
        raise ValueError(f"{said(value)} is not a level: write a percentage from 0% to 100%, such as 60%")
    return int((Decimal(match[1]) * FULL_LEVEL * 2 + 100) // 200)


def trim(value: Any) -> int:
    """Read a trim: a percentage that leaves some light."""
    share = percent(value)
    if not share:
        raise ValueError(f"{said(value)} would leave it dark: leave it out, or write 1% to 100%")
    return share


def part(*shares: int) -> int:
    """Return the product of shares of full light, all of `FULL_LEVEL`: rounded once, halves up."""
    top, bottom = 2 * prod(shares), prod([FULL_LEVEL] * (len(shares) - 1))
    return (top + bottom) // (2 * bottom)


def _quantity(value: Any, units: dict[str, int], what: str, example: str) -> int:
    match = _QUANTITY.match(value) if isinstance(value, str) else None
    if match is None or match[2] not in units:
        raise ValueError(
            f"{said(value)} is not a {what}: write a number and {either(units)}, such as {example}"
        )
    return int(Decimal(match[1]) * units[match[2]])


def duration(value: Any) -> int:
    """Read `400 ms`, `1.5 s` or `2 min` as nanoseconds."""
    return _quantity(value, _DURATIONS, "duration", "400 ms")


def seconds(nanoseconds: int) -> str:
    """Write a duration for people: `3 s`, `2.5 s`."""
    whole_part, rest = divmod(nanoseconds, 10**9)
    return f"{whole_part}.{rest:09}".rstrip("0").rstrip(".") + " s"


def time_of_day(value: Any) -> int:
    """Read `18:00` or `6:05:30` of the model clock as seconds since its midnight."""
    match = _TIME.match(value) if isinstance(value, str) else None
    if match is None:
        raise ValueError(
            f"{said(value)} is no time of day: write hours and minutes from 00:00 to 23:59, such as 18:30"
        )
    hours, minutes, rest = match.groups(default="0")
    return int(hours) * 3600 + int(minutes) * 60 + int(rest)


def clock_text(of_day: int) -> str:
    """Write a time of the model clock for people: `18:00`, `06:05:30`."""
    minutes, second = divmod(of_day, 60)
    text = f"{minutes // 60:02}:{minutes % 60:02}"
    return f"{text}:{second:02}" if second else text


def percent_text(level: int) -> str:
    """Write a level for people: `60%`, `2.5%`."""
    hundredths = (level * 20_000 + FULL_LEVEL) // (2 * FULL_LEVEL)
    return f"{hundredths // 100}.{hundredths % 100:02}".rstrip("0").rstrip(".") + "%"


def wavelength(value: Any) -> int:
    """Read `589 nm` as tenths of a nanometre."""
    tenths = _quantity(value, _HUES, "wavelength", "589 nm")
    if tenths not in WAVELENGTHS:
        raise ValueError(f"{said(value)} does not fit: write a wavelength from 400 nm to 700 nm")
    return tenths


def kelvin(value: Any) -> int:
    """Read `2700 K` as a colour temperature."""
    found = _quantity(value, _KELVINS, "colour temperature", "2700 K")
    if found not in KELVIN:
        raise ValueError(
            f"{said(value)} does not fit: write a temperature from {KELVIN[0]} K to {KELVIN[-1]} K"
        )
    return found


def voltage(value: Any) -> int:
    """Read `12 V` as millivolts."""
    return _quantity(value, _VOLTS, "voltage", "12 V")


def size(value: Any) -> int:
    """Read `500 MB` or `2 GB` as bytes."""
    return _quantity(value, _SIZES, "size", "500 MB")


def volts(millivolts: int) -> str:
    """Write millivolts for people: `5 V`, `4.8 V`."""
    whole_part, rest = divmod(millivolts, 1000)
    return f"{whole_part}.{rest:03}".rstrip("0").rstrip(".") + " V"


def resistance(value: Any) -> int:
    """Read `330 ohm` or `4.7 kohm` as ohms."""
    return _quantity(value, _OHMS, "resistance", "330 ohm")


def name(value: Any) -> str:
    """Read a name: it goes into topics, files and screens, so some characters cannot be in it."""
    text = str(value) if isinstance(value, int) and not isinstance(value, bool) else value
    if isinstance(value, float | bool):
        raise ValueError(f"{said(value)} is not a name: if it is one, put it in quotes")  # noqa: TRY004 - pydantic reads these
    if not isinstance(text, str) or not text:
        raise ValueError(f"{said(value)} is not a name: write a word")
    if len(text) > MAX_NAME:
        raise ValueError(f"the name {said(text)} has {len(text)} characters: {MAX_NAME} are allowed")
    unfit = [letter for letter in text if letter in _UNFIT or not letter.isprintable()]
    if unfit or text != text.strip():
        what = f"the character {unfit[0]!r}" if unfit else "a space at its beginning or end"
        raise ValueError(
            f"the name {said(text)} cannot have {what}: a name may have letters, digits, inner spaces and - _ ."
        )
    return text


def accessory(value: Any) -> int:
    """Read a linear accessory number (NMRA S-9.2.1), 1 to 2048."""
    text = str(value)
    if isinstance(value, bool) or not _NUMBER.match(text) or int(text) not in ACCESSORY_NUMBERS:
        allowed = f"{ACCESSORY_NUMBERS[0]} to {ACCESSORY_NUMBERS[-1]}"
        raise ValueError(f"{said(value)} is no accessory number: accessories are numbered {allowed}")
    return int(text)


def whole(low: int, high: int) -> BeforeValidator:
    """Return a check that a value is a whole number from `low` to `high`."""

    def read(value: Any) -> int:
        if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
            raise ValueError(f"{said(value)} does not fit: write a whole number from {low} to {high}")
        return value

    return BeforeValidator(read)


def one_of(*allowed: str) -> BeforeValidator:
    """Return a check that a value is one of a few words."""

    def read(value: Any) -> str:
        if str(value) not in allowed:
            raise ValueError(f"{said(value)} does not fit: write {either(allowed)}")
        return str(value)

    return BeforeValidator(read)


def flash_rate(value: Any) -> int:
    """Read how often a minute something flashes; more than three times a second can bring on a seizure (WCAG 2.3.1)."""
    if not isinstance(value, int) or isinstance(value, bool) or value not in FLASH_RATES:
        low, high = FLASH_RATES[0], FLASH_RATES[-1]
        raise ValueError(
            f"{said(value)} does not fit: write flashes a minute, {low} to {high}; "
            "more than 3 a second can bring on a seizure"
        )
    return value


def lit_part(value: Any) -> int:
    """Read for how much of each flash something is lit, `50%`, as whole hundredths."""
    match = _WHOLE_PERCENT.match(value) if isinstance(value, str) else None
    if match is None or int(match[1]) not in LIT_PARTS:
        low, high = LIT_PARTS[0], LIT_PARTS[-1]
        raise ValueError(f"{said(value)} does not fit: write a whole percentage from {low}% to {high}%")
    return int(match[1])


def whole_percent(value: Any) -> int:
    """Read `50%` as whole hundredths."""
    match = _WHOLE_PERCENT.match(value) if isinstance(value, str) else None
    if match is None or int(match[1]) > 100:
        raise ValueError(f"{said(value)} does not fit: write a whole percentage, such as 50%")
    return int(match[1])


def truth(value: Any) -> bool:
    """Read `true` or `false`."""
    if not isinstance(value, bool):
        raise ValueError(f"{said(value)} does not fit: write true or false")  # noqa: TRY004 - pydantic reads these
    return value


def at_most(longest: str) -> AfterValidator:
    """Return a check that a duration is no longer than `longest`, such as `60 s`."""
    most = duration(longest)

    def read(value: int) -> int:
        if value > most:
            raise ValueError(f"that is too long: {longest} is the most")
        return value

    return AfterValidator(read)


def aspect_number(value: Any) -> int:
    """Read the number of an aspect of an extended accessory (NMRA S-9.2.1), 0 to 255."""
    text = str(value)
    if isinstance(value, bool) or not _ASPECT.match(text) or int(text) not in ASPECT_NUMBERS:
        raise ValueError(f"{said(value)} is no aspect number: aspects are numbered 0 to {ASPECT_NUMBERS[-1]}")
    return int(text)


Name = Annotated[str, BeforeValidator(name)]
Percent = Annotated[int, BeforeValidator(percent)]
Trim = Annotated[int, BeforeValidator(trim)]
Kelvin = Annotated[int, BeforeValidator(kelvin)]
Hue = Annotated[int, BeforeValidator(wavelength)]
Duration = Annotated[int, BeforeValidator(duration)]
Size = Annotated[int, BeforeValidator(size)]
Voltage = Annotated[int, BeforeValidator(voltage)]
Resistance = Annotated[int, BeforeValidator(resistance)]
Accessory = Annotated[int, BeforeValidator(accessory)]
AspectNumber = Annotated[int, BeforeValidator(aspect_number)]
FlashRate = Annotated[int, BeforeValidator(flash_rate)]
LitPart = Annotated[int, BeforeValidator(lit_part)]
TimeOfDay = Annotated[int, BeforeValidator(time_of_day)]
Truth = Annotated[bool, BeforeValidator(truth)]
