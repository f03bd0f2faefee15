"""Broadcast Time: what the last two bytes of a clock's event say (NMRA S-9.7.4.5, 25 April 2021).

    00hh mm      time      0 to 23, 0 to 59            F000  somebody asks
    2m dd        date      month 1 to 12, day          F001  the clock stops
    3yyy         year                                  F002  the clock runs
    4rrr         rate      12 bits, signed, quarters   F003  the day rolls over
    8... to C... the same, set

What is left is reserved, and means nothing.
"""

from __future__ import annotations

from typing import Final, NamedTuple

QUERY: Final = 0xF000
STOP: Final = 0xF001
START: Final = 0xF002


class ClockSaid(NamedTuple):
    """What an event says of the clock; None for what it says nothing of.

    Attributes:
        seconds: the minute of the model day that it shows, 0 to 86340.
        rate_quarters: in quarters; negative when it runs backwards.
        running: whether it runs.
    """

    seconds: int | None = None
    rate_quarters: int | None = None
    running: bool | None = None


NOTHING: Final = ClockSaid()


def read_time(code: int) -> ClockSaid:
    """Return what the last two bytes of a clock's event report; `NOTHING` for all that is no report to us.

    A date, a year and the roll-over of the day tell nothing that a day of lights needs. To set is a wish of
    somebody else, and the clock reports what came of it.
    """
    if code == STOP:
        return ClockSaid(running=False)
    if code == START:
        return ClockSaid(running=True)
    if code < 0x1800:
        minute = code & 0xFF
        return ClockSaid(seconds=(code >> 8) * 3600 + minute * 60) if minute < 60 else NOTHING
    if code >> 12 == 4:
        return ClockSaid(rate_quarters=(code & 0xFFF ^ 0x800) - 0x800)
    return NOTHING
