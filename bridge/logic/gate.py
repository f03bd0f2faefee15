"""The gate of an interlocked signal: it clears only for a route that is set, clear and locked.

Each interlocked signal has a *gate*. What tells the signal what to show is its wish; the gate lets the wish through
only while a route from this signal is locked. The gate's state machine is the table below; what happens is worked out
from the facts, in the order in which the kinds of happening stand in `Happens`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, Protocol, TypeAlias

from bridge.errors import EngineError
from bridge.events import BlockState, Instant, Word
from bridge.layout.controls import Needs
from bridge.layout.model import Signal
from bridge.layout.routes import Refused, Route
from bridge.logic.known import BLOCK, ORDERED, PROVED, SIGNAL, Key, Known
from bridge.logic.reasons import Choice
from bridge.logic.rests import Hold
from bridge.logic.working_out import fit, in_order, not_clear, not_known


class State(Word):
    """How a gate stands."""

    FREE = "free"  # no route is locked
    SET = "set"  # a route is locked and the signal may clear
    TIMED = "timed"  # the signal was put back; the route stays locked for a time
    PASSED = "passed"  # a train took the route; it is let go of behind it, section by section
    KEPT = "kept"  # the route was locked before a restart, and stays so for a time


class Happens(Word):
    """What a gate may be faced with, in the order in which it is looked for."""

    ENTERED = "entered"  # a train has come past the signal
    BROKEN = "broken"  # something in the route is no longer as it has to be
    WITHDRAWN_NEAR = "withdrawn-near"  # the signal is put back while a train is near, or may be
    WITHDRAWN = "withdrawn"  # the signal is put back and no train is near
    FOUND = "found"  # the time since a restart is over, and a train is in the route
    EXPIRED = "expired"  # the time is over
    CLEARED = "cleared"  # the last section was let go of
    ASKED = "asked"  # the signal shall clear, and a route can be locked
    RESTARTED = "restarted"  # a route was locked before a restart


Table: TypeAlias = Mapping[State, Mapping[Happens, State]]

GATE: Final[Table] = {
    State.FREE: {Happens.ASKED: State.SET, Happens.RESTARTED: State.KEPT},
    State.SET: {
        Happens.ENTERED: State.PASSED,  # route locking, 49 CFR 236.767; and the signal is knocked down
        Happens.BROKEN: State.TIMED,  # 236.205, 236.303
        Happens.WITHDRAWN_NEAR: State.TIMED,  # approach locking, 236.760; time locking, 236.768
        Happens.WITHDRAWN: State.FREE,
    },
    State.TIMED: {Happens.ENTERED: State.PASSED, Happens.EXPIRED: State.FREE},
    State.PASSED: {Happens.CLEARED: State.FREE},
    # Nobody saw what trains did meanwhile: so nothing is let go of before the time is over, whatever is seen.
    State.KEPT: {Happens.FOUND: State.PASSED, Happens.EXPIRED: State.FREE},
}
"""What a gate does with what it is faced with; whatever does not stand here changes nothing."""

_MOST_STEPS: Final = len(State)
"""At one instant: each step leads to another state."""


class House(Protocol):
    """What a gate needs of the interlocking that it belongs to: what the others keep, and the hour."""

    now: Instant
    number: int
    against: dict[str, set[str]]

    def in_the_way(self, signal: str, route: Route, known: Known) -> str:
        """Return what keeps a route from being locked although all in it stands right, in words, or nothing."""
        ...

    def lock(self, gate: Gate, route: Route) -> None:
        """Lock a route for a gate."""
        ...

    def release(self, gate: Gate, route: Route, place: int) -> None:
        """Let go of one section of a route."""
        ...

    def free(self, gate: Gate, route: Route) -> None:
        """Let go of all that a gate still keeps."""
        ...

    def timed(self, signal: str, due: Instant | None) -> None:
        """Take note of a gate's timer."""
        ...


