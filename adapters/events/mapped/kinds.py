"""What a mapped message can tell of: its words, and the fact that comes of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final, NamedTuple, TypeAlias

from adapters.events import makers
from adapters.events.mapped.keys import Tells
from adapters.events.mapped.meanings import NOTHING
from bridge.events import (
    AccessoryOrdered,
    AccessoryReleased,
    Authority,
    BlockState,
    ButtonState,
    Event,
    Instant,
    Position,
    PowerState,
    Subject,
    UseReported,
)

RELEASED: Final = "released"

Which: TypeAlias = "int | str | tuple[Subject, str]"

Make: TypeAlias = Callable[[Any, Any, Instant, str, Authority], Event | None]
"""From which one, what of it, the instant, the source and the authority to the fact; None where there is none."""


class Kind(NamedTuple):
    """One thing that a message can tell of.

    Attributes:
        what: it, with its article, for a person.
        numbered: it has a number; else a name.
        words: what can be said of it.
        turned: what each becomes the other way round; empty where nothing has an opposite.
        live: the authority of a message that is no kept copy.
        make: its fact.
        lesser: a message may also be taken as state.
    """

    what: str
    numbered: bool
    words: Mapping[str, Any]
    turned: Mapping[Any, Any]
    live: Authority
    make: Make
    lesser: bool = True


def _ordered(which: int, value: Any, at: Instant, source: str, authority: Authority) -> Event | None:
    if value == RELEASED:
        # The copy of a release orders nothing, and that of the order itself has been overwritten by it.
        return None if authority is Authority.STATE else AccessoryReleased(at=at, source=source, number=which)
    return AccessoryOrdered(at=at, source=source, number=which, position=value, authority=authority)


def _use(which: tuple[Subject, str], value: Any, at: Instant, source: str, authority: Authority) -> Event:
    subject, name = which
    return UseReported(
        at=at,
        source=source,
        subject=subject,
        name=name,
        out=value != "in-use",
        absent=value == "absent",
        authority=authority,
    )


def _none(_which: Any, _value: Any, _at: Instant, _source: str, _authority: Authority) -> None:
    """Tell nothing: the clock is put together elsewhere."""


def _both(one: Any, other: Any) -> dict[Any, Any]:
    return {one: other, other: one}


_NO_OPPOSITE: Final[Mapping[Any, Any]] = {}
_STANDS: Final = {
    "normal": Position.NORMAL,
    "reverse": Position.REVERSE,
    "closed": Position.NORMAL,
    "thrown": Position.REVERSE,
}
_TURNED: Final = _both(Position.NORMAL, Position.REVERSE)
_COMMAND, _FEEDBACK = Authority.COMMAND, Authority.FEEDBACK

KINDS: Final[Mapping[Tells, Kind]] = {
    Tells.ORDERED: Kind("an accessory", True, {**_STANDS, RELEASED: RELEASED}, _TURNED, _COMMAND, _ordered),
    Tells.PROVED: Kind(
        "an accessory",
        True,
        {**_STANDS, "moving": Position.MOVING, "unknown": Position.UNKNOWN},
        _TURNED,
        _FEEDBACK,
        makers.proved,
    ),
    Tells.ASPECT: Kind("an extended accessory", True, {}, _NO_OPPOSITE, _COMMAND, makers.aspect),
    Tells.BLOCK: Kind(
        "a block",
        False,
        {each.value: each for each in BlockState},
        _both(BlockState.OCCUPIED, BlockState.CLEAR),
        _FEEDBACK,
        makers.block,
    ),
    Tells.POWER: Kind(
        "a power district",
        False,
        {each.value: each for each in PowerState},
        _both(PowerState.ON, PowerState.OFF),
        _FEEDBACK,
        makers.power,
    ),
    Tells.BUTTON: Kind(
        "a button",
        False,
        {each.value: each for each in ButtonState},
        _both(ButtonState.PRESSED, ButtonState.RELEASED),
        _COMMAND,
        makers.button,
        lesser=False,
    ),
    Tells.CLOCK: Kind(
        "the clock", False, {"running": True, "stopped": False}, _NO_OPPOSITE, _FEEDBACK, _none
    ),
    Tells.USE: Kind(
        "what can be taken out of use",
        False,
        {word: word for word in ("in-use", "out", "absent")},
        _NO_OPPOSITE,
        _COMMAND,
        _use,
        lesser=False,
    ),
}
"""Every kind with its words. An order may have the authority of state, feedback as well: it then only fills in."""


def words_of(kind: Kind) -> list[str]:
    """Return what `means` may say of a kind, for a person."""
    return [*(kind.words or ("an aspect number from 0 to 255",)), NOTHING]
