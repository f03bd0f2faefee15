"""A hundred thousand events beside controllers that take two frames a second, over every kind of output at once.

Each chain counts: its bytes tell which order made them. So of each frame that is taken it can be said whether it was
the newest at that instant.
"""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Final
from uuid import UUID

import pytest

from adapters.contract import ChainPlace, Raw
from adapters.outputs import artnet_packets, ddp_packets, e131_packets, file, spi
from adapters.outputs.spi_waves import Encoder
from bridge.engine import Engine
from bridge.service.broker import BrokerAddress, BrokerLink
from bridge.service.notes import Notes
from bridge.service.places import place_of
from bridge.service.plugins import Adapters
from bridge.service.runner import Runner
from bridge.service.state import StateFile
from bridge.service.status import Status
from bridge.service.term import Term
from tests.adapters.outputs.listener import Listener
from tests.support.counting import SIGNALS, STATES, levels, order, state_of
from tests.support.driving import layout
from tests.support.figures import resident_kb
from tests.support.mosquitto import Mosquitto
from tests.support.raw_node import RawNode
from tests.support.waiting import until

EVENTS: Final = 100_000
SETTLED: Final = 20_000
"""Events after which memory is measured first: queues, caches and the allocator have found their size by then."""

PERIOD: Final = 0.5
"""Seconds that whatever receives takes for a frame."""

KINDS: Final = ("mqtt", "e131", "artnet", "ddp", "spi", "file")

AT_ONCE, GAP = 25, 0.004
"""Orders that come together, and the shortest time between two lots, seconds: a period must see fewer than `STATES`."""

BUILD: Final = "{chips: [ws2811], lamps: {green: {channel: 1}, red: {channel: 2}, yellow: {channel: 3}}}"

_PIN: Final = "/dev/spidev0.0"

OUTPUTS: Final = """\
outputs:
  e131: {{kind: e131, host: 127.0.0.1, port: {e131}, refresh: 2, chains: {{e131/main: {{universe: 1}}}}}}
  artnet: {{kind: artnet, host: 127.0.0.1, port: {artnet}, refresh: 2, chains: {{artnet/main: {{universe: 1}}}}}}
  ddp: {{kind: ddp, host: 127.0.0.1, port: {ddp}, refresh: 2, chains: {{ddp/main: {{}}}}}}
  spi: {{kind: spi, refresh: 1000, chains: {{spi/main: {{device: {pin}}}}}}}
  file: {{kind: file, path: '{path}'}}
"""


def text(**places: object) -> str:
    """Return a layout in which each kind of output has a chain that counts."""
    lines = [
        "layout: Six Vales",
        f"builds: {{three-lamp: {BUILD}}}",
        OUTPUTS.format(pin=_PIN, **places),
        "nodes:",
    ]
    for kind in KINDS:
        fixtures = ", ".join(f"{{name: {kind}-{digit}, build: three-lamp}}" for digit in range(SIGNALS))
        output = "" if kind == "mqtt" else f"output: {kind}, "
        lines.append(f"  {kind}: {{{output}chains: [{{name: main, fixtures: [{fixtures}]}}]}}")
    lines.append("signals:")
    aspects = "aspects: {stop: red, caution: yellow, clear: green, unlit: dark}"
    for kind in KINDS:
        for digit in range(SIGNALS):
            first, second = 11 + 2 * digit, 12 + 2 * digit
            told = f"{first}: {{normal: stop, reverse: caution}}, {second}: {{normal: clear, reverse: unlit}}"
            lines.append(f"  {kind}-{digit}: {{{aspects}, commands: {{{told}}}}}")
    return "\n".join(lines)


@dataclass
class Taken:
    """A frame that was taken.

    Attributes:
        state: what it shows.
        least: orders that had been given when the frame could be chosen: what is older was not the newest.
        most: orders that had been given when it was there.
    """

    state: int
    least: int
    most: int

    @property
    def tells(self) -> bool:
        """Whether states did not come round meanwhile: a machine that stands still for long may bring that about."""
        return self.most - self.least < STATES

    @property
    def newest(self) -> bool:
        """Whether it shows what was newest when it was chosen."""
        return (self.state - self.least) % STATES <= self.most - self.least


