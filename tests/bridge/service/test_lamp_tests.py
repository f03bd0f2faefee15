"""Pictures of lamp tests for outputs of every kind."""

from __future__ import annotations

from typing import Any, ClassVar, cast

import pytest

from adapters.contract import FrameOutput
from adapters.outputs.file import FileFrames
from adapters.outputs.mqtt import MqttFrames
from bridge.commands import Cause, PublishFrame
from bridge.service.lamp_tests import show_test
from bridge.service.notes import Notes
from tests.support.driving import layout

CHAIN = layout().chains[0]


class Shelf:
    """An output of a stranger, written before there were pictures of another length."""

    def __init__(self) -> None:
        self.shown: list[tuple[int, bytes, bool]] = []

    def show(self, index: int, levels: bytes, *, test: bool = False) -> None:
        self.shown.append((index, levels, test))


class LongShelf(Shelf):
    """One that takes any length."""

    any_length: ClassVar[bool] = True


def show(output: Any, levels: bytes, notes: Notes) -> None:
    show_test(cast("FrameOutput", output), 2, PublishFrame(0, 0, levels, Cause.TEST, test=True), CHAIN, notes)


@pytest.mark.parametrize(
    ("levels", "given"), [(b"\1" * 9, b"\1" * 6), (b"\1", b"\1" + bytes(5)), (b"\1" * 6, b"\1" * 6)]
)
def test_an_output_with_room_for_a_chain_gets_just_that(levels: bytes, given: bytes) -> None:
    """What is too long is cut, what is too short is filled up with zeros, and both are said once."""
    output, notes = Shelf(), Notes()
    show(output, levels, notes)
    show(output, levels, notes)
    assert [(2, given, True)] * 2 == output.shown
    said = [note["text"] for note in notes.after(0)]
    assert len(said) == (levels != given)
    assert all(
        f"east/throat has {len(levels)} bytes, and the output {CHAIN.output} has room for just 6" in s
        for s in said
    )


def test_an_output_that_takes_any_length_gets_the_whole() -> None:
    """Nothing is cut, and nothing said."""
    output, notes = LongShelf(), Notes()
    show(output, b"\1" * 9, notes)
    assert [(2, b"\1" * 9, True)] == output.shown
    assert [] == notes.after(0)
    assert MqttFrames.any_length
    assert FileFrames.any_length
