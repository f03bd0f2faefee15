"""A station that refreshes every order each two seconds never changes an aspect by it, whatever it speaks."""

from __future__ import annotations

from collections.abc import Callable
from random import Random
from typing import Any, Final, NamedTuple

import pytest

from adapters.contract import EventSource, Raw
from adapters.events.dcc import DccOptions, DccSource
from adapters.events.dcc_packets import BasicAccessory, encode
from adapters.events.dcc_text import write_text
from adapters.events.lcc.options import LccOptions
from adapters.events.lcc.source import LccSource
from adapters.events.line import LineOptions, LineSource
from adapters.events.mqtt import MqttFacts, MqttFactsOptions
from adapters.testing import SourceBench
from bridge.commands import Decision
from bridge.engine import Engine
from bridge.events import SECOND, Instant, LinkState, Position, SourceReported
from tests.support.driving import layout as layout_of

EVERY: Final = 2 * SECOND
HOUR: Final = 3600 * SECOND
NUMBERS: Final = tuple(range(61, 69))

LAYOUT: Final = """
layout: Refreshed
sources: {bus: {kind: line, %s}}
builds: {mast: {chips: [ws2812b], lamps: {eye: {full-colour: 1}}}}
nodes: {bench: {chains: [{name: one, fixtures: [
  {name: A, build: mast}, {name: B, build: mast}, {name: C, build: mast}]}]}}
signals:
  A: {commands: {61: {normal: stop, reverse: clear}, 62: {normal: approach, reverse: restricting}}}
  B: {commands: {63: {normal: stop, reverse: clear}, 64: {normal: approach}, 65: {reverse: restricting}}}
  C: {commands: {66: {normal: stop, reverse: clear}, 67: {normal: stop, reverse: clear}, 68: {reverse: approach}}}
"""


class Tongue(NamedTuple):
    """What a station speaks.

    Attributes:
        source: who understands it.
        say: what comes in when it orders an accessory.
    """

    source: EventSource
    say: Callable[[int, Position], Raw]


def _packet(number: int, position: Position) -> Raw:
    return Raw("rails", write_text(encode(BasicAccessory(number, position))).encode())


def _event(number: int, position: Position) -> Raw:
    """S-9.7.0.4, section 5.3: the number and 3, shifted by one; the last bit is 1 for normal."""
    code = (number + 3) << 1 | (position is Position.NORMAL)
    return Raw("05.01.01.01.9A.3C", f":X195B4123N0101020000FF{code:04X};".encode())


def _options(**said: Any) -> LccOptions:
    return LccOptions.model_validate({"host": "127.0.0.1", "node-id": "01.02.03.04.05.06", **said})


def tongues() -> dict[str, Tongue]:
    """Return all that a station may speak."""
    host = SourceBench()
    return {
        "dcc": Tongue(DccSource("bus", DccOptions(serial="/dev/null"), host), _packet),
        "lcc": Tongue(LccSource("bus", _options(), host), _event),
        "line": Tongue(
            LineSource("bus", LineOptions(), host),
            lambda number, position: Raw("::1", f"accessory/{number}/ordered {position}".encode()),
        ),
        "mqtt": Tongue(
            MqttFacts("bus", MqttFactsOptions(), host),
            lambda number, position: Raw(f"layout/accessory/{number}/ordered", position.value.encode()),
        ),
    }


class Station:
    """A station that is heard by an engine, and what changed.

    Attributes:
        stands: what it has ordered of each accessory.
        changes: when which signal came to show another aspect.
    """

    def __init__(self, tongue: Tongue, keys: str) -> None:
        self._tongue = tongue
        self._layout = layout_of(LAYOUT % keys)
        self.stands: dict[int, Position] = {}
        self.changes: list[tuple[Instant, str]] = []
        self.begin()

    def begin(self) -> None:
        """Have the bridge begin, or begin anew."""
        self.engine = Engine(self._layout)
        self.engine.start()
        self.link(LinkState.UP, 0)

    def link(self, state: LinkState, at: Instant) -> None:
        """Be lost, or heard."""
        self._take(SourceReported(at=at, source="bus", state=state))

    def say(self, number: int, at: Instant) -> None:
        """Say how an accessory was ordered."""
        for event in self._tongue.source.decode(self._tongue.say(number, self.stands[number]), at):
            self._take(event)

    def order(self, number: int, position: Position, at: Instant) -> None:
        """Order an accessory."""
        self.stands[number] = position
        self.say(number, at)

    def shows(self) -> dict[str, str]:
        """Return all aspects."""
        return {name: choice.aspect for name, choice in self.engine.choices().items()}

    def _take(self, event: Any) -> None:
        while (wake := self.engine.next_wake()) is not None and wake <= event.at:
            self._note(self.engine.advance(wake))
        self._note(self.engine.handle(event))

    def _note(self, commands: list[Any]) -> None:
        self.changes += [
            (each.at, each.device)
            for each in commands
            if isinstance(each, Decision) and each.before != each.aspect
        ]


