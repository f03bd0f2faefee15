"""From the bytes of frames to colours on a screen, as the page shows them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Final

from bridge.events import Instant
from bridge.picture.timeline import MOST_COLOURS, Glow, Rgb

_LINEAR: Final = 0.0031308
_THROUGH_DARK: Final = 2
"""Turns, off and on, that a change of aspect may take."""

_WAVES: Final = 4
"""Times that light becomes brighter again, after which it plays."""


def encode(linear: float) -> int:
    """Return linear light, 0 to 1, as a byte of sRGB (IEC 61966-2-1)."""
    clipped = min(max(linear, 0.0), 1.0)
    coded: float = 12.92 * clipped if clipped <= _LINEAR else 1.055 * clipped ** (1 / 2.4) - 0.055
    return round(255 * coded)


def on_screen(light: Sequence[float]) -> Rgb:
    """Return how linear light looks; what is brighter than a screen is dimmed as a whole, so that its hue stays."""
    most = max(1.0, *light)
    red, green, blue = (encode(part / most) for part in light)
    return red, green, blue


class Lens:
    """What shines out of one hole of a fixture, and how it has behaved since the present aspect began.

    Attributes:
        bytes: of its chain's frame, by which it shines.

    Args:
        dies: each with `byte`, `inverted` and `rgb`, as `bridge.web.view` describes them.
    """

    def __init__(self, dies: Iterable[dict[str, Any]]) -> None:
        self._dies = [(each["byte"], each["inverted"], tuple(each["rgb"])) for each in dies]
        self.bytes = tuple(byte for byte, _inverted, _rgb in self._dies)
        self._light: tuple[float, ...] = (0.0, 0.0, 0.0)
        self._lit = False
        self._brightest: tuple[float, ...] = (0.0, 0.0, 0.0)
        self._turned: Instant = 0
        self._longest = 0
        self._turns = self._waves = 0
        self._rising = False

    def begin(self, at: Instant) -> None:
        """Forget how it behaved under the aspect before; what it shows it goes on to show."""
        self._turned, self._longest = at, 0
        self._turns = self._waves = 0
        self._brightest = self._light

    def shine(self, levels: bytes, at: Instant) -> None:
        """Take a frame."""
        light = [0.0, 0.0, 0.0]
        lit = False
        for byte, inverted, rgb in self._dies:
            if byte < len(levels):
                level = 255 - levels[byte] if inverted else levels[byte]
                lit = lit or level > 0
                for part in range(3):
                    light[part] += rgb[part] * level / 255
        if lit is not self._lit:
            self._turns += 1
            self._longest = max(self._longest, at - self._turned)
            self._turned = at
            if lit and self._turns <= _THROUGH_DARK:
                self._brightest = (0.0, 0.0, 0.0)  # what it was lit in before is not of this aspect
        if (sum(light) > sum(self._light)) is not self._rising:
            self._rising = not self._rising
            self._waves += self._rising
        self._lit = lit
        self._light = tuple(light)
        if lit and sum(light) > sum(self._brightest):
            self._brightest = self._light

    def glow(self, until: Instant) -> Glow | None:
        """Return what it has shown since the aspect began, as it was at last; None for dark.

        A change through dark turns it off and on once; what does so more often flashes, unless it has come to an end
        of that, as a tube does that has started. What plays without going dark is as bright as it was at its best.
        """
        if self._turns > _THROUGH_DARK and until - self._turned <= 2 * self._longest:
            return Glow(on_screen(self._brightest), flashing=True)
        if not self._lit:
            return None
        plays = self._waves > _WAVES
        return Glow(on_screen(self._brightest if plays else self._light), flashing=False)


def glows_of(lenses: Iterable[Lens], until: Instant) -> tuple[Glow, ...]:
    """Return the colours that a device shows, from the top of its mast downwards, each once."""
    glows: dict[tuple[object, ...], Glow] = {}
    for lens in lenses:
        glow = lens.glow(until)
        if glow is not None:
            # What hardly differs is one colour: filaments of one house, say.
            coarse = tuple(part // 24 for part in glow.rgb)
            glows.setdefault((coarse, glow.flashing), glow)
    return tuple(glows.values())[:MOST_COLOURS]
