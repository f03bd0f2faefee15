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
from bridge.light.motion import Motion
from bridge.light.pictures import DevicePlan


class _Look(NamedTuple):
    """What an aspect is for the channels of its device, worked out down to the bytes: (slot, level, byte) for each."""

    cut: tuple[tuple[int, int, int], ...]
    fade: tuple[tuple[int, int, int], ...]


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

    def knows(self, device: int, aspect: str) -> bool:
        """Return whether the device can show this aspect."""
        return aspect in self._looks[device]

    def cut(self, device: int, aspect: str) -> None:
        """Show an aspect at once, whatever the device's way of changing."""
        look = self._looks[device][aspect]
        for slot, level, byte in (*look.cut, *look.fade):
            self._motion.cut(slot, level)
            self._frames.put(slot, byte)

    def show(self, device: int, aspect: str, at: Instant) -> int:
        """Show an aspect in the device's own way, and return the index of the chain that it hangs on."""
        plan, look = self._plans[device], self._looks[device][aspect]
        for slot, level, byte in look.cut:
            self._motion.cut(slot, level)
            self._frames.put(slot, byte)
        for slot, level, _byte in look.fade:
            self._motion.fade(slot, level, at, plan.fade)
        return plan.chain

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
        if self._motion.moving:
            self._rendered = at
            slots, levels = self._motion.render(at)
            self._frames.patch_many(slots, levels)
            chains.update(self._frames.chains_of(slots))
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
        """Return the first instant of the frame grid after `now` that has to be rendered; None while nothing moves."""
        return frame_instant(now + 1, self._rate) if self._motion.moving else None

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
        self.render(rendered)
        self._sent = list(self._frames.frames())

    def _looks_of(self, plan: DevicePlan) -> dict[str, _Look]:
        """Work out every aspect of a device down to the bytes; what may not be lit in part does not fade."""
        slots = [self._frames.bases[plan.chain] + offset for offset in plan.offsets]
        looks = {}
        for aspect, levels in plan.looks.items():
            channels = [
                (slot, level, self._frames.byte(slot, level))
                for slot, level in zip(slots, levels, strict=True)
            ]
            fades = [bool(plan.fade) and dimmable for dimmable in plan.dimmable]
            looks[aspect] = _Look(
                cut=tuple(compress(channels, [not fade for fade in fades])),
                fade=tuple(compress(channels, fades)),
            )
        return looks
