"""Why a device shows what it shows, in words that its owner understands."""

from __future__ import annotations

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


NOTHING_YET: Final = "nothing was ordered since the start"
NOT_PRESSED: Final = "the button was not pressed since the start"
STOPPED: Final = "lamproom has stopped"
