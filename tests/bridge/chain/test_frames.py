from __future__ import annotations

from fractions import Fraction
from math import floor
from typing import Final

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.chain.frames import BYTE_OF_LEVEL, Frames, byte_of_level
from bridge.layout.units import FULL_LEVEL
from tests.support.driving import layout

LAYOUT: Final = layout()
LENGTHS: Final = [6, 9, 16]
"""Fernhollow: two chips of three channels, three of three, four of four."""
INVERTED: Final = {6, 8, 9, 11}
"""Slots of the channels 1 and 3 of the masts Y1 and spare, the first two chips of the second chain."""

all_levels = st.lists(st.integers(0, FULL_LEVEL), min_size=sum(LENGTHS), max_size=sum(LENGTHS))


def test_bytes_are_rounded_once_halves_up() -> None:
    """Every 16-bit level gives the byte nearest to its exact share of 255, halves up."""
    for level in range(FULL_LEVEL + 1):
        exact = Fraction(level * 255, FULL_LEVEL)
        assert floor(exact + Fraction(1, 2)) == byte_of_level(level) == BYTE_OF_LEVEL[level]


def test_chains_lie_end_to_end() -> None:
    """Each chain's frame is as long as its chips have channels, and begins where the one before ends."""
    frames = Frames(LAYOUT)

    assert ((0, 6, 15), 31) == (frames.bases, frames.length)
    assert LENGTHS == [len(frame) for frame in frames.frames()]
    assert frames.frames() == tuple(frames.frame(chain) for chain in range(3))


def test_off_is_dark_through_inverted_channels() -> None:
    """Before anything is lit, an inverted channel sends 255 and every other 0, also where no device uses it."""
    mast = bytes([255, 0, 255])
    expected = (bytes(6), mast + mast + bytes(3), bytes(16))
    frames = Frames(LAYOUT)

    assert expected == frames.frames()
    frames.patch_many(np.arange(31), np.zeros(31, dtype=np.uint16))
    assert expected == frames.frames()


@pytest.mark.parametrize("slot", range(31))
def test_patch_changes_one_byte_of_one_chain(slot: int) -> None:
    """A patched channel shows in its own byte, turned round if it is inverted, and nowhere else."""
    frames = Frames(LAYOUT)
    before = b"".join(frames.frames())

    frames.put(slot, frames.byte(slot, FULL_LEVEL))
    after = b"".join(frames.frames())

    assert [slot] == [place for place in range(31) if before[place] != after[place]]
    assert (0 if slot in INVERTED else 255) == after[slot]
    assert after[slot] == frames.byte(slot, FULL_LEVEL)


@given(all_levels)
def test_many_at_once_and_one_by_one_agree(levels: list[int]) -> None:
    """Many channels set at once and bytes put in their places one by one make the frames that fractions say."""
    at_once, one_by_one = Frames(LAYOUT), Frames(LAYOUT)
    at_once.patch_many(np.arange(31), np.array(levels, dtype=np.uint16))
    for slot, level in enumerate(levels):
        one_by_one.put(slot, one_by_one.byte(slot, level))

    expected = bytes(
        floor(Fraction(level * 255, FULL_LEVEL) + Fraction(1, 2)) ^ (255 if slot in INVERTED else 0)
        for slot, level in enumerate(levels)
    )
    assert expected == b"".join(at_once.frames())
    assert at_once.frames() == one_by_one.frames()


@given(all_levels, st.lists(st.integers(0, 30), unique=True).map(sorted))
def test_patching_some_leaves_the_others(levels: list[int], slots: list[int]) -> None:
    """Patching many channels touches these and no others."""
    frames = Frames(LAYOUT)
    before = b"".join(frames.frames())

    frames.patch_many(np.array(slots, dtype=np.intp), np.array(levels, dtype=np.uint16)[slots])
    after = b"".join(frames.frames())

    for slot in range(31):
        assert (frames.byte(slot, levels[slot]) if slot in slots else before[slot]) == after[slot]


@given(st.sets(st.integers(0, 30)))
def test_chains_of_slots(slots: set[int]) -> None:
    """Slots are told apart by chain, each chain named once and in order."""
    expected = sorted({0 if slot < 6 else 1 if slot < 15 else 2 for slot in slots})

    assert expected == Frames(LAYOUT).chains_of(np.array(sorted(slots), dtype=np.intp))


def test_frame_handed_out_stays_as_it_was() -> None:
    """A frame that was handed out does not change with the next channel that is set."""
    frames = Frames(LAYOUT)
    frame = frames.frame(0)
    frames.put(0, frames.byte(0, FULL_LEVEL))

    assert bytes(6) == frame


WEAK: Final = """
layout: Weak
builds:
  lamp:
    chips: [ws2811]
    lamps: {red: {channel: 1, least: 4%}, green: {channel: 2}, white: {channel: 3, inverted: true}}
nodes: {bench: {chains: [{name: one, fixtures: [{name: L, build: lamp}]}]}}
lights: {L: {when: {accessory: 1}}}
"""


@given(st.lists(st.integers(0, FULL_LEVEL), min_size=3, max_size=3))
def test_what_is_lit_at_all_is_lit_enough_to_be_seen(levels: list[int]) -> None:
    """A channel with a lowest level goes from dark straight to that; off is off, and others are as they were."""
    frames = Frames(layout(WEAK))
    frames.patch_many(np.arange(3), np.array(levels, dtype=np.int64))
    red, green, white = levels
    seen = max(red, FULL_LEVEL * 4 // 100 + 1) if red else 0
    expected = bytes([byte_of_level(seen), byte_of_level(green), 255 ^ byte_of_level(white)])
    assert expected == frames.frame(0) == bytes(frames.byte(slot, level) for slot, level in enumerate(levels))
