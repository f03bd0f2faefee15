"""A controller that only listens: a real UDP socket of this machine, and an output beside it whose clock is turned."""

from __future__ import annotations

import socket
from collections.abc import Callable
from typing import ClassVar

from adapters.contract import ChainPlace, ChipRun, FrameOutput, OutputHost
from bridge.events import Instant
from tests.adapters.outputs.desk import Host, Link


def rgb(chain: str, count: int, node: str = "tarn") -> ChainPlace:
    """Return a chain of RGB pixels."""
    return ChainPlace(node, chain, (ChipRun("ws2812b", 3, count),))


def rgbw(chain: str, count: int, node: str = "tarn") -> ChainPlace:
    """Return a chain of RGBW pixels."""
    return ChainPlace(node, chain, (ChipRun("sk6812-rgbw", 4, count),))


class Listener:
    """A socket that takes whatever comes.

    Attributes:
        port: where it listens.

    Args:
        port: the same, or 0 for any that is free.
        address: of this machine.
    """

    def __init__(self, port: int = 0, address: str = "127.0.0.1") -> None:
        family = socket.AF_INET6 if ":" in address else socket.AF_INET
        self._socket = socket.socket(family, socket.SOCK_DGRAM)
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 22)
        self._socket.setblocking(False)
        self._socket.bind((address, port))
        self.port: int = self._socket.getsockname()[1]

    def taken(self) -> list[bytes]:
        """Take the packets that came since the last call: on loopback they are there when `send` returns."""
        found = []
        while True:
            try:
                found.append(self._socket.recv(65536))
            except BlockingIOError:
                return found

    def close(self) -> None:
        """Listen no more: packets are refused from now on."""
        self._socket.close()


class Turned:
    """An output on a clock that the test turns. `run` calls `wake` exactly when it was asked to, and never else."""

    made: ClassVar[list[Turned]] = []

    def __init__(self, make: Callable[[OutputHost], FrameOutput]) -> None:
        self.host = Host(Link())
        self.output = make(self.host)
        self.next: Instant | None = None
        self.made.append(self)

    def run(self, until: Instant) -> None:
        """Let the clock run to `until`."""
        self._wake_if_asked()
        while self.next is not None and self.next <= until:
            assert self.next > self.host.clock, "woken twice in one instant: the loop would spin"
            self.host.clock = self.next
            self._wake()
            self._wake_if_asked()
        self.host.clock = until

    def _wake_if_asked(self) -> None:
        if self.host.asked:
            self._wake()
            assert not self.host.asked, "asked for a wake by a wake"

    def _wake(self) -> None:
        self.host.asked = False
        self.next = self.output.wake(self.host.clock)
