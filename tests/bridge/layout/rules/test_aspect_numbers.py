"""Aspect numbers of the extended accessory packet: NEM 672 (2015), sections 3.1 and 3.4 and its notes."""

from __future__ import annotations

import pytest

from bridge.layout.rules.aspect_numbers import (
    ASPECT_NUMBERS,
    FULL_SPEED,
    NumberedAspect,
    aspect_number,
    numbered_aspect,
)


@pytest.mark.parametrize(
    ("number", "code", "speed", "kmh"),
    [
        (0x00, 0, 0, 0),  # section 3.1: 0 is stop; NMRA S-9.2.1: aspect 0 is absolute stop
        (0x04, 0, 4, 40),  # section 3.4: 40 km/h, 0000-0100
        (0x3A, 3, 10, 100),  # section 3.4: 100 km/h with an indicator, 0011-1010
        (0x9F, 9, FULL_SPEED, None),  # section 3.4: full proceed with a repeater's mark, 1001-1111
        (0x0F, 0, FULL_SPEED, None),  # section 3.1: 15 is the highest speed
    ],
)
def test_number_means(number: int, code: int, speed: int, kmh: int | None) -> None:
    """The low four bits are the speed as tens of km/h, the high four what is shown beside that."""
    aspect = numbered_aspect(number)
    assert (code, speed, kmh, False) == (aspect.code, aspect.speed, aspect.kmh, aspect.dark)


@pytest.mark.parametrize("number", range(0x40, 0x50))
def test_code_four_is_dark_at_any_speed(number: int) -> None:
    """0100-XXXX blanks the signal, whatever speed stands in it (note 4)."""
    aspect = numbered_aspect(number)
    assert aspect.dark
    assert aspect.kmh is None


def test_nothing_else_is_dark() -> None:
    """Sixteen numbers are dark, and no others."""
    assert list(range(0x40, 0x50)) == [number for number in ASPECT_NUMBERS if numbered_aspect(number).dark]


@pytest.mark.parametrize("number", ASPECT_NUMBERS)
def test_every_number_comes_back(number: int) -> None:
    """From a number to its meaning and back nothing is lost."""
    assert number == aspect_number(numbered_aspect(number))


@pytest.mark.parametrize("number", [-1, 256])
def test_what_is_no_number_is_refused(number: int) -> None:
    """There are 256 numbers: the packet has one byte for them."""
    with pytest.raises(ValueError, match="is no aspect number: they go from 0 to 255"):
        numbered_aspect(number)


def test_meaning_is_compared_by_what_it_says() -> None:
    """Two meanings that say the same are the same."""
    assert NumberedAspect(10, 3, dark=False) == numbered_aspect(58)
