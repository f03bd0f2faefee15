"""What the channels show now, and how they get to what they shall show.

Whatever moves plays a tape: a flash, an effect, a lamp that warms up; a fade plays the table of lightness from one step
to another. So what is shown is a function of the instant. Rendering it changes nothing that comes after, and frames
that are left out change nothing later; a change that is interrupted goes on from where it stands.
"""

from __future__ import annotations

from array import array
from bisect import bisect_left
from collections.abc import Sequence
from typing import Any, Final, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from bridge.events import Instant
from bridge.layout.units import FULL_LEVEL
from bridge.light.lightness import step_of_linear
from bridge.light.reel import LIGHTNESS, Reel
from bridge.light.tapes import UNIT, Tape

Numbers: TypeAlias = NDArray[np.int64]
Slots: TypeAlias = NDArray[np.intp]

LATEST: Final = 2**62
"""An instant beyond all sessions that can still be taken from another one in 64 bits."""

EARLIEST: Final = -LATEST
"""One before all of them."""

LONGEST: Final = 2**46
"""A duration, some 19 hours, whose product with any number of steps still fits 64 bits."""

STILL, GOING, STEPPING, SWELLING, BLINKING = range(5)
"""What a channel does: nothing; play a tape once, smoothly or in steps that are seen; or play it for ever, likewise."""

_BITS: Final = 16
_HALF: Final = UNIT // 2


class Part(NamedTuple):
    """One channel of those that play together.

    Attributes:
        slot: the channel.
        base: where its tape begins on the reel.
        low: the linear level that it has where the tape is at 0.
        span: how much it has above that where the tape is at `UNIT`.
    """

    slot: int
    base: int
    low: int
    span: int


class _Column:
    """One number for each slot: quick to set one by one, and seen by numpy as an array."""

    __slots__ = ("many", "one")

    def __init__(self, slots: int) -> None:
        self.one = array("q", bytes(8 * slots))
        self.many: Numbers = np.frombuffer(self.one, dtype=np.int64)


class _Gathered(NamedTuple):
    """What moves, put together so that a frame need not look for it; good until something else moves.

    `began` to `since` have an entry for each voice; up to `waits` the channels of some are not lit yet. The rest has
    an entry for each channel; `which` is its voice among them. `endless` says that all go round. The last two are where
    each frame is worked out, so that no array is made for it.
    """

    slots: Slots
    began: Numbers
    time: Numbers
    start: Numbers
    way: Numbers
    loops: NDArray[np.bool_]
    since: Numbers
    waits: Instant
    which: Slots
    base: Numbers
    low: Numbers
    span: Numbers
    floor: Numbers
    ceiling: Numbers
    endless: bool
    places: Numbers
    levels: Numbers


