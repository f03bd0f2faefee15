"""The demo's railroad and the pure core of the bridge, each hearing the other, without a clock or a network."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from typing import Final, NamedTuple

from adapters.events.facts import read_topic
from bridge.check import check_text
from bridge.commands import Command, PublishFrame, Report, Told
from bridge.engine import Engine
from bridge.events import SECOND, AccessoryProved, BlockReported, BlockState, Event, Instant, Position
from bridge.layout.model import Layout
from bridge.service.demo.railroad import railroad
from bridge.service.demo.stage import ROOT, Message
from bridge.service.shipped import DEMO, shipped_layout

MINUTE: Final = 60 * SECOND
HOUR: Final = 60 * MINUTE


def demo(text: str = "") -> Layout:
    """Read the layout of the demo, or of a text made of it."""
    layout = check_text(text or shipped_layout(DEMO)).layout
    assert layout is not None
    return layout


def event(message: Message) -> Event:
    """Return what a message means to the bridge."""
    return read_topic(ROOT, message.topic).event(message.payload, message.at, "mqtt", retained=False)


def publish(said: Report | Told) -> tuple[str, bytes]:
    """Return topic and payload by which the bridge would tell the trains of this."""
    if isinstance(said, Report):
        topic = f"lamproom/device/{said.device}"
        data = {"aspect": said.aspect, "reason": said.reason}
    else:
        topic = f"lamproom/{said.subject}/{said.name}"
        data = {"state": said.state, "reason": said.reason}
    return topic, json.dumps(data).encode()


class Moment(NamedTuple):
    """One message, and what there was before it and is after it.

    Attributes:
        message: what was said.
        event: what it means.
        between: aspects by device, each time that something came by itself since the moment before.
        before: aspects by device when it was said.
        aspects: and what became of them.
        reasons: why.
        known: the blocks by what was said last, before this message.
        blocks: and after it.
        turnouts: where they stand, after it.
        locked: turnouts that were locked when it was said.
        gates: of each crossing, where they were when it was said.
    """

    message: Message
    event: Event
    between: tuple[dict[str, str], ...]
    before: dict[str, str]
    aspects: dict[str, str]
    reasons: dict[str, str]
    known: dict[str, BlockState]
    blocks: dict[str, BlockState]
    turnouts: dict[int, Position]
    locked: frozenset[int]
    gates: dict[str, str]

    @property
    def states(self) -> tuple[dict[str, str], ...]:
        """All that was shown since the moment before, this one included."""
        return (*self.between, self.aspects)


class Day:
    """Trains and bridge together.

    Attributes:
        frames: every frame of every chain, in the order in which they went out.
        told: and everything that was said beside them.

    Args:
        seed: another one gives another day.
        frames_per_second: lamps are rendered rarely unless somebody looks at them: aspects do not wait for frames.
        text: another layout file than the demo's own.
    """

    def __init__(self, seed: int, frames_per_second: int = 1, text: str = "") -> None:
        layout = replace(demo(text), frames_per_second=frames_per_second)
        self.stage = railroad(layout, seed)
        self.engine = Engine(layout)
        self.locked: frozenset[int] = frozenset()
        self.gates: dict[str, str] = {}
        self.frames: list[PublishFrame] = []
        self.told: list[Report | Told] = []
        self._began = self.engine.start()
        self._publish(self._began)
        self.aspects: dict[str, str] = {}
        self.reasons: dict[str, str] = {}
        self._look()

    def moments(self, until: Instant) -> Iterator[Moment]:
        """Go on for a while, and tell of it moment by moment."""
        blocks: dict[str, BlockState] = {}
        turnouts: dict[int, Position] = {}
        between: list[dict[str, str]] = []
        while (due := self.stage.due) is not None and due < until:
            # What comes by itself has been published before anybody looks.
            while (wake := self.engine.next_wake()) is not None and wake <= due:
                if self._publish(self._advance(wake)):
                    between.append(self.aspects)
            for message in self.stage.step():
                each, before, known = event(message), self.aspects, blocks
                locked, gates = self.locked, self.gates
                self._publish(self._handle(message, each))
                if isinstance(each, BlockReported):
                    blocks = blocks | {each.name: each.state}
                elif isinstance(each, AccessoryProved):
                    turnouts = turnouts | {each.number: each.position}
                yield Moment(
                    message=message,
                    event=each,
                    between=tuple(between),
                    before=before,
                    aspects=self.aspects,
                    reasons=self.reasons,
                    known=known,
                    blocks=blocks,
                    turnouts=turnouts,
                    locked=locked,
                    gates=gates,
                )
                between.clear()

    def _advance(self, wake: Instant) -> list[Command]:
        return self.engine.advance(wake)

    def _handle(self, _message: Message, event: Event) -> list[Command]:
        return self.engine.handle(event)

    def _look(self) -> None:
        choices = self.engine.choices()
        self.aspects = {name: choice.aspect for name, choice in choices.items()}
        self.reasons = {name: choice.reason for name, choice in choices.items()}

    def _publish(self, commands: list[Command]) -> bool:
        """Tell the trains what the bridge would publish; return whether anything was."""
        self.frames += [command for command in commands if isinstance(command, PublishFrame)]
        said = [command for command in commands if isinstance(command, Report | Told)]
        self.told += said
        for command in said:
            if isinstance(command, Told):
                if command.subject == "gate":
                    self.gates = self.gates | {command.name: command.state}
                if command.subject == "lock":
                    one = {int(command.name)}
                    self.locked = self.locked | one if command.state == "locked" else self.locked - one
            self.stage.seen.hear(*publish(command))
        if said:
            self._look()
        return bool(said)


@cache
def told(seed: int, until: Instant = 20 * MINUTE) -> tuple[Moment, ...]:
    """Return a day moment by moment. Nobody alters it."""
    return tuple(Day(seed).moments(until))


def entered(moment: Moment) -> str:
    """Return the block that a train has just come into, or nothing. A detector that was mended saw no train come."""
    each = moment.event
    if not isinstance(each, BlockReported) or each.state is not BlockState.OCCUPIED:
        return ""
    return each.name if moment.known.get(each.name) is BlockState.CLEAR else ""
