"""Counter-examples of a proof, written as session logs that can be replayed like any other."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from bridge.engine import Engine
from bridge.errors import LamproomError
from bridge.events import Event, Instant
from bridge.layout.model import Layout
from bridge.record.writer import SessionLog, make_header


def write_session(
    path: Path, layout: Layout, text: str, file: str, events: Sequence[Event], end: Instant
) -> None:
    """Drive a new engine by some events, and write down the session.

    Args:
        path: the log to make.
        layout: what is driven.
        text: the layout file from which it was read.
        file: the name of that file.
        events: in order of their instants.
        end: the instant at which the session ends.

    Raises:
        LamproomError: the log cannot be written; the message says why.
    """
    engine = Engine(layout)
    started = datetime.now(UTC).isoformat(timespec="seconds")
    log = SessionLog(path, make_header(layout, text, file=file, started=started), layout)
    log.commands(engine.start())
    for event in events:
        _render(engine, log, event.at)
        commands = engine.handle(event)
        log.input(engine.events, event.at, event.source, None, (event,))
        log.commands(commands)
    _render(engine, log, end)
    log.rendered(end, engine.advance(end))
    log.commands(engine.closing(end))
    log.end(end)
    trouble = log.close()
    if trouble is not None:
        raise LamproomError(trouble)


def _render(engine: Engine, log: SessionLog, until: Instant) -> None:
    while (wake := engine.next_wake()) is not None and wake < until:
        log.rendered(wake, engine.advance(wake))
