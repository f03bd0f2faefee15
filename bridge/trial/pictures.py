"""What a lamp test shows on a chain: which of its channels are lit, step by step, laid over the chain's frame."""

from __future__ import annotations

from itertools import groupby
from typing import Final

from bridge.chain.frames import FULL_BYTE
from bridge.chain.timing import frame_instant
from bridge.events import MILLISECOND, SECOND, Instant, LampTestWay
from bridge.layout.model import Layout
from bridge.trial.areas import Part, inverted

STEP: Final = 1 * SECOND
"""How long each chip or channel is lit."""

BLINK: Final = 600 * MILLISECOND
"""How long what blinks is lit, and how long it is dark. Steps are shown with a frame of the grid, so one may be late;
from one flash to the next it is a second even then. WCAG 2.3.1 allows three flashes in a second."""


class Show:
    """What one part of a test shows, as a function of the time since it began.

    Attributes:
        part: where.
        round: nanoseconds until it has shown everything once; 0 for a picture, which stands.
    """

    def __init__(self, layout: Layout, way: LampTestWay, part: Part, picture: bytes) -> None:
        self.part = part
        self._picture = picture if way is LampTestWay.PICTURE else None
        self._step = BLINK if way is LampTestWay.BLINK else STEP
        self._steps = () if self._picture is not None else _steps(way, part)
        self.round = self._step * len(self._steps)
        self._rate = layout.frames_per_second
        dark = inverted(layout.chains[part.chain])
        self._unlit = [
            (channel.offset, FULL_BYTE if channel.offset in dark else 0) for channel in part.channels
        ]
        # A whole chain may have thousands of channels: its dark picture is made once.
        self._all_dark = bytes(byte for _offset, byte in sorted(self._unlit)) if part.whole else None

    def over(self, frame: bytes, since: Instant) -> bytes:
        """Return a chain's own frame with the test laid over it.

        Args:
            frame: what it would show without a test.
            since: nanoseconds since this part began.
        """
        if self._picture is not None:
            return self._picture
        levels = bytearray(self._all_dark or frame)
        if self._all_dark is None:
            for offset, byte in self._unlit:
                levels[offset] = byte
        for offset in self._steps[since // self._step % len(self._steps)]:
            levels[offset] ^= FULL_BYTE
        return bytes(levels)

    def next_step(self, began: Instant, now: Instant) -> Instant | None:
        """Return the first instant of the frame grid after `now` that shows another step; None for a picture.

        On the grid, so that what moves on other chains is rendered no more often because of it.
        """
        if self._picture is not None:
            return None
        steps = (now - began) // self._step + 1
        return frame_instant(began + steps * self._step, self._rate)


def _steps(way: LampTestWay, part: Part) -> tuple[tuple[int, ...], ...]:
    """Return, for each step, the bytes of the channels that are lit."""
    match way:
        case LampTestWay.CHIPS:
            chips = groupby(part.channels, key=lambda channel: channel.position)
            return tuple(tuple(channel.offset for channel in chip) for _position, chip in chips)
        case LampTestWay.TOGETHER:
            numbers = sorted({channel.number for channel in part.channels})
            return tuple(
                tuple(channel.offset for channel in part.channels if channel.number == number)
                for number in numbers
            )
        case LampTestWay.BLINK:
            return tuple(channel.offset for channel in part.channels), ()
        case _:
            return tuple((channel.offset,) for channel in part.channels)
