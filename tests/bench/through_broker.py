"""From a fact at the broker to the frame that comes of it, with everything real in between."""

from __future__ import annotations

import contextlib
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final, Protocol

from adapters.outputs.frame import KEEP_ALIVE, decode
from adapters.outputs.node_talk import Shown, write_shown
from tests.bench import layouts
from tests.bench.rounds import Round, Side, processor_time, ratio
from tests.bench.wire import Wire, publication
from tests.support.daemon import running
from tests.support.mosquitto import Mosquitto
from tests.support.tree import ROOT

PACE: Final = 0.003
"""Seconds between two facts: long enough for the processor to have gone to something else."""

BURST_PACE: Final = 0.01

BURST: Final = "burst"
"""What the baseline is asked for eight frames by."""

PER_CHAIN: Final = layouts.SIGNALS_A_CHAIN
CHAINS: Final = len(layouts.NODES) * layouts.CHAINS_A_NODE


class Asked(Protocol):
    """A process that turns a fact into frames."""

    @property
    def pid(self) -> int:
        """Its number."""
        ...

    def fact(self, turn: int) -> tuple[bytes, set[bytes]]:
        """Return the packet of fact number `turn`, and the topics of the frames that come of it."""
        ...


class Signals:
    """The bridge, asked for one signal after the other on half of the chains."""

    def __init__(self, pid: int, first_chain: int) -> None:
        self.pid = pid
        self._first = first_chain * PER_CHAIN
        self._turn = 0

    def fact(self, turn: int) -> tuple[bytes, set[bytes]]:
        """Order the next signal over; `turn` does not matter, because a signal must change each time."""
        del turn
        there, number = divmod(self._turn, CHAINS // 2 * PER_CHAIN)
        self._turn += 1
        # Chain after chain, as trains all over a layout do.
        place, chain = divmod(number, CHAINS // 2)
        signal = self._first + chain * PER_CHAIN + place
        position = (b"reverse", b"normal")[there % 2]
        return publication(f"layout/accessory/{signal + 1}/ordered", position), {_topic(signal // PER_CHAIN)}


class Rooms:
    """The bridge, asked for one room on each chain by one order."""

    def __init__(self, pid: int) -> None:
        self.pid = pid
        self._turn = 0

    def fact(self, turn: int) -> tuple[bytes, set[bytes]]:
        """Switch them over."""
        del turn
        self._turn += 1
        position = (b"normal", b"reverse")[self._turn % 2]
        topics = {_topic(chain) for chain in range(CHAINS)}
        return publication(f"layout/accessory/{layouts.BURST}/ordered", position), topics


class Echo:
    """The bare client, asked for one frame to a node of one kind, or for eight frames."""

    def __init__(self, pid: int, node: str) -> None:
        self.pid = pid
        self._node = node

    def fact(self, turn: int) -> tuple[bytes, set[bytes]]:
        """Ask it for its frames; the packets have the lengths of the bridge's."""
        position = (b"normal", b"reverse")[turn % 2]
        if self._node == BURST:
            topics = {f"mirrored/frame/{BURST}/{number}".encode() for number in range(CHAINS)}
            return publication(f"mirror/{BURST}", position), topics
        fact = publication(f"mirror/accessory/{turn % 240 + 1}/{self._node}", position)
        return fact, {f"mirrored/frame/{self._node}".encode()}


class Driver:
    """Sends facts, receives frames, and acknowledges those to the nodes that answer, the baseline's too."""

    def __init__(self, port: int) -> None:
        self._facts = Wire(port, "bench-facts")
        self._node = Wire(port, "bench-node")
        self._node.subscribe("lamproom/frame/#")
        self._node.subscribe("mirrored/frame/#")

    def round(self, asked: Asked, times: int, pace: float) -> Round:
        """Send facts, at most one each `pace` seconds and one at a time, and time what comes of each."""
        found = []
        began = processor_time(asked.pid)
        due = time.perf_counter()
        for turn in range(times):
            data, awaited = asked.fact(turn)
            if pace:
                time.sleep(max(0.0, due - time.perf_counter()))
                due = max(due + pace, time.perf_counter())
            found.append(self._once(data, awaited))
        if pace:
            time.sleep(pace)  # the last acknowledgement belongs to this round as well
        return Round(found, processor_time(asked.pid) - began)

    def close(self) -> None:
        """Close both connections."""
        self._facts.close()
        self._node.close()

    def _once(self, data: bytes, awaited: set[bytes]) -> int:
        began = at = time.perf_counter_ns()
        self._facts.send(data)
        while awaited:
            at, topic, payload = self._node.receive()
            if not payload[1] & KEEP_ALIVE:  # which may come between, and is no answer
                awaited.discard(topic)
            if b"/answers-" in topic:
                header, _levels = decode(payload)
                shown = write_shown(Shown(header.term, header.sequence))
                self._node.send(publication(topic.decode().replace("/frame/", "/shown/", 1), shown))
        return at - began


class Bench:
    """A broker, a bridge, the baseline and the driver.

    Attributes:
        bridge: process number of the bridge.
        echo: process number of the baseline.
        driver: what sends and times.
    """

    def __init__(self, bridge: int, echo: int, driver: Driver) -> None:
        self.bridge = bridge
        self.echo = echo
        self.driver = driver

    def side_by_side(
        self, ours: Asked, theirs: Asked, *, rounds: int, times: int, pace: float
    ) -> tuple[Side, Side]:
        """Measure in turn, who begins changing from round to round."""
        one, other = Side(), Side()
        for turn in range(rounds):
            pair = [(ours, one), (theirs, other)]
            for asked, side in pair if turn % 2 else reversed(pair):
                side.rounds.append(self.driver.round(asked, times, pace))
        return one, other


@contextlib.contextmanager
def bench(warm_up: int) -> Iterator[Bench]:
    """Start everything, warm it up, and end it afterwards."""
    with contextlib.ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        broker = Mosquitto(folder)
        broker.start()
        stack.callback(broker.stop)
        daemon = stack.enter_context(running(folder, layouts.village(), broker.port))
        echo = stack.enter_context(_echo(broker.port))
        driver = Driver(broker.port)
        stack.callback(driver.close)
        for asked in (
            Signals(daemon.process.pid, 0),
            Signals(daemon.process.pid, CHAINS // 2),
            Echo(echo, "plain-1"),
        ):
            # Whole turns of all signals, so that every signal stands as it did.
            driver.round(asked, warm_up * CHAINS * PER_CHAIN, 0.0)
        yield Bench(daemon.process.pid, echo, driver)


def latency(quick: bool) -> list[dict[str, Any]]:
    """Measure one fact to one frame."""
    rows = []
    with bench(0 if quick else 1) as measured:
        for node, first in (("plain-1", CHAINS // 2), ("answers-1", 0)):
            ours, theirs = Signals(measured.bridge, first), Echo(measured.echo, node)
            for pace in (PACE, 0.0):
                one, other = measured.side_by_side(
                    ours, theirs, rounds=2 if quick else 9, times=5 if quick else 200, pace=pace
                )
                how = f"each {pace * 1000:.0f} ms" if pace else "one by one"
                rows.append({"node": node[:-2], "facts": how, **_row(one, other)})
    return rows


def burst(quick: bool) -> list[dict[str, Any]]:
    """Measure one fact to eight frames."""
    with bench(0 if quick else 1) as measured:
        one, other = measured.side_by_side(
            Rooms(measured.bridge),
            Echo(measured.echo, BURST),
            rounds=2 if quick else 9,
            times=6 if quick else 100,
            pace=BURST_PACE,
        )
        worst = max(value for each in one.rounds for value in each.times) / 1000
        return [{"frames": CHAINS, **_row(one, other), "worst us": worst}]


def _row(one: Side, other: Side) -> dict[str, Any]:
    return {
        "p50 us": one.percentile(50),
        "echo": other.percentile(50),
        "ratio": ratio(one, other, 50),
        "p99 us": one.percentile(99),
        "echo p99": other.percentile(99),
        "p99 ratio": ratio(one, other, 99),
        "cpu us": one.processor(),
        "echo cpu": other.processor(),
    }


def _topic(chain: int) -> bytes:
    node, place = divmod(chain, layouts.CHAINS_A_NODE)
    return f"lamproom/frame/{layouts.NODES[node]}/{place}".encode()


@contextlib.contextmanager
def _echo(port: int) -> Iterator[int]:
    words = [
        sys.executable,
        "-m",
        "tests.bench.echo",
        *map(str, (port, layouts.FRAME_SIZE, CHAINS)),
    ]
    with subprocess.Popen(words, cwd=ROOT, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            assert process.stdout.readline() == "ready\n", "the baseline does not start"
            yield process.pid
        finally:
            process.terminate()
