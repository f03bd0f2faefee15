"""The rows of SPI bits: beside the data sheets of the chips, and as a logic analyser decodes them."""

from __future__ import annotations

import random
from itertools import combinations
from pathlib import Path

import pytest

from adapters.outputs.spi_waves import SHEETS, WAVES, Encoder, Wave, choose, misses
from bridge.chain.pulses import pulses_for
from bridge.layout.chips import CHIP_TYPES
from tests.support.waveform import decoded, line

THREE, FOUR, FIVE, SEVEN = WAVES
LONG_FOUR = Wave(4, 1, 3, 3_200_000)

ALLOWED = {
    # T0H, T0L, T1H, T1L in nanoseconds and the reset in microseconds, as printed in each sheet.
    "ws2811": (
        (175, 325),
        (925, 1075),
        (525, 675),
        (575, 725),
        50,
    ),  # 0.5/2.0/1.2/1.3 +-150 ns, all of it halved
    "ws2812b": ((200, 500), (750, 1050), (750, 1050), (200, 500), 50),  # early: 0.35/0.9/0.9/0.35, 150 ns
    "ws2812b-v5": ((220, 380), (580, 1000), (580, 1000), (580, 1000), 280),  # V5.0, page 3
    "sk6812": ((150, 450), (750, 1050), (450, 750), (450, 750), 80),  # MINI Rev 01, section 10
    "sk6812-rgbw": ((150, 450), (750, 1050), (450, 750), (450, 750), 80),  # RGBW Rev 01, section 10
}

LEVELS = bytes(range(256)) + b"\0" * 8 + b"\xff" * 6


def test_every_chip_of_a_layout_file_has_its_sheet() -> None:
    """And its reset is that with which the layout file is checked."""
    assert set(CHIP_TYPES) == set(SHEETS) == set(ALLOWED)
    assert {name: chip.reset_us for name, chip in CHIP_TYPES.items()} == {
        name: sheet.reset_us for name, sheet in SHEETS.items()
    }


@pytest.mark.parametrize("kind", SHEETS)
def test_every_pulse_of_a_frame_is_what_the_data_sheet_allows(kind: str) -> None:
    """Each width is measured on the line, each bit says what it should, and both resets are long enough."""
    t0h, t0l, t1h, t1l, reset = ALLOWED[kind]
    encoder = Encoder([kind], len(LEVELS))
    data = encoder.encode(LEVELS)
    assert encoder.length == len(data)
    found = line(data, encoder.choice.wave.hertz)
    expected = [byte >> place & 1 for byte in LEVELS for place in range(7, -1, -1)]
    assert len(expected) == len(found.bits)
    for number, (bit, pulse) in enumerate(zip(expected, found.bits, strict=True)):
        high, low = (t1h, t1l) if bit else (t0h, t0l)
        assert high[0] <= pulse.high <= high[1], f"bit {number}, a {bit}"
        if number < len(expected) - 1:
            assert low[0] <= pulse.low <= low[1], f"bit {number}, a {bit}"
    assert found.before >= reset * 1000
    assert found.bits[-1].low >= reset * 1000
    assert () == encoder.choice.misses


