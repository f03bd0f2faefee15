"""What it costs to replay a session log, beside a bare loop over the same lines."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

import orjson

from bridge.commands import Cause, Decision
from bridge.events import MILLISECOND, SECOND, AccessoryOrdered, Position
from bridge.logic.deciding import Deciding
from bridge.record.decisions import replay_decisions
from bridge.record.following import driven
from bridge.record.lines import End, Frame, Input, Line, line_bytes
from bridge.record.replay import replay
from bridge.record.result import ReplayResult
from bridge.record.writer import make_header
from tests.bench.layouts import signals_only
from tests.bench.rounds import Side, ratio, timed
from tests.support.demo_day import MINUTE
from tests.support.demo_recording import STARTED, RecordedDay
from tests.support.tree import ROOT

SHORT: Final = 100_000
LONG: Final = 1_000_000
"""Events of the logs whose replays are held to take the same memory."""

_PEAK: Final = """
import resource, sys
from pathlib import Path
from bridge.record.decisions import replay_decisions
result = replay_decisions(Path(sys.argv[1]))
assert result.same and result.whole and result.ended, result
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, result.events)
"""


def replays(quick: bool) -> list[dict[str, Any]]:
    """Measure replays of the demo's log, with all frames and of decisions alone, on one processor and on all of them.

    The bare loop reads the lines of the log, parses each with `orjson`, and calls what a table has for its first key,
    which counts it; it always has one processor.
    """
    rows = []
    with TemporaryDirectory() as folder:
        for minutes in (1, 2) if quick else (10, 180):
            path = Path(folder) / f"{minutes}.jsonl"
            RecordedDay(path, 1).record(minutes * MINUTE)
            rounds = 2 if quick else 9 if minutes < 60 else 5
            ways: dict[str, Callable[[], ReplayResult]] = {
                "all frames": partial(replay, path),
                "decisions": partial(replay_decisions, path),
            }
            rows += [
                {
                    "minutes": minutes,
                    "way": name,
                    "processors": processors,
                    **_beside_bare(path, way, processors, rounds),
                }
                for name, way in ways.items()
                for processors in sorted({1, len(os.sched_getaffinity(0))})
            ]
    return rows


def _beside_bare(path: Path, way: Callable[[], ReplayResult], processors: int, rounds: int) -> dict[str, Any]:
    ours, bare = Side(), Side()
    with _processors(processors):
        result = way()  # tables that are made once are made
        assert result.same
        assert result.whole
        for _ in range(rounds):
            ours.rounds.append(timed(way, 1))
            bare.rounds.append(timed(lambda: _bare(path), 1))
    took = ours.percentile(50) / 1e6
    return {
        "events": result.events,
        "seconds": took,
        "times real time": result.length / SECOND / took,
        "bare seconds": bare.percentile(50) / 1e6,
        "ratio": ratio(ours, bare, 50),
    }


@contextmanager
def _processors(count: int) -> Iterator[None]:
    """Have so many of the processors that there are."""
    there = os.sched_getaffinity(0)
    os.sched_setaffinity(0, sorted(there)[:count])
    try:
        yield
    finally:
        os.sched_setaffinity(0, there)


def _bare(path: Path) -> dict[str, int]:
    kinds = (
        "log",
        "in",
        "refused",
        "decided",
        "told",
        "note",
        "frame",
        "rendered",
        "snapshot",
        "lost",
        "end",
    )
    counts = dict.fromkeys(kinds, 0)

    def counter(kind: str) -> Callable[[dict[str, Any]], None]:
        def take(_said: dict[str, Any]) -> None:
            counts[kind] += 1

        return take

    takes = {kind: counter(kind) for kind in kinds}
    with path.open("rb") as file:
        for line in file:
            said = orjson.loads(line)
            takes[next(iter(said))](said)
    return counts


def memory(quick: bool) -> list[dict[str, Any]]:
    """Measure the memory at its highest of a process that replays the decisions of a log, and of one ten times as long.

    Nothing but the length differs: a layout of ten signals, each ordered in turn.
    """
    rows = []
    with TemporaryDirectory() as folder:
        for events in (500, 5_000) if quick else (SHORT, LONG):
            path = Path(folder) / f"{events}.jsonl"
            _write(path, events)
            command = [sys.executable, "-c", _PEAK, str(path)]
            began = time.monotonic()
            done = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True)
            peak, counted = map(int, done.stdout.split())
            assert counted == events
            megabytes = path.stat().st_size / 1e6
            seconds = time.monotonic() - began
            rows.append({"events": events, "log MB": megabytes, "seconds": seconds, "peak MB": peak / 1024})
            path.unlink()
    return rows


def _write(path: Path, events: int) -> None:
    """Write a log of so many orders with the lines that a bridge would write, but for what is rendered."""
    text = signals_only(10)
    layout = driven(text, "measured")
    deciding, chain = Deciding(layout), layout.chains[0]
    shown = [choice.aspect for choice in deciding.board.choices]
    with path.open("wb", buffering=1 << 20) as file:

        def write(line: Line) -> None:
            file.write(line_bytes(line))

        write(make_header(layout, text, file="measured.yaml", started=STARTED))
        for number in range(1, events + 1):
            at = number * 20 * MILLISECOND
            position = (Position.REVERSE, Position.NORMAL)[number // 10 % 2]
            event = AccessoryOrdered(at=at, source="mqtt", number=number % 10 + 1, position=position)
            topic = f"layout/accessory/{event.number}/ordered"
            write(Input(number, at, "mqtt", (event,), topic, position.value.encode()))
            outcome = deciding.hear(event).outcome
            for index, choice in () if outcome is None else outcome.choices:
                write(Frame(chain.key, at, Cause.EVENT, bytes(chain.length)))
                name = deciding.board.devices[index].name
                write(Decision(at, name, shown[index], choice.aspect, choice.reason, choice.causes))
                shown[index] = choice.aspect
        write(End(events * 20 * MILLISECOND, events, {}))
