"""What all channels of a layout show: aspects in, frames out.

Rendering an instant changes no state, so frames that are left out change nothing that comes after.
"""

from __future__ import annotations

from collections.abc import Collection
from itertools import compress
from typing import Any, NamedTuple

import numpy as np

from bridge.chain.frames import Frames
from bridge.chain.timing import frame_instant, newest_frame_instant
from bridge.commands import Cause, PublishFrame
from bridge.events import Instant
from bridge.layout.model import Layout
from bridge.light.motion import Beat, Motion
from bridge.light.pictures import DevicePlan


class _Look(NamedTuple):
    """What an aspect is for the channels of its device, worked out down to the bytes.

    Attributes:
        cut: slot, level and byte of each channel that is set at once.
        fade: the same of each that fades.
        flash: slot, level and byte while it is lit, and level and byte while it is not, of each that flashes.
        lenses: the slots of all that shines out of the same lenses as what flashes.
    """

    cut: tuple[tuple[int, int, int], ...]
    fade: tuple[tuple[int, int, int], ...]
    flash: tuple[tuple[int, int, int, int, int], ...]
    lenses: tuple[int, ...]


class Stage:
    """The lamps of one layout; devices are known by their index in the order of the plans."""

    def __init__(self, layout: Layout, plans: tuple[DevicePlan, ...]) -> None:
        self._plans = plans
        self._frames = Frames(layout)
        self._motion = Motion(self._frames.length)
        self._rate = layout.frames_per_second
        self._looks = [self._looks_of(plan) for plan in plans]
        self._sent = list(self._frames.frames())
        self._rendered: Instant = 0
        # The first edge of a flash that has not been rendered, so that events between two edges cost nothing for it.
        self._edge: Instant | None = None

    def knows(self, device: int, aspect: str) -> bool:
        """Return whether the device can show this aspect."""
        return aspect in self._looks[device]

    def begin(self, device: int, aspect: str, at: Instant) -> None:
        """Show an aspect at once, whatever the device's way of changing; what flashes begins, and is lit."""
        self._cut(device, aspect)
        self._rendered = at
        look = self._looks[device][aspect]
        if look.flash:
            self._flash(look, self._begun(device, at), at)

    def rest(self, device: int) -> None:
        """Show what a device shows that knows nothing, at once and for good: what would flash stays lit."""
        self._cut(device, self._plans[device].rest)

    def _cut(self, device: int, aspect: str) -> None:
        look = self._looks[device][aspect]
        for slot, level, byte, *_rest in (*look.cut, *look.fade, *look.flash):
            self._motion.cut(slot, level)
            self._frames.put(slot, byte)

    def show(self, device: int, aspect: str, at: Instant) -> int:
        """Show an aspect in the device's own way, and return the index of the chain that it hangs on.

        All that flashes on one device flashes in phase. Where a lens goes on flashing under the new aspect, in
        whatever colour, the others fall in with it; else the first flash begins now.
        """
        plan, look = self._plans[device], self._looks[device][aspect]
        going_on = self._beat_of(look) if look.flash else None
        for slot, level, byte in look.cut:
            self._motion.cut(slot, level)
            self._frames.put(slot, byte)
        for slot, level, _byte in look.fade:
            self._motion.fade(slot, level, at, plan.fade)
        if look.flash:
            self._flash(look, going_on or self._begun(device, at), at)
        return plan.chain

    def dim(self, zone: int, level: int, at: Instant, time: int) -> list[int]:
        """Bring all that is in a zone to its level; return the indexes of the chains that are touched.

        Args:
            zone: its index in the layout.
            level: what the light of its devices is multiplied by, 0 to 65535 for all of it.
            at: when it begins.
            time: nanoseconds until it is there, 0 for at once.
        """
        del zone, level, at, time
        return []

    def still(self, on: bool, at: Instant) -> list[int]:
        """Still all that flashes, or let it flash again; return the indexes of the chains that are touched."""
        del on, at
        return []

    def render(
        self, at: Instant, touched: Collection[int] = (), cause: Cause = Cause.EVENT
    ) -> list[PublishFrame]:
        """Return the frames that differ from before: of the chains that were touched, and of those in motion.

        Args:
            at: the instant to show.
            touched: indexes of chains on which a device was shown something else.
            cause: why these are published.
        """
        chains = set(touched)
        self._rendered = at
        edge = self._motion.flashing and self._edge is not None and self._edge <= at
        if edge or self._motion.fading:
            slots, levels = self._motion.render(at)
            self._frames.patch_many(slots, levels)
            chains.update(self._frames.chains_of(slots))
        if edge:
            self._edge = self._motion.next_edge(at)
        published = []
        for chain in sorted(chains):
            frame = self._frames.frame(chain)
            if frame != self._sent[chain]:
                self._sent[chain] = frame
                published.append(PublishFrame(at, chain, frame, cause if chain in touched else Cause.MOTION))
        return published

    def all_frames(self, at: Instant, cause: Cause) -> list[PublishFrame]:
        """Return the present frame of every chain."""
        self._sent = list(self._frames.frames())
        return [PublishFrame(at, index, frame, cause) for index, frame in enumerate(self._sent)]

    def present_frames(self) -> tuple[bytes, ...]:
        """Return what every chain was given last; nothing is rendered."""
        return tuple(self._sent)

    def next_frame(self, now: Instant) -> Instant | None:
        """Return the first instant of the frame grid after `now` that has to be rendered; None while nothing moves.

        What flashes and does nothing else only has to be rendered when it is next lit or goes dark.
        """
        if self._motion.fading:
            return frame_instant(now + 1, self._rate)
        if not self._motion.flashing or self._edge is None:
            return None
        return frame_instant(max(now + 1, self._edge), self._rate)

    def newest(self, now: Instant) -> Instant:
        """Return the last instant of the frame grid that is not after `now`."""
        return newest_frame_instant(now, self._rate)

    def snapshot(self) -> dict[str, Any]:
        """Return what moves and where, as plain data."""
        return {"motion": self._motion.snapshot(), "rendered": self._rendered}

    def restore(self, data: dict[str, Any]) -> None:
        """Take back what `snapshot` gave, of a stage with the same lamps.

        Raises:
            KeyError, TypeError, ValueError: it is none of this layout; nothing has changed.
        """
        motion, rendered = Motion(self._frames.length), int(data["rendered"])
        motion.restore(data["motion"])
        self._motion, self._rendered = motion, rendered
        levels = [motion.level(slot) for slot in range(self._frames.length)]
        self._frames.patch_many(np.arange(len(levels), dtype=np.intp), np.array(levels, dtype=np.uint16))
        # What moves stands where it was rendered last, not where it would be now: else a frame of the way would
        # be taken for sent.
        self._edge = rendered
        self.render(rendered)
        self._sent = list(self._frames.frames())

    def _beat_of(self, look: _Look) -> Beat | None:
        """Return how the first of the lenses flashes now that flash under an aspect too, or None if none does."""
        beats = (self._motion.beat_of(slot) for slot in look.lenses)
        return next((beat for beat in beats if beat is not None), None)

    def _flash(self, look: _Look, beat: Beat, at: Instant) -> None:
        lit = beat.is_lit(at)
        for slot, level, byte, unlit, unlit_byte in look.flash:
            self._motion.flash(slot, level, unlit, beat)
            self._frames.put(slot, byte if lit else unlit_byte)
        edge = beat.next_edge(at)
        self._edge = edge if self._edge is None else min(edge, self._edge)

    def _begun(self, device: int, at: Instant) -> Beat:
        """Return how the lamps of a device flash when they begin at an instant."""
        flash = self._plans[device].flash
        return Beat(at, flash.period, flash.lit_time)

    def _looks_of(self, plan: DevicePlan) -> dict[str, _Look]:
        """Work out every aspect of a device down to the bytes; what may not be lit in part does not fade."""
        slots = [self._frames.bases[plan.chain] + offset for offset in plan.offsets]
        looks = {}
        for aspect, look in plan.looks.items():
            channels = [
                (slot, level, self._frames.byte(slot, level))
                for slot, level in zip(slots, look.lit, strict=True)
            ]
            flashes = [lit != unlit for lit, unlit in zip(look.lit, look.unlit, strict=True)]
            fades = [
                bool(plan.fade) and dimmable and not flash
                for dimmable, flash in zip(plan.dimmable, flashes, strict=True)
            ]
            lenses = set(compress(plan.lenses, flashes))
            cuts = [not fade and not flash for fade, flash in zip(fades, flashes, strict=True)]
            looks[aspect] = _Look(
                cut=tuple(compress(channels, cuts)),
                fade=tuple(compress(channels, fades)),
                flash=tuple(
                    (*channel, unlit, self._frames.byte(channel[0], unlit))
                    for channel, unlit in compress(zip(channels, look.unlit, strict=True), flashes)
                ),
                lenses=tuple(compress(slots, [lens in lenses for lens in plan.lenses])),
            )
        return looks
