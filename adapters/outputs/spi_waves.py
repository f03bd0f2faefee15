"""Bits of a pixel chip's data line as bits of an SPI bus. Pure: levels to bytes, and pulse widths beside data sheets.

A chip tells a 0 from a 1 by how long the line is high. An SPI bus sends a steady row of bits, so one bit of a chip
becomes several of the bus: so many high, the rest low. Which row fits depends on the chip, and no row fits all of them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, NamedTuple, TypeAlias

Range: TypeAlias = tuple[int, int]
"""What a sheet allows, nanoseconds, both ends included."""


class Pulses(NamedTuple):
    """How long a bit is high and low, nanoseconds."""

    t0h: float
    t0l: float
    t1h: float
    t1l: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """What the data sheet of a chip allows.

    Attributes:
        t0h: how long a 0 is high; and so the others.
        t0l: how long a 0 is low.
        t1h: how long a 1 is high.
        t1l: how long a 1 is low.
        period: how long a bit is, where the sheet says it by itself.
        reset_us: low time that ends a frame, microseconds.
        source: the sheet.
    """

    t0h: Range
    t0l: Range
    t1h: Range
    t1l: Range
    period: Range | None = None
    reset_us: int
    source: str


def _around(tolerance: int, *nominal: int) -> dict[str, Range]:
    names = ("t0h", "t0l", "t1h", "t1l")
    return {name: (each - tolerance, each + tolerance) for name, each in zip(names, nominal, strict=True)}


_SK6812: Final = Sheet(
    **_around(150, 300, 900, 600, 600),
    period=(650, 1850),
    reset_us=80,
    source="OPSCO SK6812MINI Rev 01, section 10; SK6812RGBW Rev 01, section 10",
)

SHEETS: Final[dict[str, Sheet]] = {
    "ws2811": Sheet(
        **_around(75, 250, 1000, 600, 650),
        reset_us=50,
        source="Worldsemi WS2811, low speed mode time halved; that its 150 ns are halved too is assumed",
    ),
    "ws2812b": Sheet(
        **_around(150, 350, 900, 900, 350),
        period=(1100, 1400),
        reset_us=50,
        source="Worldsemi WS2812B, early sheet",
    ),
    "ws2812b-v5": Sheet(
        t0h=(220, 380),
        t0l=(580, 1000),
        t1h=(580, 1000),
        t1l=(580, 1000),
        reset_us=280,
        source="Worldsemi WS2812B-V5, V5.0 of 2019-03-23, page 3",
    ),
    "sk6812": _SK6812,
    "sk6812-rgbw": _SK6812,
}
"""What each chip of a layout file asks of its data line."""


@dataclass(frozen=True, slots=True)
class Wave:
    """A row of SPI bits for each bit of a chip.

    Attributes:
        bits: how many there are.
        zero: how many of them are high for a 0; the high ones come first.
        one: how many of them are high for a 1.
        hertz: SPI bits a second.
    """

    bits: int
    zero: int
    one: int
    hertz: int

    def __str__(self) -> str:
        rows = "/".join("1" * high + "0" * (self.bits - high) for high in (self.zero, self.one))
        return f"{rows} at {self.hertz / 1e6:g} MHz"

    @property
    def pulses(self) -> Pulses:
        """How long a bit is high and low."""
        bit = 1e9 / self.hertz
        return Pulses(
            self.zero * bit, (self.bits - self.zero) * bit, self.one * bit, (self.bits - self.one) * bit
        )

    def reset_bytes(self, microseconds: int) -> int:
        """Return how many bytes of zeros keep the line low for so long."""
        return -(-microseconds * self.hertz // 8_000_000)


WAVES: Final = (
    Wave(3, 1, 2, 2_400_000),
    Wave(4, 1, 2, 3_200_000),
    Wave(5, 1, 3, 4_000_000),
    Wave(7, 2, 4, 5_550_000),
)
"""What is chosen from, the shortest first.

