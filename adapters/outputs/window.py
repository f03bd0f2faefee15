"""The state of one chain between the bridge and its node: what is newest, what is unacknowledged, who is silent.

Pure: instants come in as arguments, and nothing is sent here. Newest wins: there is one slot, and nothing else
is ever queued, neither here nor, by the limit on unacknowledged frames, inside the broker.

    phase      frames go out
    unheard    whenever there is news: a plain subscriber that acknowledges nothing gets everything
    greeted    the node announced itself, and the limit on unacknowledged frames holds
    answering  the chain acknowledges, and the limit holds
    silent     a whole frame each 5 s, to ask whether the node is there again

A chain that answers promptly may have two frames on the way; a slow one only one, so that its next frame is
always the newest state. A keep-alive goes out a second after the last frame. It makes good a frame that was lost on
the way, so it may be the second one there, but never the third, and a node that takes a second and more for a frame
has none queue up behind it.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Final, NamedTuple

from adapters.outputs.frame import KEEP_ALIVE, SEQUENCES
from adapters.outputs.pace import NEVER
from bridge.events import MILLISECOND, SECOND, Instant

KEEP_ALIVE_AFTER: Final = 1 * SECOND
SILENT_AFTER: Final = 3 * SECOND
ASK_EVERY: Final = 5 * SECOND

MOST_ON_THE_WAY: Final = 2
"""So many frames of a chain that acknowledges may be unacknowledged, keep-alives among them."""

PROMPT: Final = 50 * MILLISECOND
"""A node whose last round trip was shorter than this may have two frames on the way."""

_MASK: Final = len(SEQUENCES) - 1


class Phase(Enum):
    """What is known of the node's end of a chain."""

    UNHEARD = "unheard"
    GREETED = "greeted"
    ANSWERING = "answering"
    SILENT = "silent"


class Step(Enum):
    """What may happen to a chain's phase."""

    ANNOUNCED = "announced"
    ACKNOWLEDGED = "acknowledged"
    GONE = "gone"
    UNANSWERED = "unanswered"


PHASES: Final[dict[Phase, dict[Step, Phase]]] = {
    Phase.UNHEARD: {
        Step.ANNOUNCED: Phase.GREETED,
        Step.ACKNOWLEDGED: Phase.ANSWERING,
        Step.GONE: Phase.SILENT,
        Step.UNANSWERED: Phase.UNHEARD,  # it never promised to answer
    },
    Phase.GREETED: {
        Step.ANNOUNCED: Phase.GREETED,
        Step.ACKNOWLEDGED: Phase.ANSWERING,
        Step.GONE: Phase.SILENT,
        Step.UNANSWERED: Phase.SILENT,
    },
    Phase.ANSWERING: {
        Step.ANNOUNCED: Phase.GREETED,
        Step.ACKNOWLEDGED: Phase.ANSWERING,
        Step.GONE: Phase.SILENT,
        Step.UNANSWERED: Phase.SILENT,
    },
    Phase.SILENT: {
        Step.ANNOUNCED: Phase.GREETED,
        Step.ACKNOWLEDGED: Phase.ANSWERING,
        Step.GONE: Phase.SILENT,
        Step.UNANSWERED: Phase.SILENT,
    },
}
"""The whole of the state machine."""


@dataclass(slots=True)
class Counters:
    """What happened on a chain since the session began; the last round trip is 0 while none is known."""

    sent: int = 0
    skipped: int = 0
    kept_alive: int = 0
    acknowledged: int = 0
    round_trip_ns: int = 0


class _OnTheWay(NamedTuple):
    ordinal: int
    at: Instant


