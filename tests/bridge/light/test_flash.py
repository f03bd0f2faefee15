"""Channels that play for ever: lit first, in phase, and a function of the instant alone."""

from __future__ import annotations

import json
from typing import Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.events import SECOND
from bridge.layout.model import Change, Flash
from bridge.layout.units import FLASH_RATES, FULL_LEVEL, LIT_PARTS
from bridge.light.motion import Motion, Part
from bridge.light.plans import flash_tape
from bridge.light.reel import Reel
from bridge.light.tapes import UNIT, Tape

LIT, UNLIT = 1000, 10
EVERY_SECOND: Final = flash_tape(Flash(), Change())

instants = st.integers(0, 10**15)


@st.composite
def tapes(draw: st.DrawFn) -> Tape:
    """Return any way in which a channel may flash."""
    samples = draw(
        st.lists(st.sampled_from([0, UNIT]), min_size=2, max_size=12).filter(lambda row: len({*row}) > 1)
    )
    return Tape(tuple(samples), draw(st.integers(len(samples), 10**10)))


def shown(motion: Motion, at: int) -> dict[int, int]:
    """Render an instant and return the level of each slot that moves or flashes."""
    slots, rendered = motion.render(at)
    return dict(zip(slots.tolist(), rendered.tolist(), strict=True))


def flash(motion: Motion, tape: Tape, began: int, *slots: int) -> None:
    """Let channels flash together."""
    base = motion.reel.base(tape)
    motion.play([Part(slot, base, UNLIT, LIT - UNLIT) for slot in slots], tape, began, slots[0])


def flashing(tape: Tape = EVERY_SECOND, slots: int = 1, began: int = 0) -> Motion:
    """Return channels that flash together."""
    motion = Motion(slots, Reel([tape]))
    flash(motion, tape, began, *range(slots))
    return motion


def test_once_a_second_half_of_it_lit() -> None:
    """Unless told otherwise a signal flashes 60 times a minute, lit first and half of the time.

    Common practice, no source.
    """
    assert (SECOND, 50) == (Flash().period, Flash().lit)
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
        tape = flash_tape(flash, Change())
        bright = tape.samples.count(UNIT)
        assert (flash.period, 100 * bright) == (tape.period, lit * len(tape.samples))
        assert tape.samples == (UNIT,) * bright + (0,) * (len(tape.samples) - bright)
        assert 0 < bright < len(tape.samples)
        assert 3 * flash.period >= SECOND - 3


@given(tapes(), instants, st.integers(-(10**12), 10**15))
def test_shows_the_part_of_the_period_that_it_has_come_to(tape: Tape, began: int, later: int) -> None:
    """At any instant what is shown follows from the time since it began, and from nothing else; before that, too."""
    sample = later % tape.period * len(tape.samples) // tape.period
    expected = LIT if tape.samples[sample] else UNLIT
    assert {0: expected} == shown(flashing(tape, began=began), began + later)


@given(tapes(), st.lists(instants, max_size=20), instants)
def test_rendering_changes_nothing_later(tape: Tape, looks: list[int], at: int) -> None:
    """Frames that are left out or shown in between make no difference to a later one."""
    watched = flashing(tape)
    for look in sorted(looks):
        watched.render(look)
    assert shown(flashing(tape), at) == shown(watched, at)


@given(tapes(), st.integers(2, 8), instants)
def test_channels_that_play_together_are_in_phase(tape: Tape, slots: int, at: int) -> None:
    """Channels that flash together are all lit or all dark."""
    assert 1 == len(set(shown(flashing(tape, slots), at).values()))


@given(tapes(), instants)
def test_next_edge_is_the_first_change(tape: Tape, at: int) -> None:
    """Up to the next edge nothing changes, and there it does."""
    motion = flashing(tape)
    edge = motion.next_edge(at)
    assert edge is not None
    assert at < edge <= at + tape.period
    assert shown(motion, at) == shown(motion, edge - 1) != shown(motion, edge)


@given(st.lists(st.tuples(tapes(), instants), min_size=1, max_size=6), instants)
def test_next_edge_of_many_is_the_first_of_any(several: list[tuple[Tape, int]], later: int) -> None:
    """Of channels that flash by different tapes the one that changes first counts."""
    together = Motion(len(several), Reel([tape for tape, _began in several]))
    at = max(began for _tape, began in several) + later
    alone = []
    for slot, (tape, began) in enumerate(several):
        flash(together, tape, began, slot)
        alone.append(flashing(tape, began=began).next_edge(at))
    assert min(edge for edge in alone if edge is not None) == together.next_edge(at)


