"""Rounds of measurements and what is made of them."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from statistics import median


@dataclass(frozen=True, slots=True)
class Round:
    """One short run of one side.

    Attributes:
        times: nanoseconds of each repetition.
        processor: nanoseconds of processor time that the measured process took for all of it.
    """

    times: list[int]
    processor: int = 0


@dataclass(slots=True)
class Side:
    """All rounds of one side."""

    rounds: list[Round] = field(default_factory=list)

    def percentile(self, percent: float) -> float:
        """Return the middle of the rounds' percentiles, in microseconds."""
        return median(percentile(each.times, percent) for each in self.rounds) / 1000

    def processor(self) -> float:
        """Return processor time for one repetition, in microseconds."""
        done = sum(len(each.times) for each in self.rounds)
        return sum(each.processor for each in self.rounds) / done / 1000


def percentile(values: Sequence[int], percent: float) -> int:
    """Return the nearest-rank percentile."""
    ordered = sorted(values)
    return ordered[max(0, -(-len(ordered) * int(percent * 100) // 10_000) - 1)]


def ratio(ours: Side, theirs: Side, percent: float) -> float:
    """Return the middle of the ratios of rounds that were run next to each other."""
    return median(
        percentile(one.times, percent) / percentile(other.times, percent)
        for one, other in zip(ours.rounds, theirs.rounds, strict=True)
    )


def timed(work: Callable[[], object], times: int) -> Round:
    """Run something in this process and time each run."""
    now = time.perf_counter_ns
    found = []
    for _ in range(times):
        began = now()
        work()
        found.append(now() - began)
    return Round(found)


def processor_time(pid: int) -> int:
    """Return the nanoseconds of processor time that a process has taken, all its threads together.

    Linux makes a clock of each process; its number is built as `clock_getcpuclockid(3)` builds it. The ticks
    of /proc/PID/stat are 10 ms long, which is a hundred messages.
    """
    return time.clock_gettime_ns((~pid << 3) | 2)
