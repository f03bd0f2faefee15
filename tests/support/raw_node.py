"""A node that reads its frames one by one from a bare socket, and acknowledges as the protocol says."""

from __future__ import annotations

import time
from typing import Final, NamedTuple

from adapters.outputs.frame import Header, decode
from adapters.outputs.node_talk import (
    Announcement,
    Shown,
    frame_topic,
    node_topic,
    shown_topic,
    write_announcement,
    write_shown,
)
from tests.support.raw_mqtt import RawClient

GONE: Final = write_announcement(Announcement("gone"))


class Frame(NamedTuple):
    """A frame, and when it was read."""

    at: float
    header: Header
    levels: bytes


class RawNode(RawClient):
    """A node with one chain. It listens from the start; it announces itself when it is told to."""

    def __init__(self, port: int, node: str, chain: str) -> None:
        super().__init__(port, f"node-{node}", will=(node_topic(node), GONE), buffer=4096)
        self._node, self._chain = node, chain
        self.subscribe(frame_topic(node, chain))

    def announce(self, term: int | None = None) -> None:
        """Say that the node is here."""
        here = write_announcement(Announcement("here", term))
        self.publish(node_topic(self._node), here, retain=True)

    def frame(self, within: float = 20.0) -> Frame:
        """Read one frame and say nothing of it."""
        message = self.read(within)
        return Frame(time.monotonic(), *decode(message.payload))

    def acknowledge(self, frame: Frame) -> None:
        """Say that a frame is shown."""
        shown = Shown(frame.header.term, frame.header.sequence)
        self.publish(shown_topic(self._node, self._chain), write_shown(shown))

    def show(self, within: float = 20.0) -> Frame:
        """Read one frame and acknowledge it."""
        frame = self.frame(within)
        self.acknowledge(frame)
        return frame
