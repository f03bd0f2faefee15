"""Ten thousand pixels at sixty frames a second to a socket of this machine: ours, and the sender of `sacn`.

python -m tests.bench.pixels_out KIND PORT FRAMES     one sender in this process; prints its processor time as JSON
"""

from __future__ import annotations

import asyncio
import json
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from statistics import median
from typing import Any, Final

import sacn
from sacn.sending import sender_socket_udp

from adapters.contract import ChainPlace, ChipRun, FrameOutput
from adapters.outputs.ddp import DdpFrames, DdpOptions
from adapters.outputs.e131 import E131Frames, E131Options
from bridge.events import SECOND
from tests.adapters.outputs.desk import Link, LoopHost
from tests.support.tree import ROOT

PIXELS: Final = 10_000
CHAINS: Final = 20
RATE: Final = 60
REFRESH: Final = 120
"""The limit is set above the rate, so that a frame a little early is not held back."""

PLACES: Final = tuple(
    ChainPlace("hall", f"chain-{number}", (ChipRun("ws2812b", 3, PIXELS // CHAINS),))
    for number in range(CHAINS)
)
LENGTH: Final = PLACES[0].length
UNIVERSES: Final = -(-LENGTH // 510)
"""Universes of a chain."""

DIFFERENT: Final = 30
"""Different pictures, made beforehand."""


def pictures() -> list[list[bytes]]:
    """Return, for each picture, the frame of every chain."""
    return [
        [bytes((number + chain + place) & 0xFF for place in range(LENGTH)) for chain in range(CHAINS)]
        for number in range(DIFFERENT)
    ]


async def ours(kind: str, port: int, frames: int, made: Sequence[Sequence[bytes]]) -> None:
    """Show pictures to an output of ours at the rate, each at k / rate."""
    host = LoopHost(Link())
    output: FrameOutput
    said: dict[str, Any] = {"host": "127.0.0.1", "port": port, "refresh": REFRESH}
    if kind == "e131":
        chains = {place.key: {"universe": 1 + number * UNIVERSES} for number, place in enumerate(PLACES)}
        output = E131Frames("hall", E131Options.model_validate({**said, "chains": chains}), PLACES, host)
    else:
        chains = {place.key: {"offset": number * LENGTH} for number, place in enumerate(PLACES)}
        output = DdpFrames("hall", DdpOptions.model_validate({**said, "chains": chains}), PLACES, host)
    host.begin(output)
    await output.start()
    for number in range(frames):
        for index, levels in enumerate(made[number % DIFFERENT]):
            output.show(index, levels)
        await asyncio.sleep(max(0.0, ((number + 1) * SECOND / RATE - host.now()) / SECOND))
    await output.stop(None)
    host.timer.cancel()


def theirs(port: int, frames: int, made: Sequence[Sequence[tuple[int, ...]]]) -> None:
    """Give the same to `sacn`, whose thread sends what has changed at the same rate."""
    sender_socket_udp.DEFAULT_PORT = port
    sender = sacn.sACNsender(bind_address="127.0.0.1", bind_port=0, fps=RATE, universeDiscovery=False)
    sender.start()
    universes = [
        (chain, number, 1 + chain * UNIVERSES + number)
        for chain in range(CHAINS)
        for number in range(UNIVERSES)
    ]
    for _chain, _number, universe in universes:
        sender.activate_output(universe)
        sender[universe].destination = "127.0.0.1"
    began = time.monotonic()
    for number in range(frames):
        for chain, part, universe in universes:
            sender[universe].dmx_data = made[number % DIFFERENT][chain][510 * part : 510 * (part + 1)]
        time.sleep(max(0.0, began + (number + 1) / RATE - time.monotonic()))
    sender.stop()


def send(kind: str, port: int, frames: int) -> dict[str, float]:
    """Send in this process, and return processor seconds and seconds."""
    made = pictures()
    numbers = [[tuple(levels) for levels in picture] for picture in made]
    began, used = time.monotonic(), time.process_time()
    if kind == "sacn":
        theirs(port, frames, numbers)
    else:
        asyncio.run(ours(kind, port, frames, made))
    return {"processor": time.process_time() - used, "seconds": time.monotonic() - began}


class Sink:
    """Counts the packets that come to a port of this machine."""

    def __init__(self) -> None:
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 22)
        self._socket.bind(("127.0.0.1", 0))
        self._socket.settimeout(0.1)
        self.port: int = self._socket.getsockname()[1]
        self.count = 0
        self._ending = False
        self._thread = threading.Thread(target=self._take)
        self._thread.start()

    def _take(self) -> None:
        while not self._ending:
            try:
                self._socket.recv(2048)
                self.count += 1
            except TimeoutError:
                continue

    def close(self) -> None:
        """Count no more."""
        self._ending = True
        self._thread.join()
        self._socket.close()


def _round(kind: str, frames: int) -> tuple[float, float]:
    """Return the share of a processor, in percent, and the packets a second that arrived."""
    sink = Sink()
    words = [sys.executable, "-m", "tests.bench.pixels_out", kind, str(sink.port), str(frames)]
    try:
        done = subprocess.run(words, cwd=ROOT, check=True, capture_output=True, text=True, timeout=120)
    finally:
        sink.close()
    found = json.loads(done.stdout)
    return 100 * found["processor"] / found["seconds"], sink.count / found["seconds"]


def outputs(quick: bool) -> list[dict[str, Any]]:
    """Measure the share of a processor of each protocol, in turn with the baseline."""
    rounds, frames = (1, 6) if quick else (5, 5 * RATE)
    kinds = ("sacn", "e131", "ddp")
    found: dict[str, list[tuple[float, float]]] = {kind: [] for kind in kinds}
    for _round_number in range(rounds):
        for kind in kinds:
            found[kind].append(_round(kind, frames))
    middle: Callable[[str, int], float] = lambda kind, part: median(each[part] for each in found[kind])  # noqa: E731 - twice below
    return [
        {
            "output": kind,
            "processor %": middle(kind, 0),
            "packets a second": middle(kind, 1),
            "of sacn's": median(
                one[0] / other[0] for one, other in zip(found[kind], found["sacn"], strict=True)
            ),
        }
        for kind in kinds
    ]


if __name__ == "__main__":
    print(json.dumps(send(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))))
