"""A day of the demo as a session log, without a clock or a network: the same one each time, but for versions."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from bridge.commands import Command, Report, Told
from bridge.events import Instant
from bridge.service.demo.railroad import railroad
from bridge.service.shipped import DEMO, shipped_layout
from tests.bridge.record.sessions import Raw, Session
from tests.support.demo_day import event, publish

SEED: Final = 4


def record_day(path: Path, until: Instant, seed: int = SEED) -> None:
    """Record what the demo's trains and its bridge do from the start of a day up to an instant."""
    session = Session(path, shipped_layout(DEMO))
    stage = railroad(session.layout, seed)
    told = 0

    def tell() -> None:
        nonlocal told
        fresh: list[Command] = session.commands[told:]
        told = len(session.commands)
        for command in fresh:
            if isinstance(command, Report | Told):
                stage.seen.hear(*publish(command))

    tell()
    while (due := stage.due) is not None and due < until:
        session.run_until(due + 1)
        tell()
        for message in stage.step():
            session.message(message.at, event(message), raw=Raw(message.topic, message.payload))
            tell()
        session.log.flush()
    session.run_until(until)
    session.end(until)
