"""Level crossings: lights, then gates; and the lights go out only when the gates are up again.

The steps are the table below. What happens to a crossing is worked out from its tracks (`bridge.logic.approaching`):
it is called for as long as any of them keeps the road closed.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any, Final, TypeAlias

from bridge.events import Instant, Word
from bridge.layout import crossings as layouts
from bridge.layout.crossings import Phase
from bridge.layout.model import Layout
from bridge.logic import reasons
from bridge.logic.approaching import Approaching
from bridge.logic.exit_gates import WHOLE, Exits
from bridge.logic.known import ANOTHER, BLOCK, CROSSING, Fact, Key, Known
from bridge.logic.track import Change
from bridge.logic.working_out import in_order


class Happens(Word):
    """What a crossing may be faced with."""

    CALLED = "called"  # a train comes, or may be coming
    FREE = "free"  # none does
    TIME = "time"  # the time of this phase is over


Table: TypeAlias = Mapping[tuple[Phase, Happens], Phase]

STEPS: Final[Table] = {
    (Phase.IDLE, Happens.CALLED): Phase.AMBER,
    (Phase.AMBER, Happens.FREE): Phase.IDLE,
    (Phase.AMBER, Happens.TIME): Phase.WARNING,
    (Phase.WARNING, Happens.FREE): Phase.IDLE,  # the gates are still up
    (Phase.WARNING, Happens.TIME): Phase.LOWERING,  # 49 CFR 234.223
    (Phase.LOWERING, Happens.FREE): Phase.RISING,
    (Phase.LOWERING, Happens.TIME): Phase.DOWN,
    (Phase.DOWN, Happens.FREE): Phase.RISING,
    (Phase.RISING, Happens.CALLED): Phase.LOWERING,  # the lights have been on all the time
    (Phase.RISING, Happens.TIME): Phase.IDLE,  # MUTCD 8C.04 p.04
}
"""What a crossing does with what it is faced with; whatever does not stand here changes nothing."""

_LONGEST_WAY: Final = 2 * len(Phase)
"""No way through the table has more steps."""

GATE: Final = "gate"
EXIT_GATE: Final = "exit-gate"
UP: Final = "up"
DOWN: Final = "down"
GATES: Final[Mapping[Phase, str]] = {
    Phase.IDLE: UP,
    Phase.AMBER: UP,
    Phase.WARNING: UP,
    Phase.LOWERING: "lowering",
    Phase.DOWN: DOWN,
    Phase.RISING: "rising",
}
"""Where the gates are, in the word that is told to the world."""

WORDS: Final[Mapping[Phase, str]] = {
    Phase.IDLE: "the road over {} is open",
    Phase.AMBER: "the road over {} is about to be closed",
    Phase.WARNING: "the road over {} is closed",
    Phase.LOWERING: "the gates of {} are coming down",
    Phase.DOWN: "the gates of {} are down",
    Phase.RISING: "the gates of {} are rising",
}


class Crossing:
    """One level crossing. While nothing is known the road is closed.

    Attributes:
        name: of the crossing.
        phase: how far its closing has got.
        moved: it is known where its gates are, since they have moved or had no need to since the start.
        exits: its gates on the road's way out, or None.
        another: whether a second train is coming.
        why: what it rests on, in words.
        causes: the events that it rests on.
    """

    def __init__(self, crossing: layouts.Crossing, table: Table = STEPS) -> None:
        self.name = crossing.name
        self.has_gates = crossing.gates is not None
        self.exits = None if crossing.exits is None else Exits(crossing.exits)
        self.moved = False
        self.another = False
        self.why = ""
        self.causes: tuple[int, ...] = ()
        self._table = table
        self._amber, self._gates = crossing.amber, crossing.gates
        self._trains = Approaching(crossing)
        self._since: Instant = 0
        self._due: Instant | None = None
        self._height = WHOLE  # of the gates, at the beginning of this phase
        # Whatever was shown before the start, a road on which a train may be gets no steady lights first.
        self.phase = Phase.WARNING
        self._due = self._time(self.phase, 0)

    def take(self, block: str, fact: Fact, at: Instant) -> None:
        """Take what is known of a block now."""
        self._trains.take(block, fact, at)

    def settle(self, at: Instant, event: int = 0) -> None:
        """Go through all steps that are due at an instant.

        Args:
            at: not before any instant that was given before.
            event: the number of what has just happened, 0 where that is only time.
        """
        self._trains.expire(at)
        if self.exits is not None:
            self.exits.expire(at)
        calls = self._trains.calls()
        here = Happens.CALLED if calls else Happens.FREE
        for _ in range(_LONGEST_WAY):
            happens = here
            if self._due is not None and self._due <= at:
                self._due, happens = None, Happens.TIME
            after = self._table.get((self.phase, happens), self.phase)
            if after is not self.phase:
                self._go(after, at)
            elif happens is here:
                break
        self.another = self.phase is not Phase.IDLE and (self.another or sum(call.seen for call in calls) > 1)
        if calls:
            self.why, self.causes = calls[0].why, in_order(call.event for call in calls)
        else:
            self.why = "no train is near"
            self.causes = in_order([event]) or self.causes

    def _go(self, after: Phase, at: Instant) -> None:
        self._height = self._height_at(at)
        self.phase, self._since, self.moved = after, at, True
        time = self._time(after, self._height)
        self._due = None if time is None else at + time
        if self.exits is not None:
            self.exits.follow(at, down=after is Phase.DOWN)

    def _time(self, phase: Phase, height: int) -> int | None:
        """Return how long a phase lasts that begins with the gates at a height, or None for ever."""
        gates = self._gates
        if phase is Phase.AMBER:
            return self._amber
        if gates is None:
            return None
        if phase is Phase.WARNING:
            return gates.start_after
        if phase is Phase.LOWERING:
            return -(-gates.lowering * height // WHOLE)
        return -(-gates.raising * (WHOLE - height) // WHOLE) if phase is Phase.RISING else None

    def _height_at(self, at: Instant) -> int:
        """Return how high the gates are: they tell nobody, so it follows from how long they have moved.

        It is rounded down, so that they are never taken to be up before they are.
        """
        gone = at - self._since
        if self._gates is None:
            return WHOLE
        if self.phase is Phase.LOWERING:
            time = self._gates.lowering
            return max(self._height + -gone * WHOLE // time, 0) if time else 0
        if self.phase is Phase.RISING:
            time = self._gates.raising
            return min(self._height + gone * WHOLE // time, WHOLE) if time else WHOLE
        return self._height

    @property
    def reason(self) -> str:
        """Why it stands so, in a sentence."""
        return f"{WORDS[self.phase].format(self.name)}: {self.why}"

    def calls(self) -> list[str]:
        """Return in words why each track keeps it closed that does."""
        return [call.why for call in self._trains.calls()]

    def next_due(self) -> Instant | None:
        """Return the instant of the next timer, or None while none is set."""
        exits = None if self.exits is None else self.exits.due
        dues = (self._due, self._trains.next_due(), exits)
        return min((due for due in dues if due is not None), default=None)

    def word(self) -> reasons.Word:
        """Return what there is to tell of its gates."""
        return reasons.Word(GATE, self.name, GATES[self.phase], self.reason, self.causes)

    def words(self) -> list[reasons.Word]:
        """Return what there is to tell of all its gates.

        At the start nobody knows where they are: they may be down, and must not rise to show that.
        """
        if not self.has_gates or not self.moved:
            return []
        if self.exits is None:
            return [self.word()]
        way_out = reasons.Word(EXIT_GATE, self.name, self.exits.state, self.reason, self.causes)
        return [self.word(), way_out]

    def facts(self) -> tuple[Change, Change]:
        """Return what its posts go by."""
        event = max(self.causes, default=0)
        second = (
            f"a second train comes to {self.name}"
            if self.another
            else f"no second train comes to {self.name}"
        )
        return (
            Change((CROSSING, self.name), Fact(self.phase, event, "", why=self.reason)),
            Change((ANOTHER, self.name), Fact("yes" if self.another else "no", event, "", why=second)),
        )

    def state(self) -> dict[str, Any]:
        """Return everything as plain data."""
        return {
            "phase": self.phase.value,
            "moved": self.moved,
            "another": self.another,
            "why": self.why,
            "causes": list(self.causes),
            "since": self._since,
            "due": self._due,
            "height": self._height,
            "exits": None if self.exits is None else self.exits.plain(),
            "trains": self._trains.state(),
        }

    def set_state(self, data: dict[str, Any]) -> None:
        """Take back what `state` gave.

        Raises:
            KeyError, TypeError, ValueError: it is of another crossing.
        """
        self.phase, self.another, self.why = Phase(data["phase"]), bool(data["another"]), str(data["why"])
        self.moved = bool(data["moved"])
        self.causes = tuple(int(each) for each in data["causes"])
        self._since, self._height = int(data["since"]), int(data["height"])
        self._due = None if data["due"] is None else int(data["due"])
        if self.exits is not None:
            self.exits.restore(data["exits"])
        self._trains.set_state(data["trains"])


class Crossings:
    """All crossings of a layout, in the order of the file."""

    def __init__(self, layout: Layout, known: Known) -> None:
        """Take what is known of the blocks, and make known how the crossings stand."""
        self._known = known
        self._all = {each.name: Crossing(each) for each in layout.crossings}
        self._at: dict[str, list[str]] = {}  # by block
        for each in layout.crossings:
            for block in dict.fromkeys(block for track in each.tracks for block in track.blocks):
                self._at.setdefault(block, []).append(each.name)
        self._due: dict[str, Instant] = {}
        self._words: list[reasons.Word] = []
        for block, names in self._at.items():
            fact = known.get((BLOCK, block))
            if fact is not None:
                for name in names:
                    self._all[name].take(block, fact, 0)
        self._settle(dict.fromkeys(self._all, 0), 0)
        self._words.clear()

    @property
    def names(self) -> Collection[str]:
        """How all crossings are called."""
        return self._all.keys()

    @property
    def words(self) -> list[reasons.Word]:
        """What there is to tell of all gates."""
        return [word for each in self._all.values() for word in each.words()]

    def blocks(self, name: str) -> tuple[str, ...]:
        """Return the blocks that a crossing goes by, each once; none where there is no such crossing."""
        return tuple(block for block, names in self._at.items() if name in names)

    def calls(self, name: str) -> list[str]:
        """Return in words why each track keeps a crossing closed that does."""
        return self._all[name].calls()

    def at_rest(self, why: str) -> list[reasons.Word]:
        """Return where all gates shall be when nobody looks out for trains any more.

        A gate that is out of order lies across the road (Minn. R. 8830.1550). One on the way out is up, so that nobody
        is shut in (common practice, no source).
        """
        gates = [reasons.Word(GATE, name, DOWN, why) for name, each in self._all.items() if each.has_gates]
        exits = [reasons.Word(EXIT_GATE, name, UP, why) for name, each in self._all.items() if each.exits]
        return gates + exits

    def at(self, key: Key) -> Sequence[str]:
        """Return the names of the crossings that a block lies at."""
        subject, thing = key
        return self._at.get(str(thing), ()) if subject == BLOCK else ()

    def hear(self, changes: Iterable[Change], at: Instant) -> list[Change]:
        """Take what is known otherwise now, of any things; return what is known otherwise of the crossings."""
        touched: dict[str, int] = {}
        for (subject, thing), fact in changes:
            if subject == BLOCK and fact is not None:
                for name in self._at.get(str(thing), ()):
                    self._all[name].take(str(thing), fact, at)
                    touched[name] = max(fact.event, touched.get(name, 0))
        return self._settle(touched, at) if touched else []

    def perform(self, due: Instant) -> list[Change]:
        """Let every timer that is due run out, in the order of the file."""
        return self._settle(dict.fromkeys(self.due(due), 0), due)

    def due(self, at: Instant) -> list[str]:
        """Return the crossings whose timers run out at an instant or before it, in the order of the file."""
        return [name for name in self._all if self._due.get(name, at + 1) <= at]

    def _settle(self, events: Mapping[str, int], at: Instant) -> list[Change]:
        """Let crossings settle, each with the number of the event that it heard of, 0 for a timer."""
        changes: list[Change] = []
        for name, event in events.items():
            crossing = self._all[name]
            before = {word.subject: word.state for word in crossing.words()}
            crossing.settle(at, event)
            self._watch(crossing)
            for key, fact in crossing.facts():
                old = self._known.get(key)
                if fact is not None and (old is None or (old.value, old.why) != (fact.value, fact.why)):
                    self._known.tell(key, fact)
                    changes.append(Change(key, fact))
            self._words += [word for word in crossing.words() if before.get(word.subject) != word.state]
        return changes

    def _watch(self, crossing: Crossing) -> None:
        due = crossing.next_due()
        if due is None:
            self._due.pop(crossing.name, None)
        else:
            self._due[crossing.name] = due

    def next_due(self) -> Instant | None:
        """Return the instant of the next timer, or None while none is set."""
        return min(self._due.values()) if self._due else None

    def take(self) -> list[reasons.Word]:
        """Return what there is to tell, and forget it."""
        words, self._words = self._words, []
        return words

    def snapshot(self) -> dict[str, Any]:
        """Return everything as plain data."""
        return {name: each.state() for name, each in self._all.items()}

    def restore(self, data: dict[str, Any]) -> None:
        """Take back what `snapshot` gave.

        Raises:
            KeyError, TypeError, ValueError: it is of another layout; some may have changed.
        """
        if set(data) != set(self._all):
            raise ValueError("it is of other crossings")
        for name, each in self._all.items():
            each.set_state(data[name])
            self._watch(each)
