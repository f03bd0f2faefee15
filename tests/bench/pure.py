"""What the core costs by itself, in this process."""

from __future__ import annotations

import time
from typing import Any, Final

import numpy as np

from bridge.chain.frames import BYTE_OF_LEVEL, Frames
from bridge.check import check_text
from bridge.engine import Engine
from bridge.events import MILLISECOND, AccessoryOrdered, Position
from bridge.layout.model import Layout
from tests.bench import layouts
from tests.bench.rounds import Round, Side, ratio, timed

PIXELS: Final = 10_000
SIGNALS: Final = 2_000
SIZES: Final = (10, 100, 1000)


def compile_frames(quick: bool) -> list[dict[str, Any]]:
    """Measure the frames of 10,000 pixels beside a table and a gather in bare numpy.

    Both begin with 16-bit levels. The baseline ends with one array of bytes; ours with one `bytes` a chain.
    """
    frames = Frames(read(layouts.pixels(PIXELS)))
    random = np.random.default_rng(1)
    levels = random.integers(0, 65_536, frames.length, dtype=np.uint16)
    # Green first: what a layout in the order of the eye would have to be put through.
    order = np.arange(frames.length, dtype=np.intp).reshape(-1, 3)[:, (1, 0, 2)].ravel()
    looked_up, put_in_order = np.empty(frames.length, np.uint8), np.empty(frames.length, np.uint8)

    def ours() -> None:
        frames.compile(levels)
        frames.frames()

    def bare() -> None:
        np.take(BYTE_OF_LEVEL, levels, out=looked_up, mode="clip")
        np.take(looked_up, order, out=put_in_order, mode="clip")

    one, other = Side(), Side()
    for _ in range(2 if quick else 15):
        one.rounds.append(timed(ours, 2 if quick else 100))
        other.rounds.append(timed(bare, 2 if quick else 100))
    return [
        {
            "pixels": PIXELS,
            "chains": len(frames.bases),
            "p50 us": one.percentile(50),
            "numpy us": other.percentile(50),
            "ratio": ratio(one, other, 50),
        }
    ]


def engine(quick: bool) -> list[dict[str, Any]]:
    """Measure one order that cuts one signal over, with more and more devices beside it."""
    engines = {size: Engine(read(layouts.signals_only(size, chains=max(1, size // 50)))) for size in SIZES}
    sides = {size: Side() for size in SIZES}
    for driven in engines.values():
        driven.start()
    for _ in range(2 if quick else 15):
        for size, driven in engines.items():
            sides[size].rounds.append(_orders(driven, 2 if quick else 200))
    return [
        {
            "devices": size,
            "p50 us": side.percentile(50),
            "p99 us": side.percentile(99),
            "to the smallest": ratio(side, sides[SIZES[0]], 50),
        }
        for size, side in sides.items()
    ]


def check(quick: bool) -> list[dict[str, Any]]:
    """Measure reading and checking a layout file."""
    count = 20 if quick else SIGNALS
    text = layouts.signals_only(count, chains=count // 20)
    once = timed(lambda: read(text), 1 if quick else 3)
    return [{"signals": count, "lines": text.count("\n"), "seconds": min(once.times) / 1e9}]


def read(text: str) -> Layout:
    """Read a layout that has no errors."""
    checked = check_text(text)
    assert checked.layout is not None, [finding.line("measured") for finding in checked.findings][:5]
    return checked.layout


def _orders(driven: Engine, times: int) -> Round:
    now = time.perf_counter_ns
    found = []
    for turn in range(times):
        position = (Position.REVERSE, Position.NORMAL)[turn % 2]
        event = AccessoryOrdered(
            at=driven.now + 3 * MILLISECOND, source="measured", number=5, position=position
        )
        began = now()
        commands = driven.handle(event)
        found.append(now() - began)
        assert len(commands) == 3, commands  # a frame, a decision and a report
    return Round(found)
