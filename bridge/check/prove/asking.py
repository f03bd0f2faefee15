"""What a gate does, read off the gate itself: it is run once for every answer that it may get to what it asks.

Nothing of the interlocking is written down a second time here. A gate of the engine is put into a stance, is asked to
decide, and whatever it wants to know of the rest of the layout is answered in every possible way, one run for each
way. So the cases are exactly those that the engine tells apart, and there are few of them, since a gate stops asking
as soon as it knows.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import IntEnum
from typing import Final, NamedTuple, TypeAlias

from bridge.events import SECOND, BlockState, Position
from bridge.layout.controls import AspectNumbers, Control, LastCommand, LatchedButtons, SteppedButton
from bridge.layout.model import Layout
from bridge.layout.routes import Route
from bridge.logic.gate import Gate, State
from bridge.logic.interlocking import Interlocking
from bridge.logic.known import BLOCK, SIGNAL, Fact, Key, Known, Standing
from bridge.logic.locks import Locks
from bridge.logic.reasons import Choice

Question: TypeAlias = tuple[str, str, str]
"""What is asked, of what, and what more there is to say of it."""

BLOCK_IS: Final = "block"  # -> occupied, clear or unknown
STANDS: Final = "stands"  # a turnout, by its number -> normal, reverse or unknown
BETTER: Final = "better"  # another signal is better than its most restrictive aspect -> yes or no
LOCKED: Final = "locked"  # another signal has a route locked -> yes or no
KEPT: Final = "kept"  # a section, by another signal -> yes or no
AGAINST: Final = "against"  # a turnout, other than in a position, by another signal -> yes or no
USED: Final = "used"  # its order has had its effect -> yes or no
SEEN: Final = "seen"  # the train was seen in a section, by its name -> yes or no

YES: Final = "yes"
NO: Final = "no"
_POSITIONS: Final = (Position.NORMAL.value, Position.REVERSE.value, Position.UNKNOWN.value)
_STATES: Final = (BlockState.CLEAR.value, BlockState.OCCUPIED.value, BlockState.UNKNOWN.value)

_NOW: Final = 100_000 * SECOND
_ORDER: Final = 7
_OLDER: Final = 3
_WISH: Final = 9  # the event on which a wish rests, as reasons have it


class Timer(IntEnum):
    """How a timer of a gate stands.

    Whether it runs is no matter for what is decided: where it does not run and should, it is started. So a timer that
    runs is one that would be started now, and only its end has to be tried.
    """

    OFF = 0
    RUNS = 1
    OVER = 2


class Hold(NamedTuple):
    """How a gate stands as others can see it.

    Attributes:
        state: as in the table of the gate.
        route: the index of the route that is locked, -1 for none.
        gone: how many of its sections were let go of.
    """

    state: State
    route: int
    gone: int


FOR_A_TIME: Final = (State.TIMED, State.KEPT)
"""How a gate stands whose route is locked for a time."""

FREE: Final = Hold(State.FREE, -1, 0)


class Stance(NamedTuple):
    """What a gate remembers, but for the sections in which it saw the train and for the order that was used up.

    Attributes:
        hold: as others can see it.
        first: the timer of a route that is locked for a time (which also one from before a restart is), or that of the
            section behind a train.
        second: the timer of all that is still locked before a train.
    """

    hold: Hold
    first: Timer
    second: Timer


class Case(NamedTuple):
    """One way in which a gate may decide.

    Attributes:
        before: how it stood.
        wants: it was told to be better than its most restrictive aspect.
        answers: what it asked and was told.
        after: how it stands then.
        spent: its order has its effect by this.
        entered: the train has just entered: only where it is now, it was seen.
        changed: it has locked something or let go of something.
        better: it shows something better than its most restrictive aspect.
    """

    before: Stance
    wants: bool
    answers: dict[Question, str]
    after: Stance
    spent: bool
    entered: bool
    changed: bool
    better: bool


def holds(routes: tuple[Route, ...]) -> tuple[Hold, ...]:
    """Return every way in which the gate of these routes may stand."""
    found = [FREE]
    for index, route in enumerate(routes):
        found += [Hold(state, index, 0) for state in (State.SET, State.TIMED, State.KEPT)]
        found += [Hold(State.PASSED, index, gone) for gone in range(len(route.sections) + 1)]
    return tuple(found)


class _Answers:
    """Answers of one run: those that were laid down for it, and then the first of each that may be given."""

    def __init__(self, laid_down: list[int]) -> None:
        self.picks = laid_down
        self.given: dict[Question, str] = {}
        self.numbers: list[int] = []  # how many answers there were to each

    def to(self, question: Question, possible: tuple[str, ...] = (NO, YES)) -> str:
        """Return the answer; to the same question always the same."""
        if question not in self.given:
            place = len(self.numbers)
            if place == len(self.picks):
                self.picks.append(0)
            self.numbers.append(len(possible))
            self.given[question] = possible[self.picks[place]]
        return self.given[question]

    def next(self) -> list[int] | None:
        """Return what to lay down for the next run, or None where every answer was given."""
        picks = self.picks
        while picks and picks[-1] + 1 == self.numbers[len(picks) - 1]:
            picks = picks[:-1]
        return [*picks[:-1], picks[-1] + 1] if picks else None


class _AskedKnown(Known):
    """Facts that are asked for."""

    def __init__(self, answers: _Answers, rests: dict[str, str]) -> None:
        super().__init__()
        self._answers = answers
        self._rests = rests

    def get(self, key: Key) -> Fact | None:
        subject, name = key
        if subject == BLOCK:
            return Fact(self._answers.to((BLOCK_IS, str(name), ""), _STATES), 0, "")
        if subject == SIGNAL:
            better = self._answers.to((BETTER, str(name), "")) == YES
            rest = self._rests[str(name)]
            return Fact(f"better than {rest}" if better else rest, 0, "")
        return super().get(key)

    def standing(self, number: int) -> Standing:
        stands = self._answers.to((STANDS, str(number), ""), _POSITIONS)
        position = Position(stands)
        return Standing(None if position is Position.UNKNOWN else position, True, None)


class _AskedLocks(Locks):
    """What others keep, asked for."""

    def __init__(self, answers: _Answers) -> None:
        super().__init__()
        self._answers = answers

    def keeper(self, section: str, gate: str) -> str:
        return "another signal" if self._answers.to((KEPT, section, gate)) == YES else ""

    def against(self, number: int, position: Position, gate: str) -> str:
        asked = (AGAINST, str(number), f"{position.value} {gate}")
        return "another signal" if self._answers.to(asked) == YES else ""


class _AskedSections(set[str]):
    """The sections in which the train was seen, asked for."""

    def __init__(self, answers: _Answers) -> None:
        super().__init__()
        self._answers = answers

    def __contains__(self, section: object) -> bool:
        return self._answers.to((SEEN, str(section), "")) == YES


class _AskedOrder(tuple[int, ...]):  # noqa: SLOT001 - a tuple with items can have no slot for the answers
    """An order of which it is asked whether it is the one that was used up."""

    answers: _Answers | None = None

    def __eq__(self, other: object) -> bool:
        return other is self or self.answers is None or self.answers.to((USED, "", "")) == YES

    __hash__ = tuple.__hash__


class _TriedGate(Gate):
    """A gate of which each section is looked at by itself, and not with all others in one go.

    Attributes:
        was_passed: it stood so before it was asked to decide.
    """

    was_passed: bool = False

    def forget_all_but(self, answers: _Answers, *, passed: bool) -> None:
        """Make ready for one run."""
        self._answers = answers
        self.was_passed = passed
        if passed:
            self._seen = _AskedSections(answers)

    def _look_for_train(self, route: Route, known: Known) -> None:
        """Leave it: what was seen is asked for, as it is after one has looked."""


class _OtherGate(Gate):
    """Another gate, of which one can see whether it is free."""

    answers: _Answers | None = None

    @property
    def state(self) -> State:
        """Whether it is free; where it is not, how it stands makes no difference."""
        if self.answers is None or self.answers.to((LOCKED, self.signal.name, "")) == NO:
            return State.FREE
        return State.SET

    @state.setter
    def state(self, state: State) -> None:
        """It stands as is answered."""


class _Trial(Interlocking):
    """The engine's interlocking with one gate to try, and all others asked for."""

    def __init__(self, layout: Layout, name: str) -> None:
        super().__init__(layout)
        self.number = _WISH
        self.tried = _TriedGate(self.gates[name].signal, self)
        self._others = {
            other: _OtherGate(gate.signal, self) for other, gate in self.gates.items() if other != name
        }
        self.gates = {**self._others, name: self.tried}
        self._order = _AskedOrder((_ORDER,))
        self._layout_rests = {signal.name: signal.rest for signal in layout.signals}

    def run(self, before: Stance, answers: _Answers, *, wants: bool) -> Case:
        """Let the gate decide once."""
        for other in self._others.values():
            other.answers = answers
        self.locks = _AskedLocks(answers)
        self.now = _NOW
        self.take()
        gate, signal = self.tried, self.tried.signal
        gate.restore(_to_data(before, signal.routes, self._instants(before)))
        gate.forget_all_but(answers, passed=before.hold.state is State.PASSED)
        ordered: tuple[int, ...] = ()
        if by_order(signal.controls):
            ordered = self._order
            self._order.answers = answers
        aspect = signal.aspects[-1 if wants else 0].name
        known = _AskedKnown(answers, self._layout_rests)
        shown = gate.govern(Choice(aspect, "told"), ordered, known)
        after = self._stance()
        entered = after.hold.state is State.PASSED and before.hold.state is not State.PASSED
        changed, _words = self.take()
        better = shown.aspect != signal.rest
        spent = gate.snapshot()[7] == [_ORDER]
        return Case(before, wants, answers.given, after, spent, entered, bool(changed), better)

    def _instants(self, before: Stance) -> tuple[int | None, int | None, int | None]:
        """Return when a locked route is due, and since when there is nothing behind and nothing before the train."""
        locking = self.tried.signal.locking
        passed = before.hold.state is State.PASSED

        def instant(timer: Timer, length: int, *, due: bool) -> int | None:
            if timer is Timer.OFF:
                return None
            since = _NOW - (length if timer is Timer.OVER else 0)
            return since + length if due else since

        return (
            None if passed else instant(before.first, locking.time, due=True),
            instant(before.first, locking.longer_than_release, due=False) if passed else None,
            instant(before.second, locking.time, due=False) if passed else None,
        )

    def _stance(self) -> Stance:
        data = self.tried.snapshot()
        routes = [route.name for route in self.tried.signal.routes]
        hold = Hold(State(data[0]), routes.index(data[1]) if data[1] else -1, int(data[4]))
        passed = hold.state is State.PASSED
        if not passed:
            hold = hold._replace(gone=0)
        first = data[5] if passed else data[2] if hold.state in FOR_A_TIME else None
        second = data[6] if passed else None
        return Stance(hold, _runs(first), _runs(second))