class Window:
    """One chain.

    Frames are counted without wrapping inside (an *ordinal*); the sequence on the wire is its low 32 bits. So
    nothing here ever compares numbers that have wrapped.

    Attributes:
        newest: the levels in the slot, or None before the first.
        flags: what the frame with them is marked as, keep-alives too.
        phase: what is known of the node's end.
        counters: for the page.
    """

    __slots__ = (
        "_answered",
        "_differs",
        "_heard_at",
        "_on_the_way",
        "_ordinal",
        "_sent",
        "_sent_at",
        "_sent_flags",
        "_whole",
        "counters",
        "flags",
        "newest",
        "phase",
    )

    def __init__(self, *, ordinal: int = 0) -> None:
        """Make the state of a chain to which `ordinal` frames went out before."""
        self.newest: bytes | None = None
        self.flags = 0
        self.phase = Phase.UNHEARD
        self.counters = Counters()
        self._ordinal = ordinal
        self._answered = ordinal  # the newest ordinal acknowledged, or from before the present term
        self._sent: bytes | None = None
        self._sent_flags = 0
        self._sent_at: Instant = -ASK_EVERY  # nothing was sent yet: everything is due
        self._heard_at: Instant = 0
        self._differs = False  # the slot holds other levels than were sent last
        self._whole = False  # a frame is due whatever it holds
        self._on_the_way: list[_OnTheWay] = []

    @property
    def sequence(self) -> int:
        """The sequence of the next frame."""
        return (self._ordinal + 1) & _MASK

    @property
    def on_the_way(self) -> int:
        """Frames that a chain that acknowledges has not acknowledged."""
        return len(self._on_the_way)

    def put(self, levels: bytes, flags: int = 0) -> None:
        """Take the newest levels. What was in the slot and not sent is passed over, and counted."""
        if self._differs and levels != self.newest:
            self.counters.skipped += 1
        self.newest = levels
        self.flags = flags
        self._differs = levels != self._sent or flags != self._sent_flags

    def offer(self, now: Instant) -> int | None:
        """Return the flags of the frame that may go out now (`newest` under `sequence`), or None."""
        if self.newest is None:
            return None
        news = self._differs or self._whole
        if self.phase is Phase.SILENT:
            if self._whole:
                return self.flags
            return KEEP_ALIVE | self.flags if now >= self._sent_at + ASK_EVERY else None
        if news and (self.phase is Phase.UNHEARD or len(self._on_the_way) < self._limit(now)):
            return self.flags
        if now >= self._sent_at + KEEP_ALIVE_AFTER and self._keep_alive_may_go():
            return KEEP_ALIVE | self.flags
        return None

    def sent(self, now: Instant, flags: int) -> None:
        """Note that the frame that `offer` allowed went out."""
        self._ordinal += 1
        self._sent = self.newest
        self._sent_flags = self.flags
        self._sent_at = now
        self._differs = self._whole = False
        if self.phase is Phase.UNHEARD or self.phase is Phase.SILENT:
            # No limit holds, so only the newest is kept, for its round trip if it is acknowledged after all.
            self._on_the_way.clear()
        self._on_the_way.append(_OnTheWay(self._ordinal, now))
        self.counters.sent += 1
        self.counters.kept_alive += flags & KEEP_ALIVE

    def acknowledged(self, sequence: int, now: Instant) -> bool:
        """Take an acknowledgement of this term and return whether it says anything new.

        A sequence that was never sent in this term, or is not newer than what was acknowledged, says nothing.
        Whatever is older than the sequence counts as shown or passed over by the node.
        """
        ordinal = self._ordinal - ((self._ordinal - sequence) & _MASK)
        if ordinal <= self._answered:
            return False
        self._answered = ordinal
        self.counters.acknowledged += 1
        self._heard_at = now
        while self._on_the_way and self._on_the_way[0].ordinal <= ordinal:
            frame = self._on_the_way.pop(0)
            if frame.ordinal == ordinal:
                self.counters.round_trip_ns = max(now - frame.at, 1)
        if self.phase is Phase.SILENT:
            self.refresh()
        self._step(Step.ACKNOWLEDGED)
        return True

    def announced(self, now: Instant) -> None:
        """Note that the node booted or came back: what was on its way is lost, and a whole frame is due."""
        self.refresh()
        self.counters.round_trip_ns = 0
        self._heard_at = now
        self._step(Step.ANNOUNCED)

    def gone(self) -> None:
        """Note that the node is known to be away."""
        self._fall_silent(Step.GONE)

    def unanswered(self, now: Instant) -> bool:
        """Fall silent if nothing was acknowledged for too long, and return whether that happened now."""
        if now < self._silent_at():
            return False
        self._fall_silent(Step.UNANSWERED)
        return True

    def refresh(self) -> None:
        """Forget what was on its way (the link was down): a whole frame is due."""
        self._on_the_way.clear()
        self._whole = True

    def restart(self) -> None:
        """Begin a new term: frames of the old one may have been ignored, their acknowledgements say nothing."""
        self.refresh()
        self._answered = self._ordinal

    def due(self, now: Instant) -> Instant:
        """Return the instant at which there is something to do if nothing else happens, or `NEVER`.

        It is `now` or earlier when a frame may go at once.
        """
        if self.newest is None:
            return NEVER
        if self.phase is Phase.SILENT:
            return now if self._whole else self._sent_at + ASK_EVERY
        if self.offer(now) is not None:
            return now
        keep_alive = self._sent_at + KEEP_ALIVE_AFTER if self._keep_alive_may_go() else NEVER
        return min(keep_alive, self._silent_at())

    def _limit(self, now: Instant) -> int:
        # A node that was prompt and now is late with its acknowledgement is no longer prompt.
        if self._was_prompt() and (not self._on_the_way or now - self._on_the_way[0].at < PROMPT):
            return MOST_ON_THE_WAY
        return 1

    def _was_prompt(self) -> bool:
        return 0 < self.counters.round_trip_ns < PROMPT

    def _keep_alive_may_go(self) -> bool:
        if self.phase is Phase.UNHEARD or not self._on_the_way:
            return True
        return len(self._on_the_way) < MOST_ON_THE_WAY and self.counters.round_trip_ns < KEEP_ALIVE_AFTER

    def _silent_at(self) -> Instant:
        if not self._on_the_way or self._step_would_be(Step.UNANSWERED) is self.phase:
            return NEVER
        return max(self._heard_at, self._on_the_way[0].at) + SILENT_AFTER

    def _fall_silent(self, step: Step) -> None:
        self._on_the_way.clear()
        self._whole = False
        self.counters.round_trip_ns = 0
        self._step(step)

    def _step_would_be(self, step: Step) -> Phase:
        return PHASES[self.phase][step]

    def _step(self, step: Step) -> None:
        self.phase = self._step_would_be(step)