@dataclass
class Flood:
    """What came of it.

    Attributes:
        given: orders given so far.
        taken: for each kind of output, the frames that were taken, in order.
        figures: for each kind, the counters of its chain.
        memory: kB before and after.
        told: what the owner was told.
        took: seconds.
        over: nothing is looked at any more.
    """

    given: int = 0
    taken: dict[str, list[Taken]] = field(default_factory=lambda: {kind: [] for kind in KINDS})
    figures: dict[str, dict[str, int]] = field(default_factory=dict)
    memory: list[int] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    took: float = 0.0
    over: bool = False

    def take(self, kind: str, shown: bytes, least: int) -> None:
        """Note a frame that was taken."""
        if not self.over:
            self.taken[kind].append(Taken(state_of(shown), least, self.given))


class SlowPort:
    """What is written to, and takes its time: a bus or a disk."""

    def __init__(self, flood: Flood, kind: str, read: Callable[[bytes], bytes]) -> None:
        self._flood, self._kind, self._read = flood, kind, read
        self._free = 0

    def write(self, data: bytes) -> None:
        """Take a frame for as long as it takes; the next can be chosen only afterwards."""
        flood = self._flood
        flood.take(self._kind, self._read(data), self._free)
        time.sleep(PERIOD)
        self._free = flood.given

    def close(self) -> None:
        """Nothing is kept."""


class Controllers:
    """Those that listen by UDP: on loopback a packet is there when it was sent."""

    def __init__(self, flood: Flood) -> None:
        self._flood = flood
        self.listeners = {kind: Listener() for kind in ("e131", "artnet", "ddp")}
        self._levels = {
            "e131": e131_packets.LEVELS,
            "artnet": artnet_packets.LEVELS,
            "ddp": ddp_packets.LEVELS,
        }

    def look(self) -> None:
        """Take what was sent since the last order."""
        for kind, listener in self.listeners.items():
            for packet in listener.taken():
                shown = packet[self._levels[kind] :][: 3 * SIGNALS]
                self._flood.take(kind, shown, self._flood.given)

    def close(self) -> None:
        """End."""
        for listener in self.listeners.values():
            listener.close()


def read_slowly(port: int, flood: Flood, ready: threading.Event, ended: threading.Event) -> None:
    """Be the node of the MQTT output: a frame is acknowledged when it has taken its time."""
    with RawNode(port, "mqtt", "main") as node:
        node.announce()
        ready.set()
        free = 0
        while not ended.is_set():
            frame = node.frame()
            flood.take("mqtt", frame.levels, free)
            time.sleep(PERIOD)
            free = flood.given
            node.acknowledge(frame)


async def run(broker: Mosquitto, folder: Path, flood: Flood, controllers: Controllers) -> None:
    """Run a bridge with all of them, give the orders, and wait until each shows where they ended."""
    ports = {kind: listener.port for kind, listener in controllers.listeners.items()}
    read = layout(text(path=folder / "frames.txt", **ports))
    notes = Notes()
    link = BrokerLink(
        BrokerAddress("127.0.0.1", broker.port),
        client_id="flood",
        notes=notes.say,
        random=Random(1),  # noqa: S311 - for the jitter of reconnecting
    )
    term = Term(link, StateFile(folder), name="main", number=0)
    runner = Runner(Engine(read), link, term, Status(link, term, name="main", layout=read.name), None, notes)
    runner.furnish(Adapters(), UUID(int=7))
    source = runner.sources["mqtt"].source
    assert source is not None
    await runner.start()
    await link.start()

    def begun() -> bool:
        controllers.look()
        return term.value is not None and all(flood.taken.values())

    await until(begun, lambda: f"under term {term.value} so much was taken: {flood.taken}")

    began = due = time.monotonic()
    for state in range(1, EVENTS + 1):
        controllers.look()
        flood.given = state
        topic, payload = order(state)
        runner.receive("mqtt", source.decode, Raw(topic, payload.encode()))
        if state % AT_ONCE == 0:
            controllers.look()
            await asyncio.sleep(max(0.0, due - time.monotonic()))
            due = time.monotonic() + GAP
        if state in (SETTLED, EVENTS):
            flood.memory.append(resident_kb("self"))
    flood.took = time.monotonic() - began
    async with asyncio.timeout(20):
        while any(taken[-1].state != EVENTS % STATES for taken in flood.taken.values()) or any(
            chain["skipped"] < EVENTS - 1000 for chain in runner.figures.values()
        ):
            controllers.look()
            await asyncio.sleep(0.05)
    flood.over = True
    flood.figures = {key.partition("/")[0]: dict(figures) for key, figures in runner.figures.items()}
    flood.told = [note["text"] for note in notes.after(0)]
    await runner.stop()
    await link.stop()


