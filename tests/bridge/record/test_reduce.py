"""Cutting a list down to what still fails."""

from __future__ import annotations

from itertools import combinations

from hypothesis import given
from hypothesis import strategies as st

from bridge.record.reduce import ddmin, ddmin_groups


def test_the_example_of_the_paper() -> None:
    """Eight items of which 1, 7 and 8 fail together are cut to these: Zeller and Hildebrandt 2002, section 3.2."""
    assert [1, 7, 8] == ddmin(range(1, 9), lambda part: {1, 7, 8} <= set(part))


def test_what_fails_without_anything_needs_nothing() -> None:
    """Nothing is left of a list where the empty one fails as well."""
    assert [] == ddmin([1, 2, 3], lambda _part: True)
    assert [] == ddmin([], lambda _part: True)


def test_nothing_that_is_needed_is_cut() -> None:
    """A list of which every item is needed stays whole."""
    whole = list(range(9))
    assert whole == ddmin(whole, lambda part: part == whole)


@given(length=st.integers(1, 24), needed=st.lists(st.sets(st.integers(0, 23)), min_size=1, max_size=4))
def test_what_is_left_fails_and_is_1_minimal(length: int, needed: list[set[int]]) -> None:
    """For any test that goes by sets of items, also where more of them let it pass: no item can be left out."""

    def fails(part: list[int]) -> bool:
        found = set(part)
        return found == set(range(length)) or any(
            each <= found and len(found - each) % 2 == 0 for each in needed
        )

    left = ddmin(range(length), fails)
    assert fails(left)
    assert sorted(left) == left
    assert not left or all(not fails(list(fewer)) for fewer in combinations(left, len(left) - 1))


@given(items=st.lists(st.integers(0, 99), min_size=1), needed=st.integers(0, 9))
def test_groups_are_cut_whole(items: list[int], needed: int) -> None:
    """What is left are whole groups, in the order of the list, and none of them can be left out."""
    wanted = items[needed % len(items)]

    def fails(part: list[int]) -> bool:
        return wanted in part

    assert [item for item in items if item % 10 == wanted % 10] == ddmin_groups(
        items, lambda item: item % 10, fails
    )
