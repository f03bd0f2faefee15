"""The demo's railroad and the pure core of the bridge, each hearing the other, without a clock or a network."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Final, NamedTuple

from adapters.events.facts import read_topic
from bridge.check import check_text
from bridge.commands import Command, Report, Told
from bridge.engine import Engine
from bridge.events import SECOND, AccessoryProved, BlockReported, BlockState, Event, Instant, Position
from bridge.layout.model import Layout
from bridge.service.demo.railroad import railroad
from bridge.service.demo.stage import ROOT, Message, Stage
from bridge.service.shipped import DEMO, shipped_layout

HOUR: Final = 3600 * SECOND


def demo() -> Layout:
    """Read the layout of the demo."""
    layout = check_text(shipped_layout(DEMO)).layout
    assert layout is not None
    return layout


def event(message: Message) -> Event:
    """Return what a message means to the bridge."""
    return read_topic(ROOT, message.topic).event(message.payload, message.at, "mqtt", retained=False)


class Moment(NamedTuple):
    """One message, and what there was before it and is after it.

    Attributes:
        message: what was said.
        event: what it means.
        before: aspects by device, when it was said.
        aspects: and what became of them.
        reasons: why.
        blocks: by what was said last, this message included.
        turnouts: the same.
        locked: turnouts that were locked when it was said.
    """

    message: Message
    event: Event
    before: dict[str, str]
    aspects: dict[str, str]
    reasons: dict[str, str]
    blocks: dict[str, BlockState]
    turnouts: dict[int, Position]
    locked: frozenset[str]


def moments(seed: int, until: Instant) -> Iterator[Moment]:
    """Let trains and bridge work together for a while, and tell of it moment by moment."""
    layout = demo()
    engine = Engine(layout)
    stage = railroad(layout, seed)
    locked: set[str] = set()
    _publish(engine.start(), stage, locked)
    blocks: dict[str, BlockState] = {}
    turnouts: dict[int, Position] = {}
    while (due := stage.due) is not None and due < until:
        # What comes by itself is on its way before anybody looks.
        while (wake := engine.wake_at(due)) is not None:
            _publish(engine.advance(wake), stage, locked)
        for message in stage.step():
            each = event(message)
            before, held = _aspects(engine), frozenset(locked)
            _publish(engine.handle(each), stage, locked)
            if isinstance(each, BlockReported):
                blocks[each.name] = each.state
            elif isinstance(each, AccessoryProved):
                turnouts[each.number] = each.position
            reasons = {name: choice.reason for name, choice in engine.choices().items()}
            yield Moment(
                message, each, before, _aspects(engine), reasons, dict(blocks), dict(turnouts), held
            )


def _aspects(engine: Engine) -> dict[str, str]:
    return {name: choice.aspect for name, choice in engine.choices().items()}


def _publish(commands: list[Command], stage: Stage, locked: set[str]) -> None:
    """Tell the trains what the bridge would publish."""
    for command in commands:
        if isinstance(command, Report):
            data = {"aspect": command.aspect, "reason": command.reason}
            stage.seen.hear(f"lamproom/device/{command.device}", json.dumps(data).encode())
        elif isinstance(command, Told) and command.subject == "lock":
            data = {"state": command.state, "reason": command.reason}
            stage.seen.hear(f"lamproom/lock/{command.name}", json.dumps(data).encode())
            (locked.add if command.state == "locked" else locked.discard)(command.name)
