"""The thread that writes what may take long."""

from __future__ import annotations

import asyncio
import threading

import pytest

from adapters.outputs.writer import Writer


class Slow:
    """A port that opens when the test says so."""

    def __init__(self) -> None:
        self.held = threading.Event()
        self.written: list[bytes] = []

    def open(self) -> Slow:
        assert self.held.wait(20)
        return self

    def write(self, data: bytes) -> None:
        self.written.append(data)

    def close(self) -> None:
        pass


async def test_a_piece_that_waits_is_not_replaced() -> None:
    """The next one is refused while another is held; the last stands behind it."""
    port = Slow()
    writer = Writer(
        "port",
        port.open,
        opened=lambda: None,
        done=lambda: None,
        failed=lambda problem: pytest.fail(str(problem)),
    )
    writer.hand(b"first")
    with pytest.raises(RuntimeError, match="a piece is still held: wait for `done`"):
        writer.hand(b"too early")
    writer.hand(b"last", ending=True)
    port.held.set()
    await asyncio.wait_for(writer.ended.wait(), 20)
    assert [b"first", b"last"] == port.written
