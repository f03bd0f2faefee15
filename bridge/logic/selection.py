"""How a device's aspect is chosen. Each way of choosing is a table of what it does with what it hears.

A device either *trusts* what it was told or does not know. The tables say, for each of these two states and
each kind of news, what happens:

- `OBEY`: it shows what the news says, and trusts it;
- `REST`: it no longer knows, and shows what it shows when it does not know;
- `KEEP`: nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, NamedTuple, TypeAlias

from bridge.errors import EngineError
from bridge.events import (
    AccessoryOrdered,
    Authority,
    ButtonReported,
    ButtonState,
    Event,
    LinkState,
    Position,
    SourceReported,
    Word,
)
from bridge.layout.model import OFF, ON, Light, Signal, WhenUnknown
from bridge.logic.reasons import NOT_HELD, NOTHING_YET, Choice


class Trust(Word):
    """What a device makes of what it was told last."""

    UNKNOWN = "unknown"
    TRUSTED = "trusted"


class News(Word):
    """What comes to a device."""

    COMMAND = "command"  # somebody wants this now
    COPY = "copy"  # a kept copy of an older command
    LOST = "lost"  # the source on whose word it rests can no longer be heard


class Step(Word):
    """What a device does with news."""

    OBEY = "obey"
    REST = "rest"
    KEEP = "keep"


Table: TypeAlias = Mapping[tuple[Trust, News], Step]

LAST_COMMAND: Final[Table] = {
    (Trust.UNKNOWN, News.COMMAND): Step.OBEY,
    # Kept copies of several accessories arrive in no order that means anything, so none of them is the last.
    (Trust.UNKNOWN, News.COPY): Step.KEEP,
    (Trust.UNKNOWN, News.LOST): Step.KEEP,
    (Trust.TRUSTED, News.COMMAND): Step.OBEY,
    (Trust.TRUSTED, News.COPY): Step.KEEP,
    (Trust.TRUSTED, News.LOST): Step.REST,
}
"""A signal that shows what was ordered last, whichever of its accessories the order came by."""

SWITCHED: Final[Table] = {
    (Trust.UNKNOWN, News.COMMAND): Step.OBEY,
    # One accessory has one position, so a kept copy of it can fill in what is unknown.
    (Trust.UNKNOWN, News.COPY): Step.OBEY,
    (Trust.UNKNOWN, News.LOST): Step.KEEP,
    (Trust.TRUSTED, News.COMMAND): Step.OBEY,
    (Trust.TRUSTED, News.COPY): Step.KEEP,
    (Trust.TRUSTED, News.LOST): Step.REST,
}
"""A light that follows one accessory."""

HELD: Final[Table] = {
    (Trust.UNKNOWN, News.COMMAND): Step.OBEY,
    # Whoever held the button when the copy was kept is not holding it now.
    (Trust.UNKNOWN, News.COPY): Step.KEEP,
    (Trust.UNKNOWN, News.LOST): Step.KEEP,
    (Trust.TRUSTED, News.COMMAND): Step.OBEY,
    (Trust.TRUSTED, News.COPY): Step.KEEP,
    (Trust.TRUSTED, News.LOST): Step.REST,
}
"""A light that burns for as long as a button is held."""

Key: TypeAlias = tuple[str, int | str]
"""What a device listens to: (`accessory`, number) or (`button`, name)."""


class Meaning(NamedTuple):
    """What one event says to one device: the aspect, and the reason in words."""

    aspect: str
    reason: str


Meanings: TypeAlias = Mapping[tuple[int | str, Position | ButtonState], Meaning]
"""What each state of each accessory (by number) or button (by name) says to one device; some say nothing."""


class Selector:
    """Chooses the aspect of one device.

    Attributes:
        device: its name.
        keys: what it listens to.
        table: what it does with what it hears.
        choice: what it shows now, and why.
        trust: whether it knows.
    """

    def __init__(
        self,
        device: str,
        table: Table,
        keys: tuple[Key, ...],
        meanings: Meanings,
        start: Choice,
        resting: str | None,
    ) -> None:
        self.device = device
        self.table = table
        self.keys = keys
        self._meanings = meanings
        self.choice = start
        self.trust = Trust.UNKNOWN
        self._resting = resting

    def hear(self, event: Event, number: int) -> Choice | None:
        """Take one event; return what the device shall show if that or its reason changed.

        Args:
            event: one of those that the device listens to, or news of the source it rests on.
            number: the event's number in the session.

        Raises:
            EngineError: the event is none that a device listens to; nothing has changed.
        """
        if isinstance(event, AccessoryOrdered):
            meaning = self._meanings.get((event.number, event.position))
            key: Key = ("accessory", event.number)
        elif isinstance(event, ButtonReported):
            meaning = self._meanings.get((event.name, event.state))
            key = ("button", event.name)
        elif isinstance(event, SourceReported):
            lost = event.state is LinkState.LOST and event.source == self.choice.source
            return self._step(News.LOST, None, event, number) if lost else None
        else:
            raise EngineError(f"{self.device} does not listen to {type(event).__name__}")
        if meaning is None:
            if key in self.keys:
                return None
            raise EngineError(f"{self.device} does not listen to the {key[0]} {key[1]}")
        news = News.COPY if event.authority is Authority.STATE else News.COMMAND
        return self._step(news, meaning, event, number)

    def _step(self, news: News, meaning: Meaning | None, event: Event, number: int) -> Choice | None:
        step = self.table[self.trust, news]
        if step is Step.OBEY and meaning is not None:
            self.trust = Trust.TRUSTED
            copy = " in a kept copy" if news is News.COPY else ""
            reason = f"{meaning.reason}{copy} (by {event.source})"
            self.choice = Choice(meaning.aspect, reason, (number,), event.source)
            return self.choice
        if step is Step.REST:
            self.trust = Trust.UNKNOWN
            aspect = self.choice.aspect if self._resting is None else self._resting
            reason = f"{event.source} was lost, and nothing was ordered since"
            self.choice = Choice(aspect, reason, (number,))
            return self.choice
        return None

    def state(self) -> list[Any]:
        """Return what the device knows as plain data."""
        choice = self.choice
        return [self.trust.value, choice.aspect, choice.reason, list(choice.causes), choice.source]

    def set_state(self, data: list[Any]) -> None:
        """Take back what `state` gave."""
        trust, aspect, reason, causes, source = data
        self.trust = Trust(str(trust))
        self.choice = Choice(str(aspect), str(reason), tuple(map(int, causes)), str(source))


class LastCommand(Selector):
    """A signal that shows what was ordered last."""

    def __init__(self, signal: Signal) -> None:
        meanings: Meanings = {
            (row.accessory, position): Meaning(aspect, _ordered(row.accessory, position))
            for row in signal.commands
            for position, aspect in row.aspects.items()
        }
        keys = tuple(("accessory", row.accessory) for row in signal.commands)
        rest = signal.aspects[0].name
        super().__init__(signal.name, LAST_COMMAND, keys, meanings, Choice(rest, NOTHING_YET), rest)


class Switched(Selector):
    """A light that follows one accessory."""

    def __init__(self, light: Light) -> None:
        number = light.accessory or 0
        meanings: Meanings = {
            (number, position): Meaning(ON if position is light.on_when else OFF, _ordered(number, position))
            for position in (Position.NORMAL, Position.REVERSE)
        }
        keys = (("accessory", number),)
        start = Choice(_resting(light) or OFF, NOTHING_YET)
        super().__init__(light.name, SWITCHED, keys, meanings, start, _resting(light))


class Held(Selector):
    """A light that burns for as long as a button is held."""

    def __init__(self, light: Light) -> None:
        button = light.button or ""
        meanings: Meanings = {
            (button, state): Meaning(aspect, f"button {button} was {state.value}")
            for state, aspect in ((ButtonState.PRESSED, ON), (ButtonState.RELEASED, OFF))
        }
        keys = (("button", button),)
        start = Choice(_resting(light) or OFF, NOT_HELD)
        super().__init__(light.name, HELD, keys, meanings, start, _resting(light))


def _ordered(number: int, position: Position) -> str:
    return f"accessory {number} was ordered {position.value}"


def _resting(light: Light) -> str | None:
    """Return what a light shows while it does not know, or None where it stays as it is."""
    return {WhenUnknown.HOLD: None, WhenUnknown.OFF: OFF, WhenUnknown.ON: ON}[light.when_unknown]