def spi_reader(place: ChainPlace) -> Callable[[bytes], bytes]:
    """Return what turns the bits of the bus back into levels."""
    encoder = Encoder([run.kind for run in place.chips], place.length)
    known = {encoder.encode(levels(state)): levels(state) for state in range(STATES)}
    return known.__getitem__


@pytest.fixture(scope="module")
def flood(tmp_path_factory: pytest.TempPathFactory) -> Flood:
    """Let it happen once, for all that is to be seen of it."""
    folder = tmp_path_factory.mktemp("flood")
    made = Flood()
    broker = Mosquitto(folder)
    broker.start()
    read = layout(text(path="x", e131=1, artnet=2, ddp=3))
    bus = spi_reader(place_of(next(chain for chain in read.chains if chain.node == "spi")))
    ready, ended = threading.Event(), threading.Event()
    node = threading.Thread(target=read_slowly, args=(broker.port, made, ready, ended))
    node.start()
    try:
        assert ready.wait(20)
        with pytest.MonkeyPatch.context() as patch, closing(Controllers(made)) as controllers:
            patch.setattr(spi, "open_port", lambda *_: SlowPort(made, "spi", bus))
            patch.setattr(
                file,
                "open_file",
                lambda _: SlowPort(made, "file", lambda data: bytes.fromhex(data.split()[2].decode())),
            )
            asyncio.run(run(broker, folder, made, controllers))
    finally:
        ended.set()
        node.join(25)
        broker.stop()
    return made


@pytest.mark.parametrize("kind", KINDS)
def test_each_frame_that_a_slow_controller_takes_is_the_newest(flood: Flood, kind: str) -> None:
    """Two a second are taken while thousands are made; the last of them is where the orders ended."""
    taken = flood.taken[kind]
    rate = len([each for each in taken if 0 < each.most < EVENTS]) / flood.took
    assert 1.0 < rate < 2.5, f"{rate:.2f} frames a second were taken"
    assert [] == [each for each in taken if each.tells and not each.newest]
    assert sum(each.tells for each in taken) > 0.9 * len(taken)
    assert EVENTS % STATES == taken[-1].state


@pytest.mark.parametrize("kind", KINDS)
def test_what_was_passed_over_is_counted(flood: Flood, kind: str) -> None:
    """The figures have every frame: it was sent, or a newer one took its place."""
    figures = flood.figures[kind]
    counted = figures["sent"] + figures["skipped"] - 1  # the first picture
    # A keep-alive may carry news; at the beginning a whole frame greets the node, and one the term.
    assert EVENTS <= counted <= EVENTS + figures.get("kept_alive", 0) + 2
    assert figures["sent"] < 10 * flood.took
    assert [] == [words for words in flood.told if "failed" in words]


def test_memory_stays_flat(flood: Flood) -> None:
    """Eighty thousand events, behind the first twenty thousand, grow the process by less than 4 MB."""
    before, after = flood.memory
    assert after - before < 4096, f"grown from {before} to {after} kB"