The first two are common practice: one fits WS2812B, the other all the rest. The third fits WS2812B with SK6812, at the
very edge. The last is for WS2812B with WS2811 or WS2812B-V5 on one line, which nothing fits: one has a 1 low for 500 ns
at the most, the others for 575 or 580 at the least, so some 40 ns are missed whatever is done.
"""


class Miss(NamedTuple):
    """A width that is not what a data sheet allows.

    Attributes:
        kind: the chip.
        what: which width: `T1L`, or `TH+TL`.
        width: what it is, nanoseconds.
        allowed: what the sheet allows.
    """

    kind: str
    what: str
    width: float
    allowed: Range

    @property
    def by(self) -> float:
        """How far outside it is, nanoseconds."""
        low, high = self.allowed
        return max(low - self.width, self.width - high)

    def __str__(self) -> str:
        low, high = self.allowed
        side = "short" if self.width < low else "long"
        return (
            f"{self.what} is {self.width:.0f} ns where the data sheet of {self.kind} has {low} to {high},"
            f" {self.by:.0f} ns too {side}"
        )


def misses(wave: Wave, kind: str) -> tuple[Miss, ...]:
    """Return the widths of a row that are not what the data sheet of a chip allows."""
    sheet, pulses = SHEETS[kind], wave.pulses
    widths: list[tuple[str, float, Range | None]] = [
        ("T0H", pulses.t0h, sheet.t0h),
        ("T0L", pulses.t0l, sheet.t0l),
        ("T1H", pulses.t1h, sheet.t1h),
        ("T1L", pulses.t1l, sheet.t1l),
        ("TH+TL", pulses.t0h + pulses.t0l, sheet.period),
    ]
    return tuple(
        Miss(kind, what, width, allowed)
        for what, width, allowed in widths
        if allowed is not None and not allowed[0] <= width <= allowed[1]
    )


class Choice(NamedTuple):
    """The row for a chain, and the data sheets that it does not keep to."""

    wave: Wave
    misses: tuple[Miss, ...]


def choose(kinds: Iterable[str]) -> Choice:
    """Return the shortest row that keeps to the data sheets of all these chips, or the one that misses by least."""
    wanted = tuple(dict.fromkeys(kinds))
    choices = [Choice(wave, tuple(miss for kind in wanted for miss in misses(wave, kind))) for wave in WAVES]
    return min(choices, key=lambda choice: max((miss.by for miss in choice.misses), default=0.0))


class Encoder:
    """Turns the frames of one chain into what its SPI bus sends.

    A frame begins and ends low for as long as the slowest of its chips asks: what the line does while the bus is idle
    is the board's own matter, and a chip that took it for a bit would pass on all others by one.

    Attributes:
        choice: the row of bits.
        length: bytes of an encoded frame.

    Args:
        kinds: the chips of the chain.
        length: bytes of a frame.
    """

    def __init__(self, kinds: Iterable[str], length: int) -> None:
        wanted = tuple(dict.fromkeys(kinds))
        self.choice = choose(wanted)
        wave = self.choice.wave
        self._reset = bytes(wave.reset_bytes(max(SHEETS[kind].reset_us for kind in wanted)))
        self._table = tuple(_row(wave, byte) for byte in range(256))
        self.length = 2 * len(self._reset) + wave.bits * length

    def encode(self, levels: bytes) -> bytes:
        """Return the bytes of a frame, most significant bit first."""
        table = self._table
        return self._reset + b"".join([table[level] for level in levels]) + self._reset


def _row(wave: Wave, byte: int) -> bytes:
    """Return the SPI bytes of one byte, which has 8 bits and so as many bytes as its wave has bits."""
    bits = 0
    for place in range(7, -1, -1):
        high = wave.one if byte >> place & 1 else wave.zero
        bits = bits << wave.bits | ((1 << high) - 1) << (wave.bits - high)
    return bits.to_bytes(wave.bits, "big")
