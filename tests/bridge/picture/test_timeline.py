"""However long a session is, what is kept of it stays within bounds, and every band and tick is still counted."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from bridge.picture.timeline import COLUMNS, MOST, RUN, Band, Tick, keep_few, thin_bands, thin_ticks

lengths = st.lists(st.integers(1, 1000), min_size=1, max_size=300)


def bands_of(parts: list[int]) -> list[Band]:
    """Return bands of these lengths, end to end."""
    at, bands = 0, []
    for number, part in enumerate(parts):
        bands.append(Band(at, at + part, f"aspect {number}", ()))
        at += part
    return bands


@given(lengths, st.integers(1, 500))
def test_thinned_bands_cover_the_same_time_and_lose_none(parts: list[int], shortest: int) -> None:
    """They lie end to end as before; what is long enough stays as it is, and the others are counted."""
    bands = bands_of(parts)
    thin = thin_bands(bands, shortest)
    assert (bands[0].since, bands[-1].until) == (thin[0].since, thin[-1].until)
    assert all(one.until == other.since for one, other in pairwise(thin))
    assert len(bands) == sum(band.number for band in thin)
    assert [band for band in bands if band.until - band.since >= shortest] == [
        band for band in thin if band.number == 1 and band.until - band.since >= shortest
    ]
    assert all(not band.aspect for band in thin if band.number > 1)


@given(lengths, st.integers(1, 500))
def test_thinned_ticks_are_apart_and_all_counted(parts: list[int], nearest: int) -> None:
    """No two are closer than that, and a tick that stands for several has no text."""
    ticks = [Tick(band.since, "text") for band in bands_of(parts)]
    thin = thin_ticks(ticks, nearest)
    assert all(other.at - one.at >= nearest for one, other in pairwise(thin))
    assert len(ticks) == sum(tick.number for tick in thin)
    assert all(tick.text == ("text" if tick.number == 1 else "") for tick in thin)


def test_a_lane_never_keeps_more_than_it_may() -> None:
    """A hundred thousand changes at even distances leave no more than the bound, at any time."""
    bands: list[Band] = []
    for number in range(100_000):
        bands.append(Band(number, number + 1, "stop" if number % 2 else "clear", ()))
        keep_few(bands, thin_bands, number + 1)
        assert len(bands) <= MOST
    assert 100_000 == sum(band.number for band in bands)
    # What could be told apart in the whole picture has not been merged on the way.
    assert max(band.until - band.since for band in bands) <= RUN * 100_000 // COLUMNS
