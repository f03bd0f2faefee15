"""Say what an input of a bus is, without a layout file and with nothing connected."""

from __future__ import annotations

from typing import Any, Final, NoReturn

from pydantic import ValidationError

from adapters.contract import Explains, Raw
from bridge.errors import DecodeError, LamproomError
from bridge.events import SECOND
from bridge.record.words import event_text
from bridge.service.hosts import look_at_events
from bridge.service.plugins import Adapters

_AT: Final = SECOND


class Refused(LamproomError):
    """What was tried means nothing; the message says why."""


def explain_input(adapters: Adapters, kind: str, text: str) -> tuple[str, ...]:
    """Return what a text is that comes from a bus, and what it would tell, in lines.

    Args:
        adapters: where the sources come from.
        kind: of the source: `dcc`.
        text: what comes in.

    Raises:
        Refused: it is nothing that this bus has.
        LamproomError: there is no such source, or what it hears depends on the layout file.
    """
    made = adapters.source_kinds().get(kind)
    if made is None:
        raise LamproomError(
            f"no event source is called {kind!r}: there are {', '.join(adapters.source_kinds())}"
        )
    loaded: Any = made.load()
    try:
        source = loaded(kind, loaded.options(), _Nowhere())
    except ValidationError:
        source = None
    attempt = getattr(source, "attempt", lambda _kind, _text: ())
    raws: tuple[Raw, ...] = attempt(kind, text)
    if not raws:
        raise LamproomError(f"what {kind} hears is said in the layout file: `lamproom check FILE --try …`")
    try:
        return tuple(line for raw in raws for line in _lines(source, kind, raw))
    except DecodeError as problem:
        expected = f"; understood would be: {problem.expected}" if problem.expected else ""
        raise Refused(f"{text!r} means nothing: {problem}{expected}") from None


def _lines(source: Any, kind: str, raw: Raw) -> list[str]:
    lines = [source.explain(raw)] if isinstance(source, Explains) else []
    events = source.decode(raw, _AT)
    look_at_events(events, _AT, kind)
    return lines + (
        [f"it tells: {event_text(event)}" for event in events] or ["it tells nothing of the layout"]
    )


class _Nowhere:
    """The host of a source that is only asked what things mean."""

    def __getattr__(self, name: str) -> NoReturn:
        raise AssertionError(f"a source that does not listen wants {name} of its host")
