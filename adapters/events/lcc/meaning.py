"""What the events of the bus mean here: those of the standard's ranges, and those that the owner has given a meaning.

A report (an event that is sent) says what happens now. What a node says when it is asked how an event stands
(identified as valid or invalid) is no command, whatever the event: an order is then a kept copy, `STATE`, and what
somebody sees is feedback, because it is seen now and not kept from earlier.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

from adapters.events.lcc import numbers
from adapters.events.lcc.frames import Frame
from adapters.events.lcc.messages import REPORTS, Mti, event_of, read_message
from adapters.events.lcc.options import LccOptions
from adapters.events.lcc.times import NOTHING, read_time
from bridge.events import (
    AccessoryOrdered,
    AccessoryProved,
    AccessoryReleased,
    AspectOrdered,
    Authority,
    BlockReported,
    BlockState,
    ButtonReported,
    ButtonState,
    ClockReported,
    Event,
    Instant,
    Position,
    PowerReported,
    PowerState,
)

_SEEN: Final = (BlockReported, PowerReported, AccessoryProved, ClockReported)
"""Kinds of events that tell what somebody sees."""

_VALID: Final = frozenset({Mti.PRODUCER_VALID, Mti.CONSUMER_VALID})
_BY_PRODUCER: Final = frozenset({Mti.PRODUCER_VALID, Mti.PRODUCER_INVALID})


class Said(NamedTuple):
    """An event of the bus in one frame, and how it was told.

    Attributes:
        event: its number.
        now: it happens now; else it is said how it stands.
        valid: so it is, or so it is not.
        seen: whoever says so is the one that sends the event, and not one that listens to it.
    """

    event: int
    now: bool
    valid: bool
    seen: bool


def said_in(frame: Frame) -> Said | None:
    """Return what a frame says of an event, or None where it says nothing of one."""
    message = read_message(frame)
    event = None if message is None else event_of(message)
    if message is None or event is None:
        return None
    now = message.mti in REPORTS
    return Said(event, now, now or message.mti in _VALID, now or message.mti in _BY_PRODUCER)


@dataclass(frozen=True, slots=True)
class Fact:
    """What an event means.

    Attributes:
        kind: the kind of our events.
        values: its fields beside when, who and authority.
        otherwise: the fields when it is said that it is not so, or None where nothing follows from that.
    """

    kind: Callable[..., Event]
    values: dict[str, Any]
    otherwise: dict[str, Any] | None = None

    def event(self, said: Said, at: Instant, source: str) -> Event | None:
        """Return our event, or None where nothing follows."""
        values = self.values if said.valid else self.otherwise
        if values is None:
            return None
        if self.kind is AccessoryReleased:
            return self.kind(at=at, source=source, **values) if said.now else None
        if self.kind in _SEEN:
            # Whoever only listens to what a detector sends does not see the track.
            return self.kind(at=at, source=source, **values) if said.seen else None
        more = {} if said.now else {"authority": Authority.STATE}
        return self.kind(at=at, source=source, **values, **more)


class Meanings:
    """What each event means under the options of a source."""

    def __init__(self, options: LccOptions) -> None:
        self._offset = options.offset
        self._clock = options.clock
        self._own: dict[int, list[Fact]] = {}
        for event, fact in _own_events(options):
            self._own.setdefault(event, []).append(fact)

    @property
    def consumed(self) -> tuple[int, ...]:
        """The events that the owner has given a meaning."""
        return tuple(self._own)

    @property
    def ranges(self) -> tuple[int, ...]:
        """The ranges that are listened to, each as the event that stands for it."""
        clock = () if self._clock is None else ((self._clock, numbers.OF_CLOCK),)
        return tuple(numbers.range_event(*each) for each in (*numbers.ACCESSORY_RANGES, *clock))

    def contact(self, said: Said) -> tuple[Contact, bool] | None:
        """Return which contact of a turnout an event is about and whether it is made, or None for another event."""
        base = numbers.base_of(said.event)
        if base not in _CONTACTS or not said.seen:
            return None
        number, normal = numbers.output_of(said.event, self._offset)
        return Contact(number, normal), (base == numbers.FEEDBACK_ACTIVE) is said.valid

    def facts(self, event: int) -> Iterator[Fact]:
        """Yield what an event means; contacts of turnouts have a meaning only in pairs, and are not among it."""
        yield from self._own.get(event, ())
        if self._clock is not None and event & ~numbers.OF_CLOCK == self._clock:
            time = read_time(event & numbers.OF_CLOCK)
            if time != NOTHING:
                yield Fact(ClockReported, {**time._asdict(), "to_minute": time.seconds is not None})
            return
        match numbers.base_of(event):
            case numbers.ACTIVATE:
                number, normal = numbers.output_of(event, self._offset)
                # That an output is off says nothing of the other one: both are, most of the time.
                yield Fact(AccessoryOrdered, {"number": number, "position": _POSITIONS[normal]})
            case numbers.DEACTIVATE:
                yield Fact(AccessoryReleased, {"number": numbers.output_of(event, self._offset).number})
            case numbers.EXTENDED:
                number, aspect = numbers.aspect_of(event, self._offset)
                yield Fact(AspectOrdered, {"number": number, "aspect": aspect})


class Contact(NamedTuple):
    """One of the two contacts that tell where a turnout lies."""

    number: int
    normal: bool


_CONTACTS: Final = (numbers.FEEDBACK_ACTIVE, numbers.FEEDBACK_INACTIVE)
_POSITIONS: Final = {True: Position.NORMAL, False: Position.REVERSE}

PROVED_BY: Final[dict[tuple[bool | None, bool | None], Position]] = {
    (True, False): Position.NORMAL,
    (True, None): Position.NORMAL,
    (False, True): Position.REVERSE,
    (None, True): Position.REVERSE,
    (False, False): Position.MOVING,
    (True, True): Position.UNKNOWN,
    (False, None): Position.UNKNOWN,
    (None, False): Position.UNKNOWN,
}
"""Where a turnout lies by its contacts for normal and for reverse: made, open, or not heard of.

The standard has an active and an inactive event for each of the two; that they are its two contacts is how we read it.
"""


def _own_events(options: LccOptions) -> Iterator[tuple[int, Fact]]:
    """Yield the events that the owner has given a meaning, with it."""
    for name, block in options.blocks.items():
        yield from _two(block.pair, BlockReported, {"name": name}, (BlockState.OCCUPIED, BlockState.CLEAR))
    for name, button in options.buttons.items():
        yield from _two(
            button.pair, ButtonReported, {"name": name}, (ButtonState.PRESSED, ButtonState.RELEASED)
        )
    for district, power in options.power.items():
        for key, event in power.told().items():
            yield event, Fact(PowerReported, {"district": district, "state": PowerState(key)})
    for number, turnout in options.turnouts.items():
        for key, event in turnout.told().items():
            position = {"number": number, "position": Position(key.removeprefix("proved-"))}
            if key.startswith("proved-"):
                yield event, Fact(AccessoryProved, position, {**position, "position": Position.UNKNOWN})
            else:
                yield event, Fact(AccessoryOrdered, position)


def _two(
    pair: tuple[int | None, int | None],
    kind: Callable[..., Event],
    name: dict[str, str],
    states: tuple[Any, Any],
) -> Iterator[tuple[int, Fact]]:
    """Yield both events of something that is one way or the other: that it is not one means that it is the other."""
    for event, (state, other) in zip(pair, (states, states[::-1]), strict=True):
        if event is not None:
            yield event, Fact(kind, {**name, "state": state}, {**name, "state": other})
