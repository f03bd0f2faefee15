"""The model clock in a message."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.events.model_clock import EXPECTED, ModelClock, read_model_clock
from bridge.errors import DecodeError


@pytest.mark.parametrize(
    ("text", "clock"),
    [
        ('{"time": "06:45"}', ModelClock(24_300, 4, running=True)),
        ('{"time": "00:00:00", "rate": 1, "running": true}', ModelClock(0, 4, running=True)),
        ('{"time": "23:59:59", "rate": 2.5, "running": false}', ModelClock(86_399, 10, running=False)),
        ('{"time": "12:00", "rate": 2.50}', ModelClock(43_200, 10, running=True)),
        ('{"time": "12:00", "rate": 1e1}', ModelClock(43_200, 40, running=True)),
        # The ends of what LCC Broadcast Time can say forwards (12 bits, signed, in quarters).
        ('{"time": "12:00", "rate": 0.25}', ModelClock(43_200, 1, running=True)),
        ('{"time": "12:00", "rate": 511.75}', ModelClock(43_200, 2047, running=True)),
    ],
)
def test_a_clock_is_read_exactly(text: str, clock: ModelClock) -> None:
    """Time of day in seconds, the rate in quarter steps, running unless it says not."""
    assert clock == read_model_clock(text)


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("06:45", "not a JSON object"),
        ('"06:45"', "not a JSON object"),
        ("[]", "not a JSON object"),
        ("null", "not a JSON object"),
        ('{"time": "06:45"', "not a JSON object"),
        ("[" * 100_000, "not a JSON object"),
        ('{"time": "06:45", "rate": 1e99999999999999999999}', "not a JSON object"),
        ("{}", '"time"` is missing'),
        ('{"time": "6:45"}', '"time"` is not a time of day'),
        ('{"time": "24:00"}', '"time"` is not a time of day'),
        ('{"time": "06:60"}', '"time"` is not a time of day'),
        ('{"time": "06:45\\n"}', '"time"` is not a time of day'),
        ('{"time": "٠٦:٤٥"}', '"time"` is not a time of day'),
        ('{"time": 645}', '"time"` is not a time of day'),
        ('{"time": {"time": "06:45"}}', '"time"` is not a time of day'),
        ('{"time": "06:45", "rate": 0}', '"rate"`'),
        ('{"time": "06:45", "rate": -1}', '"rate"`'),
        ('{"time": "06:45", "rate": 0.3}', '"rate"`'),
        ('{"time": "06:45", "rate": 512}', '"rate"`'),
        ('{"time": "06:45", "rate": 1e999999}', '"rate"`'),
        ('{"time": "06:45", "rate": 1e-999999}', '"rate"`'),
        ('{"time": "06:45", "rate": 0.25' + "0" * 60 + "1}", '"rate"`'),
        ('{"time": "06:45", "rate": "1"}', '"rate"`'),
        ('{"time": "06:45", "rate": true}', '"rate"`'),
        ('{"time": "06:45", "rate": null}', '"rate"`'),
        ('{"time": "06:45", "rate": NaN}', "NaN is no number"),
        ('{"time": "06:45", "rate": -Infinity}', "-Infinity is no number"),
        ('{"time": "06:45", "running": 1}', '"running"`'),
        ('{"time": "06:45", "running": null}', '"running"`'),
        ('{"time": "06:45", "time": "07:45"}', "stands there twice"),
        ('{"time": "06:45", "speed": 2}', "the clock has no `speed`"),
        ('{"time": "06:45", "\\ud800": 2}', "the clock has no `\\ud800`"),
    ],
)
def test_whatever_is_no_clock_is_refused_by_the_part_that_is_wrong(text: str, part: str) -> None:
    """The message names the part, and what may stand there comes with it."""
    with pytest.raises(DecodeError) as refused:
        read_model_clock(text)
    assert part in str(refused.value)
    assert EXPECTED == refused.value.expected


@given(st.integers(0, 86_399), st.integers(1, 2047), st.booleans())
def test_every_clock_that_can_be_told_is_understood(seconds: int, quarters: int, running: bool) -> None:
    """Each second of the day and each quarter step comes back as it was."""
    time = f"{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}"
    text = json.dumps({"time": time, "rate": quarters / 4, "running": running})
    assert ModelClock(seconds, quarters, running) == read_model_clock(text)


@given(st.recursive(st.none() | st.booleans() | st.floats() | st.integers() | st.text(), st.lists))
def test_any_json_value_in_any_place_is_a_clock_or_refused(value: object) -> None:
    """Nothing but DecodeError comes out."""
    for whole in (
        value,
        {"time": value},
        {"time": "06:45", "rate": value},
        {"time": "06:45", "running": value},
    ):
        try:
            clock = read_model_clock(json.dumps(whole))
        except DecodeError:
            continue
        assert clock.seconds in range(86_400)
        assert clock.rate_quarters in range(1, 2048)
