"""Where a frame is cut into packets."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.contract import ChipRun
from adapters.outputs.span import UNIVERSE, spans
from tests.adapters.outputs.listener import rgb, rgbw


def sizes(chips: tuple[ChipRun, ...], most: int = UNIVERSE) -> list[int]:
    return [part.stop - part.start for part in spans(chips, most)]


@pytest.mark.parametrize(
    ("pixels", "expected"),
    [(1, [3]), (170, [510]), (171, [510, 3]), (340, [510, 510]), (341, [510, 510, 3])],
)
def test_170_rgb_pixels_fill_a_universe(pixels: int, expected: list[int]) -> None:
    """512 slots hold 170 pixels of three, and the two slots that are left hold none."""
    assert expected == sizes(rgb("a", pixels).chips)


def test_5000_rgb_pixels_take_30_universes() -> None:
    """29 times 170 pixels, and 70 in the last."""
    assert [510] * 29 + [210] == sizes(rgb("a", 5000).chips)


def test_128_rgbw_pixels_fill_a_universe() -> None:
    """512 slots hold 128 pixels of four, with nothing left."""
    assert [512] == sizes(rgbw("a", 128).chips)
    assert [512, 4] == sizes(rgbw("a", 129).chips)


@given(
    st.lists(st.tuples(st.sampled_from([3, 4]), st.integers(1, 300)), max_size=6),
    st.integers(4, 600),
)
def test_no_chip_is_ever_in_two_parts(runs: list[tuple[int, int]], most: int) -> None:
    """Parts follow each other without a gap, none is longer than it may be, and each ends where a chip ends."""
    chips = tuple(ChipRun("chip", channels, count) for channels, count in runs)
    ends, at = {0}, 0
    for channels, count in runs:
        for _chip in range(count):
            at += channels
            ends.add(at)
    parts = spans(chips, most)
    assert [0, *(part.stop for part in parts)] == [*(part.start for part in parts), at]
    assert all(part.stop in ends and 0 < part.stop - part.start <= most for part in parts)
    # Nor is one left room for that the next chip would have had.
    assert all(min(end for end in ends if end > part.stop) - part.start > most for part in parts[:-1])


def test_a_chip_larger_than_a_part_is_refused() -> None:
    """It would have to be cut."""
    with pytest.raises(ValueError, match="a ws2812b has 3 bytes, and a part only 2"):
        spans(rgb("a", 1).chips, 2)
