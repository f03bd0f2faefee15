from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final
from unittest.mock import patch

import pytest

from bridge.events import (
    AccessoryProved,
    AccessoryReleased,
    AspectOrdered,
    BlockReported,
    BlockState,
    ButtonState,
    ClockReported,
    Event,
    LinkState,
    NodeReported,
    PowerReported,
    PowerState,
)
from bridge.logic.board import Board
from bridge.logic.device import Device
from bridge.logic.known import Known
from bridge.logic.reasons import Choice
from tests.support.driving import DEVICES, NORMAL, REVERSE, button, copy, heard, layout, lost, order

SHARED: Final = """
layout: Two faces
builds: {searchlight: {chips: [ws2812b], lamps: {head: {full-colour: 1}}}}
nodes:
  east:
    chains:
      - name: main
        fixtures: [{name: A, build: searchlight}, {name: B, build: searchlight}, {name: C, build: searchlight}]
signals:
  B: {commands: {7: {normal: stop, reverse: clear}}}
  A: {commands: {7: {normal: clear, reverse: stop}}}
lights:
  C: {when: {accessory: 7}}
"""


@contextmanager
def asked() -> Iterator[list[str]]:
    """Collect the names of the devices that are asked what they make of an event."""
    names: list[str] = []
    wish = Device._wish

    def watched(self: Device, known: Known) -> Choice:
        names.append(self.name)
        return wish(self, known)

    with patch.object(Device, "_wish", watched):
        yield names


def heard_by(board: Board, event: Event) -> list[str]:
    """Tell an event and return the devices whose choice was made anew."""
    return [board.devices[index].name for index, _choice in board.hear(event, 1).choices]


def test_devices_stand_in_the_order_of_the_file() -> None:
    """Signals come first, then lights, each in the order of the file."""
    assert list(DEVICES) == [device.name for device in Board(layout()).devices]


def test_all_who_listen_to_one_accessory_hear_it_in_their_order() -> None:
    """Several devices on one accessory all obey one order, in the order of the file and not of their names."""
    board = Board(layout(SHARED))

    made = board.hear(order(7, REVERSE), 3).choices

    assert [(0, "clear", (3,)), (1, "stop", (3,)), (2, "on", (3,))] == [
        (index, choice.aspect, choice.causes) for index, choice in made
    ]


@pytest.mark.parametrize(
    ("event", "devices"),
    [
        (order(61, REVERSE), ["T2"]),
        (order(62, REVERSE), ["T2"]),
        (order(101, NORMAL), ["mill"]),
        (copy(61, REVERSE), ["T2"]),
        (button("shop", ButtonState.PRESSED), ["kiosk"]),
        (order(2048, REVERSE), []),
        (button("door", ButtonState.PRESSED), []),
        (heard(), []),
    ],
)
def test_event_costs_only_those_who_listen(event: Event, devices: list[str]) -> None:
    """Only devices that listen to an accessory or a button are asked about it, however many there are."""
    board = Board(layout())

    with asked() as names:
        board.hear(event, 1)

    assert devices == names


@pytest.mark.parametrize(
    "event",
    [
        AccessoryReleased(at=0, source="panel", number=61),
        BlockReported(at=0, source="panel", name="shop", state=BlockState.OCCUPIED),
        PowerReported(at=0, source="panel", district="shop", state=PowerState.OFF),
    ],
)
def test_facts_that_choose_no_aspect_yet_change_nothing(event: Event) -> None:
    """A fact that no device chooses by reaches none; the release of an output is one of them."""
    board = Board(layout())
    before = board.snapshot()

    assert ([], [], []) == board.hear(event, 1)
    assert before == board.snapshot()


@pytest.mark.parametrize(
    "event",
    [
        AccessoryProved(at=0, source="panel", number=61, position=REVERSE),
        AspectOrdered(at=0, source="panel", number=61, aspect=1),
        NodeReported(at=0, source="panel", node="east", state=LinkState.LOST),
        ClockReported(at=0, source="panel", seconds=0, rate_quarters=4, running=True),
    ],
)
def test_facts_that_no_device_needs_are_known_and_change_nothing(event: Event) -> None:
    """A fact that no device of this layout chooses by is kept, and no device is told otherwise."""
    assert ([], [], []) == Board(layout()).hear(event, 1)


def test_lost_source_reaches_all_who_rest_on_it() -> None:
    """A lost source takes the word of each device that rests on it, and of no other."""
    board = Board(layout())
    for event in (order(61, REVERSE), order(65, REVERSE, source="booster"), order(102, NORMAL)):
        board.hear(event, 1)

    assert ["T2", "inn"] == heard_by(board, lost())
    assert [] == heard_by(board, lost())
    assert ["Y1"] == heard_by(board, lost("booster"))


def test_board_resumes_from_plain_data() -> None:
    """A board that takes back a snapshot through JSON goes on as the one that gave it."""
    first, second = Board(layout()), Board(layout())
    for number, event in enumerate((order(61, REVERSE), order(101, REVERSE), lost(), order(67, REVERSE))):
        first.hear(event, number)

    second.restore(json.loads(json.dumps(first.snapshot())))

    assert first.snapshot() == second.snapshot()
    assert first.hear(copy(101, NORMAL), 9) == second.hear(copy(101, NORMAL), 9)
    assert first.hear(lost(), 10) == second.hear(lost(), 10)


def test_snapshot_of_other_devices_is_refused() -> None:
    """A snapshot that does not know all devices, or knows others, is of another layout."""
    board = Board(layout())
    with pytest.raises(ValueError, match="other devices"):
        board.restore({**board.snapshot(), "devices": {"T2": ["unknown", "stop", "a reason", [], ""]}})