@pytest.mark.parametrize("keys", ["refresh-every: 2 s", "repeat-window: 3 s, refresh-every: 2 s"])
@pytest.mark.parametrize("tongue", tongues())
def test_an_hour_of_refreshes_changes_nothing(tongue: str, keys: str) -> None:
    """Somebody orders something every minute or so; only then, and at once, does a signal change. Some are lost on the
    way, and the round begins anywhere."""
    chance = Random(tongue + keys)  # noqa: S311 - the same in every run
    station = Station(tongues()[tongue], keys)
    for number in NUMBERS:
        station.stands[number] = Position.NORMAL
    missed = dict.fromkeys(NUMBERS, 0)
    for turn in range(HOUR // EVERY):
        at = turn * EVERY
        if turn > 5 and turn % 30 == 0:
            number = chance.choice(NUMBERS)
            reverse = station.stands[number] is Position.NORMAL
            station.order(number, Position.REVERSE if reverse else Position.NORMAL, at + 1)
            missed[number] = 0
        before = len(station.changes)
        for place, number in enumerate(NUMBERS, 2):
            missed[number] += 1
            if missed[number] > 2 or chance.random() < 0.8:  # two in a row may get lost
                missed[number] = 0
                station.say(number, at + place * EVERY // 12)
        assert before == len(station.changes), f"a refresh in turn {turn} changed {station.changes[before:]}"
    assert len(station.changes) > 15
    assert len(set(station.shows().values())) > 1


@pytest.mark.parametrize("tongue", tongues())
@pytest.mark.parametrize("trouble", ["lost", "restarted"])
def test_refreshes_after_an_interruption_bring_no_signal_to_clear(tongue: str, trouble: str) -> None:
    """They say what was ordered, and never which came last: each signal waits for its next order."""
    station = Station(tongues()[tongue], "refresh-every: 2 s")
    for number in NUMBERS:
        station.order(number, Position.NORMAL, (number - 51) * SECOND)
        station.order(number, Position.REVERSE, (number - 51) * SECOND + 1)
    assert {"A": "restricting", "B": "restricting", "C": "approach"} == station.shows()
    at = 30 * SECOND
    if trouble == "lost":
        station.link(LinkState.LOST, at)
        station.link(LinkState.UP, at + SECOND)
    else:
        station.begin()
        at = 0
    for _ in range(100):
        at += EVERY
        for number in NUMBERS:
            station.say(number, at + number)
    assert {"A": "stop", "B": "stop", "C": "stop"} == station.shows()
    station.order(61, Position.NORMAL, at + SECOND)
    station.order(61, Position.REVERSE, at + SECOND + 1)
    assert {"A": "clear", "B": "stop", "C": "stop"} == station.shows()


def test_without_the_key_a_refresh_is_an_order() -> None:
    """So these tests would see it."""
    station = Station(tongues()["dcc"], "repeat-window: 1 s")
    for number in (61, 62):
        station.order(number, Position.REVERSE, 10 * SECOND)
    assert "restricting" == station.shows()["A"]
    station.say(61, 12 * SECOND)
    assert "clear" == station.shows()["A"]


@pytest.mark.parametrize("keys", ["repeat-window: 1 s", "refresh-every: 2 s", "lost-after: 2 h"])
def test_an_hour_of_quiet_changes_nothing(keys: str) -> None:
    """A source that can be heard and says nothing is no reason for anything: all stay as they were ordered."""
    station = Station(tongues()["line"], keys)
    for number in NUMBERS:
        station.order(number, Position.NORMAL, number * SECOND)
        station.order(number, Position.REVERSE, number * SECOND + 1)
    shows, changes = station.shows(), len(station.changes)
    assert {"A": "restricting", "B": "restricting", "C": "approach"} == shows
    station.stands[61] = Position.REVERSE
    station.link(LinkState.UP, HOUR)
    assert (shows, changes) == (station.shows(), len(station.changes))
