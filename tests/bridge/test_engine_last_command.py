from __future__ import annotations

from itertools import product
from typing import Final

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from bridge.engine import Engine
from bridge.events import AccessoryReleased, Position
from tests.support.driving import (
    NORMAL,
    REVERSE,
    WINDOW,
    aspects,
    copy,
    frames,
    heard,
    layout,
    lost,
    order,
    started,
)

LAYOUT: Final = layout()
ORDERS: Final = {(61, NORMAL): "stop", (61, REVERSE): "clear", (62, NORMAL): "approach"}
# Bytes G, R, B of a WS2812B (625, 1250 and 300 mcd), all three as bright as the weakest of its colours, which is red:
# green is G 1, B 0.2145, 1314 mcd, so 625 / 1314 = 0.4755 of that; yellow R 1, G 0.3597, 1075 mcd, so 0.5816.
BYTES: Final = {"stop": bytes([0, 255, 0]), "clear": bytes([121, 0, 26]), "approach": bytes([53, 148, 0])}
"""What T2 shows, in the order G,R,B: red; green with 200 per mille of blue; red with 250 per mille of green."""

MEANT: Final = [(61, NORMAL), (61, REVERSE), (62, NORMAL), (62, REVERSE)]


@pytest.mark.parametrize("length", range(1, 6))
def test_last_command_wins_in_every_order(length: int) -> None:
    """After every sequence of orders to both accessories of a signal, its bytes are those of the last one."""
    for sequence in product(MEANT, repeat=length):
        engine = Engine(LAYOUT)
        commands = engine.start()[:1]
        for at, (accessory, position) in enumerate(sequence):
            commands += engine.handle(order(accessory, position, at))
        said = [ORDERS[each] for each in sequence if each in ORDERS]
        assert BYTES[said[-1] if said else "stop"] == frames(commands)[-1].levels[:3], sequence


class LastCommand(RuleBasedStateMachine):
    """Drives one signal with all that may come, beside a record from which the right aspect is read off.

    The record holds what came, oldest first: (what, source, accessory, position, instant). Nothing else is kept:
    what counts is worked out from all of it each time.
    """

    def __init__(self) -> None:
        super().__init__()
        self.engine = started()
        self.record: list[tuple[str, str, int, Position, int]] = []
        self.now = 0
        self.levels = BYTES["stop"]

    sources = st.sampled_from(["panel", "booster"])
    accessories = st.sampled_from([61, 62])
    positions = st.sampled_from([NORMAL, REVERSE])

    def hear(self, what: str, source: str, accessory: int = 0, position: Position = NORMAL) -> None:
        event = {
            "order": order(accessory, position, self.now, source),
            "copy": copy(accessory, position, self.now, source),
            "release": AccessoryReleased(at=self.now, source=source, number=accessory or 1),
            "lost": lost(source, self.now),
            "heard": heard(source, self.now),
        }[what]
        for frame in frames(self.engine.handle(event)):
            assert 0 == frame.chain
            self.levels = frame.levels[:3]
        self.record.append((what, source, accessory, position, self.now))

    @rule(later=st.sampled_from([1, WINDOW - 1, WINDOW, WINDOW + 1]))
    def time_passes(self, later: int) -> None:
        self.now += later

    @rule(source=sources, accessory=accessories, position=positions)
    def somebody_orders(self, source: str, accessory: int, position: Position) -> None:
        self.hear("order", source, accessory, position)

    @rule()
    def last_order_comes_again(self) -> None:
        orders = [each for each in self.record if each[0] == "order"]
        if orders:
            self.hear(*orders[-1][:4])

    @rule(source=sources, accessory=accessories, position=positions)
    def kept_copy_arrives(self, source: str, accessory: int, position: Position) -> None:
        self.hear("copy", source, accessory, position)

    @rule(source=sources, accessory=accessories)
    def output_is_released(self, source: str, accessory: int) -> None:
        self.hear("release", source, accessory)

    @rule(source=sources)
    def source_is_lost(self, source: str) -> None:
        self.hear("lost", source)

    @rule(source=sources)
    def source_is_back(self, source: str) -> None:
        self.hear("heard", source)

    def repeats(self, index: int) -> bool:
        _what, source, accessory, position, at = self.record[index]
        losses = [each for each in range(index) if self.record[each][:2] == ("lost", source)]
        heard = self.record[max(losses, default=0) : index]
        same = [each for each in heard if each[:3] == ("order", source, accessory)]
        return source == "booster" and bool(same) and same[-1][3] is position and at - same[-1][4] <= WINDOW

    def right(self) -> str:
        commands = [
            index
            for index, (what, _source, accessory, position, _at) in enumerate(self.record)
            if what == "order" and (accessory, position) in ORDERS and not self.repeats(index)
        ]
        if not commands:
            return "stop"
        _what, source, accessory, position, _at = self.record[commands[-1]]
        since = self.record[commands[-1] + 1 :]
        forgotten = any(what == "lost" and who == source for what, who, *_rest in since)
        return "stop" if forgotten else ORDERS[accessory, position]

    @invariant()
    def signal_shows_the_last_command(self) -> None:
        right = self.right()
        assert right == aspects(self.engine)["T2"]
        assert BYTES[right] == self.levels


LastCommand.TestCase.settings = settings(max_examples=60, stateful_step_count=40)
TestLastCommand = LastCommand.TestCase
