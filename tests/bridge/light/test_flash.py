"""Channels that flash: lit first, in phase, and a function of the instant alone."""

from __future__ import annotations

import json
from typing import Any, Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.events import SECOND
from bridge.layout.model import Flash
from bridge.layout.units import FLASH_RATES, FULL_LEVEL, LIT_PARTS
from bridge.light.motion import Beat, Motion

LIT, UNLIT = 1000, 10
EVERY_SECOND: Final = Beat(0, SECOND, SECOND // 2)

instants = st.integers(0, 10**15)


@st.composite
def beats(draw: st.DrawFn) -> Beat:
    """Return any way in which a channel may flash."""
    period = draw(st.integers(2, 10**10))
    return Beat(draw(instants), period, draw(st.integers(1, period - 1)))


def shown(motion: Motion, at: int) -> dict[int, int]:
    """Render an instant and return the level of each slot that moves or flashes."""
    slots, rendered = motion.render(at)
    return dict(zip(slots.tolist(), rendered.tolist(), strict=True))


def flashing(beat: Beat = EVERY_SECOND, slots: int = 1) -> Motion:
    """Return channels that flash together."""
    motion = Motion(slots)
    for slot in range(slots):
        motion.flash(slot, LIT, UNLIT, beat)
    return motion


def test_once_a_second_half_of_it_lit() -> None:
    """Unless told otherwise a signal flashes 60 times a minute, lit first and half of the time.

    Common practice, no source.
    """
    assert (SECOND, SECOND // 2) == (Flash().period, Flash().lit_time)
    motion = flashing()
    half = SECOND // 2
    assert [LIT, LIT, UNLIT, UNLIT, LIT] == [
        shown(motion, at)[0] for at in (0, half - 1, half, SECOND - 1, SECOND)
    ]


@pytest.mark.parametrize("rate", FLASH_RATES)
def test_every_rate_and_part_is_a_beat_that_motion_takes(rate: int) -> None:
    """Each rate that is allowed gives whole times, dark for a part of each flash, and at most three a second."""
    for lit in LIT_PARTS:
        flash = Flash(rate, lit)
        assert 0 < flash.lit_time < flash.period
        assert 3 * flash.period >= SECOND - 3
        assert abs(100 * flash.lit_time - lit * flash.period) <= 100


@given(beats(), st.integers(0, 10**15))
def test_lit_for_the_first_part_of_each_period(beat: Beat, later: int) -> None:
    """At any instant what is shown follows from the time since the flash began, and from nothing else."""
    expected = LIT if later % beat.period < beat.lit else UNLIT
    assert {0: expected} == shown(flashing(beat), beat.began + later)


@given(beats(), st.lists(instants, max_size=20), instants)
def test_rendering_changes_nothing_later(beat: Beat, looks: list[int], at: int) -> None:
    """Frames that are left out or shown in between make no difference to a later one."""
    watched = flashing(beat)
    for look in sorted(looks):
        watched.render(beat.began + look)
    assert shown(flashing(beat), beat.began + at) == shown(watched, beat.began + at)


@given(beats(), st.integers(2, 8), instants)
def test_channels_of_one_beat_are_in_phase(beat: Beat, slots: int, at: int) -> None:
    """Channels that flash by the same beat are all lit or all dark."""
    assert 1 == len(set(shown(flashing(beat, slots), beat.began + at).values()))


@given(beats(), instants)
def test_next_edge_is_the_first_change(beat: Beat, later: int) -> None:
    """Up to the next edge nothing changes, and there it does."""
    motion, at = flashing(beat), beat.began + later
    edge = motion.next_edge(at)
    assert edge is not None
    assert at < edge <= at + beat.period
    assert shown(motion, at) == shown(motion, edge - 1) != shown(motion, edge)


@given(st.lists(beats(), min_size=1, max_size=6), instants)
def test_next_edge_of_many_is_the_first_of_any(several: list[Beat], later: int) -> None:
    """Of channels that flash by different beats the one that changes first counts."""
    together = Motion(len(several))
    at = max(beat.began for beat in several) + later
    alone = []
    for slot, beat in enumerate(several):
        together.flash(slot, LIT, UNLIT, beat)
        alone.append(flashing(beat).next_edge(at))
    assert min(edge for edge in alone if edge is not None) == together.next_edge(at)


def test_nothing_that_flashes_has_no_edge() -> None:
    """Where nothing flashes there is no next edge, also while something fades."""
    motion = Motion(2)
    motion.fade(0, LIT, 0, 10)
    assert motion.next_edge(0) is None
    motion.flash(1, LIT, UNLIT, EVERY_SECOND)
    motion.cut(1, 0)
    assert motion.next_edge(0) is None


def test_fading_and_flashing_channels_come_in_order() -> None:
    """Channels that fade and channels that flash are rendered together, in the order of their slots."""
    motion = Motion(4)
    motion.fade(3, FULL_LEVEL, 0, 10)
    motion.flash(2, LIT, UNLIT, EVERY_SECOND)
    motion.fade(1, FULL_LEVEL, 0, 10)
    motion.flash(0, LIT, UNLIT, EVERY_SECOND)

    assert [(0, LIT), (1, FULL_LEVEL), (2, LIT), (3, FULL_LEVEL)] == list(shown(motion, 10).items())
    assert {0: UNLIT, 2: UNLIT} == shown(motion, SECOND // 2)
    assert motion.moving
    assert not motion.fading


@pytest.mark.parametrize(("at", "origin"), [(0, LIT), (SECOND // 2, UNLIT)])
def test_fade_begins_where_the_flash_stands(at: int, origin: int) -> None:
    """A flash that is sent to a level goes there from where it is, be that lit or dark."""
    motion = flashing()
    motion.fade(0, FULL_LEVEL, at, 1000)
    assert abs(origin - shown(motion, at)[0]) <= 2
    assert {0: FULL_LEVEL} == shown(motion, at + 1000)
    assert not motion.moving


def test_fade_to_where_the_flash_stands_is_over() -> None:
    """A flash that is sent to the level it has just then stands still at once."""
    motion = flashing()
    motion.fade(0, UNLIT, SECOND // 2, 1000)
    assert not motion.moving
    assert UNLIT == motion.level(0)


@given(st.lists(beats(), min_size=1, max_size=4), instants)
def test_snapshot_resumes(several: list[Beat], later: int) -> None:
    """What takes back a snapshot through JSON flashes on as if nothing had been."""
    first = Motion(len(several) + 1)
    for slot, beat in enumerate(several):
        first.flash(slot, LIT + slot, UNLIT, beat)
    first.fade(len(several), FULL_LEVEL, later, 10**9)
    second = Motion(len(several) + 1)
    second.restore(json.loads(json.dumps(first.snapshot())))
    at = max(beat.began for beat in several) + later
    assert first.next_edge(at) == second.next_edge(at)
    assert shown(first, at) == shown(second, at)


def test_snapshot_from_before_anything_could_flash_is_taken() -> None:
    """A snapshot that says nothing of flashes has none."""
    motion = flashing()
    motion.restore({"levels": [5], "fades": []})
    assert not motion.moving
    assert 5 == motion.level(0)


@pytest.mark.parametrize(
    ("flash", "says"),
    [
        ([1, 0, 0, 2, 1], "not there"),
        ([0, FULL_LEVEL + 1, 0, 2, 1], "can flash so"),
        ([0, 0, 0, 2, 2], "can flash so"),
        ([0, 0, 0, 2, 0], "can flash so"),
        ([0, 0, -1, 2, 1], "can flash so"),
        ([0, 0, 0, 2**47, 1], "can flash so"),
    ],
)
def test_snapshot_of_a_flash_that_cannot_be_is_refused_whole(flash: list[int], says: str) -> None:
    """A flash of another channel, or without a lit or a dark part, is refused and changes nothing."""
    motion = flashing()
    before = motion.snapshot()
    data: dict[str, Any] = {"levels": [0], "fades": [], "flashes": [flash]}
    with pytest.raises(ValueError, match=says):
        motion.restore(data)
    assert before == motion.snapshot()


def test_channel_cannot_fade_and_flash_at_once() -> None:
    """A snapshot in which one channel does both is refused."""
    data = {"levels": [0], "fades": [[0, 0, 1, 0, 1, 0, 1]], "flashes": [[0, 0, 0, 2, 1]]}
    with pytest.raises(ValueError, match="fades and flashes at once"):
        Motion(1).restore(data)
