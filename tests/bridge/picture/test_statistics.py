"""What is counted, and percentiles held against numpy's."""

from __future__ import annotations

from collections import Counter

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from bridge.picture.statistics import PERCENTILES, Statistics, latency_text, rounded, time_text


@given(st.lists(st.integers(0, 999), min_size=1, max_size=200))
def test_percentiles_are_those_of_the_nearest_rank(times: list[int]) -> None:
    """numpy calls the same definition the inverted distribution function (Hyndman and Fan 1996, definition 1)."""
    found = Statistics(took=Counter(times))
    for share in PERCENTILES:
        assert np.percentile(times, share, method="inverted_cdf") == found.percentile(share)


@given(st.integers(0, 10**12))
def test_a_time_is_kept_in_three_digits_and_never_made_better(time: int) -> None:
    """So there are at most 900 different times in each power of ten, however long the session."""
    kept = rounded(time)
    assert time <= kept <= time * 1.01 + 1
    assert "" == str(kept)[3:].strip("0")


def test_what_was_not_measured_is_not_invented() -> None:
    """Without times in the log there is no latency, and that is said."""
    found = Statistics()
    assert found.percentile(50) is None
    assert latency_text(found).startswith("The log has no times that steps took")
    assert {"inputs": 0, "nanoseconds": {}} == found.to_data()["latency"]


def test_times_are_told_in_the_unit_that_suits_them() -> None:
    """Micro-, milli- and whole seconds."""
    assert ["0.4 µs", "120 µs", "3.5 ms", "1.2 s"] == [
        time_text(time) for time in (400, 120_000, 3_500_000, 1_200_000_000)
    ]
