"""Why a device shows what it shows, in words that its owner understands."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple


class Choice(NamedTuple):
    """What a device shall show.

    Attributes:
        aspect: by its name.
        reason: one sentence.
        causes: numbers of the events in the session that it rests on, in order; none where it knows of none.
        source: the source on whose word it rests, or empty.
    """

    aspect: str
    reason: str
    causes: tuple[int, ...] = ()
    source: str = ""


class Word(NamedTuple):
    """What there is to tell of something beside a device: the lock of a turnout, the gate of a crossing.

    Attributes:
        subject: what kind of thing.
        name: which of them.
        state: what it is now, in one word.
        reason: one sentence.
        causes: numbers of the events in the session that it rests on.
    """

    subject: str
    name: str
    state: str
    reason: str
    causes: tuple[int, ...] = ()


class Outcome(NamedTuple):
    """What came of an event or a timer.

    Attributes:
        choices: devices that show something else now, or for another reason, by their index and in their order.
        words: what else there is to tell, in order.
        masters: zones with another level now and the switch that stills flashing, by their index among the masters.
    """

    choices: list[tuple[int, Choice]]
    words: list[Word]
    masters: Sequence[tuple[int, Choice]] = ()


NOTHING_YET: Final = "nothing was ordered since the start"
NOT_PRESSED: Final = "the button was not pressed since the start"
STOPPED: Final = "lamproom has stopped"