@pytest.mark.parametrize("wave", [THREE, FIVE, SEVEN, LONG_FOUR], ids=str)
def test_a_logic_analyser_decodes_the_frame(
    wave: Wave, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`sigrok-cli` finds the bytes of 90 pixels, whichever row carries them.

    Its rule is that a 1 is high for more than half of its time. So it cannot read the row of four bits with two of
    them high, which is half exactly; the test above measures that one.
    """
    monkeypatch.setattr("adapters.outputs.spi_waves.WAVES", (wave,))
    levels = LEVELS
    encoder = Encoder(["ws2812b-v5"], len(levels))
    assert wave == encoder.choice.wave
    assert levels == decoded(tmp_path, encoder.encode(levels), wave.hertz)


@pytest.mark.parametrize("kinds", [("ws2812b",), ("ws2812b", "sk6812"), ("ws2811", "ws2812b", "ws2812b-v5")])
def test_a_logic_analyser_decodes_what_is_chosen(kinds: tuple[str, ...], tmp_path: Path) -> None:
    """Levels by chance, four bytes a pixel too: three pixels of four bytes are four words of three."""
    chance = random.Random(7)  # noqa: S311 - a case, the same in every run
    levels = chance.randbytes(120)
    encoder = Encoder(kinds, len(levels))
    assert levels == decoded(tmp_path, encoder.encode(levels), encoder.choice.wave.hertz)


def test_a_logic_analyser_that_is_told_something_else_finds_it(tmp_path: Path) -> None:
    """One bit of one byte is enough: the decoder can fail."""
    encoder = Encoder(["ws2812b"], 3)
    data = encoder.encode(b"\x12\x34\x56")
    assert b"\x12\x34\x56" == decoded(tmp_path, data, 2_400_000)
    assert b"\x12\x34\x57" == decoded(tmp_path, encoder.encode(b"\x12\x34\x57"), 2_400_000)


@pytest.mark.parametrize(
    ("byte", "three", "four", "long"),
    [
        (0x00, "924924", "88888888", "88888888"),
        (0xFF, "db6db6", "cccccccc", "eeeeeeee"),
        (0xAA, "d34d34", "c8c8c8c8", "e8e8e8e8"),
        (0x55, "9a69a6", "8c8c8c8c", "8e8e8e8e"),
        (0x80, "d24924", "c8888888", "e8888888"),
        (0x01, "924926", "8888888c", "8888888e"),
    ],
)
def test_a_byte_as_its_rows_of_bits(
    byte: int, three: str, four: str, long: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Worked out by hand: 100/110, 1000/1100 and 1000/1110."""
    for wave, expected in ((THREE, three), (FOUR, four), (LONG_FOUR, long)):
        monkeypatch.setattr("adapters.outputs.spi_waves.WAVES", (wave,))
        data = Encoder(["ws2812b"], 1).encode(bytes([byte]))
        assert expected == data.strip(b"\0").hex()


@pytest.mark.parametrize(
    ("wave", "microseconds", "expected"),
    [(THREE, 50, 15), (THREE, 80, 24), (THREE, 280, 84), (FOUR, 50, 20), (FOUR, 80, 32), (FOUR, 280, 112)],
)
def test_a_reset_in_bytes(wave: Wave, microseconds: int, expected: int) -> None:
    """Rounded up: microseconds x bits a second / 8."""
    assert expected == wave.reset_bytes(microseconds)


@pytest.mark.parametrize(
    ("wave", "kind", "expected"),
    [
        (THREE, "ws2812b", []),
        (THREE, "ws2812b-v5", ["T0H", "T1L"]),
        (THREE, "sk6812", ["T1H", "T1L"]),
        (THREE, "ws2811", ["T0H", "T0L", "T1H", "T1L"]),
        (FOUR, "ws2812b", ["T1H", "T1L"]),
        (FOUR, "ws2812b-v5", []),
        (FOUR, "sk6812", []),
        (FOUR, "ws2811", []),
        (LONG_FOUR, "ws2812b", []),
        (LONG_FOUR, "ws2812b-v5", ["T1L"]),
        (LONG_FOUR, "sk6812", ["T1H", "T1L"]),
        (LONG_FOUR, "ws2811", ["T1H", "T1L"]),
    ],
)
def test_which_row_keeps_to_which_sheet(wave: Wave, kind: str, expected: list[str]) -> None:
    """By the tables of the sheets, strictly read: 100/110 at 2.4 MHz, 1000/1100 and 1000/1110 at 3.2 MHz."""
    assert expected == [miss.what for miss in misses(wave, kind)]


def test_one_row_serves_all_that_a_sheet_allows_together() -> None:
    """Any mixture has a row that keeps to all sheets, unless a WS2812B is with its later kind or with a WS2811."""
    for count in range(1, len(SHEETS) + 1):
        for kinds in combinations(SHEETS, count):
            apart = "ws2812b" in kinds and bool({"ws2811", "ws2812b-v5"} & set(kinds))
            assert apart == bool(choose(kinds).misses), kinds


def test_boards_that_make_their_pulses_themselves_go_by_the_same_sheets() -> None:
    """What `bridge.chain.pulses` gives the program of a node is within the widths here, for every chip."""
    for kind, sheet in SHEETS.items():
        widths = zip(pulses_for([kind]).times, (sheet.t0h, sheet.t0l, sheet.t1h, sheet.t1l), strict=True)
        assert all(least <= width <= most for width, (least, most) in widths), kind


def test_what_no_row_satisfies_is_told_with_how_much_it_misses_by() -> None:
    """A 1 of one chip is low for 500 ns at the most, of the other for 580 at the least: 540 misses each by 40."""
    choice = choose(["ws2812b", "ws2812b-v5"])
    assert [
        "T1H is 721 ns where the data sheet of ws2812b has 750 to 1050, 29 ns too short",
        "T1L is 541 ns where the data sheet of ws2812b has 200 to 500, 41 ns too long",
        "T1L is 541 ns where the data sheet of ws2812b-v5 has 580 to 1000, 39 ns too short",
    ] == [str(miss) for miss in choice.misses]
    assert "1100000/1111000 at 5.55 MHz" == str(choice.wave)


def test_no_row_misses_both_sheets_by_less() -> None:
    """Tried: every row of up to 9 bits, in steps of 50 kHz, and none is nearer by more than half a nanosecond."""
    kinds = ("ws2812b", "ws2812b-v5")
    ours = max(miss.by for miss in choose(kinds).misses)
    best = min(
        max((miss.by for kind in kinds for miss in misses(Wave(bits, zero, one, hertz), kind)), default=0.0)
        for bits in range(3, 10)
        for zero in range(1, bits - 1)
        for one in range(zero + 1, bits)
        for hertz in range(2_000_000, 9_000_000, 50_000)
    )
    assert ours <= best + 0.5


def test_the_slowest_chip_of_a_chain_says_how_long_a_reset_is() -> None:
    """80 and 280 microseconds on one line are 280."""
    encoder = Encoder(["sk6812", "ws2812b-v5"], 6)
    assert 2 * 112 + 6 * 4 == encoder.length
