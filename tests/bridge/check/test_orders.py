"""Advice about what orders signals, and circles in which nothing decides: where it is told, and where it is not."""

from __future__ import annotations

import pytest

from bridge.check import check_text
from tests.support.tracks import written


def told(*signals: str, more: str = "") -> list[str]:
    """Return what `check` says of signals A, B and so on, without the places."""
    names = "ABCDEF"[: len(signals)]
    text = written(dict(zip(names, signals, strict=True)), more)
    return [f"{finding.level.value}: {finding.message}" for finding in check_text(text).findings]


def table(*rows: str) -> str:
    """Return the table of a signal."""
    return f"table: [{', '.join(rows)}]"


FULL = (
    "{when: {61: normal}, show: stop}",
    "{when: {61: reverse, 62: normal}, show: approach}",
    "{when: {61: reverse, 62: reverse}, show: clear}",
)


def test_a_table_that_covers_all_once_is_sound() -> None:
    """Every position has its row and every row its position: nothing is said."""
    assert [] == told(table(*FULL))


@pytest.mark.parametrize(
    "late",
    [
        "{when: {61: normal, 62: reverse}, show: clear}",  # a row above asks for less
        "{when: {62: any}, show: clear}",  # all rows above together take everything
    ],
)
def test_a_row_that_never_counts_is_found(late: str) -> None:
    """Wherever such a row fits, one above it fits as well, be it one row or several together."""
    assert ["warning: this row never counts: wherever it fits, one above it fits as well"] == told(
        table(*FULL, late)
    )


def test_the_same_row_further_up_counts() -> None:
    """What is found depends on the order: above the others the same row has its use, and another has none."""
    late = "{when: {61: normal, 62: reverse}, show: clear}"
    assert [] == told(table(late, *FULL))


def test_a_way_that_never_counts_is_found() -> None:
    """Two ways over the same turnout in the same position: the second is never taken."""
    ways = "ahead: [{turnouts: {63: normal}}, {turnouts: {63: normal, 64: reverse}}]"
    assert ["warning: this way never counts: wherever it fits, one above it fits as well"] == told(ways)


def test_positions_that_no_row_covers_are_found() -> None:
    """The first of them is named, the others are counted, and what the signal then shows is said."""
    assert ["warning: no row fits accessory 61 reverse and accessory 62 reverse: A then shows stop"] == told(
        table(*FULL[:2])
    )
    assert [
        "warning: no row fits accessory 61 normal and accessory 62 normal, nor 2 other combinations: A then shows stop"
    ] == told(table(FULL[2]))


def test_a_table_too_large_to_try_is_left_alone() -> None:
    """Eleven accessories have more positions than are tried, and nothing is claimed of them."""
    needs = ", ".join(f"{number}: normal" for number in range(1, 12))
    assert [] == told(table(f"{{when: {{{needs}}}, show: clear}}"))


@pytest.mark.parametrize(
    "signal",
    [
        "commands: {2041: {normal: stop, reverse: clear}}",
        table("{when: {2044: normal}, show: stop}", "{when: {2044: reverse}, show: clear}"),
        "ahead: [{turnouts: {2042: normal}}]",
    ],
)
def test_numbers_of_the_broadcast_address_are_found(signal: str) -> None:
    """2041 to 2044 cannot be told from an order to all: decoder 511 is the broadcast address (NMRA S-9.2.1, part D)."""
    (finding,) = told(signal)
    assert "shares its address with the broadcast to all accessories" in finding


@pytest.mark.parametrize("number", [2040, 2045])
def test_the_numbers_beside_them_are_sound(number: int) -> None:
    """2040 is the last number of decoder 510, and 2045 wraps round to decoder 0."""
    assert [] == told(f"commands: {{{number}: {{normal: stop, reverse: clear}}}}")


def test_aspects_beyond_five_bits_are_found() -> None:
    """31 is the last that the form of July 2012 can send; the present one has eight bits (NMRA S-9.2.1, part D)."""
    assert [] == told("aspect-number: {accessory: 37, aspects: {0: stop, 31: clear}}")
    (finding,) = told("aspect-number: {accessory: 37, aspects: {0: stop, 32: clear}}")
    assert finding == "warning: aspect 32 is over 31: a station of the older, five-bit form cannot send it"


def test_an_accessory_that_two_signals_read_the_other_way_round_is_found() -> None:
    """Normal stops the one and clears the other."""
    one, other = (
        "commands: {61: {normal: stop, reverse: clear}}",
        "commands: {61: {normal: clear, reverse: stop}}",
    )
    assert [] == told(one, one)
    (finding,) = told(one, other)
    assert "accessory 61 reverse puts B to stop, and A (line" in finding
    assert "is one of them the wrong way round?" in finding


def test_signals_in_a_circle_without_a_block_are_refused() -> None:
    """Nothing on the track would decide what they show, whichever way the circle is closed."""
    text = "A goes by B goes by A, with no block between: nothing on the track decides what they show; name the blocks"
    assert [f"error: {text}"] == told("follows: B", "follows: A")
    assert [f"error: {text}"] == told("ahead: [{next: B}]", "follows: A")


def test_signals_in_a_circle_with_a_block_are_an_oval() -> None:
    """One block in the circle is enough: a train in it decides."""
    assert [] == told("ahead: [{blocks: [b], next: B}]", "ahead: [{next: A}]", more="blocks: {b: {}}\n")


def test_whoever_only_looks_into_a_circle_is_not_blamed() -> None:
    """The signal in rear is not part of it, and each circle is told once."""
    found = told("follows: B", "follows: C", "follows: B", "follows: E", "follows: D")
    assert ["error: B goes by C goes by B", "error: D goes by E goes by D"] == [
        each.split(",")[0] for each in found
    ]
