"""More facts than any layout has, for a minute: whether all of them come, in order, and what it does to the rest."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final, NamedTuple

from bridge.record.lines import Input, Lost
from bridge.record.reader import read_session
from bridge.record.store import PACKED
from bridge.service.drops import TOPIC
from tests.bench import layouts
from tests.bench.rounds import percentile, processor_time
from tests.bench.wire import Wire, publication
from tests.support.daemon import Daemon, running
from tests.support.mosquitto import Mosquitto
from tests.support.tree import ROOT

TOPICS: Final = 200
PROBE: Final = 2001
"""The accessory that orders the probe, a signal on a chain of its own."""

PACE: Final = 0.1
PATIENCE: Final = 30.0
"""Seconds until a frame: whatever is in the broker before its order has to be worked off first. What has not come by
then was dropped on the way."""

SETTLED: Final = 5.0
"""Seconds that are looked at after the load."""


def layout() -> str:
    """Return a layout of 200 signals by aspect numbers, one in sixteen of which is another aspect; and the probe."""
    lines = ["nodes:", "  plain:", "    chains:"]
    signals = ["signals:", layouts.signal("probe", PROBE)]
    for chain in range(4):
        lines += [f"      - name: '{chain}'", "        fixtures:"]
        for number in range(chain * TOPICS // 4 + 1, (chain + 1) * TOPICS // 4 + 1):
            lines.append(f"          - {{name: N{number}, build: three-lamp}}")
            aspects = ", ".join(
                f"{value}: {('stop', 'approach', 'clear')[value // 16 % 3]}" for value in range(0, 256, 16)
            )
            signals.append(f"  N{number}: {{aspect-number: {{accessory: {number}, aspects: {{{aspects}}}}}}}")
    lines += ["      - {name: probe, fixtures: [{name: probe, build: three-lamp}]}"]
    return layouts.BUILDS + "\n".join((*lines, *signals)) + "\n"


class Probe:
    """Orders one signal ten times a second, and times its frame.

    Attributes:
        found: for each order when it was sent, in seconds since the beginning, and the nanoseconds that it took.
        unanswered: orders of which nothing came.
    """

    def __init__(self, port: int) -> None:
        self.found: list[tuple[float, int]] = []
        self.unanswered = 0
        self.began = time.perf_counter()
        self._facts = Wire(port, "bench-facts")
        self._frames = Wire(port, "bench-node", PATIENCE)
        self._frames.subscribe("lamproom/frame/plain/probe")
        self._ends = threading.Event()
        self._turn = 0
        self._thread = threading.Thread(target=self._run, daemon=True)

    def begin(self) -> None:
        """Go on until `stop`."""
        self._thread.start()

    def stop(self) -> None:
        """End that, when the order that is on its way has been obeyed."""
        self._ends.set()
        self._thread.join()

    def close(self) -> None:
        """Close both connections."""
        self._facts.close()
        self._frames.close()

    def once(self) -> int:
        """Order it once, and return the nanoseconds until its frame."""
        while True:
            self._turn += 1
            position, level = ((b"reverse", 255), (b"normal", 0))[self._turn % 2]
            began = time.perf_counter_ns()
            self._facts.send(publication(f"layout/accessory/{PROBE}/ordered", position))
            if (at := self._green(level, began)) is not None:
                return at - began
            self.unanswered += 1

    def _green(self, level: int, began: int) -> int | None:
        """Return when the green lamp had a level, or None if it never came to that."""
        while time.perf_counter_ns() < began + PATIENCE * 1e9:  # keep-alives go on coming
            at, _topic, payload = self._frames.receive()
            if payload[12] == level:
                return at
        return None

    def _run(self) -> None:
        while not self._ends.is_set():
            sent = time.perf_counter()
            self.found.append((sent - self.began, self.once()))
            self._ends.wait(max(0.0, sent + PACE - time.perf_counter()))


class Came(NamedTuple):
    """What the session log has of the facts.

    Attributes:
        came: how many came.
        jumps: how often a topic does not count on by one: some are missing there, or one came late.
        unwritten: of how many nobody knows, because the log itself had no room.
    """

    came: int
    jumps: int
    unwritten: int


def came(log: Path) -> Came:
    """Look in a session log whether each topic counts up by one."""
    last: dict[str, int] = {}
    count = jumps = unwritten = 0
    for placed in read_session(log):
        line = placed.line
        if isinstance(line, Lost):
            unwritten += line.count
        elif isinstance(line, Input) and line.channel.startswith("layout/aspect/"):
            value = int(line.payload or b"")
            count += 1
            jumps += (value - last.get(line.channel, -1)) % 256 != 1
            last[line.channel] = value
    return Came(count, jumps, unwritten)


def first_log(daemon: Daemon) -> Path:
    """Return the first file of a daemon's only session: the others have a number at the end of their names."""
    return min((daemon.state / "sessions").iterdir(), key=lambda path: len(path.name.removesuffix(PACKED)))