class Motion:
    """The levels of all channels of a layout; a slot is a byte of all its frames laid end to end.

    Channels that play together follow one voice: when it began and how far it has got is worked out once. The voice of
    a channel by itself has the number of its slot; others have the numbers above.

    Attributes:
        reel: the tapes that they may play.
    """

    def __init__(self, slots: int, reel: Reel, voices: int = 0) -> None:
        """Take all channels to be dark; `voices` is how many there are beside those of single channels."""
        self.reel = reel
        self._does = bytearray(slots)
        self._many_do: NDArray[np.uint8] = np.frombuffer(self._does, dtype=np.uint8)
        self._count = [slots, 0, 0, 0, 0]
        # Of each channel: where it ends or stands, what it follows, and what it makes of its tape.
        self._goal = _Column(slots)
        self._voice = _Column(slots)
        self._base = _Column(slots)
        self._low = _Column(slots)
        self._span = _Column(slots)
        self._floor = _Column(slots)  # it is never darker
        self._ceiling = _Column(slots)  # and never brighter
        # Of each voice: when it began, how long it takes, the sample it begins with, how far it goes, if for ever.
        self._began = _Column(slots + voices)
        self._time = _Column(slots + voices)
        self._start = _Column(slots + voices)
        self._way = _Column(slots + voices)
        self._loops = _Column(slots + voices)
        self._tape = _Column(slots + voices)  # where the tape begins that has its edges
        self._since = _Column(slots + voices)  # until then it is as if the tape were at 0
        self._place: Numbers = np.zeros(slots + voices, dtype=np.int64)
        self._gathered: _Gathered | None = None

    @property
    def moving(self) -> bool:
        """Whether any channel moves at all."""
        return self._count[STILL] < len(self._does)

    @property
    def smooth(self) -> bool:
        """Whether any moves so that frames have to follow one another."""
        return self._count[GOING] + self._count[SWELLING] > 0

    @property
    def stepped(self) -> bool:
        """Whether any has edges that have to be waited for."""
        return self._count[STEPPING] + self._count[BLINKING] > 0

    def level(self, slot: int) -> int:
        """Return where a channel is or is going to; of one that plays for ever, its level at the tape's `UNIT`."""
        return self._goal.one[slot]

    def moves(self, slot: int) -> bool:
        """Return whether a channel moves."""
        return self._does[slot] != STILL

    def loops(self, slot: int) -> bool:
        """Return whether a channel plays for ever."""
        return self._does[slot] >= SWELLING

    def began(self, slot: int) -> Instant:
        """Return when what a moving channel does began."""
        return self._began.one[self._voice.one[slot]]

    def cut(self, slot: int, level: int) -> None:
        """Set a channel at once."""
        if self._does[slot]:
            self._now_does(slot, STILL)
        self._goal.one[slot] = level

    def fade(self, slot: int, origin: int, level: int, at: Instant, time: int) -> None:
        """Send a channel to a level in even steps of lightness; one that is on its way there already goes on.

        Args:
            slot: the channel.
            origin: its linear level now.
            level: its linear level at the end.
            at: when it begins.
            time: how long it takes, nanoseconds, 1 to `LONGEST`.
        """
        if self._does[slot] == GOING and self._goal.one[slot] == level and self._base.one[slot] == LIGHTNESS:
            return
        if origin == level:
            self.cut(slot, level)
            return
        start = step_of_linear(origin)
        self._go(slot, GOING, origin, level, Part(slot, LIGHTNESS, 0, FULL_LEVEL))
        self._voice.one[slot] = slot
        self._sing(slot, at, time, start, step_of_linear(level) - start)

    def follow(self, part: Part, origin: int, level: int, tape: Tape, at: Instant) -> None:
        """Send a channel to a level along a tape that only rises or only falls, entered where it is as bright as now.

        Args:
            part: the channel, and what it makes of the tape.
            origin: its linear level now.
            level: its linear level at the end.
            tape: the way.
            at: when it begins.
        """
        slot = part.slot
        if self._does[slot] == GOING and self._goal.one[slot] == level and self._base.one[slot] == part.base:
            return
        count, falls = len(tape.samples), tape.samples[0] > tape.samples[-1]
        sign = -1 if falls else 1
        here = sign * (origin - part.low) * UNIT // part.span if part.span else 0
        start = bisect_left(tape.samples, here, key=lambda sample: sign * sample)
        time = tape.period * (count - start) // count
        if origin == level or time < 1:
            self.cut(slot, level)
            return
        self._go(slot, GOING, origin, level, part)
        self._voice.one[slot] = slot
        self._sing(slot, at, time, start, count - start)

    def play(
        self, parts: Sequence[Part], tape: Tape, began: Instant, voice: int, since: Instant = EARLIEST
    ) -> None:
        """Let channels play tapes together, whatever they do now.

        Args:
            parts: the channels.
            tape: the tape of the first. Those of the others are as long, and change where it changes.
            began: when it began; may lie ahead, or before the session.
            voice: what they follow: one that nothing else follows.
            since: until then they stay as if the tape were at 0.
        """
        does = (BLINKING, SWELLING) if tape.loops else (STEPPING, GOING)
        for part in parts:
            end = UNIT if tape.loops else self.reel.samples.item(part.base + len(tape.samples))
            goal = part.low + (part.span * end + _HALF >> _BITS)
            self._go(part.slot, does[tape.smooth], 0, FULL_LEVEL, part)
            self._goal.one[part.slot] = goal
            self._voice.one[part.slot] = voice
        self._sing(voice, began, tape.period, 0, len(tape.samples))
        self._loops.one[voice], self._tape.one[voice] = tape.loops, parts[0].base
        self._since.one[voice] = since

    def _go(self, slot: int, does: int, origin: int, level: int, part: Part) -> None:
        self._now_does(slot, does)
        self._goal.one[slot] = level
        _slot, self._base.one[slot], self._low.one[slot], self._span.one[slot] = part
        self._floor.one[slot], self._ceiling.one[slot] = (
            (origin, level) if origin < level else (level, origin)
        )

    def _sing(self, voice: int, began: Instant, time: int, start: int, way: int) -> None:
        self._began.one[voice] = began
        self._time.one[voice] = time
        self._start.one[voice] = start
        self._way.one[voice] = way
        self._loops.one[voice] = False
        self._since.one[voice] = EARLIEST

    def _now_does(self, slot: int, what: int) -> None:
        self._count[self._does[slot]] -= 1
        self._count[what] += 1
        self._does[slot] = what
        self._gathered = None

    def levels_at(self, slots: Sequence[int], at: Instant) -> list[int]:
        """Return the linear levels of some channels at an instant, whether they move or not."""
        levels = [self._goal.one[slot] for slot in slots]
        moving = [index for index, slot in enumerate(slots) if self._does[slot]]
        if moving:
            some = self._gather(np.array([slots[index] for index in moving], dtype=np.intp))
            for index, level in zip(moving, self._look_up(some, at)[0].tolist(), strict=True):
                levels[index] = level
        return levels

    def render(self, at: Instant) -> tuple[Slots, Numbers]:
        """Return the channels that move, in order, and their linear levels; let go of what has arrived.

        Args:
            at: not before the last call of `cut`, `fade` or `follow`.
        """
        if self._gathered is None:
            self._gathered = self._gather(np.flatnonzero(self._many_do))
        moving = self._gathered
        levels, done = self._look_up(moving, at)
        if self._count[GOING] + self._count[STEPPING]:
            arrived = (~moving.loops & (done == moving.time)).take(moving.which)
            gone = moving.slots[arrived]
            for does in (GOING, STEPPING) if gone.size else ():
                count = int(np.count_nonzero(self._many_do[gone] == does))
                self._count[does] -= count
                self._count[STILL] += count
            if gone.size:
                self._many_do[gone] = STILL
                self._gathered = None
        return moving.slots, levels

    def _gather(self, slots: Slots) -> _Gathered:
        """Put together what is known of some channels that move."""
        voice = self._voice.many[slots]
        voices = _each_once(voice)
        self._place[voices] = np.arange(len(voices), dtype=np.int64)
        since = self._since.many[voices]
        return _Gathered(
            slots=slots,
            began=self._began.many[voices],
            time=self._time.many[voices],
            start=self._start.many[voices],
            way=self._way.many[voices],
            loops=self._loops.many[voices] > 0,
            since=since,
            waits=int(since.max(initial=EARLIEST)),
            which=self._place[voice],
            base=self._base.many[slots],
            low=self._low.many[slots],
            span=self._span.many[slots],
            floor=self._floor.many[slots],
            ceiling=self._ceiling.many[slots],
            endless=bool((self._loops.many[voices] > 0).all()),
            places=np.empty(len(slots), dtype=np.int64),
            levels=np.empty(len(slots), dtype=np.int64),
        )

    def _look_up(self, moving: _Gathered, at: Instant) -> tuple[Numbers, Numbers]:
        """Return the linear levels of channels that move, and how far each voice has got, nanoseconds."""
        past = at - moving.began
        done = _done(past, moving.time, moving.loops)
        place = moving.start + moving.way * done // moving.time
        # Nothing is out of range; clipping spares numpy a pass that looks for it, and `out` the making of arrays.
        np.take(place, moving.which, out=moving.places, mode="clip")
        np.add(moving.places, moving.base, out=moving.places)
        levels = np.take(self.reel.samples, moving.places, out=moving.levels, mode="clip")
        levels *= moving.span
        levels += _HALF
        levels >>= _BITS
        levels += moving.low
        if not moving.endless:
            # Near full light the table of lightness leaves levels out, so a step may lie a little below the level it
            # stands for. Held between both ends, the light never turns back on its way.
            np.maximum(levels, moving.floor, out=levels)
            np.minimum(levels, moving.ceiling, out=levels)
        if at < moving.waits:
            levels = np.where((at < moving.since).take(moving.which), moving.low, levels)
        arrived = ~moving.loops & (done == moving.time)
        if not moving.endless and arrived.any():
            levels = np.where(arrived.take(moving.which), self._goal.many[moving.slots], levels)
        return levels, done

    def next_edge(self, after: Instant) -> Instant | None:
        """Return the first instant after another at which something in steps looks different; None if nothing will."""
        if not self.stepped:
            return None
        does = self._many_do
        voices = _each_once(self._voice.many[np.flatnonzero((does == BLINKING) | (does == STEPPING))])
        time, way, loops = self._time.many[voices], self._way.many[voices], self._loops.many[voices] > 0
        past = after - self._began.many[voices]
        done = _done(past, time, loops)
        place = way * done // time
        run = self.reel.runs[self._tape.many[voices] + place]
        begun = after - np.where(loops, done, past)
        edges = begun + -(-(place + run) * time // way)
        # What is played once has its last edge at its end, where it is let go of.
        edges = np.where(loops, edges, np.where(run > 0, np.minimum(edges, begun + time), begun + time))
        since = self._since.many[voices]
        edges = np.concatenate((edges[(run > 0) | ~loops], since[since > after]))
        return int(edges.min()) if edges.size else None

    def snapshot(self) -> dict[str, Any]:
        """Return everything as plain data."""
        moving = [slot for slot, does in enumerate(self._does) if does]
        voices = sorted({self._voice.one[slot] for slot in moving})
        return {
            "levels": self._goal.one.tolist(),
            "moving": [
                [slot, self._does[slot], *(column.one[slot] for column in self._of_channels())]
                for slot in moving
            ],
            "voices": [[voice, *(column.one[voice] for column in self._of_voices())] for voice in voices],
        }

    def restore(self, data: dict[str, Any]) -> None:
        """Take back what `snapshot` gave, of as many channels, into channels of which none moves.

        Raises:
            KeyError, TypeError, ValueError: it is none of this many channels; throw this one away.
        """
        levels = [int(level) for level in data["levels"]]
        if len(levels) != len(self._does):
            raise ValueError(f"there are {len(self._does)} channels, not {len(levels)}")
        if not all(0 <= level <= FULL_LEVEL for level in levels):
            raise ValueError("a level is no 16-bit number")
        self._goal.one[:] = array("q", levels)
        known = set[int]()
        for entry in data["voices"]:
            voice, *values = map(int, entry)
            known.add(voice)
            _put(self._of_voices(), voice, values)
        for entry in data["moving"]:
            slot, does, *values = map(int, entry)
            if not STILL < does <= BLINKING or not values or values[0] not in known:
                raise ValueError(f"no channel moves so: {entry}")
            _put(self._of_channels(), slot, values)
            self._now_does(slot, does)
        self._check()

    def _of_channels(self) -> tuple[_Column, ...]:
        return (self._voice, self._base, self._low, self._span, self._floor, self._ceiling)

    def _of_voices(self) -> tuple[_Column, ...]:
        return (self._began, self._time, self._start, self._way, self._loops, self._tape, self._since)

    def _check(self) -> None:
        """Raise ValueError unless everything that moves does so within its bounds."""
        slots = np.flatnonzero(self._many_do)
        voice = self._voice.many[slots]
        base, start, way = self._base.many[slots], self._start.many[voice], self._way.many[voice]
        time, tape = self._time.many[voice], self._tape.many[voice]
        sound = (time >= 1) & (time <= LONGEST)
        sound &= (np.abs(way) <= len(self.reel.samples)) & ((way > 0) | (self._many_do[slots] == GOING))
        edges = (self._many_do[slots] == BLINKING) | (self._many_do[slots] == STEPPING)
        for end in (base + start, base + start + way, tape * edges, (tape + way) * edges):
            sound &= (end >= 0) & (end < len(self.reel.samples))
        low = self._low.many[slots]
        for level in (low, low + self._span.many[slots], self._floor.many[slots], self._ceiling.many[slots]):
            sound &= (level >= 0) & (level <= FULL_LEVEL)
        if not np.all(sound):
            raise ValueError("a channel moves beyond its bounds")


def _done(past: Numbers, time: Numbers, loops: NDArray[np.bool_]) -> Numbers:
    """Return how far voices have got within their tapes; a division is spared where none or all of them go round."""
    if not loops.any():
        return np.minimum(np.maximum(past, 0), time)
    if loops.all():
        return past % time
    return np.where(loops, past % time, np.minimum(np.maximum(past, 0), time))


def _each_once(voices: Numbers) -> Slots:
    """Return the numbers that occur, in order."""
    return np.flatnonzero(np.bincount(voices)) if voices.size else voices


def _put(columns: Sequence[_Column], place: int, values: Sequence[int]) -> None:
    """Set one place of some columns; raise ValueError where it is none, or a value is beyond all bounds."""
    for column, value in zip(columns, values, strict=True):
        if not 0 <= place < len(column.one) or not -LATEST <= value <= LATEST:
            raise ValueError(f"nothing moves so: {place}, {values}")
        column.one[place] = value
