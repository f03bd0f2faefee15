"""What there is to say of a group of signals: variables, and what the answers to a gate mean in them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum
from functools import cached_property
from typing import Final

from oxidd.bdd import BDDFunction

from bridge.check.prove import asking
from bridge.check.prove.asking import FREE, NO, Hold, Question, Tried
from bridge.check.prove.symbols import Field, Variables
from bridge.events import BlockState, Position
from bridge.layout.model import Layout, Signal
from bridge.logic.gate import State

BLOCKS: Final = (BlockState.UNKNOWN, BlockState.CLEAR, BlockState.OCCUPIED)
POSITIONS: Final = (Position.UNKNOWN, Position.NORMAL, Position.REVERSE)
NO_YES: Final = (False, True)


@dataclass(frozen=True)
class GateFields:
    """The variables of one gate.

    Attributes:
        hold: how it stands.
        seen: for each place along its longest route, whether the train was seen there.
        used: whether its order has had its effect.
        coming: a train that saw the signal better may still come past it.
        wants: it is told to be better than its most restrictive aspect.
        out: it is out of use, and so it wants nothing.
        over: whether its timers have run out just now.
        now: it has to decide in this round.
        next: it has to decide in the next.
    """

    hold: Field
    seen: tuple[Field, ...]
    used: Field
    coming: Field
    wants: Field
    out: Field
    over: tuple[Field, Field]
    now: Field
    next: Field

    @property
    def stepped(self) -> tuple[Field, ...]:
        """Those that a decision may change."""
        return (self.hold, *self.seen, self.used, self.coming)


class Outside(Enum):
    """What is taken of the gates that are not in a machine."""

    FREE = "free"  # whatever may be asked of them, any answer may be given: they can do more than they really can
    IDLE = "idle"  # they are never told to clear: they can do less


class Parts:
    """The things of a group of signals.

    Args:
        layout: the layout.
        names: the interlocked signals, by name.
        outside: what is taken of all others.
        tried: what gates may decide, kept from one group to the next.
        made: where its variables are made.

    Attributes:
        made: all variables.
        layout: the layout.
        signals: its interlocked signals in the order of the file, by name.
        gates: their variables.
        blocks: the blocks that count for them.
        turnouts: the turnouts.
        outside: what is taken of all other gates.
        tried: what gates may decide.
    """

    def __init__(
        self, layout: Layout, names: Iterable[str], outside: Outside, tried: Tried, made: Variables
    ) -> None:
        self.made = made
        self.layout = layout
        self.outside = outside
        self.tried = tried
        wanted = set(names)
        self.signals: dict[str, Signal] = {
            signal.name: signal for signal in layout.signals if signal.name in wanted
        }
        self.gates: dict[str, GateFields] = {}
        self.blocks: dict[str, Field] = {}
        self.turnouts: dict[int, Field] = {}
        self._fouling = fouling(layout)
        self._holds = {name: asking.holds(signal.routes) for name, signal in self.signals.items()}
        # The order of the variables: how gates stand excludes much of each other, so that comes first.
        transient = {name: [Field(made, NO_YES) for _ in range(4)] for name in self.signals}
        stands = {name: Field(made, holds, steps=True) for name, holds in self._holds.items()}
        for signal in self.signals.values():
            self._make_inputs(signal)
        for name, signal in self.signals.items():
            self.gates[name] = self._make_gate(signal, stands[name], transient[name])

    def _make_inputs(self, signal: Signal) -> None:
        blocks: list[str] = list(signal.locking.approach)
        turnouts: list[int] = []
        for route in signal.routes:
            blocks += [*route.sections, *route.clear]
            blocks += [other for section in route.sections for other in self._fouling.get(section, ())]
            turnouts += [number for number, _position in (*route.turnouts, *route.flank)]
            turnouts += [
                turnout.accessory
                for turnout in self.layout.turnouts
                if any(block in route.sections for _position, block in turnout.fouls)
            ]
        for block in dict.fromkeys(blocks):
            if block not in self.blocks:
                self.blocks[block] = Field(self.made, BLOCKS)
        for number in dict.fromkeys(turnouts):
            if number not in self.turnouts:
                self.turnouts[number] = Field(self.made, POSITIONS)

    def _make_gate(self, signal: Signal, hold: Field, transient: list[Field]) -> GateFields:
        made, longest = self.made, max(len(route.sections) for route in signal.routes)
        now, then, *over = transient
        return GateFields(
            now=now,
            next=then,
            over=(over[0], over[1]),
            hold=hold,
            wants=Field(made, NO_YES),
            out=Field(made, NO_YES),
            used=Field(made, NO_YES, steps=True),
            coming=Field(made, NO_YES, steps=True),
            seen=tuple(Field(made, NO_YES, steps=True) for _ in range(longest)),
        )

    def better(self, name: str, route: int | None = None) -> BDDFunction:
        """Return that a signal is better than its most restrictive aspect, for one of its routes or for any."""
        signal = self.signals[name]
        return self.gates[name].hold.among(
            Hold(State.SET, index, 0)
            for index, each in enumerate(signal.routes)
            if route in (None, index) and each.at_most != signal.rest
        )

    @cached_property
    def start(self) -> BDDFunction:
        """The state in which nothing is known and nothing was ordered."""
        return self.no_to_all

    @cached_property
    def no_to_all(self) -> BDDFunction:
        """Every variable of a state at no, which is the first value of each thing."""
        fields: list[Field] = [*self.blocks.values(), *self.turnouts.values()]
        for gate in self.gates.values():
            fields += [*gate.stepped, gate.wants, gate.out, *gate.over, gate.now, gate.next]
        return self.made.every(field.is_(field.values[0]) for field in fields)

    @cached_property
    def settled(self) -> BDDFunction:
        """That no gate is due to decide."""
        return self.made.every(
            field.is_(False) for gate in self.gates.values() for field in (gate.now, gate.next)
        )

    def timed(self, name: str) -> BDDFunction:
        """Return that a route is locked for a time."""
        return self.gates[name].hold.among(
            hold for hold in self._holds[name] if hold.state in asking.FOR_A_TIME
        )

    @cached_property
    def begun(self) -> BDDFunction:
        """That it may just have begun: no block is known, and nothing is locked but what was before a restart."""
        found = self.made.every(field.is_(BlockState.UNKNOWN) for field in self.blocks.values())
        for name, gate in self.gates.items():
            found &= gate.hold.among(
                hold for hold in self._holds[name] if hold.state in (State.FREE, State.KEPT)
            )
        return found

    def sections(self, name: str, hold: Hold) -> tuple[str, ...]:
        """Return the sections of the route that is locked."""
        return self.signals[name].routes[hold.route].sections

    def is_better(self, name: str, hold: Hold) -> bool:
        """Return whether a signal is better than its most restrictive aspect while its gate stands so."""
        signal = self.signals[name]
        return hold.state is State.SET and signal.routes[hold.route].at_most != signal.rest

    def answer(self, name: str, route: int, question: Question, answer: str) -> BDDFunction:
        """Return that a question of a gate has this answer."""
        kind, thing, more = question
        if kind == asking.BLOCK_IS:
            return self.blocks[thing].is_(BlockState(answer))
        if kind == asking.STANDS:
            return self.turnouts[int(thing)].is_(Position(answer))
        if kind == asking.USED:
            found = self.gates[name].used.is_(True)
        elif kind == asking.SEEN:
            found = self.seen_now(name, route, self.signals[name].routes[route].sections.index(thing))
        elif kind == asking.BETTER:
            found = self.better(thing) if thing in self.gates else self.made.false
        elif kind == asking.LOCKED:
            found = ~self.gates[thing].hold.is_(FREE) if thing in self.gates else self.made.false
        elif kind == asking.KEPT:
            found = self._kept_by_others(name, thing)
        else:
            found = self._kept_by_others(name, int(thing), Position(more.split()[0]))
        if answer == NO:
            return ~found
        return self.made.true if self.outside is Outside.FREE and self.is_outside(name, question) else found

    def is_outside(self, name: str, question: Question) -> bool:
        """Return whether a question may be answered with yes because of a gate that is not in here."""
        kind, thing, more = question
        if kind in (asking.BETTER, asking.LOCKED):
            return thing not in self.gates
        if kind == asking.KEPT:
            return bool(self.tried.keepers(name, thing) - set(self.gates))
        if kind == asking.AGAINST:
            return bool(self.tried.keepers(name, int(thing), Position(more.split()[0])) - set(self.gates))
        return False

    def seen_now(self, name: str, route: int, place: int) -> BDDFunction:
        """Return that the train was seen in a section of a route, or is seen there now."""
        section = self.signals[name].routes[route].sections[place]
        return self.gates[name].seen[place].is_(True) | self.blocks[section].is_(BlockState.OCCUPIED)

    def _kept_by_others(self, name: str, thing: str | int, position: Position | None = None) -> BDDFunction:
        """Return that some other gate keeps a section, or a turnout otherwise than in a position."""
        return self.made.some(
            self.gates[other].hold.among(
                hold for hold in holds if self.tried.keeps(other, hold, name, thing, position)
            )
            for other, holds in self._holds.items()
            if other != name
        )


def fouling(layout: Layout) -> dict[str, tuple[str, ...]]:
    """Return for each block those that foul it, whichever of the two says so."""
    found: dict[str, list[str]] = {}
    for block in layout.blocks:
        for other in block.fouls:
            found.setdefault(block.name, []).append(other)
            found.setdefault(other, []).append(block.name)
    return {name: tuple(dict.fromkeys(others)) for name, others in found.items()}
