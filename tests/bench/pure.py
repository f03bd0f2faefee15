"""What the core costs by itself, in this process."""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import partial
from typing import Any, Final

import numpy as np

from bridge.chain.frames import BYTE_OF_LEVEL, Frames, Levels
from bridge.check import check_text
from bridge.engine import Engine
from bridge.events import MILLISECOND, SECOND, AccessoryOrdered, Position
from bridge.layout.model import Layout
from bridge.trial.find import Finder
from bridge.trial.find_places import Seen
from tests.bench import layouts
from tests.bench.rounds import Round, Side, percentile, ratio, timed

PIXELS: Final = 10_000
SIGNALS: Final = 2_000
SIZES: Final = (10, 100, 1_000, 10_000)
WIRED: Final = (10, 50, 200)


def compile_frames(quick: bool) -> list[dict[str, Any]]:
    """Measure the frames of 10,000 pixels beside a table and a gather in bare numpy.

    Both begin with 16-bit levels, and ours with the places they belong to, as they come when everything moves. The
    baseline ends with one array of bytes; ours with one `bytes` a chain.
    """
    frames = Frames(read(layouts.pixels(PIXELS)))
    levels, slots = _levels(frames.length), np.arange(frames.length)

    def ours() -> None:
        frames.patch_many(slots, levels)
        frames.frames()

    return [{"pixels": PIXELS, "chains": len(frames.bases), **_beside_numpy(ours, frames.length, quick)}]


def motion(quick: bool) -> list[dict[str, Any]]:
    """Measure one instant of the grid while all of 10,000 pixels fade, beside the same bare numpy.

    Ours has in it what the baseline is spared: where each channel is on its way, and its lightness.
    """
    driven = Engine(read(layouts.pixels(PIXELS)))
    driven.start()
    driven.handle(AccessoryOrdered(at=0, source="measured", number=1, position=Position.REVERSE))

    def ours() -> None:
        driven.advance(driven.now + SECOND // 100)

    figures = _beside_numpy(ours, 3 * PIXELS, quick)
    assert driven.next_wake() is not None, "the fade was over before the end"
    return [{"pixels": PIXELS, **figures}]


def effects(quick: bool) -> list[dict[str, Any]]:
    """Measure one instant of the grid while all of 10,000 pixels play, beside the same arithmetic in bare numpy.

    The floor is where each of 10,000 voices is on its tape, what 30,000 channels make of it, and their bytes.
    """
    count = 500 if quick else PIXELS
    driven = Engine(read(layouts.effects(count)))
    driven.start()
    driven.handle(AccessoryOrdered(at=0, source="measured", number=1, position=Position.REVERSE))
    assert driven.next_wake() is not None

    def ours() -> None:
        driven.advance(driven.now + SECOND // 50)

    one, other, bare = Side(), Side(), _bare_tapes(count)
    for _ in range(2 if quick else 15):
        one.rounds.append(timed(ours, 2 if quick else 100))
        other.rounds.append(timed(bare, 2 if quick else 100))
    return [
        {
            "pixels": count,
            "p50 us": one.percentile(50),
            "p99 us": one.percentile(99),
            "numpy us": other.percentile(50),
            "ratio": ratio(one, other, 50),
        }
    ]


def _bare_tapes(voices: int) -> Callable[[], None]:
    """Return what looks up so many tapes, of three channels each, and does nothing else."""
    chance = np.random.default_rng(1)
    samples = chance.integers(0, 65_537, 200_000)
    began, time = chance.integers(0, SECOND, voices), chance.integers(SECOND, 90 * SECOND, voices)
    way, span = chance.integers(2, 8_192, voices), chance.integers(0, 65_536, 3 * voices)
    which, base = np.repeat(np.arange(voices), 3), chance.integers(0, 190_000, 3 * voices)
    done, place = np.empty(voices, np.int64), np.empty(3 * voices, np.int64)
    levels, shown = np.empty(3 * voices, np.int64), np.empty(3 * voices, np.uint8)

    def bare() -> None:
        np.subtract(60 * SECOND, began, out=done)
        np.remainder(done, time, out=done)
        np.multiply(done, way, out=done)
        np.floor_divide(done, time, out=done)
        np.take(done, which, out=place, mode="clip")
        np.add(place, base, out=place)
        np.take(samples, place, out=levels, mode="clip")
        np.multiply(levels, span, out=levels)
        np.right_shift(levels, 16, out=levels)
        np.take(BYTE_OF_LEVEL, levels, out=shown, mode="clip")

    return bare


def _levels(channels: int) -> Levels:
    return np.random.default_rng(1).integers(0, 65_536, channels, dtype=np.uint16)


def _beside_numpy(ours: Callable[[], None], channels: int, quick: bool) -> dict[str, Any]:
    """Measure something beside a table and a gather over so many channels, in turn."""
    levels = _levels(channels)
    # Green first: what a layout in the order of the eye would have to be put through.
    order = np.arange(channels, dtype=np.intp).reshape(-1, 3)[:, (1, 0, 2)].ravel()
    looked_up, put_in_order = np.empty(channels, np.uint8), np.empty(channels, np.uint8)

    def bare() -> None:
        np.take(BYTE_OF_LEVEL, levels, out=looked_up, mode="clip")
        np.take(looked_up, order, out=put_in_order, mode="clip")

    one, other = Side(), Side()
    for _ in range(2 if quick else 15):
        one.rounds.append(timed(ours, 2 if quick else 100))
        other.rounds.append(timed(bare, 2 if quick else 100))
    return {
        "p50 us": one.percentile(50),
        "numpy us": other.percentile(50),
        "ratio": ratio(one, other, 50),
    }


def engine(quick: bool) -> list[dict[str, Any]]:
    """Measure one order that cuts one signal over, with more and more devices beside it."""
    sizes = SIZES[:3] if quick else SIZES
    engines = {size: Engine(read(layouts.signals_only(size, chains=max(1, size // 50)))) for size in sizes}
    sides = {size: Side() for size in sizes}
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


def wiring(quick: bool) -> list[dict[str, Any]]:
    """Measure what the wiring finder takes from an answer to its next question, on chains that are as filed.

    Beside it stand its questions, and how many a walk through all channels would have.
    """
    rows = []
    for count in WIRED[:1] if quick else WIRED:
        chain = read(layouts.signals_only(count)).chains[0]
        finder, times = Finder(chain), []
        while (question := finder.question) is not None:
            seen = Seen(frozenset(question.expected))
            times += timed(partial(finder.answer, seen), 1).times
        rows.append(
            {
                "chips": count,
                "p50 us": percentile(times, 50) / 1000,
                "most us": max(times) / 1000,
                "questions": len(times),
                "channels": chain.length,
            }
        )
    return rows


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
