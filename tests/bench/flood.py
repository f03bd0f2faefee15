"""Sends facts at a steady rate, as a process of its own, and says what it has done.

    python -m tests.bench.flood PORT TOPICS RATE SECONDS

It sends an aspect number to each of TOPICS accessories in turn: to each 0, 1, 2 and so on, round again after 255; so
whoever listens sees for each topic whether one is missing or has overtaken another. At RATE 0 it sends as fast as the
broker takes them. At its end it writes how many it has sent, and in how many seconds.
"""

from __future__ import annotations

import sys
import time
from typing import Final

from tests.bench.wire import Wire, publication

STEP: Final = 0.002
"""Seconds between two writes: what is due by then goes out together."""

MOST: Final = 200
"""Facts in one write."""


def flood(port: int, topics: int, rate: float, seconds: float) -> tuple[int, float]:
    """Send facts; return how many, and in how many seconds."""
    wire = Wire(port, "bench-flood")
    facts = [
        [publication(f"layout/aspect/{number + 1}", b"%d" % value) for value in range(256)]
        for number in range(topics)
    ]
    sent = 0
    began = now = time.perf_counter()
    while now - began < seconds:
        due = sent + MOST if rate == 0 else min(sent + MOST, int((now - began) * rate))
        wire.send(b"".join(facts[place % topics][place // topics % 256] for place in range(sent, due)))
        sent = due
        if rate and sent >= int((time.perf_counter() - began) * rate):
            time.sleep(STEP)
        now = time.perf_counter()
    took = time.perf_counter() - began
    wire.close()
    return sent, took


def main() -> None:
    """Do what was asked for."""
    port, topics, rate, seconds = sys.argv[1:]
    sent, took = flood(int(port), int(topics), float(rate), float(seconds))
    print(sent, took, flush=True)


if __name__ == "__main__":
    main()
