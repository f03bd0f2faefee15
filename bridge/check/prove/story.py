"""A way that the proof has found, as events with instants: what the engine can be driven by, and a person can read."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

from bridge.check.prove import asking
from bridge.check.prove.asking import Hold
from bridge.check.prove.machine import Machine, Step
from bridge.check.prove.space import Move
from bridge.events import (
    MILLISECOND,
    AccessoryOrdered,
    AccessoryProved,
    AspectOrdered,
    BlockReported,
    BlockState,
    ButtonReported,
    ButtonState,
    Event,
    Instant,
    LinkState,
    Position,
    PowerReported,
    PowerState,
    RouteKept,
    SourceReported,
    Subject,
    UseReported,
)
from bridge.layout import controls
from bridge.layout.controls import Control
from bridge.layout.model import Layout, Signal
from bridge.logic.gate import State

GAP: Final = 100 * MILLISECOND
"""Between two steps: more than a button bounces, and less than anything that has to be waited for."""

TRACK: Final = "track"
"""The source of what is reported of the track; each signal is ordered by a source of its own."""


class Told(NamedTuple):
    """One step in words, with its instant."""

    at: Instant
    words: str


class Story(NamedTuple):
    """What has to happen for something to go wrong.

    Attributes:
        steps: in words.
        events: as the engine is given them.
        end: the instant at which it has gone wrong.
        possible: whether the lengths of the timers allow it.
    """

    steps: tuple[Told, ...]
    events: tuple[Event, ...]
    end: Instant
    possible: bool


class _Times:
    """Instants of which each lies at least so long after another, or at most so long."""

    def __init__(self, count: int) -> None:
        self.at: list[Instant] = [0] * count
        self._gaps: list[tuple[int, int, int]] = []

    def at_least(self, first: int, second: int, length: int) -> None:
        """The second lies so long after the first, or longer."""
        self._gaps.append((first, second, length))

    def less_than(self, first: int, second: int, length: int) -> None:
        """The second lies less long than this after the first."""
        self._gaps.append((second, first, 1 - length))

    def exactly(self, first: int, second: int, length: int) -> None:
        """The second lies just so long after the first."""
        self._gaps += [(first, second, length), (second, first, -length)]

    def settle(self) -> bool:
        """Find the earliest instants (Bellman and Ford); return whether there are any."""
        for _ in range(len(self.at) + 1):
            changed = False
            for first, second, length in self._gaps:
                if self.at[second] < self.at[first] + length:
                    self.at[second] = self.at[first] + length
                    changed = True
            if not changed:
                return True
        return False


def story(machine: Machine, moves: Sequence[Move]) -> Story:
    """Give every step of a way its instant, and make events of it."""
    layout = machine.layout
    times = _Times(len(moves) + 1)
    awake = max((district.settle for district in layout.districts), default=0)
    times.at_least(0, 0, 0)
    times.at[0] = awake + GAP
    for place in range(1, len(moves) + 1):
        step = moves[place - 1].step
        times.at_least(place - 1, place, 0 if step.kind in ("stopped", "woken") else GAP)
    leads = _block_times(layout, moves, times)
    _timer_times(machine, moves, times)
    possible = times.settle()
    events: list[Event] = [
        PowerReported(at=0, source=TRACK, district=district.name, state=PowerState.ON)
        for district in layout.districts
    ]
    told = []
    for place, move in enumerate(moves, start=1):
        at = times.at[place]
        events += _events(layout, move.step, at - leads[place], at)
        told.append(Told(at, _words(machine, moves, place)))
    events.sort(key=lambda event: event.at)
    return Story(tuple(told), tuple(events), times.at[-1], possible)


def _block_times(layout: Layout, moves: Sequence[Move], times: _Times) -> list[int]:
    """Let no block be reported before it was taken for what it was before; return how early each is reported."""
    blocks = {block.name: block for block in layout.blocks}
    last: dict[str, int] = {}
    leads = [0] * (len(moves) + 1)
    for place, move in enumerate(moves, start=1):
        kind, name, value = move.step
        if kind != "block":
            continue
        after = {
            BlockState.CLEAR.value: blocks[name].clear_after,
            BlockState.OCCUPIED.value: blocks[name].occupied_after,
        }
        leads[place] = after.get(str(value), 0)
        times.at_least(last.get(name, 0), place, leads[place] + GAP)
        last[name] = place
    return leads


def _timer_times(machine: Machine, moves: Sequence[Move], times: _Times) -> None:
    """Let each timer run out just when its time is over, and let all else happen before."""
    states = [list(machine.made.true.pick_cube() or []), *(move.state for move in moves)]
    states[0] = list(machine.start.pick_cube() or [])
    for name, gate in machine.gates.items():
        locking = machine.signals[name].locking
        holds: list[Hold] = [_hold(gate.hold.read(state)) for state in states]
        for place in (0, 1):
            runs = machine.runs[name][place]
            begun: int | None = None
            for now, state in enumerate(states):
                goes_on = holds[now] == holds[now - 1] if now else False
                running = runs.eval([(bit, bool(value)) for bit, value in enumerate(state)])
                if begun is not None:
                    passed = holds[now - 1].state is State.PASSED
                    length = locking.longer_than_release if passed and place == 0 else locking.time
                    if (
                        moves[now - 1].step.kind == "time"
                        and not goes_on
                        and _ended(machine, name, states, now, place)
                    ):
                        times.exactly(begun, now, length)
                    else:
                        times.less_than(begun, now, length)
                if not running:
                    begun = None
                elif begun is None or not goes_on:
                    begun = now
        fell = _fell(machine, name, states)
        if fell is not None:
            times.less_than(fell, len(states) - 1, locking.stopping or locking.time)


def _hold(value: object) -> Hold:
    if not isinstance(value, Hold):
        raise TypeError(f"{value!r} is not how a gate stands")
    return value


def _ended(machine: Machine, name: str, states: Sequence[list[bool | None]], now: int, place: int) -> bool:
    """Whether it was this timer of a gate that ran out: the first lets go of one section, the second of all."""
    before, after = (_hold(machine.gates[name].hold.read(states[each])) for each in (now - 1, now))
    if before.state in asking.FOR_A_TIME:
        return place == 0
    one_by_one = after.state is State.PASSED and after.route == before.route and after.gone > before.gone
    last = before.gone == len(machine.signals[name].routes[before.route].sections) - 1
    first_runs = machine.runs[name][0].eval([(bit, bool(value)) for bit, value in enumerate(states[now - 1])])
    return (one_by_one or (last and first_runs)) if place == 0 else not (one_by_one or (last and first_runs))


def _fell(machine: Machine, name: str, states: Sequence[list[bool | None]]) -> int | None:
    """Return when a signal fell back past which a train may still come at the end, or None."""
    coming = [bool(machine.gates[name].coming.read(state)) for state in states]
    if not coming[-1]:
        return None
    place = len(coming) - 1
    while place and coming[place - 1]:
        place -= 1
    return place


def _events(layout: Layout, step: Step, reported: Instant, at: Instant) -> Iterator[Event]:
    kind, name, value = step
    if kind == "block":
        yield BlockReported(at=reported, source=TRACK, name=name, state=BlockState(str(value)))
    elif kind == "turnout":
        yield AccessoryProved(at=at, source=TRACK, number=int(name), position=Position(str(value)))
    elif kind in ("told", "by-itself"):
        signal = next(each for each in layout.signals if each.name == name)
        yield from drive(signal, at, wants=bool(value))
    elif kind == "use":
        yield UseReported(at=at, source=TRACK, subject=Subject.SIGNAL, name=name, out=bool(value))
    elif kind == "kept":
        yield RouteKept(at=at, source=TRACK, signal=name, route=str(value))


def drive(signal: Signal, at: Instant, *, wants: bool) -> Iterator[Event]:
    """Yield events by which a signal is told to clear, or to rest; none where it is told by the track alone."""
    source = f"panel of {signal.name}"
    for control in signal.controls:
        if asking.by_order((control,)):
            yield from _orders(control, signal.rest, at, source, wants=wants)
        else:
            yield from _keeps(control, signal.rest, at, source, wants=wants)


def _orders(control: Control, rest: str, at: Instant, source: str, *, wants: bool) -> list[Event]:
    """Return one order; where nothing orders a signal to rest, the loss of its source does."""
    found: list[Event] = []
    match control:
        case controls.LastCommand(rows):
            found = [
                AccessoryOrdered(at=at, source=source, number=row.accessory, position=position)
                for row in rows
                for position, aspect in row.aspects.items()
                if (aspect != rest) is wants
            ]
        case controls.AspectNumbers(accessory, aspects):
            found = [
                AspectOrdered(at=at, source=source, number=accessory, aspect=number)
                for number, aspect in aspects.items()
                if (aspect != rest) is wants
            ]
        case controls.LatchedButtons(buttons):
            found = [
                ButtonReported(at=at, source=source, name=button, state=ButtonState.PRESSED)
                for button, aspect in buttons.items()
                if (aspect != rest) is wants
            ]
    return found[:1] or [SourceReported(at=at, source=source, state=LinkState.LOST)]


def _keeps(control: Control, rest: str, at: Instant, source: str, *, wants: bool) -> Iterator[Event]:
    """Yield how buttons have to be held, or accessories to be ordered; nothing where the track or a signal tells it."""
    match control:
        case controls.HeldButtons(aspects):
            for button, aspect in aspects.items():
                held = wants and aspect != rest
                state = ButtonState.PRESSED if held else ButtonState.RELEASED
                yield ButtonReported(at=at, source=source, name=button, state=state)
        case controls.PositionTable(lines):
            fitting = [line for line in lines if (line.aspect != rest) is wants]
            for number, position in fitting[0].needs if fitting else ():
                yield AccessoryOrdered(at=at, source=source, number=number, position=position)


def _words(machine: Machine, moves: Sequence[Move], place: int) -> str:
    kind, name, value = moves[place - 1].step
    match kind:
        case "block":
            return f"block {name} becomes {value}"
        case "turnout":
            known = f"is proved {value}" if value != Position.UNKNOWN.value else "is no longer known to stand"
            return f"accessory {name} {known}"
        case "told":
            return f"{name} is ordered to {'clear' if value else 'go back to its most restrictive aspect'}"
        case "by-itself":
            return f"{name} is told to {'clear' if value else 'go back to its most restrictive aspect'}"
        case "use":
            return f"{name} is {'taken out of' if value else 'put back into'} use"
        case "kept":
            return f"lamproom starts, and the route {value} of {name} was locked before"
        case "stopped":
            return f"the train before {name} has stopped"
    before = machine.start.pick_cube() or []
    if place > 1:
        before = moves[place - 2].state
    after = moves[place - 1].state
    changed = [
        each for each, gate in machine.gates.items() if gate.hold.read(before) != gate.hold.read(after)
    ]
    return f"time passes, and a timer of {' and of '.join(changed)} runs out" if changed else "time passes"
