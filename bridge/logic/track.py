"""What is known of the track and the panels: events in, changed facts out; and the timers between the two."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any, NamedTuple, TypeAlias

from bridge.events import (
    AccessoryOrdered,
    AccessoryProved,
    AspectOrdered,
    Authority,
    BlockReported,
    ButtonReported,
    ClockReported,
    Event,
    Instant,
    PowerReported,
)
from bridge.layout.conditions import Hours
from bridge.layout.model import Layout
from bridge.logic.blocks import POWER, USE, Block, Button, District
from bridge.logic.clock import Facts, ModelClock
from bridge.logic.known import BLOCK, BUTTON, NUMBER, ORDERED, PROVED, UNKNOWN, Fact, Key, Known
from bridge.logic.rests import Lack, Rest, rest_of


class Change(NamedTuple):
    """One thing of which something else is known now; `fact` is None where nothing is known any more."""

    key: Key
    fact: Fact | None


_Timed: TypeAlias = District | Block | Button | ModelClock


class Track:
    """The facts, and what stands between a report and a fact: filters, power districts, bouncing contacts, the clock.

    Attributes:
        known: the facts.
        clock: the model clock.
    """

    def __init__(self, layout: Layout, buttons: Iterable[str], hours: Iterable[Hours] = ()) -> None:
        """Know nothing yet; `buttons` and `hours` are those that something listens to."""
        self.known = Known(frozenset(each.accessory for each in layout.turnouts if each.feedback))
        self._districts = {each.name: District(each) for each in layout.districts}
        self._blocks = {each.name: Block(each) for each in layout.blocks}
        self._buttons = {name: Button(name) for name in buttons}
        self.clock = ModelClock(hours)
        self._in_district: dict[str, list[Block]] = {each.name: [] for each in layout.districts}
        for block in layout.blocks:
            if block.district:
                self._in_district[block.district].append(self._blocks[block.name])
        # In the order in which timers that are due together run out.
        self._timed: list[_Timed] = [
            *self._districts.values(),
            *self._blocks.values(),
            *self._buttons.values(),
            self.clock,
        ]
        for place, timed in enumerate(self._timed):
            timed.place = place
        self._due: dict[int, Instant] = {}  # by that place
        self._next: Instant | None = None
        self._next_is_known = True
        self._hears: dict[type[Event], Callable[[Any, int], tuple[Change, ...]]] = {
            AccessoryOrdered: self._ordered,
            AccessoryProved: self._proved,
            AspectOrdered: self._numbered,
            ButtonReported: self._pressed,
            BlockReported: self._reported,
            PowerReported: self._powered,
            ClockReported: self._clocked,
        }
        for district in self._districts.values():
            for each in self._in_district[district.name]:
                each.doubt(POWER, district.trouble, 0)
        for each in self._blocks.values():
            self.known.tell((BLOCK, each.name), Fact(each.counts.state, 0, "", why=each.counts.why))

    def hear(self, event: Event, number: int) -> Sequence[Change]:
        """Take an event with its number in the session; return what is known otherwise now, in order."""
        hears = self._hears.get(type(event))
        return () if hears is None else hears(event, number)

    def _ordered(self, event: AccessoryOrdered, number: int) -> tuple[Change]:
        return (self._told((ORDERED, event.number), event.position, event, number),)

    def _proved(self, event: AccessoryProved, number: int) -> tuple[Change]:
        return (self._told((PROVED, event.number), event.position, event, number),)

    def _numbered(self, event: AspectOrdered, number: int) -> tuple[Change]:
        return (self._told((NUMBER, event.number), str(event.aspect), event, number),)

    def _told(
        self,
        key: Key,
        value: str,
        event: AccessoryOrdered | AccessoryProved | AspectOrdered | ButtonReported,
        number: int,
    ) -> Change:
        restored = event.authority is Authority.RESTORED
        copied = restored or event.authority is Authority.STATE
        fact = Fact(value, number, event.source, copied, restored=restored)
        self.known.tell(key, fact)
        return Change(key, fact)

    def _pressed(self, event: ButtonReported, number: int) -> tuple[Change, ...]:
        button = self._buttons.get(event.name)
        if button is None:
            return ()
        if event.authority is not Authority.COMMAND:
            return (self._told((BUTTON, event.name), event.state, event, number),)
        return self._believed(button, button.report(event.state, event.source, event.at, number))

    def _believed(self, button: Button, counts: tuple[str, str, int] | None) -> tuple[Change, ...]:
        self._watch(button)
        if counts is None:
            return ()
        state, source, number = counts
        key, fact = (BUTTON, button.name), Fact(state, number, source)
        self.known.tell(key, fact)
        return (Change(key, fact),)

    def _reported(self, event: BlockReported, number: int) -> tuple[Change, ...]:
        block = self._blocks.get(event.name)
        # A kept copy only fills in what is not known.
        if block is None or (event.authority is Authority.STATE and block.source):
            return ()
        return self._counts(block, block.report(event.state, event.source, event.at, number))

    def _powered(self, event: PowerReported, number: int) -> tuple[Change, ...]:
        district = self._districts.get(event.district)
        if district is None or (event.authority is Authority.STATE and district.source):
            return ()
        changed = district.report(event.state, event.source, event.at, number)
        return tuple(self._reaches_blocks(district, changed, event.at))

    def _reaches_blocks(self, district: District, changed: bool, at: Instant) -> Iterator[Change]:
        self._watch(district)
        for block in self._in_district[district.name] if changed else ():
            if district.trouble:
                yield from self._counts(block, block.doubt(POWER, district.trouble, district.event))
            else:
                yield from self._counts(block, block.rely(POWER, at, district.event))

    def _counts(self, block: Block, changed: bool) -> tuple[Change, ...]:
        self._watch(block)
        if not changed:
            return ()
        key, counts = (BLOCK, block.name), block.counts
        fact = Fact(counts.state, counts.event, "", why=counts.why)
        self.known.tell(key, fact)
        return (Change(key, fact),)

    def _clocked(self, event: ClockReported, number: int) -> tuple[Change, ...]:
        return tuple(self._between(self.clock.report(event, number)))

    def _between(self, facts: Facts) -> Iterator[Change]:
        self._watch(self.clock)
        for key, fact in facts:
            self.known.tell(key, fact)
            yield Change(key, fact)

    def lose(self, source: str, at: Instant, number: int) -> list[Change]:
        """Forget what a source told: that may have changed meanwhile, and nobody would have heard of it."""
        why = f"{source} was lost"
        changes = [Change(key, None) for key in self.known.forget(source, number)]
        for key, _nothing in changes:
            if key[0] == BUTTON:  # it may be held now: that is not the same as never having been heard of
                self.known.tell(key, Fact(UNKNOWN, number, "", why=why))
        for button in self._buttons.values():
            button.lose(source)
            self._watch(button)
        for district in self._districts.values():
            if district.source == source:
                changes += self._reaches_blocks(district, district.lose(why, number), at)
        for block in self._blocks.values():
            if block.source == source:
                changes += self._counts(block, block.lose(why, number))
        changes += self._between(self.clock.lose(source, number))
        return changes

    def use_block(self, name: str, why: str, at: Instant, number: int) -> list[Change]:
        """Take a block out of use for a reason, or put it back into use for none."""
        block = self._blocks.get(name)
        if block is None:
            return []
        changed = block.doubt(USE, why, number) if why else block.rely(USE, at, number)
        return list(self._counts(block, changed))

    def use_turnout(self, accessory: int, why: str, number: int) -> list[Change]:
        """Take a turnout out of use for a reason, or put it back into use for none."""
        self.known.use(accessory, why, number)
        return [Change((ORDERED, accessory), None), Change((PROVED, accessory), None)]

    def rest(self, key: Key) -> Rest:
        """Return what is known of a thing, and why where it is not known."""
        block = self._blocks.get(str(key[1])) if key[0] == BLOCK else None
        if block is None:
            return rest_of(self.known, key)
        counts, doubted = block.counts, block.doubted()
        lack: Lack | None = None
        about = ""
        if counts.state == UNKNOWN:
            lack = Lack.DETECTOR
            if doubted == USE:
                lack = Lack.USE
            elif doubted == POWER:
                lack, about = self._power(block.name)
            elif block.due is not None:
                lack = Lack.FILTER
            elif not block.source:
                lack = Lack.SOURCE if counts.event else Lack.NEVER
        value = counts.state if counts.event or counts.state != UNKNOWN else ""
        return Rest(key, value, counts.event, block.source, lack=lack, why=counts.why, about=about)

    def _power(self, block: str) -> tuple[Lack, str]:
        """Return what is wrong with the power of a block, and the district in which it lies."""
        name = next(name for name, blocks in self._in_district.items() if self._blocks[block] in blocks)
        district = self._districts[name]
        if district.due is not None:
            return Lack.SETTLING, name
        return (Lack.SOURCE if district.event and not district.source else Lack.POWER), name

    def next_due(self) -> Instant | None:
        """Return the instant of the next timer, or None while none is set."""
        if not self._next_is_known:
            self._next = min(self._due.values(), default=None)
            self._next_is_known = True
        return self._next

    def due(self, at: Instant) -> list[str]:
        """Return the names of what has a timer that runs out at an instant or before it."""
        return [self._timed[place].name for place, due in sorted(self._due.items()) if due <= at]

    @property
    def timers(self) -> int:
        """How many timers there may be."""
        return len(self._timed)

    def perform(self, due: Instant) -> list[Change]:
        """Let every timer that is due at this instant run out, in the order of the file."""
        changes: list[Change] = []
        for place in sorted(place for place, at in self._due.items() if at == due):
            timed = self._timed[place]
            match timed:
                case District():
                    changes += self._reaches_blocks(timed, timed.expire(), due)
                case Block():
                    changes += self._counts(timed, timed.expire())
                case Button():
                    changes += self._believed(timed, timed.expire(due))
                case ModelClock():
                    changes += self._between(timed.expire(due))
        return changes

    def _watch(self, timed: _Timed) -> None:
        place, due = timed.place, timed.due
        if self._due.get(place) == due:
            return
        if due is None:
            del self._due[place]
        else:
            self._due[place] = due
        self._next_is_known = False

    def snapshot(self) -> dict[str, Any]:
        """Return everything as plain data."""
        return {
            "known": self.known.snapshot(),
            "districts": {name: each.state() for name, each in self._districts.items()},
            "blocks": {name: each.state() for name, each in self._blocks.items()},
            "buttons": {name: each.state() for name, each in self._buttons.items()},
            "clock": {self.clock.name: self.clock.state()},
        }

    def restore(self, data: dict[str, Any]) -> None:
        """Take back what `snapshot` gave.

        Raises:
            KeyError, TypeError, ValueError: it is of another layout; some may have changed.
        """
        self.known.restore(data["known"])
        parts: dict[str, Iterable[_Timed]] = {
            "districts": self._districts.values(),
            "blocks": self._blocks.values(),
            "buttons": self._buttons.values(),
            "clock": [self.clock],
        }
        for part, own in parts.items():
            if set(data[part]) != {each.name for each in own}:
                raise ValueError(f"it is of other {part}")
            for each in own:
                each.set_state(data[part][each.name])
                self._watch(each)
