"""Controls that remember nothing: what the device shall show is worked out anew from what is known.

Wherever something that counts is not known, the answer is the most restrictive aspect, with the reason.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import partial
from typing import Any, NamedTuple

from bridge.events import BlockState, ButtonState, Position
from bridge.layout import controls
from bridge.logic.known import (
    ABSENT,
    ANOTHER,
    BLOCK,
    BUTTON,
    CROSSING,
    ORDERED,
    PROVED,
    SIGNAL,
    Fact,
    Key,
    Known,
    Standing,
)
from bridge.logic.reasons import Choice


class WorkedOut:
    """What all of them have in common: nothing to remember.

    Attributes:
        keys: what it has to hear of.
        rest: the most restrictive aspect.
    """

    def __init__(self, keys: Iterable[Key], rest: str) -> None:
        self.keys = tuple(dict.fromkeys(keys))
        self.rest = rest

    def hear(self, key: Key, fact: Fact) -> None:
        """Take a new fact: it is known already."""

    def lose(self, source: str, event: int) -> bool:
        """Take it that a source is no longer heard: what it told is forgotten already."""
        del source, event
        return False

    def state(self) -> list[Any]:
        """Return nothing."""
        return []

    def set_state(self, data: list[Any]) -> None:
        """Take back nothing."""
        if data:
            raise ValueError("there is nothing to remember here")


class Fit(NamedTuple):
    """Whether accessories stand as they have to.

    Attributes:
        fits: yes, no, or None where it is not known.
        words: how they stand, or which of them is not known.
        causes: numbers of the events that this rests on.
    """

    fits: bool | None
    words: str
    causes: tuple[int, ...]


def fit(needs: controls.Needs, stands: Callable[[int], Standing]) -> Fit:
    """Compare accessories with where they have to stand. One that stands otherwise settles it."""
    words, causes, doubt = [], [], ""
    for number, position in needs:
        standing = stands(number)
        if standing.fact is not None:
            causes.append(standing.fact.event)
        if standing.position is None:
            doubt = doubt or not_known(number, standing)
        elif standing.position is position:
            how = "is proved" if standing.proved else "was ordered"
            words.append(f"accessory {number} {how} {position.value}")
        else:
            return Fit(False, "", tuple(causes))
    return Fit(None if doubt else True, doubt or " and ".join(words), tuple(causes))


def first_fit(rows: Sequence[controls.Needs], stands: Callable[[int], Standing]) -> tuple[int | None, Fit]:
    """Return the place of the first row that fits, or None where there is none or nobody knows; and what it rests on.

    Where it is not known whether a row fits, those below it are not looked at. The causes are in no order.
    """
    seen: tuple[int, ...] = ()
    for place, needs in enumerate(rows):
        found = fit(needs, stands)
        if found.fits is not False:
            return place if found.fits else None, Fit(found.fits, found.words, seen + found.causes)
        seen += found.causes
    return None, Fit(False, "", seen)


def not_known(number: int, standing: Standing) -> str:
    """Return in words that nobody knows where an accessory stands, and why."""
    if standing.why:
        return f"accessory {number} {standing.why}"
    fact = standing.fact
    if fact is not None and fact.value == Position.MOVING:
        return f"accessory {number} is moving"
    why = f": {fact.why}" if fact is not None and fact.why else ""
    return f"it is not known where accessory {number} {'stands' if standing.proved else 'was ordered'}{why}"


class PositionTable(WorkedOut):
    """A table over what several accessories were ordered last; the first row that fits counts.

    Attributes:
        restores: what they were ordered before a restart counts as well.
    """

    restores = False

    def __init__(self, table: controls.PositionTable, rest: str) -> None:
        super().__init__(((ORDERED, number) for row in table.rows for number, _position in row.needs), rest)
        self._rows = table.rows
        self._needs = tuple(row.needs for row in table.rows)

    def choose(self, known: Known) -> Choice:
        """Return the aspect of the first row that fits; where a row before it may fit as well, nobody knows."""
        place, found = first_fit(self._needs, partial(known.ordered, restored=self.restores))
        causes = in_order(found.causes)
        if place is not None:
            return Choice(self._rows[place].aspect, found.words or "no other row of its table fits", causes)
        words = found.words or "no row of its table fits how its accessories were ordered"
        return Choice(self.rest, words, causes)


class Ahead(WorkedOut):
    """Automatic signalling: the turnouts, the blocks up to the next signal, and what that shows."""

    def __init__(self, ahead: controls.Ahead, rest: str) -> None:
        keys: list[Key] = []
        for way in ahead.ways:
            for number, _position in way.turnouts:
                keys += [(ORDERED, number), (PROVED, number)]
            keys += [(BLOCK, block) for block in way.blocks]
            keys += [(SIGNAL, way.following)] if way.following else []
        super().__init__(keys, rest)
        self._ways = ahead.ways
        self._needs = tuple(way.turnouts for way in ahead.ways)

    def choose(self, known: Known) -> Choice:
        """Return the aspect for the way that is set, if all of it is clear.

        A signal shows its most restrictive aspect where a block is occupied, a switch does not stand properly or
        anything is not known: 49 CFR 236.205, 236.5.
        """
        place, found = first_fit(self._needs, known.standing)
        if place is not None:
            return self._along(self._ways[place], found.words, [*found.causes], known)
        return Choice(self.rest, found.words or "no way ahead is set", in_order(found.causes))

    def _along(self, way: controls.Way, set_by: str, seen: list[int], known: Known) -> Choice:
        for block in way.blocks:
            fact = known.get((BLOCK, block))
            if fact is None or fact.value != BlockState.CLEAR:
                seen += [] if fact is None else [fact.event]
                return Choice(self.rest, not_clear(block, fact), in_order(seen))
            seen.append(fact.event)
        words = [_clear(way.blocks)] if way.blocks else []
        if set_by:
            words.insert(0, set_by)
        aspect = way.beyond
        if not way.following:
            words.append("there is no next signal to go by")
        else:
            fact = known.get((SIGNAL, way.following))
            words.append(showing(way.following, fact))
            if fact is not None:
                seen.append(fact.event)
                aspect = way.shows.get(fact.value, way.beyond)
        *first, last = words
        return Choice(aspect, f"{', '.join(first)}, and {last}" if first else last, in_order(seen))


def not_clear(block: str, fact: Fact | None) -> str:
    """Return in words why a block cannot be entered."""
    if fact is not None and fact.value == BlockState.OCCUPIED:
        return f"block {block} is occupied"
    why = f": {fact.why}" if fact is not None and fact.why else ""
    return f"it is not known whether block {block} is clear{why}"


def showing(signal: str, fact: Fact | None) -> str:
    """Return in words what another signal shows."""
    if fact is None:
        return f"nothing is known of {signal}"
    if fact.value == ABSENT:
        return f"{signal} is absent, so the line ends there"
    if fact.why:
        return f"it is not known what {signal} shows: {fact.why}"
    return f"{signal} shows {fact.value}"


def _clear(blocks: tuple[str, ...]) -> str:
    listed = " and ".join([", ".join(blocks[:-1]), blocks[-1]] if len(blocks) > 1 else blocks)
    return f"block {listed} is clear" if len(blocks) == 1 else f"the blocks {listed} are clear"


class HeldButtons(WorkedOut):
    """The most restrictive aspect of the buttons that are held."""

    def __init__(self, buttons: controls.HeldButtons, rest: str, ranks: dict[str, int]) -> None:
        super().__init__(((BUTTON, button) for button in buttons.aspects), rest)
        self._aspects = buttons.aspects
        self._otherwise = buttons.otherwise
        self._ranks = ranks

    def choose(self, known: Known) -> Choice:
        """Return the most restrictive of what the held buttons say; the most restrictive of all if that is unknown.

        A button that was never heard of is not held, once another was. One whose panel was lost may be held.
        """
        held: list[tuple[int, str, str, int]] = []
        lost: list[tuple[int, str, Fact]] = []
        seen: list[int] = []
        for button, aspect in self._aspects.items():
            fact = known.get((BUTTON, button))
            if fact is None or fact.copied:
                continue
            if fact.why:
                lost.append((self._ranks[aspect], button, fact))
                continue
            seen.append(fact.event)
            if fact.value == ButtonState.PRESSED:
                held.append((self._ranks[aspect], aspect, button, fact.event))
        if not seen and not lost:
            return Choice(self.rest, "none of its buttons was heard of since the start")
        if held:
            rank, aspect, button, event = min(held)
            choice = Choice(aspect, f"button {button} is held", (event,))
        else:
            rank = self._ranks[self._otherwise]
            choice = Choice(self._otherwise, "none of its buttons is held", in_order(seen))
        for other, button, fact in lost:
            if other < rank or not seen:
                words = f"it is not known whether button {button} is held: {fact.why}"
                return Choice(self.rest, words, in_order((*seen, fact.event)))
        return choice


class Following(WorkedOut):
    """A distant or repeater: what another signal shows, in this one's own aspects."""

    def __init__(self, following: controls.Following, rest: str) -> None:
        super().__init__([(SIGNAL, following.signal)], rest)
        self._signal = following.signal
        self._shows = following.shows

    def choose(self, known: Known) -> Choice:
        """Return what goes with the other signal's aspect."""
        fact = known.get((SIGNAL, self._signal))
        words = showing(self._signal, fact)
        if fact is None:
            return Choice(self.rest, words)
        return Choice(self._shows.get(fact.value, self.rest), words, in_order([fact.event]))


class CrossingShows(WorkedOut):
    """A post of a crossing: what goes with how far its closing has got, or with whether a second train is coming."""

    def __init__(self, control: controls.CrossingShows, rest: str) -> None:
        self._key: Key = (ANOTHER if control.another else CROSSING, control.crossing)
        super().__init__([self._key], rest)
        self._shows = control.shows

    def choose(self, known: Known) -> Choice:
        """Return what goes with the state of the crossing."""
        fact = known.get(self._key)
        if fact is None:
            return Choice(self.rest, f"nothing is known of the crossing {self._key[1]}")
        return Choice(self._shows.get(fact.value, self.rest), fact.why, in_order([fact.event]))


def in_order(events: Iterable[int]) -> tuple[int, ...]:
    """Return event numbers in order, each once, and without the 0 that stands for none."""
    found = {*events}
    found.discard(0)
    return tuple(sorted(found))