def _runs(instant: int | None) -> Timer:
    return Timer.OFF if instant is None else Timer.RUNS


def _to_data(
    stance: Stance, routes: tuple[Route, ...], instants: tuple[int | None, int | None, int | None]
) -> list[object]:
    hold = stance.hold
    name = "" if hold.route < 0 else routes[hold.route].name
    due, behind, before = instants
    return [hold.state.value, name, due, [], hold.gone, behind, before, [_OLDER], "", "", []]


def by_order(controls: tuple[Control, ...]) -> bool:
    """Return whether a signal is told by orders that have an effect once, and not only by what works by itself."""
    return any(
        isinstance(each, LastCommand | AspectNumbers | LatchedButtons | SteppedButton) for each in controls
    )


def stances(routes: tuple[Route, ...]) -> Iterator[Stance]:
    """Yield every stance in which a gate may be when it is asked to decide."""
    for hold in holds(routes):
        tried = (Timer.OFF, Timer.OVER)
        firsts = tried if hold.state in (*FOR_A_TIME, State.PASSED) else (Timer.OFF,)
        seconds = tried if hold.state is State.PASSED else (Timer.OFF,)
        for first in firsts:
            for second in seconds:
                yield Stance(hold, first, second)


def cases(layout: Layout, name: str) -> Iterator[Case]:
    """Yield every way in which the gate of one signal may decide."""
    trial = _Trial(layout, name)
    for before in stances(trial.tried.signal.routes):
        for wants in (False, True):
            laid_down: list[int] | None = []
            while laid_down is not None:
                answers = _Answers(laid_down)
                yield trial.run(before, answers, wants=wants)
                laid_down = answers.next()


