"""Why something that came in changes nothing in a layout: it is about a thing that the layout file has not."""

from __future__ import annotations

from bridge.engine import Engine
from bridge.events import BlockReported, Event, PowerReported
from bridge.layout.findings import choice


def unheard(engine: Engine, event: Event) -> str:
    """Return that nothing listens to an event, with the name that may have been meant; empty if something does."""
    if engine.listens(event):
        return ""
    match event:
        case BlockReported(name=name):
            return _none("block", name, [each.name for each in engine.layout.blocks])
        case PowerReported(district=name):
            return _none("power district", name, [each.name for each in engine.layout.districts])
    return "nothing in this layout listens to it"


def _none(what: str, name: str, there: list[str]) -> str:
    return f"no {what} of the layout file is called {name}, so it changes nothing; {choice(name, there)}"
