"""All tapes of a layout end to end, so that whatever moves is looked up in one table.

Lightness is a tape among them, run through from one step to another: a fade is played like everything else.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from bridge.layout.units import FULL_LEVEL
from bridge.light.lightness import STEPS, linear_table
from bridge.light.tapes import UNIT, Tape

LIGHTNESS: Final = 0
"""Where the table of lightness begins: the linear light of each step, 0 to `STEPS`."""


@cache
def _lightness() -> tuple[int, ...]:
    return tuple((2 * level * UNIT + FULL_LEVEL) // (2 * FULL_LEVEL) for level in linear_table())


class Reel:
    """The samples of all tapes.

    Attributes:
        samples: all samples; each tape is followed by its last sample once more, or its first one if it loops.
        runs: for each sample, how many samples on the next different one of its tape lies; 0 if there is none.
    """

    def __init__(self, tapes: Iterable[Tape]) -> None:
        self._bases: dict[Tape, int] = {}
        samples: list[NDArray[np.int64]] = [np.array(_lightness(), dtype=np.int64)]
        runs: list[NDArray[np.int64]] = [np.ones(STEPS + 1, dtype=np.int64)]
        length = STEPS + 1
        for tape in tapes:
            if tape not in self._bases:
                self._bases[tape] = length
                end = tape.samples[0] if tape.loops else tape.samples[-1]
                samples.append(np.array((*tape.samples, end), dtype=np.int64))
                runs.append(np.array(_runs(tape), dtype=np.int64))
                length += len(tape.samples) + 1
        self.samples: NDArray[np.int64] = np.concatenate(samples)
        self.runs: NDArray[np.int64] = np.concatenate(runs)

    def base(self, tape: Tape) -> int:
        """Return where a tape begins.

        Raises:
            KeyError: it is none of these.
        """
        return self._bases[tape]


def _runs(tape: Tape) -> list[int]:
    """Return how far each sample is from the next different one, and 0 for the one that follows the tape."""
    count = len(tape.samples)
    runs = [0] * (count + 1)
    # Twice round, from behind: what differs from the last samples of a loop stands at its beginning.
    for index in range(2 * count - 1 if tape.loops else count - 1, -1, -1):
        here = index % count
        following = tape.samples[(here + 1) % count] if tape.loops or here + 1 < count else tape.samples[here]
        after = runs[(here + 1) % count] if tape.loops else runs[here + 1]
        if following != tape.samples[here]:
            runs[here] = 1
        else:
            runs[here] = after + 1 if after else 0
    return runs
