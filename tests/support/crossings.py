"""A crossing of two tracks for tests, and short ways to say what its trains do."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from bridge.events import SECOND, BlockState
from bridge.layout.crossings import RED, Crossing, CrossingTrack, Gates, Phase
from bridge.layout.findings import START
from bridge.logic import crossing as logic
from bridge.logic.known import Fact

UP: Final = CrossingTrack("up", "ux", (("ua", "ub"), ("ud", "uc")))
DOWN: Final = CrossingTrack("down", "dx", (("da",), ("db",)))
GATES: Final = Gates(start_after=3 * SECOND, lowering=9 * SECOND, raising=8 * SECOND)

MILL_LANE: Final = Crossing(
    name="mill-lane", tracks=(UP, DOWN), amber=0, gates=GATES, time_out=None, posts=(), mark=START
)
"""Two tracks with gates: `ua`, `ub`, the road `ux`, `uc`, `ud`; and `da`, the road `dx`, `db`."""

AMBER: Final = replace(MILL_LANE, amber=3 * SECOND)
OPEN: Final = replace(MILL_LANE, gates=None)
BLOCKS: Final = (*UP.blocks, *DOWN.blocks)
WORDS: Final = {"o": BlockState.OCCUPIED, "c": BlockState.CLEAR, "?": BlockState.UNKNOWN}


class Watched:
    """One crossing, driven step by step as a board does it; its time stands still between steps.

    Attributes:
        crossing: what is watched.
        now: the instant.
        seen: its phases with the instants at which they began.
    """

    def __init__(self, layout: Crossing = MILL_LANE, table: logic.Table = logic.STEPS) -> None:
        """Make a crossing, all of whose blocks are clear; it is idle."""
        self.crossing = logic.Crossing(layout, table)
        self.now = 0
        self._event = 0
        self.seen: list[tuple[Phase, int]] = [(self.crossing.phase, 0)]
        for track in layout.tracks:
            for block in track.blocks:
                self._take(block, "c")
        self._settle()

    @property
    def phase(self) -> Phase:
        """How far its closing has got."""
        return self.crossing.phase

    @property
    def red(self) -> bool:
        """Whether its red lights are on."""
        return self.phase in RED

    def _take(self, block: str, state: str) -> None:
        self._event += 1
        self.crossing.take(block, Fact(WORDS[state], self._event, ""), self.now)

    def _settle(self, event: int = 0) -> None:
        self.crossing.settle(self.now, event)
        if self.seen[-1][0] is not self.phase:
            self.seen.append((self.phase, self.now))

    def say(self, *reports: str) -> Phase:
        """Take reports such as `ua o`, `ua c` or `ua ?`, each for itself; return the phase after the last."""
        for report in reports:
            block, state = report.split()
            self._take(block, state)
            self._settle(self._event)
        return self.phase

    def wait(self, time: int) -> Phase:
        """Let time pass, and every timer run out at its own instant; return the phase after that."""
        until = self.now + time
        while (due := self.crossing.next_due()) is not None and due <= until:
            self.now = due
            self._settle()
        self.now = until
        return self.phase

    def down(self) -> None:
        """Have a train come on the up track, and the gates go down."""
        self.say("ua o")
        assert self.wait(60 * SECOND) in (Phase.DOWN, Phase.WARNING)
