"""Try by hand what a message would become, before anything runs: each source that would hear it, and what follows.

Nothing is connected. A source decodes what a person wrote down, and an engine that has just begun takes the events.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, NoReturn

from pydantic import ValidationError

from adapters.contract import EventSource, Explains, Raw, Triable
from bridge.commands import Command, Decision, Told
from bridge.engine import Engine
from bridge.errors import DecodeError, LamproomError
from bridge.events import (
    SECOND,
    AccessoryOrdered,
    AspectOrdered,
    ButtonReported,
    Event,
    LinkState,
    SourceReported,
)
from bridge.layout import Layout
from bridge.record.words import event_text
from bridge.service.hosts import look_at_events
from bridge.service.plugins import Adapters
from bridge.service.unheard import unheard

_AT: Final = 3600 * SECOND
"""Long after the source was first heard, so that nothing counts as what it may only refresh."""

_ORDERS: Final = (AccessoryOrdered, AspectOrdered, ButtonReported)
"""What a kept copy of says less than the message itself."""

LISTED: Final = 8
"""Devices that a line names."""


@dataclass(frozen=True, slots=True)
class Tried:
    """What came of a try.

    Attributes:
        lines: what there is to say.
        understood: some source hears it, and none that hears it refuses it.
    """

    lines: tuple[str, ...]
    understood: bool


def try_message(layout: Layout, adapters: Adapters, channel: str, payload: str) -> Tried:
    """Say what a message would become in a layout, for each of its sources that would hear it.

    Args:
        layout: the layout.
        adapters: where its sources come from.
        channel: where it would come: an MQTT topic, or what a source of another kind takes for one.
        payload: what it would say.
    """
    lines: list[str] = []
    heard, understood = [], True
    for said in layout.sources:
        kind = adapters.source(said.kind)
        source = kind(said.name, adapters.options(kind, said.options), Nowhere())
        if not isinstance(source, Triable):
            continue
        try:
            ways = source.attempt(channel, payload)
            told = [line for raw in ways for line in _becomes(layout, said.name, source, raw)]
        except DecodeError as problem:
            told = [f"refused: {problem}{_expected(problem)}"]
            understood = False
        if told:
            heard.append(said.name)
            lines += [f"{said.name}: {line}" for line in told]
    if not heard:
        return Tried(
            (f"no source of this layout would hear {channel!r}{_there_are(layout)}",), understood=False
        )
    return Tried(tuple(lines), understood)


def try_alone(adapters: Adapters, kind: str, text: str) -> Tried:
    """Say what an input is and tells that needs no layout file to be understood.

    Args:
        adapters: where the sources come from.
        kind: of the source, such as `dcc`.
        text: what comes in there.

    Raises:
        LamproomError: there is no such source, or its layout file says what it hears.
    """
    kinds = adapters.kinds_of_sources()
    if kind not in kinds:
        raise LamproomError(f"no event source is called {kind!r}: there are {', '.join(kinds)}")
    made = adapters.source(kind)
    owners = f"the layout file says what {kind} hears, so name it: `lamproom check FILE --try …`"
    try:
        source = made(kind, adapters.options(made, {}), Nowhere())
    except ValidationError:
        raise LamproomError(owners) from None
    raws = source.attempt(kind, text) if isinstance(source, Triable) else ()
    if not raws:
        raise LamproomError(owners)
    lines: list[str] = []
    try:
        for raw in raws:
            lines += _explained(source, raw)
            events = source.decode(raw, _AT)
            look_at_events(events, _AT, kind)
            lines += [f"it tells: {event_text(event)}" for event in events] or [
                "it tells nothing of the layout"
            ]
    except DecodeError as problem:
        return Tried((f"refused: {problem}{_expected(problem)}",), understood=False)
    return Tried(tuple(lines), understood=True)


def _there_are(layout: Layout) -> str:
    """Return what sources there are, since each kind has its own way to say where something comes."""
    there = ", ".join(f"{said.name} ({said.kind})" for said in layout.sources[:LISTED])
    return f"; its sources are {there}" if there else ""


def _explained(source: EventSource, raw: Raw) -> list[str]:
    return [source.explain(raw)] if isinstance(source, Explains) else []


def _becomes(layout: Layout, name: str, source: EventSource, raw: Raw) -> Iterator[str]:
    """Say what one input becomes, and what follows from it.

    Raises:
        DecodeError: it means nothing.
    """
    yield from _explained(source, raw)
    events = source.decode(raw, _AT)
    look_at_events(events, _AT, name)
    engine = Engine(layout)
    engine.start()
    engine.handle(SourceReported(at=0, source=name, state=LinkState.UP))
    if not events:
        copy = "a kept copy of it" if raw.retained else "it"
        yield f"{copy} is understood and tells nothing of the layout, but perhaps whether {name} is there"
    engine.advance(_AT)  # what is due by itself is over before
    for event in events:
        yield f"{event_text(event)}{_heard_by(engine, event)}"
        follows = [*_follows(engine.handle(event))]
        if raw.retained and not follows and isinstance(event, _ORDERS):
            follows = ["changes nothing here: a kept copy is state, and never an order"]
        yield from (f"that {line}" for line in follows)


def _heard_by(engine: Engine, event: Event) -> str:
    names = engine.listeners(event)
    if not names:
        why = unheard(engine, event)
        return f"; {why}" if why else ""
    more = f" and {len(names) - LISTED} more" if len(names) > LISTED else ""
    return f"; listened to by {', '.join(names[:LISTED])}{more}"


def _follows(commands: list[Command]) -> Iterator[str]:
    for command in commands:
        if isinstance(command, Decision) and command.before != command.aspect:
            yield f"makes {command.device} show {command.aspect}, had nothing come before: {command.reason}"
        elif isinstance(command, Told):
            what = f"{command.subject} {command.name} {command.state}"
            yield f"makes the {what}, had nothing come before: {command.reason}"


def _expected(problem: DecodeError) -> str:
    return f"; understood would be: {problem.expected}" if problem.expected else ""


class Nowhere:
    """The host of a source that is only asked what things mean."""

    def __getattr__(self, name: str) -> NoReturn:
        raise AssertionError(f"a source that does not listen wants {name} of its host")
