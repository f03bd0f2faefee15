"""Which trains keep a crossing closed, told from the blocks of its tracks alone.

A train on the island always does. A block of an approach does while a train in it may still be coming: one that
became occupied from the road's side is being left, and a train in it has crossed already. What is not known is taken
for a train that comes (49 CFR 234.203, 236.5).

How a train that leaves is told from one that comes: when the island becomes occupied, the side from which that
happened is the one whose nearest block was occupied. A block of the other side that becomes occupied now, next to the
island or next to a block that is being left, is being left too, until it is clear. Where it is not certain from where
a train came, it is taken to be coming.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, NamedTuple

from bridge.events import BlockState, Instant
from bridge.layout.crossings import Crossing, CrossingTrack
from bridge.logic.known import Fact

UNHEARD = Fact(BlockState.UNKNOWN, 0, "", why="nothing was heard of it yet")


class Call(NamedTuple):
    """Why one track keeps the crossing closed.

    Attributes:
        seen: a train was seen, and not only that nothing is known.
        why: in words.
        event: the number of the event that this rests on.
    """

    seen: bool
    why: str
    event: int


class Approaching:
    """The trains on the tracks of one crossing."""

    def __init__(self, crossing: Crossing) -> None:
        """Know nothing: every block is taken for occupied by a train that comes."""
        self._tracks = {track.name: track for track in crossing.tracks}
        self._time_out = crossing.time_out
        self._facts = {block: UNHEARD for track in crossing.tracks for block in track.blocks}
        self._leaving: set[str] = set()
        self._entered: dict[str, int] = {}  # by track, the side from which the train on its island came
        self._due: dict[
            tuple[str, int], Instant
        ] = {}  # by track and side, when its train has stood long enough
        self._stood: set[tuple[str, int]] = set()  # where one has

    def take(self, block: str, fact: Fact, at: Instant) -> None:
        """Take what is known of a block now."""
        before, self._facts[block] = self._facts[block], fact
        if before.value == fact.value:
            return
        tracks = [track for track in self._tracks.values() if block in track.blocks]
        came = before.value == BlockState.CLEAR and fact.value == BlockState.OCCUPIED
        self._leaving.discard(block)
        for track in tracks:
            if block == track.island:
                self._entered.pop(track.name, None)
                if came:
                    self._enter(track)
        if came and any(self._leaves(track, block) for track in tracks):
            self._leaving.add(block)
        for track in tracks:
            for side, approach in enumerate(track.approaches):
                if block == track.island or block in approach:
                    self._stand((track.name, side), approach, at)

    def _enter(self, track: CrossingTrack) -> None:
        """Note from which side a train came onto the island, if that is certain."""
        taken = [side for side, approach in enumerate(track.approaches) if not self._is_clear(approach[-1])]
        coming = [side for side in taken if track.approaches[side][-1] not in self._leaving]
        sure = taken if len(taken) == 1 else coming
        if len(sure) == 1:
            self._entered[track.name] = sure[0]

    def _leaves(self, track: CrossingTrack, block: str) -> bool:
        """Return whether a block that became occupied on this track was entered from the road's side."""
        for side, approach in enumerate(track.approaches):
            if block not in approach:
                continue
            inner = approach.index(block) + 1
            if inner < len(approach):
                return approach[inner] in self._leaving
            return self._entered.get(track.name, side) != side
        return False

    def _stand(self, place: tuple[str, int], approach: Iterable[str], at: Instant) -> None:
        """Begin to measure anew how long a train stands in an approach: something has moved there."""
        self._stood.discard(place)
        self._due.pop(place, None)
        coming = [self._facts[block].value for block in approach if self._is_coming(block)]
        if self._time_out is not None and coming and BlockState.UNKNOWN not in coming:
            self._due[place] = at + self._time_out

    def _is_clear(self, block: str) -> bool:
        return self._facts[block].value == BlockState.CLEAR

    def _is_coming(self, block: str) -> bool:
        return not self._is_clear(block) and block not in self._leaving

    def calls(self) -> list[Call]:
        """Return one call for each track on which a train comes or is on the road, in the order of the file."""
        found = []
        for track in self._tracks.values():
            if not self._is_clear(track.island):
                found.append(self._call(track, track.island))
                continue
            for side, approach in enumerate(track.approaches):
                coming = [block for block in reversed(approach) if self._is_coming(block)]
                if coming and (track.name, side) not in self._stood:
                    found.append(self._call(track, coming[0]))
                    break
        return found

    def _call(self, track: CrossingTrack, block: str) -> Call:
        fact = self._facts[block]
        if fact.value == BlockState.UNKNOWN:
            why = f": {fact.why}" if fact.why else ""
            return Call(
                seen=False, why=f"it is not known whether block {block} is clear{why}", event=fact.event
            )
        where = "on the road, in" if block == track.island else "near, in"
        return Call(seen=True, why=f"a train on {track.name} is {where} block {block}", event=fact.event)

    def next_due(self) -> Instant | None:
        """Return when the next train will have stood long enough, or None."""
        return min(self._due.values(), default=None)

    def expire(self, at: Instant) -> None:
        """Take it that trains have stood long enough whose time has come."""
        for place in [place for place, due in self._due.items() if due <= at]:
            del self._due[place]
            self._stood.add(place)

    def state(self) -> dict[str, Any]:
        """Return everything as plain data."""
        return {
            "blocks": {block: [fact.value, fact.event, fact.why] for block, fact in self._facts.items()},
            "leaving": sorted(self._leaving),
            "entered": dict(self._entered),
            "due": [[*place, due] for place, due in self._due.items()],
            "stood": sorted(list(place) for place in self._stood),
        }

    def set_state(self, data: dict[str, Any]) -> None:
        """Take back what `state` gave.

        Raises:
            KeyError, TypeError, ValueError: it is of other tracks.
        """
        facts = {
            str(block): Fact(BlockState(value), int(event), "", why=str(why))
            for block, (value, event, why) in data["blocks"].items()
        }
        if facts.keys() != self._facts.keys():
            raise ValueError("it is of other blocks")
        self._facts = facts
        self._leaving = {str(block) for block in data["leaving"]} & facts.keys()
        self._entered = {str(track): int(side) for track, side in data["entered"].items()}
        self._due = {(str(track), int(side)): int(due) for track, side, due in data["due"]}
        self._stood = {(str(track), int(side)) for track, side in data["stood"]}
