"""What might have happened instead: single things that somebody could have done or told, each with its events."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final, NamedTuple

from bridge.engine import Engine
from bridge.events import (
    AccessoryOrdered,
    AccessoryProved,
    AspectOrdered,
    BlockReported,
    BlockState,
    ButtonReported,
    ButtonState,
    ClockReported,
    Event,
    LinkState,
    NodeReported,
    Position,
    PowerReported,
    PowerState,
    Subject,
    UseReported,
)
from bridge.layout.conditions import Condition, Hours, NumberOrdered, leaves
from bridge.layout.controls import AspectNumbers
from bridge.layout.model import Layout
from bridge.layout.units import clock_text
from bridge.logic.clock import hours_key
from bridge.logic.conditions import placed
from bridge.logic.known import (
    BLOCK,
    BUTTON,
    CLOCK,
    ENTERED,
    ORDERED,
    PROVED,
    YES,
    Key,
)
from bridge.logic.rests import Lack, Rest

MOST: Final = 120
"""Things that are tried: the nearest ones count."""


class Candidate(NamedTuple):
    """One thing that did not happen.

    Attributes:
        words: to be read behind `if`.
        about: what it is about: of one thing only one candidate makes sense at a time.
        facts: what is told of the track, or put right.
        orders: what is ordered or done then, once that has settled.
        turn: orders are given in the order of these, what lies far away first.
    """

    words: str
    about: Key
    facts: tuple[Event, ...] = ()
    orders: tuple[Event, ...] = ()
    turn: int = 0


def candidates(engine: Engine, devices: Iterable[str]) -> tuple[Candidate, ...]:
    """Return what might have happened to some devices, the nearest first; each thing once."""
    maker = _Maker(engine)
    found: dict[tuple[Key, str], Candidate] = {}
    for far, device in enumerate(devices):
        for each in maker.of_device(device, -far):
            if len(found) < MOST:
                found.setdefault((each.about, each.words), each)
    return tuple(found.values())


class _Maker:
    def __init__(self, engine: Engine) -> None:
        self._layout: Layout = engine.layout
        self._asked = engine.asked
        out = engine.asked.out_of_use
        # Told by somebody whose words are never taken for repeats of what was said before.
        quiet = [each for each in engine.layout.sources if not each.repeat_window and not each.refresh_every]
        usable = [each.name for each in quiet if (Subject.SOURCE, each.name) not in out]
        self._by = usable[0] if usable else "by hand"
        self._out = out
        self._conditions = tuple(_conditions(engine.layout))
        every = [leaf for condition in self._conditions for leaf in leaves(condition)]
        self._hours = {hours_key(leaf): leaf for leaf in every if isinstance(leaf, Hours)}

    def of_device(self, name: str, turn: int) -> Iterator[Candidate]:
        yield from self._put_back(Subject.SIGNAL, name)
        node = self._asked.node_of(name)
        if node:
            yield from self._put_back(Subject.NODE, node)
        for rest in self._asked.rests_on(name):
            yield from self._of_rest(rest, turn)

    def _put_back(self, subject: Subject, name: str) -> Iterator[Candidate]:
        if (subject, name) in self._out:
            event = UseReported(at=0, source=self._by, subject=subject, name=name, out=False)
            words = f"{subject.value} {name} were put back into use"
            yield Candidate(words, (f"use-{subject.value}", name), (event,))

    def _of_rest(self, rest: Rest, turn: int) -> Iterator[Candidate]:
        subject, thing = rest.key
        by = self._by
        if subject in (ORDERED, PROVED):
            yield from self._put_back(Subject.TURNOUT, str(thing))
        match subject:
            case "accessory":
                yield from self._orders(rest, int(thing), by, turn)
            case "proved":
                yield from self._proofs(rest, int(thing), by)
            case "aspect":
                for number in self._numbers(int(thing)):
                    order = AspectOrdered(at=0, source=by, number=int(thing), aspect=number)
                    again = " again" if rest.value == str(number) and not rest.copied else ""
                    words = f"aspect {number} were ordered of accessory {thing}{again}"
                    yield Candidate(words, rest.key, orders=(order,), turn=turn)
            case "block" | "entered":
                yield from self._block(rest, by)
            case "button" | "toggled" | "run":
                yield from self._button(str(thing).partition("/")[0], by, turn)
            case "clock":
                yield from self._clock(rest, by)
            case "signal" if rest.lack is Lack.NODE and rest.about:
                event = NodeReported(at=0, source="nodes", node=rest.about, state=LinkState.UP)
                yield Candidate(f"node {rest.about} answered", ("node", rest.about), (event,))
            case _:
                return

    def _orders(self, rest: Rest, number: int, by: str, turn: int) -> Iterator[Candidate]:
        for position in (Position.NORMAL, Position.REVERSE):
            order = AccessoryOrdered(at=0, source=by, number=number, position=position)
            again = " again" if rest.value == position and not rest.copied else ""
            words = f"accessory {number} were ordered {position.value}{again}"
            yield Candidate(words, rest.key, orders=(order,), turn=turn)

    def _proofs(self, rest: Rest, number: int, by: str) -> Iterator[Candidate]:
        for position in (Position.NORMAL, Position.REVERSE):
            if rest.value != position:
                event = AccessoryProved(at=0, source=by, number=number, position=position)
                yield Candidate(f"accessory {number} were proved {position.value}", rest.key, (event,))

    def _block(self, rest: Rest, by: str) -> Iterator[Candidate]:
        name = str(rest.key[1]).partition("/")[0]
        yield from self._put_back(Subject.BLOCK, name)
        if rest.about:
            power = PowerReported(at=0, source=by, district=rest.about, state=PowerState.ON)
            yield Candidate(f"the power of {rest.about} were on", ("power", rest.about), (power,))
        clear, occupied = (
            BlockReported(at=0, source=by, name=name, state=state)
            for state in (BlockState.CLEAR, BlockState.OCCUPIED)
        )
        if rest.key[0] == ENTERED:
            yield Candidate(f"a train entered block {name}", (BLOCK, name), (clear,), (occupied,))
            return
        if rest.value != BlockState.CLEAR:
            yield Candidate(f"block {name} were reported clear", (BLOCK, name), (clear,))
        if rest.value != BlockState.OCCUPIED:
            yield Candidate(f"block {name} were reported occupied", (BLOCK, name), (occupied,))

    def _button(self, name: str, by: str, turn: int) -> Iterator[Candidate]:
        pressed, released = (
            ButtonReported(at=0, source=by, name=name, state=state)
            for state in (ButtonState.PRESSED, ButtonState.RELEASED)
        )
        held = self._asked.rest((BUTTON, name)).value == ButtonState.PRESSED
        again = " again" if held else ""
        first = (released,) if held else ()
        yield Candidate(f"button {name} were pressed{again}", (BUTTON, name), first, (pressed,), turn)
        yield Candidate(f"button {name} were released", (BUTTON, name), orders=(released,), turn=turn)

    def _clock(self, rest: Rest, by: str) -> Iterator[Candidate]:
        hours = self._hours.get(rest.key)
        if hours is None:
            return
        times = [hours.end] if rest.value == YES else [hours.start]
        if rest.lack is not None:
            times = [hours.start, hours.end]
        for seconds in times:
            event = ClockReported(at=0, source=by, seconds=seconds, rate_quarters=4, running=False)
            yield Candidate(f"the model clock showed {clock_text(seconds)}", (CLOCK, ""), (event,))

    def _numbers(self, accessory: int) -> list[int]:
        found: set[int] = set()
        for signal in self._layout.signals:
            for control in signal.controls:
                if isinstance(control, AspectNumbers) and control.accessory == accessory:
                    found |= set(control.aspects)
        for condition in self._conditions:
            for leaf in leaves(condition):
                if isinstance(leaf, NumberOrdered) and leaf.accessory == accessory:
                    found |= set(leaf.numbers)
        return sorted(found)


def _conditions(layout: Layout) -> Iterator[Condition]:
    """Yield every condition of a layout, as the device that goes by it asks it."""
    for light in layout.lights:
        yield placed(light.when, light.name)
    for zone in layout.zones:
        yield from (placed(row.when, zone.name) for row in zone.rows)
    if layout.still is not None:
        yield placed(layout.still, "still")
