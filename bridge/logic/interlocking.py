"""The interlocking of a layout: all gates, what they keep from each other, and what there is to tell of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from bridge.events import Instant, Position
from bridge.layout.model import Layout
from bridge.layout.routes import Route
from bridge.logic import reasons
from bridge.logic.gate import Gate, State
from bridge.logic.known import ABSENT, BLOCK, ORDERED, SIGNAL, Key, Known
from bridge.logic.locks import Locks
from bridge.logic.working_out import in_order


class Interlocking:
    """All gates of a layout, and what they keep.

    Attributes:
        gates: by the name of the signal.
        locks: what they keep.
        held: the gates that have a route locked, by signal, in the order in which they locked it.
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
        self.held: dict[str, Gate] = {}
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
                since = ", since before the restart" if other in self.locks.kept else ""
                return f"{other} has a route locked that is in conflict with it{since}"
            if fact is not None and fact.value == ABSENT:
                continue
            if fact is None or fact.why or fact.value != self._rests[other]:
                return f"{other}, which is in conflict with it, is not known to be at {self._rests[other]}"
        return self.locks.holder(signal, route)

    def others(self, signal: str) -> tuple[str, ...]:
        """Return the signals that have a route locked for which this one may have to wait."""
        return tuple(
            name for name in self.neighbours.get(signal, ()) if self.gates[name].state is not State.FREE
        )

    def lock(self, gate: Gate, route: Route) -> None:
        """Lock a route for a gate, and tell of the turnouts that were free before."""
        name, since = gate.signal.name, ""
        if gate.state is State.KEPT:
            self.locks.kept.add(name)
            since = ", since before the restart"
        numbers = [number for number, _position in (*route.turnouts, *route.flank)]
        free = [number for number in numbers if not self.locks.turnouts.get(number)]
        self.locks.lock(name, route)
        self.held[name] = gate
        for number in free:
            self._tell(number, "locked", f"by route {route.name} from {name}{since}")
        self.changed.add(name)

    def route(self, signal: str, name: str) -> Route | None:
        """Return the route of an interlocked signal that has this name, or None."""
        gate = self.gates.get(signal)
        return next((route for route in gate.signal.routes if route.name == name), None) if gate else None

    def release(self, gate: Gate, route: Route, place: int) -> None:
        """Let go of one section of a route and of the turnouts in it."""
        section = route.sections[place]
        inside = [number for number, _position in route.turnouts if self._blocks.get(number) == section]
        self._let_go(gate, inside, [section], f"the train has left {section}")

    def free(self, gate: Gate, route: Route) -> None:
        """Let go of all that a gate still keeps."""
        numbers = [number for number, _position in (*route.turnouts, *route.flank)]
        self._let_go(gate, numbers, route.sections, f"route {route.name} from {gate.signal.name} is free")
        self.locks.kept.discard(gate.signal.name)
        self.held.pop(gate.signal.name, None)

    def _let_go(self, gate: Gate, numbers: list[int], sections: Iterable[str], why: str) -> None:
        held = [number for number in numbers if self.locks.turnouts.get(number)]
        self.locks.release(gate.signal.name, numbers, sections)
        for number in held:
            if number not in self.locks.turnouts:
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
            "sections": [[section, gate] for section, kept in self.locks.sections.items() for gate in kept],
            "kept": sorted(self.locks.kept),
            "held": list(self.held),
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
        for section, gate_name in data["sections"]:
            self.locks.sections.setdefault(str(section), []).append(str(gate_name))
        self.locks.kept = {str(name) for name in data["kept"]}
        self.held = {str(name): self.gates[str(name)] for name in data["held"]}


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
