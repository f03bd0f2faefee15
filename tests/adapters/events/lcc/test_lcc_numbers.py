"""Events stand for what the standard has them stand for."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.events.lcc import numbers
from adapters.events.lcc.numbers import (
    ACTIVATE,
    DEACTIVATE,
    EXTENDED,
    Aspect,
    Output,
    aspect_of,
    base_of,
    dotted,
    in_range,
    mask_of,
    output_of,
    range_event,
    read_dotted,
)


def address_of(number: int, offset: int = 0) -> int:
    """Return the 11 bits A of an accessory's number, as the note on event identifiers has them (2.5.3.3)."""
    return (number - offset + 3) % 2048


# NMRA S-9.7.0.4 (22 July 2024), sections 5.2 and 5.3.
NAMED = [
    (numbers.NAMED["emergency-off"], "01.00.00.00.00.00.FF.FF"),
    (numbers.NAMED["clear-emergency-off"], "01.00.00.00.00.00.FF.FE"),
    (numbers.NAMED["emergency-stop"], "01.00.00.00.00.00.FF.FD"),
    (numbers.NAMED["clear-emergency-stop"], "01.00.00.00.00.00.FF.FC"),
    (numbers.DUPLICATE_NODE, "01.01.00.00.00.00.02.01"),
    (numbers.ACTIVATE, "01.01.02.00.00.FF.00.00"),
    (numbers.DEACTIVATE, "01.01.02.00.00.FE.00.00"),
    (numbers.FEEDBACK_ACTIVE, "01.01.02.00.00.FD.00.00"),
    (numbers.FEEDBACK_INACTIVE, "01.01.02.00.00.FC.00.00"),
    (numbers.SENSOR_ACTIVE, "01.01.02.00.00.FB.00.00"),
    (numbers.SENSOR_INACTIVE, "01.01.02.00.00.FA.00.00"),
    (numbers.EXTENDED, "01.01.02.00.01.00.00.00"),
    (numbers.CLOCKS["fast"], "01.01.00.00.01.00.00.00"),
    (numbers.CLOCKS["real-time"], "01.01.00.00.01.01.00.00"),
    (numbers.CLOCKS["alternate-1"], "01.01.00.00.01.02.00.00"),
    (numbers.CLOCKS["alternate-2"], "01.01.00.00.01.03.00.00"),
]


@pytest.mark.parametrize(("event", "text"), NAMED)
def test_the_events_of_the_standard_have_their_numbers(event: int, text: str) -> None:
    """Each is written and read as the table of the standard has it."""
    assert text == dotted(event, 8)
    assert event == read_dotted(text, 8) == read_dotted(text.lower(), 8)


# The note on event identifiers, 2.5.3.3: users 1, 2044 and 2045 are printed there, the others follow by its rule.
@pytest.mark.parametrize(
    ("number", "normal", "reverse"),
    [
        (1, "00.09", "00.08"),
        (2, "00.0B", "00.0A"),
        (4, "00.0F", "00.0E"),
        (5, "00.11", "00.10"),
        (37, "00.51", "00.50"),
        (413, "03.41", "03.40"),
        (2044, "0F.FF", "0F.FE"),
        (2045, "00.01", "00.00"),
    ],
)
def test_an_accessory_has_the_events_of_the_note(number: int, normal: str, reverse: str) -> None:
    """11 bits of number + 3, not complemented, and one for the output."""
    for base in ("FF", "FE", "FD", "FC"):
        for last, is_normal in ((normal, True), (reverse, False)):
            event = read_dotted(f"01.01.02.00.00.{base}.{last}", 8)
            assert Output(number, is_normal) == output_of(event)
            assert event & 0xFFF == address_of(number) << 1 | is_normal


@pytest.mark.parametrize(
    ("number", "aspect", "last"),
    [
        (1, 0, "00.04.00"),
        (1, 5, "00.04.05"),
        (37, 5, "00.28.05"),
        (2044, 0, "07.FF.00"),
        (1, 255, "00.04.FF"),
    ],
)
def test_an_extended_accessory_has_the_events_of_the_standard(number: int, aspect: int, last: str) -> None:
    """S-9.7.0.4 section 5.3: the address and the third byte of the packet."""
    assert Aspect(number, aspect) == aspect_of(read_dotted(f"01.01.02.00.01.{last}", 8))


@given(st.integers(1, 2048), st.booleans(), st.sampled_from([-4, 0, 4, 100, -2047]))
def test_every_accessory_has_one_event_for_each_output(number: int, normal: bool, offset: int) -> None:
    """Numbers come back, and an offset is undone by its opposite; it wraps as the 11 bits do."""
    event = ACTIVATE | address_of(number, offset) << 1 | normal
    assert Output(number, normal) == output_of(event, offset)
    assert 1 <= output_of(event).number <= 2048


def test_an_offset_of_four_is_that_of_systems_that_count_from_nought() -> None:
    """Common practice, no standard: their turnout 5 is the linear turnout 1, and their 1 wraps to 2045."""
    assert Output(5, normal=True) == output_of(ACTIVATE | 0x009, 4)
    assert Output(1, normal=True) == output_of(ACTIVATE | 0x001, 4)


def test_events_beside_the_ranges_are_in_none() -> None:
    """What the standard has not set aside means nothing."""
    assert base_of(ACTIVATE | 0x1000) is None
    assert base_of(EXTENDED | 0x80000) is None
    assert base_of(0x01010200_00F90000) is None
    assert DEACTIVATE == base_of(DEACTIVATE | 0xFFF)


@pytest.mark.parametrize(
    "text", ["", "1.2", "01.02.03.04.05.06.07", "01.02.03.04.05.06.07.08.09", 17, "01-02", "0x1"]
)
def test_what_is_no_event_is_refused(text: object) -> None:
    """Eight bytes in hex, with dots between."""
    with pytest.raises(ValueError, match="8 bytes in hex with dots between"):
        read_dotted(text, 8)


# S-9.7.3.1 section 4: the run of equal bits at the end is the mask.
@pytest.mark.parametrize(
    ("event", "mask"),
    [
        (0x01010200_00FF0FFF, 0xFFF),
        (0x01010000_01010000, 0xFFFF),
        (0x0102030405060708, 0x7),
        (0, 2**64 - 1),
        (2**64 - 1, 2**64 - 1),
    ],
)
def test_the_mask_of_a_range_is_the_run_at_its_end(event: int, mask: int) -> None:
    """Ones or noughts alike."""
    assert mask == mask_of(event)


@given(st.integers(0, 2**64 - 1), st.integers(1, 62))
def test_a_range_is_told_by_one_event(event: int, bits: int) -> None:
    """The event that stands for a range stands for just that one."""
    mask = (1 << bits) - 1
    first = event & ~mask
    told = range_event(first, mask)
    assert mask == mask_of(told)
    assert in_range(event, told)
    assert not in_range(event ^ (mask + 1), told)


@pytest.mark.parametrize(("first", "mask"), [(0, 5), (1, 1), (1, 0)])
def test_what_is_no_range_has_no_event(first: int, mask: int) -> None:
    """A mask is a run of ones, and a range begins at a multiple of its size."""
    with pytest.raises(ValueError, match="is no range"):
        range_event(first, mask)