@given(
    st.lists(st.sampled_from([0, UNIT // 2, UNIT]), min_size=1, max_size=9), st.integers(20, 10**9), instants
)
def test_what_is_played_once_ends_as_its_tape_does(samples: list[int], period: int, began: int) -> None:
    """It holds its first sample until it begins, has an edge wherever it changes, and stands still at its end."""
    tape = Tape(tuple(samples), period, loops=False)
    motion = flashing(tape, began=began)
    expected = [UNLIT + ((LIT - UNLIT) * sample * 2 + UNIT) // (2 * UNIT) for sample in samples]
    at, seen = began - 1, [shown(motion, began - 1)[0]]
    while motion.moving:
        edge = motion.next_edge(at)
        assert edge is not None
        assert at < edge <= began + period
        assert {0: seen[-1]} == shown(motion, edge - 1)
        seen.append(shown(motion, edge)[0])
        at = edge
    changes = [level for level, before in zip(expected, (None, *expected), strict=False) if level != before]
    assert changes == [level for level, before in zip(seen, (None, *seen), strict=False) if level != before]
    assert (began + period, expected[-1]) == (at, motion.level(0))


def test_nothing_that_flashes_has_no_edge() -> None:
    """Where nothing flashes there is no next edge, also while something fades."""
    motion = Motion(2, Reel([EVERY_SECOND]))
    motion.fade(0, 0, LIT, 0, 10)
    assert motion.next_edge(0) is None
    flash(motion, EVERY_SECOND, 0, 1)
    motion.cut(1, 0)
    assert motion.next_edge(0) is None


def test_fading_and_flashing_channels_come_in_order() -> None:
    """Channels that fade and channels that flash are rendered together, in the order of their slots."""
    motion = Motion(4, Reel([EVERY_SECOND]))
    motion.fade(3, 0, FULL_LEVEL, 0, 10)
    flash(motion, EVERY_SECOND, 0, 2)
    motion.fade(1, 0, FULL_LEVEL, 0, 10)
    flash(motion, EVERY_SECOND, 0, 0)

    assert [(0, LIT), (1, FULL_LEVEL), (2, LIT), (3, FULL_LEVEL)] == list(shown(motion, 10).items())
    assert {0: UNLIT, 2: UNLIT} == shown(motion, SECOND // 2)
    assert (True, False, True) == (motion.moving, motion.smooth, motion.stepped)


@pytest.mark.parametrize(("at", "origin"), [(0, LIT), (SECOND // 2, UNLIT)])
def test_fade_begins_where_the_flash_stands(at: int, origin: int) -> None:
    """What a flash shows at an instant can be asked for, and a fade goes on from there."""
    motion = flashing()
    assert [origin] == motion.levels_at([0], at)
    motion.fade(0, origin, FULL_LEVEL, at, 1000)
    assert abs(origin - shown(motion, at)[0]) <= 2
    assert {0: FULL_LEVEL} == shown(motion, at + 1000)
    assert not motion.moving


def test_fade_to_where_the_flash_stands_is_over() -> None:
    """A flash that is sent to the level it has just then stands still at once."""
    motion = flashing()
    motion.fade(0, UNLIT, UNLIT, SECOND // 2, 1000)
    assert not motion.moving
    assert UNLIT == motion.level(0)


@given(st.lists(st.tuples(tapes(), instants), min_size=1, max_size=4), instants)
def test_snapshot_resumes(several: list[tuple[Tape, int]], later: int) -> None:
    """What takes back a snapshot through JSON flashes on as if nothing had been."""
    reel = Reel([tape for tape, _began in several])
    first, second = Motion(len(several) + 1, reel), Motion(len(several) + 1, reel)
    for slot, (tape, began) in enumerate(several):
        flash(first, tape, began, slot)
    first.fade(len(several), 0, FULL_LEVEL, later, 10**9)
    second.restore(json.loads(json.dumps(first.snapshot())))
    at = max(began for _tape, began in several) + later
    assert first.next_edge(at) == second.next_edge(at)
    assert shown(first, at) == shown(second, at)


def test_snapshot_in_which_one_follows_nobody_is_refused() -> None:
    """A channel that plays needs a voice to follow."""
    motion = flashing(slots=2)
    data = motion.snapshot()
    data["voices"].clear()
    with pytest.raises(ValueError, match="no channel moves so"):
        Motion(2, Reel([EVERY_SECOND])).restore(data)
