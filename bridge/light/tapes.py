"""Light over time, worked out when a layout is read: a row of samples that is played once or for ever.

What a lamp shows at an instant is looked up and nothing more: it depends on when its tape began, and on no frame that
was or was not rendered before.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

UNIT: Final = 65_536
"""Full light in a tape."""

LONGEST_TAPE: Final = 8192
"""How many samples a tape may have: enough for minutes at the pace of frames, and a few dozen kilobytes each."""


@dataclass(frozen=True, slots=True)
class Tape:
    """How much light a lamp gives, as shares of its full light.

    Attributes:
        samples: 0 to `UNIT`, in linear light; each holds for an equal part of the period.
        period: nanoseconds from the first sample to the end of the last.
        loops: it begins again at its end; else the last sample stays.
        smooth: the steps between samples are not to be seen, so frames follow on the grid; else only a sample that
            differs from the one before it wants a frame.
    """

    samples: tuple[int, ...]
    period: int
    loops: bool = True
    smooth: bool = False

    def __hash__(self) -> int:
        """Return a number that tells most tapes apart without going through their samples."""
        return self.period ^ len(self.samples)


class Score(NamedTuple):
    """What one lamp plays.

    Attributes:
        tape: its light over time.
        hues: the colours of a full-colour lamp, each with the number of the sample at which it is pure; between two of
            them it is mixed in even steps. With none, it keeps the colour that its owner asked for. Lamps that cannot
            mix follow the tape alone.
        shift: nanoseconds by which it begins later than its device is switched on; less than 0, it has been playing
            before. A tape that is played once holds its first sample until it begins; one that loops has no beginning.
    """

    tape: Tape
    hues: tuple[tuple[int, str], ...] = ()
    shift: int = 0
