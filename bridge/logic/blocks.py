"""Blocks: occupied at once, clear only after a while, and unknown wherever that is not certain.

A detector that loses a train for a moment must not clear a signal, and one that sees a train must not wait. So the
two edges are not treated alike: occupied is taken (almost) at once, clear after a delay, and being occupied again
starts the delay anew. What cannot be relied upon is unknown, and unknown is as good as occupied (49 CFR 236.5,
236.813a).
"""

from __future__ import annotations

from typing import Any, Final, NamedTuple

from bridge.events import BlockState, Instant, PowerState
from bridge.layout import model, trackside

POWER: Final = "power"
USE: Final = "use"
"""What of a block may be in doubt."""

NEVER_REPORTED: Final = "nothing was heard of it yet"


class Reported(NamedTuple):
    """The state of a block as it counts.

    Attributes:
        state: occupied, clear or unknown.
        why: where it is unknown, the reason in words; else empty.
        event: number of the event that it rests on.
    """

    state: BlockState
    why: str
    event: int


class Block:
    """One block.

    Attributes:
        name: of the block.
        counts: its state as it counts.
        due: when what was reported will count if nothing else is reported, or None while nothing waits.
        place: among all that has timers.
        source: who reported it last, or empty.
    """

    def __init__(self, block: model.Block) -> None:
        self.name = block.name
        self.counts = Reported(BlockState.UNKNOWN, NEVER_REPORTED, 0)
        self.due: Instant | None = None
        self.place = 0
        self.source = ""
        self._waits: BlockState | None = None
        self._heard: tuple[BlockState, int] | None = None
        self._doubts: dict[str, str] = {}
        self._after = {BlockState.OCCUPIED: block.occupied_after, BlockState.CLEAR: block.clear_after}

    def doubted(self) -> str:
        """Return what of it is in doubt first, `POWER` or `USE`, or nothing."""
        return next(iter(self._doubts), "")

    def report(self, state: BlockState, source: str, at: Instant, event: int) -> bool:
        """Take what a detector says; return whether what counts has changed."""
        self._heard = (state, event)
        self.source = source
        return False if self._doubts else self._take(state, at, event)

    def doubt(self, what: str, why: str, event: int) -> bool:
        """Take it that the block is not to be relied upon; return whether what counts has changed.

        Whatever waits is called off.

        Args:
            what: what is in doubt (its power, its use): each has to be relied upon again by itself.
            why: the reason in words.
            event: number of the event that told it.
        """
        self._doubts[what] = why
        return self._become(BlockState.UNKNOWN, next(iter(self._doubts.values())), event)

    def rely(self, what: str, at: Instant, event: int) -> bool:
        """Take it that this is no longer in doubt: if nothing is, what was heard last counts again, in its own time."""
        self._doubts.pop(what, None)
        if self._doubts:
            return self._become(BlockState.UNKNOWN, next(iter(self._doubts.values())), event)
        if self._heard is None:
            return self._become(BlockState.UNKNOWN, NEVER_REPORTED, event)
        return self._take(self._heard[0], at, event)

    def lose(self, why: str, event: int) -> bool:
        """Take it that who reports this block is no longer heard."""
        self._heard = None
        self.source = ""
        return self._become(BlockState.UNKNOWN, next(iter(self._doubts.values()), why), event)

    def expire(self) -> bool:
        """Let what waits count, now that its time has come."""
        waits, heard = self._waits, self._heard
        if waits is None or heard is None:
            return False
        return self._become(waits, "", heard[1])

    def _take(self, state: BlockState, at: Instant, event: int) -> bool:
        if state is BlockState.UNKNOWN:
            return self._become(state, "its detector does not know", event)
        if state is self.counts.state:
            self._waits = self.due = None
            return False
        after = self._after[state]
        if after == 0:
            return self._become(state, "", event)
        if self._waits is state:
            return False
        changed = False
        if self.counts.state is BlockState.UNKNOWN:  # and stays so until then, for a new reason
            changed = self._become(
                BlockState.UNKNOWN, f"it has not been {state.value} for long enough yet", event
            )
        self._waits, self.due = state, at + after
        return changed

    def _become(self, state: BlockState, why: str, event: int) -> bool:
        self._waits = self.due = None
        before = self.counts
        self.counts = Reported(state, why, event)
        return (before.state, before.why) != (state, why)

    def state(self) -> list[Any]:
        """Return everything as plain data."""
        return [*self.counts, self.due, self._waits, self._heard, dict(self._doubts), self.source]

    def set_state(self, data: list[Any]) -> None:
        """Take back what `state` gave.

        Raises:
            TypeError, ValueError: it is none.
        """
        state, why, event, due, waits, heard, doubts, source = data
        self.counts = Reported(BlockState(state), str(why), int(event))
        self.due = None if due is None else int(due)
        self._waits = None if waits is None else BlockState(waits)
        self._heard = None if heard is None else (BlockState(heard[0]), int(heard[1]))
        self._doubts = {str(what): str(why) for what, why in doubts.items()}
        self.source = str(source)


