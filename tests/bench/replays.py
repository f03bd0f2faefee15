"""What it costs to replay a session log, beside a bare loop over the same lines."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable
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
from bridge.record.writer import make_header
from tests.bench.layouts import signals_only
from tests.bench.rounds import Round, Side, ratio
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
    """Measure a replay of ten minutes of the demo, with all frames and of decisions alone.

    The bare loop reads the lines of the log, parses each with `orjson`, and looks up by its first key what to do
    with it, which is to count it. Processor time, since a shared machine takes the rest away.
    """
    lasts = MINUTE if quick else 10 * MINUTE
    with TemporaryDirectory() as folder:
        path = Path(folder) / "demo.jsonl"
        RecordedDay(path, 1).record(lasts)
        lines = path.read_bytes().count(b"\n")
        ways: dict[str, Callable[[], object]] = {
            "all frames": lambda: replay(path),
            "decisions": lambda: replay_decisions(path),
        }
        rows = []
        for name, ours in ways.items():
            one, other = Side(), Side()
            ours()  # tables that are made once are made
            for _ in range(2 if quick else 7):
                one.rounds.append(_worked(ours))
                other.rounds.append(_worked(lambda: _bare(path)))
            took = one.percentile(50) / 1e6
            rows.append(
                {
                    "way": name,
                    "lines": lines,
                    "seconds": took,
                    "times real time": lasts / SECOND / took,
                    "bare seconds": other.percentile(50) / 1e6,
                    "ratio": ratio(one, other, 50),
                }
            )
    return rows


def _worked(work: Callable[[], object]) -> Round:
    began = time.process_time_ns()
    work()
    return Round([time.process_time_ns() - began])


def _bare(path: Path) -> dict[str, int]:
    counts = dict.fromkeys(("log", "in", "refused", "decided", "told", "note", "frame", "rendered"), 0)
    counts |= dict.fromkeys(("snapshot", "lost", "end"), 0)
    with path.open("rb") as file:
        for line in file:
            counts[next(iter(orjson.loads(line)))] += 1
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
