"""What a device goes by, thing by thing: what is known of each, by whom, and why where it is not known."""

from __future__ import annotations

from typing import NamedTuple

from bridge.events import Instant, Position, Word
from bridge.logic.known import BUTTON, CLOCK, NUMBER, ORDERED, PROVED, SIGNAL, UNKNOWN, Fact, Key, Known


class Lack(Word):
    """Why a thing is not known that somebody goes by."""

    NEVER = "never-heard"
    SOURCE = "source-lost"  # who told it can no longer be heard, or is out of use
    POWER = "power"  # the power of its district is off or has a short circuit, or is not known
    SETTLING = "settling"  # that power has not been on for long enough
    FILTER = "not-long-enough"  # it has not been reported for long enough
    USE = "out-of-use"
    NODE = "node"  # the node that shows it does not answer, or is out of use
    WIRING = "wiring"  # the lamps of a signal are not built yet, or a chip has died
    MOVING = "moving"
    DETECTOR = "detector"  # its own detector or feedback does not know


class Rest(NamedTuple):
    """One thing that a device goes by.

    Attributes:
        key: what it is.
        value: what is known of it, in the words of its fact; empty where nothing was ever told.
        event: number of the event that this rests on, or 0.
        source: who told it, or empty.
        copied: it is a kept copy of something older.
        restored: it was kept over a restart.
        lack: why it is not known, or None where it is.
        why: that in words, or empty.
        about: the power district or the node that is to blame, or empty.
    """

    key: Key
    value: str
    event: int
    source: str = ""
    copied: bool = False
    restored: bool = False
    lack: Lack | None = None
    why: str = ""
    about: str = ""


class Hold(NamedTuple):
    """How the gate of an interlocked signal stands.

    Attributes:
        state: in the word of `gate.State`.
        route: that it has locked, or empty.
        due: when its timer runs out, or None.
        used_up: its order has had its effect, or was refused, and has to be given again.
        others: signals that have something locked which this one may need, in their order.
    """

    state: str
    route: str
    due: Instant | None
    used_up: bool
    others: tuple[str, ...]


_TOLD = (ORDERED, PROVED, NUMBER, BUTTON, CLOCK)


def rest_of(known: Known, key: Key) -> Rest:
    """Return what is known of a thing that is no block."""
    fact, subject = known.get(key), key[0]
    out = known.out_of_use(int(key[1])) if subject in (ORDERED, PROVED) else None
    if out is not None:
        return Rest(key, "" if fact is None else fact.value, out.event, lack=Lack.USE, why=out.why)
    if fact is None:
        lost = known.lost(key)
        if lost is not None:
            return Rest(key, UNKNOWN, lost.event, lack=Lack.SOURCE, why=lost.why)
        return Rest(key, "", 0, lack=Lack.NEVER if subject in _TOLD else None)
    return Rest(
        key, fact.value, fact.event, fact.source, fact.copied, fact.restored, _lack(subject, fact), fact.why
    )


def _lack(subject: str, fact: Fact) -> Lack | None:
    if fact.why and subject in (BUTTON, CLOCK):
        return Lack.SOURCE
    if fact.why and subject == SIGNAL:
        return Lack.NODE
    if subject == PROVED and fact.value == Position.MOVING:
        return Lack.MOVING
    return Lack.DETECTOR if subject == PROVED and fact.value == Position.UNKNOWN else None