def memory(process: int) -> float:
    """Return the megabytes that a process has in memory (`VmRSS` of proc(5))."""
    text = Path(f"/proc/{process}/status").read_text(encoding="ascii")
    return int(text.split("VmRSS:")[1].split()[0]) / 1024


def _sampled(process: int, at: tuple[float, ...], began: float) -> Iterator[float]:
    for each in at:
        time.sleep(max(0.0, began + each - time.perf_counter()))
        yield memory(process)


def loaded(folder: Path, rate: float, seconds: float) -> dict[str, Any]:
    """Put a daemon under load, and return what is known of it afterwards."""
    broker = Mosquitto(folder, ("sys_interval 1",))
    broker.start()
    dropped = Wire(broker.port, "bench-dropped", PATIENCE)
    dropped.subscribe(TOPIC)
    try:
        with running(folder, layout(), broker.port) as daemon:
            figures = _measured(daemon, broker.port, rate, seconds)
            counted = _newest(dropped)
            log = first_log(daemon)
    finally:
        dropped.close()
        broker.stop()
    found = came(log)
    return {
        **figures,
        "missing": _none(figures["sent"] - found.came - found.unwritten),
        "jumps": _none(found.jumps),
        "not in the log": _none(found.unwritten),
        "broker dropped": _none(counted),
    }


def _measured(daemon: Daemon, port: int, rate: float, seconds: float) -> dict[str, Any]:
    pid = daemon.process.pid
    probe = Probe(port)
    for _ in range(20):
        probe.once()
    words = [sys.executable, "-m", "tests.bench.flood", str(port), str(TOPICS), str(rate), str(seconds)]
    with subprocess.Popen(words, cwd=ROOT, stdout=subprocess.PIPE, text=True) as flood:
        probe.began = began = time.perf_counter()
        busy = processor_time(pid)
        probe.begin()
        early, late = _sampled(pid, (seconds / 6, seconds * 0.95), began)
        said, _ = flood.communicate()
        ended = time.perf_counter() - began
    busy = processor_time(pid) - busy
    sent, took = int(said.split()[0]), float(said.split()[1])
    time.sleep(SETTLED)
    probe.stop()
    within = [(at, value) for at, value in probe.found if at <= ended]
    times = [value for _at, value in within]
    first = [value for at, value in within if at <= seconds / 6]
    last = [value for at, value in within if at >= ended - seconds / 6] or times[-1:]
    # All of the load is through when the first order that was sent behind it is obeyed.
    through = next((at + value / 1e9 for at, value in probe.found if at > ended), ended)
    after = [value for at, value in probe.found if at > through] or [probe.once()]
    probe.close()
    return {
        "asked": f"{rate:.0f}" if rate else "all",
        "sent": sent,
        "a second": sent / took,
        "p50 ms": percentile(times, 50) / 1e6,
        "p99 ms": percentile(times, 99) / 1e6,
        "worst ms": max(times) / 1e6,
        "first p99": percentile(first, 99) / 1e6,
        "last p99": percentile(last, 99) / 1e6,
        "cpu %": busy / 1e7 / ended,
        "MB early": early,
        "MB late": late,
        "MB after": memory(pid),
        "unanswered": _none(probe.unanswered),
        "through s": max(through - ended, 0.001),
        "p99 after": percentile(after, 99) / 1e6,
    }


def _newest(wire: Wire) -> int:
    """Return what the broker counted last; it tells when that changes, each second at the most."""
    count = 0
    wire.wait(2)
    try:
        while True:
            count = int(wire.receive()[2])
            wire.wait(0.5)
    except TimeoutError:
        return count


def _none(count: int) -> str:
    return str(count) if count else "none"


def load(quick: bool) -> list[dict[str, Any]]:
    """Measure 5,000 facts a second for a minute, and then as many as there is room for, for ten seconds."""
    rows = []
    for rate, seconds in ((1000.0, 2.0),) if quick else ((5000.0, 60.0), (0.0, 10.0)):
        with tempfile.TemporaryDirectory() as folder:
            rows.append(loaded(Path(folder), rate, seconds))
    return rows
