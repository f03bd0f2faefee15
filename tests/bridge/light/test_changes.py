"""What goes out before something else comes on: two pictures never overlap."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from bridge.light.changes import first_out, through_red
from bridge.light.plans import Look

ONE_LENS = (0, 0, 0)
THREE_LENSES = (0, 1, 2)


def look(*levels: int) -> Look:
    """Return a steady look."""
    return Look(levels, levels)


def test_a_lens_that_changes_its_colour_goes_out_whole() -> None:
    """Green of a searchlight goes out before its yellow comes on, though both use the green die."""
    assert {1: 0, 2: 0} == first_out(look(0, 60_000, 12_000), look(65_535, 16_000, 0), ONE_LENS)


def test_a_lens_that_is_only_dimmed_does_not() -> None:
    """The same colour at another level goes straight there, also where rounding moved its parts a little."""
    assert {} == first_out(look(1000, 501, 0), look(2000, 1001, 0), ONE_LENS)
    assert {} == first_out(look(2000, 1001, 0), look(1000, 501, 0), ONE_LENS)


def test_lamps_of_their_own_wait_for_each_other() -> None:
    """Red with a lens of its own goes out before green has any light; what stays lit stays."""
    assert {0: 0} == first_out(look(9000, 0, 700), look(0, 9000, 700), THREE_LENSES)


def test_nothing_waits_where_nothing_goes_out_or_nothing_comes_on() -> None:
    """From dark to lit, and from lit to dark, there is one step."""
    assert {} == first_out(look(0, 0, 0), look(9000, 0, 0), THREE_LENSES)
    assert {} == first_out(look(9000, 0, 0), look(0, 0, 0), THREE_LENSES)
    assert {} == first_out(look(9000, 800, 0), look(9000, 0, 0), THREE_LENSES)


def test_what_flashes_counts_as_lit() -> None:
    """A flash goes out for another colour, whichever half of it is being seen."""
    flashing = Look((0, 60_000, 0), (0, 0, 0))
    assert {1: 0} == first_out(flashing, look(65_535, 0, 0), ONE_LENS)


colours = st.tuples(*[st.integers(0, 65_535)] * 3)


@given(colours, colours, st.sampled_from([ONE_LENS, THREE_LENSES, (0, 0, 1)]))
def test_after_it_nothing_is_lit_that_the_new_picture_has_less_of(
    before: tuple[int, ...], after: tuple[int, ...], lenses: tuple[int, ...]
) -> None:
    """Where anything comes on, no channel is then brighter than in the new picture, and no lens has its old colour."""
    out = first_out(look(*before), look(*after), lenses)
    left = [out.get(index, level) for index, level in enumerate(before)]
    if out:
        assert all(level <= goal for level, goal in zip(left, after, strict=True))
        assert any(level < goal for level, goal in zip(left, after, strict=True))


def test_a_searchlight_passes_red() -> None:
    """Between yellow and green the mechanism shows its red; from red, or to red, it passes nothing."""
    red, yellow, green = (65_535, 0, 0), (65_535, 16_000, 0), (0, 60_000, 12_000)
    assert {0: 65_535, 1: 0, 2: 0} == through_red(look(*yellow), look(*green), ONE_LENS, red)
    assert {} == through_red(look(*red), look(*green), ONE_LENS, red)
    assert {} == through_red(look(*green), look(*red), ONE_LENS, red)
    assert {} == through_red(look(0, 0, 0), look(*green), ONE_LENS, red)
