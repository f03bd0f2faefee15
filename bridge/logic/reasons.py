"""Why a device shows what it shows, in words that its owner understands."""

from __future__ import annotations

from typing import Final, NamedTuple


class Choice(NamedTuple):
    """What a device shall show.

    Attributes:
        aspect: by its name.
        reason: one sentence.
        event: number of the event in the session that caused it; 0 where none did.
        source: the source on whose word it rests, or empty.
    """

    aspect: str
    reason: str
    event: int = 0
    source: str = ""


NOTHING_YET: Final = "nothing was ordered since the start"
NOT_HELD: Final = "the button was not pressed since the start"
STOPPED: Final = "lamproom has stopped"