class Gate:
    """The gate of one signal.

    Attributes:
        signal: the signal.
        state: how it stands.
        route: the route that it has locked, or None.
        due: when its timer runs out, or None.
        keys: what it has to hear of.
    """

    def __init__(self, signal: Signal, house: House) -> None:
        self.signal = signal
        self.state = State.FREE
        self.route: Route | None = None
        self.due: Instant | None = None
        self._house = house
        self._seen: set[str] = set()  # sections in which the train was seen
        self._gone = 0  # sections that were let go of
        self._clear_since: Instant | None = None  # the section behind the train
        self._all_clear_since: Instant | None = None  # all that is still locked
        self._spent: tuple[int, ...] = ()  # the order that was used up, or refused
        self._spent_why = ""
        self._why = ""
        self._causes: tuple[int, ...] = ()  # the events that brought it into its state
        keys: list[Key] = [(BLOCK, block) for block in signal.locking.approach]
        for route in signal.routes:
            keys += [(BLOCK, block) for block in (*route.sections, *route.clear)]
            for number, _position in (*route.turnouts, *route.flank):
                keys += [(ORDERED, number), (PROVED, number)]
        keys += [(SIGNAL, other) for other in sorted(house.against[signal.name])]
        self.keys = tuple(dict.fromkeys(keys))

    def govern(self, wish: Choice, order: tuple[int, ...], known: Known) -> Choice:
        """Return what the signal may show of what it was told.

        Args:
            wish: what it was told.
            order: the events by which it was ordered, by which a new order is told from an old one.
            known: the facts.
        """
        for _ in range(_MOST_STEPS):
            happens = self._happens(wish, order, known)
            after = None if happens is None else GATE[self.state].get(happens)
            if happens is None or after is None:
                break
            self._go(happens, after, order, known)
        if self.due is not None and self.due <= self._house.now:
            self.due = None  # it has run out, whatever came of it: nothing may be due for ever
        self._house.timed(self.signal.name, self.due)
        return self._choice(wish)

    def hold(self, others: tuple[str, ...], order: tuple[int, ...]) -> Hold:
        """Return how it stands; `others` have something locked that it may need."""
        route = "" if self.route is None else self.route.name
        return Hold(self.state.value, route, self.due, self.is_used_up(order), others)

    def keep(self, route: Route, known: Known) -> None:
        """Take it that a route was locked before a restart; where one was locked since, that counts."""
        after = GATE[self.state].get(Happens.RESTARTED)
        if after is not None:
            self.route = route
            self._go(Happens.RESTARTED, after, (), known)

    # ---- what happens --------------------------------------------------------------------------------------

    def _happens(self, wish: Choice, order: tuple[int, ...], known: Known) -> Happens | None:
        wants = wish.aspect != self.signal.rest
        route = self.route
        if route is None:
            return Happens.ASKED if wants and self._asks(order, known) else None
        if self.state is State.PASSED:
            return Happens.CLEARED if self._let_go(route, known) else None
        if self.state is State.KEPT:
            if not self._time_is_over(route, known):
                return None
            return Happens.FOUND if self._up_to_train(route, known) else Happens.EXPIRED
        if self._is(known, route.sections[0], BlockState.OCCUPIED):
            return Happens.ENTERED
        if self.state is State.SET:
            return self._still_right(route, wants, known)
        return Happens.EXPIRED if self._time_is_over(route, known) else None

    def _still_right(self, route: Route, wants: bool, known: Known) -> Happens | None:
        self._why = self._amiss(route, known)
        if self._why:
            return Happens.BROKEN
        if wants:
            return None
        near = not self.signal.locking.approach or any(
            not self._is(known, block, BlockState.CLEAR) for block in self.signal.locking.approach
        )
        return Happens.WITHDRAWN_NEAR if near else Happens.WITHDRAWN

    def _asks(self, order: tuple[int, ...], known: Known) -> bool:
        """Look for a route that can be locked; remember why there is none."""
        if order and order == self._spent:
            self._why = self._spent_why
            return False
        self._why = "no route is set"
        for route in self.signal.routes:
            astray = self._astray(route, route.turnouts, known)
            if astray:
                single = len(self.signal.routes) == 1 or fit(route.turnouts, known.standing).fits is None
                self._why = astray if single else self._why
                continue
            self._why = self._amiss(route, known) or self._house.in_the_way(self.signal.name, route, known)
            if not self._why:
                self.route = route
                return True
            break
        if self.signal.locking.refused is Refused.DROP:
            self._spend(order, f"the order was refused and has to be given again: {self._why}")
        return False

    def is_used_up(self, order: tuple[int, ...]) -> bool:
        """Return whether an order has had its effect, so that it clears the signal no more."""
        return bool(order) and order == self._spent

    def _spend(self, order: tuple[int, ...], why: str) -> None:
        """Take it that an order has had its effect. What clears by itself has none, and may clear again."""
        if order:
            self._spent, self._spent_why = order, why
            self._why = why

    @staticmethod
    def _astray(route: Route, needs: Needs, known: Known) -> str:
        """Return which of these turnouts does not stand for a route, in words, or nothing."""
        for number, position in needs:
            standing = known.standing(number)
            if standing.position is None:
                return not_known(number, standing)
            if standing.position is not position:
                is_so = f"{'stands' if standing.proved else 'was ordered'} {standing.position.value}"
                return f"accessory {number} {is_so}, and route {route.name} needs {position.value}"
        return ""

    def _amiss(self, route: Route, known: Known) -> str:
        """Return what is not as a route needs it, in words, or nothing."""
        astray = self._astray(route, (*route.turnouts, *route.flank), known)
        if astray:
            return astray
        for block in (*route.sections, *route.clear):
            fact = known.get((BLOCK, block))
            if fact is None or fact.value != BlockState.CLEAR:
                return not_clear(block, fact)
        return ""

    def _time_is_over(self, route: Route, known: Known) -> bool:
        """Run the timer, but only while every block of the route is known; else it starts anew."""
        if any(self._is_unknown(known, block) for block in (*route.sections, *self.signal.locking.approach)):
            self.due = None
            return False
        if self.due is None:
            self.due = self._house.now + self.signal.locking.time
        return self.due <= self._house.now

    def _let_go(self, route: Route, known: Known) -> bool:
        """Let go of the sections behind the train; return whether that was the last.

        A section is let go of once the train was seen in it and it has been clear without a break for longer than
        a train may lose contact (49 CFR 236.309). Where a train was never seen in a section, all of the route has
        to be clear for as long as after a signal that was put back.
        """
        now, locking = self._house.now, self.signal.locking
        self._look_for_train(route, known)
        self.due = None
        while self._gone < len(route.sections):
            section = route.sections[self._gone]
            if section not in self._seen or not self._is(known, section, BlockState.CLEAR):
                self._clear_since = None
                break
            if self._clear_since is None:
                self._clear_since = now
            if now < self._clear_since + locking.longer_than_release:
                self.due = self._clear_since + locking.longer_than_release
                break
            self._house.release(self, route, self._gone)
            self._gone += 1
            self._clear_since = None
        if all(self._is(known, each, BlockState.CLEAR) for each in route.sections[self._gone :]):
            if self._all_clear_since is None:
                self._all_clear_since = now
            due = self._all_clear_since + locking.time
            if due <= now:
                self._gone = len(route.sections)
            elif self.due is None or due < self.due:
                self.due = due
        else:
            self._all_clear_since = None
        return self._gone == len(route.sections)

    def _look_for_train(self, route: Route, known: Known) -> None:
        """Remember where the train is seen; each section by itself, whatever the others are."""
        self._seen |= {each for each in route.sections if self._is(known, each, BlockState.OCCUPIED)}

    def _up_to_train(self, route: Route, known: Known) -> tuple[str, ...]:
        """Return the sections up to the last that is occupied; none where no train is in the route."""
        count = len(route.sections)
        while count and not self._is(known, route.sections[count - 1], BlockState.OCCUPIED):
            count -= 1
        return route.sections[:count]

    @staticmethod
    def _is(known: Known, block: str, state: BlockState) -> bool:
        fact = known.get((BLOCK, block))
        return fact is not None and fact.value == state

    @staticmethod
    def _is_unknown(known: Known, block: str) -> bool:
        fact = known.get((BLOCK, block))
        return fact is None or fact.value == BlockState.UNKNOWN

    # ---- what follows --------------------------------------------------------------------------------------

    def _go(self, happens: Happens, after: State, order: tuple[int, ...], known: Known) -> None:
        route = self.route
        if route is None:
            raise EngineError(f"the gate of {self.signal.name} has no route to become {after} with")
        self.state, self.due, self._causes = after, None, in_order([self._house.number])
        match after:
            case State.SET:
                self._causes = in_order((*self._causes, *_events(route, known)))
                self._house.lock(self, route)
            case State.FREE:
                self._house.free(self, route)
                self.route = None
            case State.KEPT:
                self._house.lock(self, route)
                self._why = f"route {route.name} has been locked since before the restart"
            case State.PASSED:
                # A train that is found after a restart has come through all that lies before where it is.
                found = happens is Happens.FOUND
                passed = self._up_to_train(route, known) if found else route.sections[:1]
                self._seen, self._gone = set(passed), 0
                self._clear_since = self._all_clear_since = None
                if not self.signal.locking.reclear:
                    self._spend(order, "a train has passed it, and no new order was given since")
                self._why = f"a train has passed it into {passed[-1]}"
            case State.TIMED:
                if happens is Happens.WITHDRAWN_NEAR:
                    self._why = (
                        f"it was put back with a train near, and route {route.name} is locked for a while"
                    )
                else:
                    why = f"route {route.name} was locked and is no longer safe: {self._why}"
                    if not self.signal.locking.reclear:
                        self._spend(order, f"{why}; since then no new order was given")
                    self._why = why

    def _choice(self, wish: Choice) -> Choice:
        rest = self.signal.rest
        if wish.aspect == rest and self.state is State.FREE:
            return wish
        if self.state is State.SET and self.route is not None:
            return self._capped(wish, self.route)
        wanted = "" if wish.aspect == rest else f"; it was told to show {wish.aspect} ({wish.reason})"
        return Choice(rest, f"{self._why}{wanted}", in_order((*wish.causes, *self._causes)), wish.source)

    def _capped(self, wish: Choice, route: Route) -> Choice:
        order = [row.name for row in self.signal.aspects]
        reason = f"{wish.reason}; route {route.name} is locked"
        causes = in_order((*wish.causes, *self._causes))
        if route.at_most and order.index(route.at_most) < order.index(wish.aspect):
            reason = f"{reason}, which allows no better than {route.at_most}"
            return Choice(route.at_most, reason, causes, wish.source)
        return Choice(wish.aspect, reason, causes, wish.source)

    def snapshot(self) -> list[Any]:
        """Return everything as plain data."""
        return [
            self.state.value,
            "" if self.route is None else self.route.name,
            self.due,
            sorted(self._seen),
            self._gone,
            self._clear_since,
            self._all_clear_since,
            list(self._spent),
            self._spent_why,
            self._why,
            list(self._causes),
        ]

    def restore(self, data: list[Any]) -> None:
        """Take back what `snapshot` gave; raise TypeError, ValueError or KeyError if it is none."""
        state, route, due, seen, gone, clear, all_clear, spent, spent_why, why, causes = data
        routes = {each.name: each for each in self.signal.routes}
        self.state = State(state)
        self.route = routes[route] if route else None
        if (self.route is None) is not (self.state is State.FREE):
            raise ValueError(f"a gate that is {state} has a route if and only if it is not free")
        self.due = _instant(due)
        self._seen, self._gone = {str(each) for each in seen}, int(gone)
        self._clear_since, self._all_clear_since = _instant(clear), _instant(all_clear)
        self._spent = tuple(int(each) for each in spent)
        self._spent_why, self._why = str(spent_why), str(why)
        self._causes = tuple(int(each) for each in causes)


def _events(route: Route, known: Known) -> list[int]:
    """Return the events by which all that a route needs is known."""
    facts = [known.standing(number).fact for number, _position in (*route.turnouts, *route.flank)]
    facts += [known.get((BLOCK, block)) for block in (*route.sections, *route.clear)]
    return [fact.event for fact in facts if fact is not None]


def _instant(value: Any) -> Instant | None:
    return None if value is None else int(value)
