"""A push button on a pin through the whole bridge: from an edge in a thread to the byte, and into the log."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any

import pytest

from adapters.contract import EventSource
from adapters.events.pins import BoardPins
from bridge.record.replay import replay
from bridge.service.plugins import Adapters
from tests.support.adapters import FakeAdapters, ran
from tests.support.waiting import until
from tests.test_documentation import layout_blocks


def layout() -> str:
    """Return the layout of the guide, with the mock pins that `gpiozero` brings."""
    blocks = layout_blocks("config/guide/sources.md")
    (text,) = (block.text for block in blocks if "layout: Buttons on pins\n" in block.text)
    return text.replace("kind: pins", "kind: pins\n    factory: mock")


async def test_a_press_reaches_the_byte(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The door's contact is closed at rest and opens when it is pressed; the edges come from another thread."""

    def own(_adapters: FakeAdapters, kind: str) -> type[EventSource]:
        return Adapters().source(kind)

    monkeypatch.setattr(FakeAdapters, "source", own)
    async with ran(tmp_path, layout()) as bridge:
        source: Any = bridge.runner.sources["facade"].source
        assert isinstance(source, BoardPins)
        (output,) = bridge.outputs.values()
        await until(lambda: "events from facade come in" in str(bridge.told()))
        pins = source._factory
        for level in ("low", "high"):
            edge = threading.Thread(target=getattr(pins.pin(27), f"drive_{level}"))
            edge.start()
            edge.join()
            told = source._buttons["GPIO27"]
            await until(lambda told=told, level=level: told.told == level.encode())  # type: ignore[misc]
        await until(lambda: output.frames[-1][1] == bytes.fromhex("000000 ff0000"))
        pins.pin(17).drive_low()
        await until(lambda: output.frames[-1][1] == bytes.fromhex("ff0000 ff0000"))
    assert replay(bridge.log).same
