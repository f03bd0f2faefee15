"""The addressable chips that a chain may hold, by their data sheets.

The table stands in this room, and not with the frames that it serves, because the layout file is checked
against it: how many channels a chip has, and in which order its bytes arrive.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from bridge.layout.dies import Die, Dies
from bridge.layout.findings import said


@dataclass(frozen=True, slots=True, kw_only=True)
class ChipType:
    """One kind of chip.

    Attributes:
        name: as the layout file has it.
        order: the channels by the letters of the data sheet, in the order in which their bytes arrive.
        driver: True where the LEDs are outside (the outputs sink a constant current), False for a pixel.
        bit_ns: duration of one bit on the line, ns. All sheets here allow 1250 ns (800 kbit/s).
        reset_us: low time that ends a frame, microseconds.
        output_mv: highest voltage that an output may see, millivolts; 0 for a pixel.
        sheet: the data sheet.
        dies: what shines in it, or is likely to hang on it where the LEDs are outside.
    """

    name: str
    order: str
    driver: bool
    bit_ns: int
    reset_us: int
    output_mv: int = 0
    sheet: str
    dies: Dies

    @property
    def called(self) -> str:
        """The name in a sentence, with its article: `a ws2811`, `an sk6812`."""
        return f"{'an' if self.name.startswith('s') else 'a'} {self.name}"

    @property
    def channels(self) -> int:
        """How many channels, and so how many bytes, one chip has."""
        return len(self.order)


_EARLY: Final = Dies(Die(625, 6250), Die(1250, 5225), Die(300, 4700))
"""WS2812 and early WS2812B at 20 mA, the middle of what their sheets allow: 620 to 630 nm and 550 to 700 mcd, 515 to
530 nm and 1100 to 1400 mcd, 465 to 475 nm and 200 to 400 mcd. Nobody knows what LED hangs on a driver; this is the
kind that strips with a driver are made of."""

_V5: Final = Dies(Die(310, 6210), Die(780, 5200), Die(215, 4710))
"""WS2812B-V5 at 12 mA, page 3: typical values."""

_SK6812: Final = Dies(Die(850, 6225), Die(1850, 5238), Die(850, 4688))
"""SK6812, the middle of what the sheet allows: 620 to 625 nm and 700 to 1000 mcd, 522.5 to 525 nm and 1500 to 2200
mcd, 467.5 to 470 nm and 700 to 1000 mcd."""

_SK6812_RGBW: Final = Dies(Die(250, 6250), Die(500, 5200), Die(120, 4650), Die(1500, kelvin=2850))
"""SK6812RGBW, section 6: 620 to 630 nm, 515 to 525 nm, 460 to 470 nm; its white comes as 2700 to 3000 K, 4000 to 4500 K
or 6000 to 7000 K. The warmest is taken unless the owner says otherwise: it is the one for rooms. The intensities are an
estimate without a source: the early WS2812B at the 8 mA that a strip was measured to take, and white at 16 mA."""


def _table(*rows: ChipType) -> dict[str, ChipType]:
    return {row.name: row for row in rows}


CHIP_TYPES: Final = _table(
    ChipType(
        name="ws2811",
        order="RGB",
        driver=True,
        bit_ns=1250,
        reset_us=50,
        output_mv=12_000,
        sheet="Worldsemi WS2811, high speed: composition of 24 bit data; absolute maximum ratings",
        dies=_EARLY,
    ),
    ChipType(
        name="ws2812b",
        order="GRB",
        driver=False,
        bit_ns=1250,
        reset_us=50,
        sheet="Worldsemi WS2812B, early sheet",
        dies=_EARLY,
    ),
    ChipType(
        name="ws2812b-v5",
        order="GRB",
        driver=False,
        bit_ns=1250,
        reset_us=280,
        sheet="Worldsemi WS2812B-V5, V5.0 of 2019-03-23, page 3",
        dies=_V5,
    ),
    ChipType(
        name="sk6812",
        order="GRB",
        driver=False,
        bit_ns=1250,
        reset_us=80,
        sheet="OPSCO SK6812MINI Rev 01, section 10",
        dies=_SK6812,
    ),
    ChipType(
        name="sk6812-rgbw",
        order="RGBW",
        driver=False,
        bit_ns=1250,
        reset_us=80,
        sheet="OPSCO SK6812RGBW Rev 01, sections 10 and 13; many strips are wired G, R, B, W",
        dies=_SK6812_RGBW,
    ),
)
"""Every chip that a layout file may name."""

DIE_COLOURS: Final = {"R": "red", "G": "green", "B": "blue", "W": "white"}
"""What the letters of a data sheet stand for."""


def parse_order(chip: ChipType, value: object) -> tuple[int, ...]:
    """Read an `order`: the chip's channels in the order in which this one's bytes arrive.

    Args:
        chip: the kind of chip, whose sheet order numbers the channels 1, 2, 3(, 4).
        value: letters (`GRB`, `G,R,B`) or channel numbers (`213`, `2,1,3`), as text, number or list.

    Returns:
        For each channel in sheet order, counted from 0, the index of its byte within the chip.

    Raises:
        ValueError: it does not name each channel of the chip once.
    """
    text = ",".join(map(str, value)) if isinstance(value, list) else str(value)
    stated = [letter for letter in text.upper() if letter not in " ,"]
    numbers = [str(index + 1) for index in range(chip.channels)]
    names = list(chip.order) if sorted(stated) == sorted(chip.order) else numbers
    if isinstance(value, dict | None) or sorted(stated) != sorted(names):
        shown = value if isinstance(value, dict | None) else text
        raise ValueError(
            f"{said(shown)} does not name each channel of {chip.called} once: "
            f"write its letters, such as {chip.order}, or its numbers, such as {''.join(numbers)}"
        )
    return tuple(stated.index(name) for name in names)
