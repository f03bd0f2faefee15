"""Interlocking: a signal clears only for a route that is set, clear and locked, and the lock outlasts the signal.

Each interlocked signal has a *gate*. What tells the signal what to show is its wish; the gate lets the wish through
only while a route from this signal is locked. The gate's state machine is the table below; what happens is worked out
from the facts, in the order in which the kinds of happening stand in `Happens`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final, TypeAlias

from bridge.errors import EngineError
from bridge.events import BlockState, Instant, Position, Word
from bridge.layout.controls import Needs
from bridge.layout.model import Layout, Signal
from bridge.layout.routes import Refused, Route
from bridge.logic import reasons
from bridge.logic.known import BLOCK, ORDERED, PROVED, SIGNAL, Key, Known
from bridge.logic.locks import Locks
from bridge.logic.reasons import Choice
from bridge.logic.working_out import fit, in_order, not_clear, not_known


class State(Word):
    """How a gate stands."""

    FREE = "free"  # no route is locked
    SET = "set"  # a route is locked and the signal may clear
    TIMED = "timed"  # the signal was put back; the route stays locked for a time
    PASSED = "passed"  # a train took the route; it is let go of behind it, section by section


class Happens(Word):
    """What a gate may be faced with, in the order in which it is looked for."""

    ENTERED = "entered"  # a train has come past the signal
    BROKEN = "broken"  # something in the route is no longer as it has to be
    WITHDRAWN_NEAR = "withdrawn-near"  # the signal is put back while a train is near, or may be
    WITHDRAWN = "withdrawn"  # the signal is put back and no train is near
    EXPIRED = "expired"  # the time is over
    CLEARED = "cleared"  # the last section was let go of
    ASKED = "asked"  # the signal shall clear, and a route can be locked


Table: TypeAlias = Mapping[State, Mapping[Happens, State]]

GATE: Final[Table] = {
    State.FREE: {Happens.ASKED: State.SET},
    State.SET: {
        Happens.ENTERED: State.PASSED,  # route locking, 49 CFR 236.767; and the signal is knocked down
        Happens.BROKEN: State.TIMED,  # 236.205, 236.303
        Happens.WITHDRAWN_NEAR: State.TIMED,  # approach locking, 236.760; time locking, 236.768
        Happens.WITHDRAWN: State.FREE,
    },
    State.TIMED: {Happens.ENTERED: State.PASSED, Happens.EXPIRED: State.FREE},
    State.PASSED: {Happens.CLEARED: State.FREE},
}
"""What a gate does with what it is faced with; whatever does not stand here changes nothing."""


class Gate:
    """The gate of one signal.

    Attributes:
        signal: the signal.
        state: how it stands.
        route: the route that it has locked, or None.
        due: when its timer runs out, or None.
        keys: what it has to hear of.
    """

    def __init__(self, signal: Signal, house: Interlocking) -> None:
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
        self._cause = 0  # the event that brought it into its state
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
        for _ in State:  # each step leads to another state, so there are never more than these
            happens = self._happens(wish, order, known)
            after = None if happens is None else GATE[self.state].get(happens)
            if happens is None or after is None:
                break
            self._go(happens, after, order)
        if self.due is not None and self.due <= self._house.now:
            self.due = None  # it has run out, whatever came of it: nothing may be due for ever
        self._house.timed(self.signal.name, self.due)
        return self._choice(wish)

    # ---- what happens --------------------------------------------------------------------------------------

    def _happens(self, wish: Choice, order: tuple[int, ...], known: Known) -> Happens | None:
        wants = wish.aspect != self.signal.rest
        route = self.route
        if route is None:
            return Happens.ASKED if wants and self._asks(order, known) else None
        if self.state is not State.PASSED and self._is(known, route.sections[0], BlockState.OCCUPIED):
            return Happens.ENTERED
        if self.state is State.SET:
            return self._still_right(route, wants, known)
        if self.state is State.TIMED:
            return Happens.EXPIRED if self._time_is_over(route, known) else None
        return Happens.CLEARED if self._let_go(route, known) else None

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
            if now < self._clear_since + locking.release:
                self.due = self._clear_since + locking.release
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

    @staticmethod
    def _is(known: Known, block: str, state: BlockState) -> bool:
        fact = known.get((BLOCK, block))
        return fact is not None and fact.value == state

    @staticmethod
    def _is_unknown(known: Known, block: str) -> bool:
        fact = known.get((BLOCK, block))
        return fact is None or fact.value == BlockState.UNKNOWN

    # ---- what follows --------------------------------------------------------------------------------------

    def _go(self, happens: Happens, after: State, order: tuple[int, ...]) -> None:
        route = self.route
        if route is None:
            raise EngineError(f"the gate of {self.signal.name} has no route to become {after} with")
        self.state, self.due, self._cause = after, None, self._house.number
        match after:
            case State.SET:
                self._house.lock(self, route)
            case State.FREE:
                self._house.free(self, route)
                self.route = None
            case State.PASSED:
                self._seen, self._gone = {route.sections[0]}, 0
                self._clear_since = self._all_clear_since = None
                if not self.signal.locking.reclear:
                    self._spend(order, "a train has passed it, and no new order was given since")
                self._why = f"a train has passed it into {route.sections[0]}"
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
        return Choice(rest, f"{self._why}{wanted}", in_order((*wish.causes, self._cause)), wish.source)

    def _capped(self, wish: Choice, route: Route) -> Choice:
        order = [row.name for row in self.signal.aspects]
        reason = f"{wish.reason}; route {route.name} is locked"
        if route.at_most and order.index(route.at_most) < order.index(wish.aspect):
            reason = f"{reason}, which allows no better than {route.at_most}"
            return Choice(route.at_most, reason, wish.causes, wish.source)
        return Choice(wish.aspect, reason, wish.causes, wish.source)

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
            self._cause,
        ]

    def restore(self, data: list[Any]) -> None:
        """Take back what `snapshot` gave; raise TypeError, ValueError or KeyError if it is none."""
        state, route, due, seen, gone, clear, all_clear, spent, spent_why, why, cause = data
        routes = {each.name: each for each in self.signal.routes}
        self.state = State(state)
        self.route = routes[route] if route else None
        if (self.route is None) is not (self.state is State.FREE):
            raise ValueError(f"a gate that is {state} has a route if and only if it is not free")
        self.due = _instant(due)
        self._seen, self._gone = {str(each) for each in seen}, int(gone)
        self._clear_since, self._all_clear_since = _instant(clear), _instant(all_clear)
        self._spent = tuple(int(each) for each in spent)
        self._spent_why, self._why, self._cause = str(spent_why), str(why), int(cause)


class Interlocking:
    """All gates of a layout, and what they keep.

    Attributes:
        gates: by the name of the signal.
        locks: what they keep.
        now: the present instant.
        words: what there is to tell of locks since it was taken.
        changed: signals whose gates have changed since it was taken.
        against: for each signal those in conflict with it.
        neighbours: for each interlocked signal those that may wait for it.
    """

    def __init__(self, layout: Layout) -> None:
        self.now: Instant = 0
        self.number = 0
        self.words: list[reasons.Word] = []
        self.changed: set[str] = set()
        self.locks = Locks()
        self._due: dict[str, Instant] = {}
        self._blocks = {turnout.accessory: turnout.block for turnout in layout.turnouts}
        self._rests = {signal.name: signal.rest for signal in layout.signals}
        # Who keeps whom at stop, whichever of the two says so.
        self.against: dict[str, set[str]] = {name: set() for name in self._rests}
        for signal in layout.signals:
            for route in signal.routes:
                for other in route.conflicts:
                    self.against[signal.name].add(other)
                    self.against[other].add(signal.name)
        self.gates = {signal.name: Gate(signal, self) for signal in layout.signals if signal.routes}
        self.neighbours = {name: _neighbours(name, self.gates, self.against) for name in self.gates}

    def all_words(self) -> list[reasons.Word]:
        """Return what there is to tell of every turnout that may ever be locked, in the order of their numbers."""
        routes = [route for gate in self.gates.values() for route in gate.signal.routes]
        numbers = {number for route in routes for number, _position in (*route.turnouts, *route.flank)}
        holders = {number: sorted(self.locks.turnouts.get(number, ())) for number in sorted(numbers)}
        return [
            reasons.Word("lock", str(number), "locked", f"by a route from {' and '.join(held)}")
            if held
            else reasons.Word("lock", str(number), "free", "no route needs it")
            for number, held in holders.items()
        ]

    def in_the_way(self, signal: str, route: Route, known: Known) -> str:
        """Return what keeps a route from being locked although all in it stands right, in words, or nothing."""
        for other in sorted(self.against[signal]):
            gate = self.gates.get(other)
            fact = known.get((SIGNAL, other))
            if gate is not None and gate.state is not State.FREE:
                return f"{other} has a route locked that is in conflict with it"
            if fact is None or fact.why or fact.value != self._rests[other]:
                return f"{other}, which is in conflict with it, is not known to be at {self._rests[other]}"
        return self.locks.holder(signal, route)

    def lock(self, gate: Gate, route: Route) -> None:
        """Lock a route for a gate, and tell of the turnouts that were free before."""
        numbers = [number for number, _position in (*route.turnouts, *route.flank)]
        free = [number for number in numbers if not self.locks.turnouts.get(number)]
        self.locks.lock(gate.signal.name, route)
        for number in free:
            self._tell(number, "locked", f"by route {route.name} from {gate.signal.name}")
        self.changed.add(gate.signal.name)

    def release(self, gate: Gate, route: Route, place: int) -> None:
        """Let go of one section of a route and of the turnouts in it."""
        section = route.sections[place]
        inside = [number for number, _position in route.turnouts if self._blocks.get(number) == section]
        self._let_go(gate, inside, [section], f"the train has left {section}")

    def free(self, gate: Gate, route: Route) -> None:
        """Let go of all that a gate still keeps."""
        numbers = [number for number, _position in (*route.turnouts, *route.flank)]
        self._let_go(gate, numbers, route.sections, f"route {route.name} from {gate.signal.name} is free")

    def _let_go(self, gate: Gate, numbers: list[int], sections: Iterable[str], why: str) -> None:
        held = [number for number in numbers if self.locks.turnouts.get(number)]
        self.locks.release(gate.signal.name, numbers, sections)
        for number in held:
            if not self.locks.turnouts[number]:
                self._tell(number, "free", why)
        self.changed.add(gate.signal.name)

    def _tell(self, number: int, state: str, why: str) -> None:
        self.words.append(reasons.Word("lock", str(number), state, why, in_order([self.number])))

    def timed(self, signal: str, due: Instant | None) -> None:
        """Take note of a gate's timer."""
        if due is None:
            self._due.pop(signal, None)
        else:
            self._due[signal] = due

    def next_due(self) -> Instant | None:
        """Return the instant of the next timer, or None while none is set."""
        return min(self._due.values()) if self._due else None

    def due(self, at: Instant) -> list[str]:
        """Return the signals whose timers run out at an instant."""
        return [signal for signal, due in self._due.items() if due <= at]

    def take(self) -> tuple[set[str], list[reasons.Word]]:
        """Return which gates have changed and what there is to tell, and forget it."""
        taken = self.changed, self.words
        self.changed, self.words = set(), []
        return taken

    def snapshot(self) -> dict[str, Any]:
        """Return everything as plain data."""
        return {
            "now": self.now,
            "gates": {name: gate.snapshot() for name, gate in self.gates.items()},
            "turnouts": [
                [number, gate, position.value]
                for number, kept in self.locks.turnouts.items()
                for gate, position in kept.items()
            ],
            "sections": dict(self.locks.sections),
        }

    def restore(self, data: dict[str, Any]) -> None:
        """Take back what `snapshot` gave.

        Raises:
            KeyError, TypeError, ValueError: it is of another layout; some may have changed.
        """
        if set(data["gates"]) != set(self.gates):
            raise ValueError("it is of other interlocked signals")
        self.now = int(data["now"])
        for name, gate in self.gates.items():
            gate.restore(data["gates"][name])
            self.timed(name, gate.due)
        for number, gate_name, position in data["turnouts"]:
            self.locks.turnouts.setdefault(int(number), {})[str(gate_name)] = Position(position)
        self.locks.sections = {str(section): str(gate) for section, gate in data["sections"].items()}


def _neighbours(name: str, gates: Mapping[str, Gate], against: Mapping[str, set[str]]) -> tuple[str, ...]:
    """Return the other gates that may wait for this one: in conflict with it, or in need of something that it keeps."""
    own = _needed(gates[name])
    return tuple(
        other
        for other, gate in gates.items()
        if other != name and (other in against[name] or own & _needed(gate))
    )


def _needed(gate: Gate) -> set[Key]:
    found: set[Key] = set()
    for route in gate.signal.routes:
        found |= {(BLOCK, section) for section in route.sections}
        found |= {(ORDERED, number) for number, _position in (*route.turnouts, *route.flank)}
    return found


def _instant(value: Any) -> Instant | None:
    return None if value is None else int(value)
