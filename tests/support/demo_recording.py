"""The demo recorded in a session log as the service records it: `python -m tests.support.demo_recording FILE MINUTES`.

What is written, and when, is what the service would have written: each message with its raw form, a flush ten times
a second, snapshots as often as the layout file says.
"""

from __future__ import annotations

import sys
from collections import deque
from pathlib import Path
from typing import Final

from adapters.contract import Raw
from bridge.commands import Command, PublishFrame
from bridge.events import MILLISECOND, Event, Instant
from bridge.record.digests import FrameDigest
from bridge.record.writer import SessionLog, make_header
from bridge.service.demo.stage import Message
from bridge.service.shipped import DEMO, shipped_layout
from tests.support.demo_day import MINUTE, Day, demo

FLUSH: Final = 100 * MILLISECOND
STARTED: Final = "2026-11-28T10:00:00+00:00"


class RecordedDay(Day):
    """A day that is written down.

    Attributes:
        text: the layout file.

    Args:
        path: where the log goes.
        seed: another one gives another day.
        snapshot_every: between two snapshots, in the words of the layout file.
    """

    def __init__(self, path: Path, seed: int, snapshot_every: str = "5 min") -> None:
        self.text = f"session-log: {{snapshot-every: {snapshot_every}}}\n{shipped_layout(DEMO)}"
        layout = demo(self.text)
        header = make_header(layout, self.text, file=DEMO, started=STARTED)
        self._log = SessionLog(path, header, layout)
        self._flushed: Instant = 0
        super().__init__(seed, layout.frames_per_second, self.text)
        self._log.commands([*self._began])

    def record(self, until: Instant) -> None:
        """Record up to an instant, and end."""
        deque(self.moments(until), maxlen=0)
        closing = self.engine.closing(until)
        self.frames += [each for each in closing if isinstance(each, PublishFrame)]
        self._log.commands(closing)
        self._log.end(until)
        assert self._log.close() is None

    def digest(self) -> str:
        """Return the digest of all frames that went out, as a replay works it out."""
        digest = FrameDigest(tuple(chain.key for chain in self.engine.layout.chains))
        for frame in self.frames:
            digest.add(frame.at, frame.chain, frame.levels)
        return digest.hex()

    def _advance(self, wake: Instant) -> list[Command]:
        commands = super()._advance(wake)
        self._log.rendered(wake, commands)
        self._flush(wake)
        return commands

    def _handle(self, message: Message, event: Event) -> list[Command]:
        number, commands = self.engine.events + 1, super()._handle(message, event)
        raw = Raw(message.topic, message.payload, retained=False)
        self._log.input(number, event.at, event.source, raw, (event,))
        self._log.commands(commands)
        self._flush(event.at)
        return commands

    def _flush(self, at: Instant) -> None:
        if at - self._flushed >= FLUSH:
            self._flushed = at
            if self._log.wants_snapshot(at):
                self._log.snapshot(at, self.engine.snapshot())
            assert self._log.flush() is None


if __name__ == "__main__":
    RecordedDay(Path(sys.argv[1]), 1).record(int(sys.argv[2]) * MINUTE)
