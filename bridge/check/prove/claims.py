"""What must never be: said of the routes as the layout has them, and not of what the engine keeps apart by itself."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import NamedTuple, TypeAlias

from oxidd.bdd import BDDFunction

from bridge.check.prove.asking import FOR_A_TIME, FREE, Hold
from bridge.check.prove.machine import Machine
from bridge.check.prove.parts import fouling
from bridge.check.prove.witness import Witness
from bridge.events import BlockState, Position
from bridge.layout.model import Layout, Signal
from bridge.layout.routes import Route
from bridge.logic.gate import State

Bad: TypeAlias = Callable[[Machine], BDDFunction]


class Fault(NamedTuple):
    """One thing that must not be.

    Attributes:
        words: what is wrong then.
        bad: the states in which it is so.
        seen: whether an engine that was driven there shows it.
        remedy: what the owner may write so that it is not, or empty where that would be a fault of the engine.
    """

    words: str
    bad: Bad
    seen: Callable[[Witness], bool]
    remedy: str = ""


@dataclass(frozen=True)
class Claim:
    """That none of some faults ever is, or that a route can always be let go of.

    Attributes:
        signals: those that it is about.
        faults: what must never be.
        always: instead of faults, the states that can be reached from everywhere.
    """

    signals: tuple[str, ...]
    faults: tuple[Fault, ...] = ()
    always: Bad | None = None


def claims(layout: Layout, group: tuple[str, ...]) -> Iterator[Claim]:
    """Yield all that has to be proved of one group of signals."""
    signals = {signal.name: signal for signal in layout.signals}
    own = [signals[name] for name in group]
    for signal in own:
        yield Claim((signal.name,), (*_inputs(layout, signal), _too_early(signal)))
        yield Claim((signal.name,), always=lambda machine, name=signal.name: _is_free(machine, name))  # type: ignore[misc]
    for place, one in enumerate(own):
        for other in own[place + 1 :]:
            faults = tuple(_together(layout, one, other))
            if faults:
                yield Claim((one.name, other.name), faults)


def _is_free(machine: Machine, name: str) -> BDDFunction:
    return machine.gates[name].hold.is_(FREE)


def _inputs(layout: Layout, signal: Signal) -> Iterator[Fault]:
    """Yield what must be right while a signal is better than its most restrictive aspect."""
    fouls = fouling(layout)
    for index, route in enumerate(signal.routes):
        for number, position in (*route.turnouts, *route.flank):
            yield _stands_wrong(signal, index, number, position)
        for turnout in layout.turnouts:
            for position, block in turnout.fouls:
                if block in route.sections and (turnout.accessory, position) not in route.turnouts:
                    yield _flank(signal, index, turnout.accessory, position, block)
        for block in (*route.sections, *route.clear):
            yield _not_clear(signal, index, block, f"while block {block} is not clear")
        for section in route.sections:
            for block in fouls.get(section, ()):
                words = f"while block {block}, which fouls its section {section}, is not clear"
                remedy = f"name {block} in `clear` of the route {route.name} of {signal.name}"
                yield _not_clear(signal, index, block, words)._replace(remedy=remedy)


def _better(signal: Signal, index: int) -> str:
    return f"{signal.name} is better than {signal.rest} for {signal.routes[index].name}"


def _stands_wrong(signal: Signal, index: int, number: int, position: Position) -> Fault:
    name = signal.name
    return Fault(
        f"{_better(signal, index)} while accessory {number} is not known to stand {position.value}",
        lambda machine: machine.better(name, index) & ~machine.turnouts[number].is_(position),
        lambda seen: seen.better(name, index) and seen.stands(number) is not position,
    )


def _flank(signal: Signal, index: int, number: int, position: Position, block: str) -> Fault:
    name = signal.name
    safe = Position.REVERSE if position is Position.NORMAL else Position.NORMAL
    words = (
        f"{_better(signal, index)} while accessory {number}, which leads {position.value} into the side of {block}, "
        f"is not known to stand {safe.value}"
    )
    return Fault(
        words,
        lambda machine: machine.better(name, index) & ~machine.turnouts[number].is_(safe),
        lambda seen: seen.better(name, index) and seen.stands(number) is not safe,
        f"write `{number}: {safe.value}` in `flank` of the route {signal.routes[index].name} of {name}",
    )


def _not_clear(signal: Signal, index: int, block: str, words: str) -> Fault:
    name = signal.name
    return Fault(
        f"{_better(signal, index)} {words}",
        lambda machine: machine.better(name, index) & ~machine.blocks[block].is_(BlockState.CLEAR),
        lambda seen: seen.better(name, index) and seen.block(block) is not BlockState.CLEAR,
    )


def _too_early(signal: Signal) -> Fault:
    name = signal.name
    return Fault(
        f"the route of {name} is let go of while a train that was near when {name} fell back may still come",
        lambda machine: machine.gates[name].coming.is_(True) & ~machine.timed(name),
        lambda seen: seen.state(name) is State.FREE and seen.may_come(name),
        f"let `time` in `locking` of {name} be longer than its `stopping`",
    )


def _together(layout: Layout, one: Signal, other: Signal) -> Iterator[Fault]:
    """Yield why two signals must not be better than at rest together, for each two of their routes."""
    for first, route in enumerate(one.routes):
        for second, against in enumerate(other.routes):
            why = _conflict(layout, (one, route), (other, against))
            if why:
                yield _both(one, first, other, second, why)
                yield _while_coming(one, first, other, second, why)
                yield _while_coming(other, second, one, first, why)


def _both(one: Signal, first: int, other: Signal, second: int, why: str) -> Fault:
    return Fault(
        f"{_better(one, first)}, and {_better(other, second)}, although {why}",
        lambda machine: machine.better(one.name, first) & machine.better(other.name, second),
        lambda seen: seen.better(one.name, first) and seen.better(other.name, second),
        f"name {other.name} in `conflicts` of {one.name}, and {one.name} in those of {other.name}",
    )


def _while_coming(late: Signal, first: int, other: Signal, second: int, why: str) -> Fault:
    """Return that a signal is better while a train may still come past another that has fallen back."""

    def bad(machine: Machine) -> BDDFunction:
        gate = machine.gates[late.name]
        return (
            gate.hold.among(Hold(state, first, 0) for state in FOR_A_TIME)
            & gate.coming.is_(True)
            & machine.better(other.name, second)
        )

    return Fault(
        f"{_better(other, second)} while a train may still come past {late.name}, which has fallen back, and {why}",
        bad,
        lambda seen: seen.state(late.name) in FOR_A_TIME and seen.better(other.name, second),
    )


def _conflict(layout: Layout, one: tuple[Signal, Route], other: tuple[Signal, Route]) -> str:
    """Return why two routes must not be used together, in words, or nothing."""
    (first, route), (second, against) = one, other
    if second.name in route.conflicts or first.name in against.conflicts:
        return f"{first.name} and {second.name} are said to be in conflict"
    shared = [section for section in route.sections if section in against.sections]
    if shared:
        return f"both lead through block {shared[0]}"
    needs = dict((*route.turnouts, *route.flank))
    for number, position in (*against.turnouts, *against.flank):
        if needs.get(number, position) is not position:
            return f"they need accessory {number} in different positions"
    fouls = fouling(layout)
    for section in route.sections:
        for block in fouls.get(section, ()):
            if block in against.sections:
                return f"their blocks {section} and {block} foul each other"
    return ""
