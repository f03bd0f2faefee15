"""A data line as a logic analyser sees it: pulses by their widths, and what `sigrok-cli` reads in them."""

from __future__ import annotations

import re
import shutil
import subprocess
from itertools import groupby
from pathlib import Path
from typing import NamedTuple

from tests.support.missing import is_missing

SAMPLES = 8
"""Samples of an SPI bit."""


class Pulse(NamedTuple):
    """One bit of the line: how long it is high, and how long it is low then, nanoseconds."""

    high: float
    low: float


class Line(NamedTuple):
    """What went over a line: how long it is low at first, and its bits; the last is low to the end."""

    before: float
    bits: list[Pulse]


def line(data: bytes, hertz: int) -> Line:
    """Return what the bytes of an SPI bus look like on its data pin, most significant bit first."""
    levels = [byte >> place & 1 for byte in data for place in range(7, -1, -1)]
    runs = [(level, sum(1 for _each in run) * 1e9 / hertz) for level, run in groupby(levels)]
    before = runs.pop(0)[1] if runs and runs[0][0] == 0 else 0.0
    highs = [length for level, length in runs if level]
    lows = [length for level, length in runs if not level]
    return Line(before, [Pulse(*widths) for widths in zip(highs, lows, strict=True)])


def decoded(folder: Path, data: bytes, hertz: int) -> bytes:
    """Return the bytes that the WS281x decoder of `sigrok-cli` reads, in the order of the line.

    It knows words of 24 bits and takes them for green, red, blue; it counts only what a gap ends.
    """
    program = shutil.which("sigrok-cli")
    if program is None:
        is_missing("sigrok-cli is not installed")
    file = folder / "line.bin"
    file.write_bytes(
        b"".join(bytes([byte >> place & 1]) * SAMPLES for byte in data for place in range(7, -1, -1))
    )
    words = ["-i", str(file), "-I", f"binary:numchannels=1:samplerate={hertz * SAMPLES}"]
    words += ["-P", "rgb_led_ws281x:din=0", "-A", "rgb_led_ws281x=rgb"]
    done = subprocess.run([program, *words], capture_output=True, text=True, check=True, timeout=60)
    pixels = [bytes.fromhex(each) for each in re.findall(r"#([0-9a-f]{6})", done.stdout)]
    return b"".join(bytes((green, red, blue)) for red, green, blue in pixels)
