"""Kept cases: the few events that once led to a wrong aspect, and what the device has to show instead."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from bridge.errors import DecodeError, EngineError
from bridge.events import Event, Instant, NodeReported, RouteKept
from bridge.layout.findings import choice, said
from bridge.layout.model import DARK, OFF, ON, Layout
from bridge.layout.text import Path
from bridge.logic.deciding import Deciding
from bridge.logic.reasons import Choice

NOT = "not "
"""What stands before an aspect that must not be shown."""


@dataclass(frozen=True, slots=True)
class Session:
    """Where a case was cut from, for people only.

    Attributes:
        log: name of the file.
        began: wall time at which the session began.
        at: when in the session the device began to show it, in words.
        events: how many came until then.
        lamproom: the version that cut it.
    """

    log: str
    began: str
    at: str
    events: int
    lamproom: str


@dataclass(frozen=True, slots=True)
class Case:
    """Events, and what a device has to show after them.

    Attributes:
        device: its name.
        should: the aspect that it has to show, or `not` and the one that it must not.
        events: from the start on, which is at instant 0.
        look: when it is looked at.
        showed: what it showed when the case was kept, or empty.
        because: why, or empty.
        note: of the owner, or empty.
        session: where it comes from; None of one that was written by hand.
    """

    device: str
    should: str
    events: tuple[Event, ...]
    look: Instant
    showed: str = ""
    because: str = ""
    note: str = ""
    session: Session | None = None


class MisfitError(DecodeError):
    """Something of a case is not in the layout that it is tried with.

    Attributes:
        where: the path of that in the case.
    """

    def __init__(self, message: str, *, where: Path) -> None:
        super().__init__(message)
        self.where = where


def aspects_of(layout: Layout, device: str) -> tuple[str, ...]:
    """Return what a device can show, the most restrictive first.

    Raises:
        DecodeError: there is no such device; the message says which there are.
    """
    for signal in layout.signals:
        if signal.name == device:
            return tuple(dict.fromkeys((*(row.name for row in signal.aspects), DARK)))
    if any(light.name == device for light in layout.lights):
        return OFF, ON
    names = [signal.name for signal in layout.signals] + [light.name for light in layout.lights]
    raise MisfitError(f"no device is called {said(device)}; {choice(device, names)}", where=("device",))


def agreeing(should: str, device: str, aspects: tuple[str, ...]) -> Callable[[str], bool]:
    """Return whether an aspect is as it should be.

    Raises:
        DecodeError: the device has no such aspect; the message says which it has.
    """
    if should in aspects:
        return lambda aspect: aspect == should
    unwanted = should.removeprefix(NOT)
    if unwanted != should and unwanted in aspects:
        return lambda aspect: aspect != unwanted
    raise MisfitError(
        f"{device} never shows {said(unwanted)}; {choice(unwanted, aspects)}", where=("should",)
    )


def wish(should: str) -> str:
    """Return what a device should do, in words: `show stop`, `not show clear`."""
    return f"not show {should.removeprefix(NOT)}" if should.startswith(NOT) else f"show {should}"


def shown_after(layout: Layout, device: str, events: Sequence[Event], look: Instant) -> Choice:
    """Return what a device shows at an instant, if from the start on nothing happens but these events.

    Raises:
        EngineError: they are not in order.
        KeyError: there is no such device.
    """
    deciding = Deciding(layout)
    for event in events:
        deciding.handle(event)
    deciding.advance(look)
    return deciding.shown(device)


def judge(layout: Layout, case: Case) -> str:
    """Return what is wrong with what a layout shows in a case, in words; empty where it shows what it should.

    Raises:
        MisfitError: the case does not fit the layout: it has no such device or source, or that has no such aspect.
    """
    agrees = agreeing(case.should, case.device, aspects_of(layout, case.device))
    sources = [source.name for source in layout.sources]
    for index, event in enumerate(case.events):
        # Of nodes, and of what was locked before, the bridge itself tells.
        if event.source not in sources and not isinstance(event, NodeReported | RouteKept):
            message = f"no source is called {said(event.source)}; {choice(event.source, sources)}"
            raise MisfitError(message, where=("events", index, "by"))
    try:
        choice_now = shown_after(layout, case.device, case.events, case.look)
    except EngineError as problem:
        raise MisfitError(f"its events cannot be played: {problem}", where=("events",)) from None
    if agrees(choice_now.aspect):
        return ""
    again = " again" if choice_now.aspect == case.showed else ""
    return (
        f"{case.device} should {wish(case.should)} and shows {choice_now.aspect}{again}: {choice_now.reason}"
    )