class District:
    """A power district: its blocks are to be relied upon once its power has been on for a while.

    Attributes:
        name: of the district.
        trouble: why its blocks are not to be relied upon, in words, or empty.
        due: when it will have settled, or None.
        place: among all that has timers.
        source: who reported it last, or empty.
        event: number of the event that was heard last.
    """

    def __init__(self, district: trackside.District) -> None:
        self.name = district.name
        self.trouble = f"nothing was heard of the power of {district.name} yet"
        self.due: Instant | None = None
        self.place = 0
        self.event = 0
        self.source = ""
        self._settle = district.settle

    def report(self, state: PowerState, source: str, at: Instant, event: int) -> bool:
        """Take what is said of the power; return whether the trouble has changed."""
        self.source, self.event = source, event
        if state is PowerState.ON:
            if self.due is not None or not self.trouble:
                return False
            self.due = at + self._settle
            return self._be(f"the power of {self.name} has not settled yet")
        self.due = None
        word = "has a short circuit" if state is PowerState.SHORTED else "is off"
        return self._be(f"the power of {self.name} {word}")

    def lose(self, why: str, event: int) -> bool:
        """Take it that who reports the power is no longer heard."""
        self.source, self.event, self.due = "", event, None
        return self._be(f"nothing is heard of the power of {self.name}: {why}")

    def expire(self) -> bool:
        """Take it that the power has settled."""
        self.due = None
        return self._be("")

    def _be(self, trouble: str) -> bool:
        before, self.trouble = self.trouble, trouble
        return before != trouble

    def state(self) -> list[Any]:
        """Return everything as plain data."""
        return [self.trouble, self.due, self.event, self.source]

    def set_state(self, data: list[Any]) -> None:
        """Take back what `state` gave.

        Raises:
            TypeError, ValueError: it is none.
        """
        trouble, due, event, source = data
        self.trouble, self.event, self.source = str(trouble), int(event), str(source)
        self.due = None if due is None else int(due)


DEBOUNCE: Final[Instant] = 30_000_000
"""Nanoseconds in which a button that has just changed is not believed again: contacts bounce for 5 to 20 ms
(common practice, no source)."""


class Button:
    """A push button: a change counts at once, and for a moment after it no other does.

    Attributes:
        name: of the button.
        due: when what was said in that moment will count, or None.
        place: among all that has timers.
    """

    def __init__(self, name: str) -> None:
        self.name = name
        self.due: Instant | None = None
        self.place = 0
        self._believed: str = ""
        self._last: tuple[str, str, int] | None = None
        self._quiet_until: Instant = -1
        self._source = ""

    def report(self, state: str, source: str, at: Instant, event: int) -> tuple[str, str, int] | None:
        """Take what is said; return what counts now (state, source, event), or None where it does not count yet."""
        if at < self._quiet_until and self._believed:
            self._last = (state, source, event)
            self.due = self._quiet_until if state != self._believed else None
            return None
        return self._believe(state, source, at, event)

    def expire(self, at: Instant) -> tuple[str, str, int] | None:
        """Return what counts now that the moment is over."""
        self.due = None
        return None if self._last is None else self._believe(self._last[0], self._last[1], at, self._last[2])

    def lose(self, source: str) -> None:
        """Take it that a source is no longer heard: what it said and what does not count yet never will."""
        if self._last is not None and self._last[1] == source:
            self._last = self.due = None
        if self._source == source:
            self._believed, self._source, self._quiet_until = "", "", -1

    def _believe(self, state: str, source: str, at: Instant, event: int) -> tuple[str, str, int]:
        if state != self._believed:
            self._quiet_until = at + DEBOUNCE
        self._believed, self._source, self._last, self.due = state, source, None, None
        return state, source, event

    def state(self) -> list[Any]:
        """Return everything as plain data."""
        return [self._believed, self._source, self._last, self._quiet_until, self.due]

    def set_state(self, data: list[Any]) -> None:
        """Take back what `state` gave.

        Raises:
            TypeError, ValueError: it is none.
        """
        believed, source, last, quiet_until, due = data
        self._believed, self._source, self._quiet_until = str(believed), str(source), int(quiet_until)
        self._last = None if last is None else (str(last[0]), str(last[1]), int(last[2]))
        self.due = None if due is None else int(due)