class Tried:
    """What the gates of a layout may decide and what they keep, found out once.

    Attributes:
        house: the engine's interlocking of the layout, in which nothing has happened.
    """

    def __init__(self, layout: Layout) -> None:
        self.house = Interlocking(layout)
        self._layout = layout
        self._cases: dict[str, tuple[Case, ...]] = {}
        self._keepers: dict[tuple[str, str | int, Position | None], set[str]] = {}
        self._kept = {
            name: {hold: kept_by(layout, name, hold) for hold in holds(gate.signal.routes)}
            for name, gate in self.house.gates.items()
        }

    def cases(self, name: str) -> tuple[Case, ...]:
        """Return every way in which the gate of one signal may decide."""
        if name not in self._cases:
            self._cases[name] = tuple(cases(self._layout, name))
        return self._cases[name]

    def keeps(self, other: str, hold: Hold, name: str, thing: str | int, position: Position | None) -> bool:
        """Return whether a gate that stands so keeps a section from another, or a turnout out of a position."""
        kept = self._kept[other][hold]
        if isinstance(thing, str):
            return bool(kept.keeper(thing, name))
        return position is not None and bool(kept.against(thing, position, name))

    def keepers(self, name: str, thing: str | int, position: Position | None = None) -> set[str]:
        """Return the other gates that may keep a section, or a turnout out of a position."""
        key = (name, thing, position)
        if key not in self._keepers:
            self._keepers[key] = {
                other
                for other, kept in self._kept.items()
                if other != name and any(self.keeps(other, hold, name, thing, position) for hold in kept)
            }
        return self._keepers[key]


def kept_by(layout: Layout, name: str, hold: Hold) -> Locks:
    """Return what a gate that stands so keeps, as the engine has it: locked, and let go of section by section."""
    trial = Interlocking(layout)
    gate = trial.gates[name]
    if hold.route >= 0:
        route = gate.signal.routes[hold.route]
        trial.lock(gate, route)
        for place in range(hold.gone):
            trial.release(gate, route, place)
    return trial.locks
