"""What all channels of a layout show: aspects in, frames out.

Rendering an instant changes no state, so frames that are left out change nothing that comes after.
"""

from __future__ import annotations

from collections.abc import Collection
from itertools import compress
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bridge.chain.frames import Frames
from bridge.chain.timing import frame_instant, newest_frame_instant
from bridge.commands import Cause, PublishFrame
from bridge.events import Instant
from bridge.layout.model import Layout, Way
from bridge.light.changes import first_out, through_red
from bridge.light.dimming import Dimmers, Zoned
from bridge.light.motion import Motion, Part, Slots
from bridge.light.plans import DevicePlan, Look
from bridge.light.reel import Reel
from bridge.light.tapes import UNIT, Tape

_LATER: Final = Tape((0, UNIT), 2, loops=False)
"""A cut that is due at an instant ahead."""


class _Play(NamedTuple):
    """Channels that play together: what they make of their tapes, the first one's, and what they follow.

    The tape begins `shift` nanoseconds later than the aspect, and they are dark for the first `since`.
    """

    parts: tuple[Part, ...]
    tape: Tape
    shift: int
    since: int
    voice: int


class _Look(NamedTuple):
    """What an aspect is for the channels of its device, worked out down to the bytes.

    Attributes:
        look: what it was worked out from.
        cut: slot, level and byte of each channel that is set at once.
        glide: index within the device, slot and level of each that changes in the device's own way.
        flash: the channels that flash.
        beat: the voice that these follow.
        lenses: the slots of all that shines out of the same lenses as what flashes.
        plays: those that play something else.
        stilled: slot and level of each where nothing may flash; None if nothing does.
    """

    look: Look
    cut: tuple[tuple[int, int, int], ...]
    glide: tuple[tuple[int, int, int], ...]
    flash: tuple[Part, ...]
    beat: int
    lenses: tuple[int, ...]
    plays: tuple[_Play, ...]
    stilled: tuple[tuple[int, int], ...] | None


class _Waiting(NamedTuple):
    """A device whose old picture is going out: when the new one may come, and which it is."""

    due: Instant
    device: int
    aspect: str


