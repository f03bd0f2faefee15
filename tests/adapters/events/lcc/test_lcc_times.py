"""Broadcast Time is read as NMRA S-9.7.4.5 (25 April 2021) has it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.events.lcc.times import (
    NOTHING,
    QUERY,
    START,
    STOP,
    ClockSaid,
    read_time,
)
from tests.support.broadcast_time import ROLL_OVER, rate_code, time_code


@pytest.mark.parametrize(
    ("code", "seconds"),
    [(0x080A, 8 * 3600 + 600), (0x173B, 23 * 3600 + 59 * 60), (0x0000, 0)],
)
def test_a_time_is_hour_and_minute(code: int, seconds: int) -> None:
    """08:10, 23:59 and 00:00, the examples of the standard."""
    assert ClockSaid(seconds=seconds) == read_time(code)
    assert code == time_code(seconds // 3600, seconds // 60 % 60)


@pytest.mark.parametrize(
    ("code", "rate"),
    [
        (0x4004, 1),
        (0x400A, 2.5),
        (0x4010, 4),
        (0x4018, 6),
        (0x4020, 8),
        (0x4030, 12),
        (0x4001, 0.25),
        (0x4FFF, -0.25),
        (0x4FFE, -0.5),
        (0x4800, -512),
        (0x47FF, 511.75),
        (0x4000, 0),
    ],
)
def test_a_rate_is_in_quarters_with_a_sign(code: int, rate: float) -> None:
    """The examples of the standard, and both ends of what 12 bits hold; 0 is a clock that stands (note, 2.4.4)."""
    assert ClockSaid(rate_quarters=round(rate * 4)) == read_time(code)
    assert code == rate_code(round(rate * 4))


def test_stop_and_start_are_said_by_themselves() -> None:
    """They say nothing of the time."""
    assert (ClockSaid(running=False), ClockSaid(running=True)) == (read_time(STOP), read_time(START))
    assert (0xF000, 0xF001, 0xF002) == (QUERY, STOP, START)


@pytest.mark.parametrize(
    "code",
    [
        0x2A03,  # 3 October
        0x37A1,  # 1953
        0x8F1E,  # to set 15:30
        0xC010,  # to set a rate of 4
        0xAA03,  # to set a date
        0xB7A1,  # to set a year
        QUERY,
        ROLL_OVER,
        0x083C,  # minute 60
        0x1800,  # hour 24
        0x2000,
        0x5000,
        0xD000,
        0xF004,
        0xFFFF,
    ],
)
def test_all_else_says_nothing_to_a_day_of_lights(code: int) -> None:
    """Dates, years, what others want set, and what is reserved: to be ignored (section 6)."""
    assert NOTHING == read_time(code)


@given(st.integers(0, 0xFFFF))
def test_every_code_says_one_thing_or_nothing(code: int) -> None:
    """And what it says is written as the same code."""
    said = read_time(code)
    if said.seconds is not None:
        assert code == time_code(said.seconds // 3600, said.seconds // 60 % 60)
    if said.rate_quarters is not None:
        assert code == rate_code(said.rate_quarters)
    assert sum(each is not None for each in said) == (said != NOTHING)
