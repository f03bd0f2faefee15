"""Devices that do what they were told last. Each way of obeying is a table of what it does with what it hears.

Such a device either *trusts* what it was told or does not know. The tables say, for each of these two states and
each kind of news, what happens:

- `OBEY`: it shows what the news says, and trusts it;
- `REST`: it no longer knows, and shows what it shows when it does not know;
- `KEEP`: nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, NamedTuple, Protocol, TypeAlias

from bridge.errors import EngineError
from bridge.events import ButtonState, Position, Word
from bridge.layout import controls
from bridge.logic.known import BUTTON, NUMBER, ORDERED, Fact, Key, Known
from bridge.logic.reasons import NOT_PRESSED, NOTHING_YET, Choice


class Trust(Word):
    """What a device makes of what it was told last."""

    UNKNOWN = "unknown"
    TRUSTED = "trusted"


class News(Word):
    """What comes to a device."""

    COMMAND = "command"  # somebody wants this now
    COPY = "copy"  # a kept copy of an older command
    RESTORED = "restored"  # an order that the bridge kept over a restart
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
    (Trust.UNKNOWN, News.RESTORED): Step.OBEY,
    (Trust.UNKNOWN, News.LOST): Step.KEEP,
    (Trust.TRUSTED, News.COMMAND): Step.OBEY,
    (Trust.TRUSTED, News.COPY): Step.KEEP,
    (Trust.TRUSTED, News.RESTORED): Step.KEEP,
    (Trust.TRUSTED, News.LOST): Step.REST,
}
"""What was ordered last, whichever of several accessories the order came by."""

SWITCHED: Final[Table] = {
    (Trust.UNKNOWN, News.COMMAND): Step.OBEY,
    # One accessory has one position, so a kept copy of it can fill in what is unknown.
    (Trust.UNKNOWN, News.COPY): Step.OBEY,
    (Trust.UNKNOWN, News.RESTORED): Step.OBEY,
    (Trust.UNKNOWN, News.LOST): Step.KEEP,
    (Trust.TRUSTED, News.COMMAND): Step.OBEY,
    (Trust.TRUSTED, News.COPY): Step.KEEP,
    (Trust.TRUSTED, News.RESTORED): Step.KEEP,
    (Trust.TRUSTED, News.LOST): Step.REST,
}
"""One extended accessory that is obeyed."""

PRESSED: Final[Table] = {
    (Trust.UNKNOWN, News.COMMAND): Step.OBEY,
    # Whoever pressed the button when the copy was kept is not pressing it now.
    (Trust.UNKNOWN, News.COPY): Step.KEEP,
    (Trust.UNKNOWN, News.RESTORED): Step.KEEP,
    (Trust.UNKNOWN, News.LOST): Step.KEEP,
    (Trust.TRUSTED, News.COMMAND): Step.OBEY,
    (Trust.TRUSTED, News.COPY): Step.KEEP,
    (Trust.TRUSTED, News.RESTORED): Step.KEEP,
    (Trust.TRUSTED, News.LOST): Step.REST,
}
"""Buttons that are obeyed."""


class Control(Protocol):
    """One thing that tells a device what to show."""

    keys: tuple[Key, ...]
    """What it has to hear of."""

    def hear(self, key: Key, fact: Fact) -> None:
        """Take a new fact of one of its keys."""
        ...

    def lose(self, source: str, event: int) -> bool:
        """Take it that a source is no longer heard; return whether it rested on that source."""
        ...

    def choose(self, known: Known) -> Choice:
        """Return what the device shall show by what is known now."""
        ...

    def state(self) -> list[Any]:
        """Return what it remembers, as plain data."""
        ...

    def set_state(self, data: list[Any]) -> None:
        """Take back what `state` gave; raise TypeError or ValueError if it is none."""
        ...


class Meaning(NamedTuple):
    """What one fact says to one device: the aspect, and the reason in words."""

    aspect: str
    reason: str


Meanings: TypeAlias = Mapping[tuple[Key, str], Meaning]
"""What each value of each key says to one device; some say nothing."""


_WHEN: Final = {News.COMMAND: "", News.COPY: " in a kept copy", News.RESTORED: " before the restart"}


class Obeying:
    """A control that remembers what it was told last.

    Attributes:
        keys: what it listens to.
        table: what it does with what it hears.
        choice: what it makes of it, and why.
        trust: whether it knows.
        restores: whether it takes up again what it was told before a restart.
    """

    def __init__(
        self,
        table: Table,
        keys: tuple[Key, ...],
        meanings: Meanings,
        start: Choice,
        resting: str | None,
    ) -> None:
        """Make a control that knows nothing yet; `resting` None is to stay as it is when it no longer knows."""
        self.table = table
        self.keys = keys
        self.restores = False
        self._meanings = meanings
        self.choice = start
        self.trust = Trust.UNKNOWN
        self._resting = resting

    def hear(self, key: Key, fact: Fact) -> None:
        """Take a new fact.

        Raises:
            EngineError: it is of nothing that this control listens to; nothing has changed.
        """
        meaning = self.meaning(key, fact)
        if meaning is None:
            if key in self.keys:
                return
            raise EngineError(f"nobody listens here to the {key[0]} {key[1]}")
        news = News.RESTORED if fact.restored else News.COPY if fact.copied else News.COMMAND
        if news is News.RESTORED and not self.restores:
            return
        if self.table[self.trust, news] is Step.OBEY:
            self.trust = Trust.TRUSTED
            reason = f"{meaning.reason}{_WHEN[news]} (by {fact.source})"
            self.choice = Choice(meaning.aspect, reason, (fact.event,), fact.source)

    def meaning(self, key: Key, fact: Fact) -> Meaning | None:
        """Return what a fact says, or None where it says nothing."""
        return self._meanings.get((key, fact.value))

    def lose(self, source: str, event: int) -> bool:
        """Take it that a source is no longer heard; return whether it rested on that source."""
        if source != self.choice.source or self.table[self.trust, News.LOST] is not Step.REST:
            return False
        self.trust = Trust.UNKNOWN
        aspect = self.choice.aspect if self._resting is None else self._resting
        self.choice = Choice(aspect, f"{source} was lost, and nothing was ordered since", (event,))
        return True

    def choose(self, known: Known) -> Choice:
        """Return what it was told last."""
        del known
        return self.choice

    def state(self) -> list[Any]:
        """Return what it remembers, as plain data."""
        choice = self.choice
        return [self.trust.value, choice.aspect, choice.reason, list(choice.causes), choice.source]

    def set_state(self, data: list[Any]) -> None:
        """Take back what `state` gave."""
        trust, aspect, reason, causes, source = data
        self.trust = Trust(str(trust))
        self.choice = Choice(str(aspect), str(reason), tuple(map(int, causes)), str(source))


def last_command(control: controls.LastCommand, rest: str) -> Obeying:
    """Return a control that obeys the last order, whichever accessory it came by."""
    meanings: Meanings = {
        ((ORDERED, row.accessory), position): Meaning(aspect, _ordered(row.accessory, position))
        for row in control.rows
        for position, aspect in row.aspects.items()
    }
    keys: tuple[Key, ...] = tuple((ORDERED, row.accessory) for row in control.rows)
    return Obeying(LAST_COMMAND, keys, meanings, Choice(rest, NOTHING_YET), rest)


def aspect_numbers(control: controls.AspectNumbers, rest: str, table: Table = SWITCHED) -> Obeying:
    """Return a control that obeys an extended accessory; a number that it does not know changes nothing (NEM 672).

    Args:
        control: as the layout has it.
        rest: the most restrictive aspect.
        table: `LAST_COMMAND` where a kept copy shall be no order, since a train may have used that order up.
    """
    key: Key = (NUMBER, control.accessory)
    meanings: Meanings = {
        (key, str(number)): Meaning(aspect, f"aspect {number} was ordered of accessory {control.accessory}")
        for number, aspect in control.aspects.items()
    }
    return Obeying(table, (key,), meanings, Choice(rest, NOTHING_YET), rest)


def latched_buttons(control: controls.LatchedButtons, rest: str) -> Obeying:
    """Return a control that shows the aspect of the button that was pressed last."""
    meanings: Meanings = {
        ((BUTTON, button), ButtonState.PRESSED): Meaning(aspect, f"button {button} was pressed")
        for button, aspect in control.aspects.items()
    }
    keys: tuple[Key, ...] = tuple((BUTTON, button) for button in control.aspects)
    return Obeying(PRESSED, keys, meanings, Choice(rest, NOT_PRESSED), rest)


class SteppedButton(Obeying):
    """A control that goes on to the next aspect each time its button is pressed."""

    def __init__(self, control: controls.SteppedButton, rest: str) -> None:
        super().__init__(PRESSED, ((BUTTON, control.button),), {}, Choice(rest, NOT_PRESSED), rest)
        self._button = control.button
        self._aspects = control.aspects
        self._place = -1
        self._held = False

    def meaning(self, key: Key, fact: Fact) -> Meaning | None:
        """Return the next aspect where the button has just been pressed."""
        if (
            key not in self.keys or fact.copied
        ):  # a kept copy is no press, and says nothing of what is held now
            return None
        held, self._held = self._held, fact.value == ButtonState.PRESSED
        if held or not self._held:
            return None
        self._place = (self._place + 1) % len(self._aspects)
        return Meaning(self._aspects[self._place], f"button {self._button} was pressed")

    def lose(self, source: str, event: int) -> bool:
        """Begin anew when the source is lost."""
        lost = super().lose(source, event)
        if lost:
            self._place, self._held = -1, False
        return lost

    def state(self) -> list[Any]:
        """Return what it remembers, as plain data."""
        return [*super().state(), self._place, self._held]

    def set_state(self, data: list[Any]) -> None:
        """Take back what `state` gave."""
        *rest, place, held = data
        super().set_state(rest)
        self._place, self._held = int(place) % len(self._aspects) if int(place) >= 0 else -1, bool(held)


def _ordered(number: int, position: Position) -> str:
    return f"accessory {number} was ordered {position.value}"