class Stage:
    """The lamps of one layout; devices are known by their index in the order of the plans."""

    def __init__(self, layout: Layout, plans: tuple[DevicePlan, ...]) -> None:
        self._plans = plans
        self._frames = Frames(layout)
        self._reel = Reel([_LATER, *(tape for plan in plans for tape in plan.tapes)])
        # Each device has a voice for its flash, and as many as it plays other things at once.
        self._voices = 0
        self._rate = layout.frames_per_second
        self._slots = [
            tuple(self._frames.slot(chain, offset) for chain, offset in plan.places) for plan in plans
        ]
        self._looks = [self._looks_of(plan, slots) for plan, slots in zip(plans, self._slots, strict=True)]
        self._zones = self._zones_of(layout)
        self._dimmers = self._opened()
        self._motion = self._still_motion()
        self._chains = [plan.chains for plan in plans]
        # The aspect whose light is to be seen, while the one that is wanted waits for it to go out.
        self._seen = [plan.rest for plan in plans]
        self._waiting: dict[int, _Waiting] = {}
        self._stirred: set[int] = set()  # chains on which something came on since the last frame
        self._stilled = False
        self._sent = list(self._frames.frames())
        self._rendered: Instant = 0
        # The first edge of what moves in steps that was not rendered yet: events between two edges cost nothing.
        self._edge: Instant | None = None

    def _zones_of(self, layout: Layout) -> list[Zoned]:
        zones: dict[str, dict[int, bool]] = {zone.name: {} for zone in layout.zones}
        names = [device.zone for device in layout.signals] + [device.zone for device in layout.lights]
        for name, plan, slots in zip(names, self._plans, self._slots, strict=True):
            if name:
                zones[name] |= zip(slots, plan.dimmable, strict=True)
        return [Zoned.of(slots) for slots in zones.values()]

    def _still_motion(self) -> Motion:
        return Motion(self._frames.length, self._reel, self._voices)

    def _opened(self) -> Dimmers:
        return Dimmers(self._zones, self._frames.length)

    def knows(self, device: int, aspect: str) -> bool:
        """Return whether the device can show this aspect."""
        return aspect in self._looks[device]

    def begin(self, device: int, aspect: str, at: Instant) -> None:
        """Show an aspect at once, whatever the device's way of changing; what flashes begins, and is lit."""
        self._cut(device, aspect)
        self._rendered = at
        if self._looks[device][aspect].flash or self._looks[device][aspect].plays:
            self._play(device, aspect, at)

    def rest(self, device: int) -> None:
        """Show what a device shows that knows nothing, at once and for good: what would flash stays lit."""
        self._cut(device, self._plans[device].rest)

    def _cut(self, device: int, aspect: str) -> None:
        look = self._looks[device][aspect]
        self._seen[device] = aspect
        self._waiting.pop(device, None)
        for slot, level in zip(self._slots[device], look.look.lit, strict=True):
            self._set(slot, level)

    def show(self, device: int, aspect: str, at: Instant) -> frozenset[int]:
        """Show an aspect in the device's own way, and return the indexes of the chains that it hangs on.

        What has to go out first does so; what then comes on does so at its own instant, whenever that is rendered.
        """
        self._catch_up(at)
        self._waiting.pop(device, None)
        change = self._plans[device].change
        if change.way is not Way.CUT:
            falls = self._first_out(device, aspect)
            if falls:
                time = self._fall(device, falls, at)
                self._waiting[device] = _Waiting(at + time, device, aspect)
                return self._chains[device]
        self._arrive(device, aspect, at, change.time)
        return self._chains[device]

    def _first_out(self, device: int, aspect: str) -> dict[int, int]:
        plan = self._plans[device]
        before, after = self._looks[device][self._seen[device]].look, self._looks[device][aspect].look
        if plan.change.way is Way.RED:
            return through_red(before, after, plan.lenses, plan.reds)
        return first_out(before, after, plan.lenses)

    def still(self, *, on: bool, at: Instant) -> frozenset[int]:
        """Let nothing flash, or let it flash again; return the indexes of the chains that it makes a difference to."""
        self._catch_up(at)
        self._stilled = on
        chains: set[int] = set()
        for device, aspect in enumerate(self._seen):
            if self._looks[device][aspect].stilled is not None and device not in self._waiting:
                chains |= self._chains[device]
                self._play(device, aspect, at)
        return frozenset(chains)

    def dim(self, zone: int, level: int, at: Instant, time: int) -> frozenset[int]:
        """Turn the dimmer of a zone, and return the indexes of the chains of all that lies in it.

        Args:
            zone: its index in the layout.
            level: how much of its light is left, 0 to 65535 in linear light.
            at: when it begins.
            time: how long it takes, in even steps of lightness, nanoseconds.
        """
        self._catch_up(at)
        self._dimmers.turn(zone, level, at, time)
        slots = self._dimmers.slots[zone]
        if not time:
            self._dim(slots, at)
        return frozenset(self._frames.chains_of(slots))

    def _dim(self, slots: Slots, at: Instant) -> list[int]:
        """Show channels anew whose dimmer has moved."""
        return self._patch(slots, self._motion.many_at(slots, at))

    def _fall(self, device: int, falls: dict[int, int], at: Instant) -> int:
        """Let channels go out, and return how long it takes."""
        plan, slots, change = self._plans[device], self._slots[device], self._plans[device].change
        if change.way in (Way.DARK, Way.RED):
            for index, level in falls.items():
                self._set(slots[index], level)
            return change.time
        time = 0
        present = self._motion.levels_at([slots[index] for index in falls], at)
        for (index, level), origin in zip(falls.items(), present, strict=True):
            if not plan.dimmable[index]:
                self._set(slots[index], level)  # nobody has to wait for it
            else:
                fade = max(change.time // 2, 1)
                time = fade if change.way is Way.FADE else plan.filaments[index].cools.period
                self._glide(device, index, origin, level, at, time)
        return time

    def _arrive(self, device: int, aspect: str, at: Instant, time: int) -> None:
        """Let what is wanted come on, in the device's own way; what falls may do so now too."""
        self._seen[device] = aspect
        look = self._looks[device][aspect]
        if self._plans[device].delays:
            self._cut_later(device, look, at)
        else:
            for slot, level, byte in look.cut:
                self._motion.cut(slot, level)
                self._frames.put(slot, byte if self._dimmers.open else self._byte(slot, level))
        if look.glide:
            present = self._motion.levels_at([slot for _index, slot, _level in look.glide], at)
            for (index, _slot, level), origin in zip(look.glide, present, strict=True):
                self._glide(device, index, origin, level, at + self._delay(device, index), time)
        if look.flash or look.plays:
            self._play(device, aspect, at)

    def _cut_later(self, device: int, look: _Look, at: Instant) -> None:
        """Set channels at once, each when its lamp has its turn."""
        slots, base = [slot for slot, _level, _byte in look.cut], self._reel.base(_LATER)
        places = {slot: index for index, slot in enumerate(self._slots[device])}
        present = self._motion.levels_at(slots, at)
        for (slot, level, _byte), origin in zip(look.cut, present, strict=True):
            part = Part(slot, base, origin, level - origin)
            self._motion.play([part], _LATER, at + self._delay(device, places[slot]), slot)
        self._edge_from(at)

    def _delay(self, device: int, index: int) -> int:
        delays = self._plans[device].delays
        return delays[index] if delays else 0

    def _edge_from(self, at: Instant) -> None:
        self._edge = at if self._edge is None else min(self._edge, at)

    def _glide(self, device: int, index: int, origin: int, level: int, at: Instant, time: int) -> None:
        """Send a channel from one level to another, in the way that its device changes."""
        slot, plan = self._slots[device][index], self._plans[device]
        if plan.change.way is Way.FADE:
            self._motion.fade(slot, origin, level, at, time)
        elif level > origin:
            warms = plan.filaments[index].warms
            self._motion.follow(Part(slot, self._reel.base(warms), 0, level), origin, level, warms, at)
        elif level == 0 < origin:
            # It cools from the heat that it was on its way to, or from where it stands if that was less.
            cools, peak = plan.filaments[index].cools, max(origin, self._motion.level(slot))
            self._motion.follow(Part(slot, self._reel.base(cools), 0, peak), origin, level, cools, at)
        else:
            self._motion.fade(slot, origin, level, at, plan.filaments[index].cools.period)
        if not self._motion.moves(slot):
            # It stands where it shall, but that may not have been rendered yet.
            self._frames.put(slot, self._byte(slot, level))

    def _play(self, device: int, aspect: str, at: Instant) -> None:
        """Let play what plays under an aspect.

        All that flashes on one device flashes in phase. Where a lens goes on flashing under the new aspect, in
        whatever colour, the others fall in with it; else the first flash begins now.
        """
        look = self._looks[device][aspect]
        if self._stilled and look.stilled is not None:
            for slot, level in look.stilled:
                self._set(slot, level)
            return
        if look.flash:
            going_on = (self._motion.began(slot) for slot in look.lenses if self._motion.loops(slot))
            self._motion.play(look.flash, self._plans[device].flash, next(going_on, at), look.beat)
        for play in look.plays:
            self._motion.play(play.parts, play.tape, at + play.shift, play.voice, at + play.since)
        if self._motion.stepped:
            self._edge_from(at)

    def _catch_up(self, at: Instant) -> None:
        """Let come on what was due by an instant, each at its own."""
        if not self._waiting:
            return
        due = sorted(waiting for waiting in self._waiting.values() if waiting.due <= at)
        for each in due:
            del self._waiting[each.device]
            change = self._plans[each.device].change
            time = max(change.time // 2, 1) if change.way is Way.FADE else change.time
            self._arrive(each.device, each.aspect, each.due, time)
            self._stirred |= self._chains[each.device]

    def render(
        self, at: Instant, touched: Collection[int] = (), cause: Cause = Cause.EVENT
    ) -> list[PublishFrame]:
        """Return the frames that differ from before: of the chains that were touched, and of those in motion.

        Args:
            at: the instant to show.
            touched: indexes of chains on which a device was shown something else.
            cause: why these are published.
        """
        self._catch_up(at)
        chains = self._stirred | set(touched)
        self._stirred = set()
        self._rendered = at
        edge = self._motion.stepped and self._edge is not None and self._edge <= at
        for slots in self._dimmers.move(at) if self._dimmers.moving else ():
            chains.update(self._dim(slots, at))
        if edge or self._motion.smooth:
            chains.update(self._patch(*self._motion.render(at)))
        if edge:
            # While frames follow one another anyway, nobody has to know which of them an edge is due with.
            self._edge = at if self._motion.smooth else self._motion.next_edge(at)
        published = []
        for chain in sorted(chains):
            frame = self._frames.frame(chain)
            if frame != self._sent[chain]:
                self._sent[chain] = frame
                published.append(PublishFrame(at, chain, frame, cause if chain in touched else Cause.MOTION))
        return published

    def _patch(self, slots: Slots, levels: NDArray[np.int64]) -> list[int]:
        """Put levels into the frames, and return the chains that they belong to."""
        self._frames.patch_many(slots, self._dimmers.many(slots, levels))
        return self._frames.chains_of(slots)

    def _byte(self, slot: int, level: int) -> int:
        return self._frames.byte(slot, self._dimmers.one(slot, level))

    def _set(self, slot: int, level: int) -> None:
        self._motion.cut(slot, level)
        self._frames.put(slot, self._byte(slot, level))

    def all_frames(self, at: Instant, cause: Cause) -> list[PublishFrame]:
        """Return the present frame of every chain."""
        self._sent = list(self._frames.frames())
        return [PublishFrame(at, index, frame, cause) for index, frame in enumerate(self._sent)]

    def present_frames(self) -> tuple[bytes, ...]:
        """Return what every chain was given last; nothing is rendered."""
        return tuple(self._sent)

    def next_frame(self, now: Instant) -> Instant | None:
        """Return the first instant of the frame grid after `now` that has to be rendered; None while nothing moves.

        What moves in steps only has to be rendered at the next of them.
        """
        if self._motion.smooth or self._dimmers.moving:
            return frame_instant(now + 1, self._rate)
        due = [waiting.due for waiting in self._waiting.values()]
        if self._motion.stepped and self._edge is not None:
            due.append(self._edge)
        return frame_instant(max(now + 1, min(due)), self._rate) if due else None

    def newest(self, now: Instant) -> Instant:
        """Return the last instant of the frame grid that is not after `now`."""
        return newest_frame_instant(now, self._rate)

    def snapshot(self) -> dict[str, Any]:
        """Return what moves and where, as plain data."""
        return {
            "motion": self._motion.snapshot(),
            "dimmers": self._dimmers.snapshot(),
            "aspects": list(self._seen),
            "waiting": [list(waiting) for waiting in self._waiting.values()],
            "stilled": self._stilled,
            "rendered": self._rendered,
        }

    def restore(self, data: dict[str, Any]) -> None:
        """Take back what `snapshot` gave, of a stage with the same lamps.

        Raises:
            KeyError, TypeError, ValueError: it is none of this layout; nothing has changed.
        """
        motion, dimmers = self._still_motion(), self._opened()
        motion.restore(data["motion"])
        dimmers.restore(data["dimmers"])
        seen, rendered = [str(aspect) for aspect in data["aspects"]], int(data["rendered"])
        waiting = [_Waiting(int(due), int(device), str(aspect)) for due, device, aspect in data["waiting"]]
        if len(seen) != len(self._plans) or not all(map(self.knows, range(len(seen)), seen)):
            raise ValueError("it is of other devices")
        if not all(
            each.device in range(len(seen)) and self.knows(each.device, each.aspect) for each in waiting
        ):
            raise ValueError("a device waits that is not there")
        self._motion, self._dimmers, self._rendered = motion, dimmers, rendered
        self._seen, self._stilled = seen, bool(data["stilled"])
        self._waiting = {each.device: each for each in waiting}
        levels = np.array([motion.level(slot) for slot in range(self._frames.length)], dtype=np.int64)
        self._patch(np.arange(len(levels), dtype=np.intp), levels)
        # What moves stands where it was rendered last, not where it would be now: else a frame of the way would
        # be taken for sent.
        self._edge = rendered
        self.render(rendered)
        self._sent = list(self._frames.frames())

    def _looks_of(self, plan: DevicePlan, slots: tuple[int, ...]) -> dict[str, _Look]:
        """Work out every aspect of a device down to the bytes; what may not be lit in part changes at once."""
        glides = plan.change.way in (Way.FADE, Way.FILAMENT)
        looks = {}
        beat = self._frames.length + self._voices
        self._voices += 1 + max(len(look.plays) for look in plan.looks.values())
        for aspect, look in plan.looks.items():
            plays = {index for play in look.plays for index in play.wires}
            flashes = [
                lit != unlit and index not in plays
                for index, (lit, unlit) in enumerate(zip(look.lit, look.unlit, strict=True))
            ]
            cut, glide, flash = list[tuple[int, int, int]](), list[tuple[int, int, int]](), list[Part]()
            for index, (slot, lit, unlit) in enumerate(zip(slots, look.lit, look.unlit, strict=True)):
                if flashes[index]:
                    flash.append(Part(slot, self._reel.base(plan.flash), unlit, lit - unlit))
                elif index not in plays and glides and plan.dimmable[index]:
                    glide.append((index, slot, lit))
                elif index not in plays:
                    cut.append((slot, lit, self._frames.byte(slot, lit)))
            lenses = set(compress(plan.lenses, flashes))
            looks[aspect] = _Look(
                look=look,
                cut=tuple(cut),
                glide=tuple(glide),
                flash=tuple(flash),
                beat=beat,
                lenses=tuple(compress(slots, [lens in lenses for lens in plan.lenses])),
                plays=tuple(
                    _Play(
                        tuple(
                            Part(slots[index], self._reel.base(tape), 0, look.lit[index])
                            for index, tape in zip(play.wires, play.tapes, strict=True)
                        ),
                        play.tapes[0],
                        play.shift + (later := plan.delays[play.wires[0]] if plan.delays else 0),
                        later,
                        beat + number,
                    )
                    for number, play in enumerate(look.plays, start=1)
                ),
                stilled=None if look.stilled is None else tuple(zip(slots, look.stilled, strict=True)),
            )
        return looks
