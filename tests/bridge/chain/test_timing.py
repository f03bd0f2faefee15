"""How long a frame takes on the data line."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bridge.chain.timing import frame_time_ns, look_at_timing
from bridge.check import check_text
from bridge.layout import Layout, read_layout
from bridge.layout.model import Chain

FILE = """\
layout: any
frames-per-second: {rate}
builds:
  pixel: {{chips: [{chip}], lamps: {{head: {{full-colour: 1}}}}}}
nodes:
  n:
    chains:
      - name: line
        fixtures: [{fixtures}]
"""


def _file(chip: str, count: int, rate: int = 50) -> str:
    fixtures = ", ".join(f"{{name: P{index}, build: pixel}}" for index in range(count))
    return FILE.format(chip=chip, rate=rate, fixtures=fixtures)


def _layout(chip: str, count: int) -> Layout:
    layout, findings = read_layout(_file(chip, count))
    assert () == findings
    assert layout is not None
    return layout


def _chain(chip: str, count: int) -> Chain:
    return _layout(chip, count).chains[0]


@pytest.mark.parametrize(
    ("chip", "count", "microseconds"),
    [
        # t = N x bits x T_bit + T_reset with a bit of 1.25 us (800 kbit/s) and the reset of each sheet.
        # 24 bits, 50 us: Worldsemi WS2811 (high speed) and WS2812B (early sheet).
        ("ws2811", 1, 80),
        ("ws2811", 100, 3050),
        ("ws2811", 300, 9050),
        ("ws2812b", 1, 80),
        ("ws2812b", 300, 9050),
        # 24 bits, 280 us: Worldsemi WS2812B V5.0 of 2019-03-23, page 3.
        ("ws2812b-v5", 1, 310),
        ("ws2812b-v5", 100, 3280),
        # 24 bits, 80 us: OPSCO SK6812MINI Rev 01, section 10.
        ("sk6812", 1, 110),
        ("sk6812", 100, 3080),
        # 32 bits, 80 us: OPSCO SK6812RGBW Rev 01, sections 10 and 13.
        ("sk6812-rgbw", 1, 120),
        ("sk6812-rgbw", 100, 4080),
    ],
)
def test_a_frame_takes_its_bits_and_the_reset(chip: str, count: int, microseconds: int) -> None:
    """The time of a frame is that of all its bits, and then the reset of the chip."""
    assert microseconds * 1000 == frame_time_ns(_chain(chip, count))


def test_a_chain_of_several_kinds_waits_for_the_longest_reset() -> None:
    """Where chips of several kinds hang on one line, the longest reset ends the frame."""
    old, new = _chain("ws2812b", 1), _chain("ws2812b-v5", 1)
    assert 340_000 == frame_time_ns(replace(old, chips=(*new.chips, *old.chips)))  # 2 x 30 us and 280 us


@pytest.mark.parametrize(("count", "slow"), [(331, False), (332, True)])
def test_a_chain_that_is_too_slow_is_warned_of(count: int, slow: bool) -> None:
    """At 100 frames a second a line has room for 331 chips of 24 bits: 331 x 30 us + 50 us is 9.98 ms."""
    checked = check_text(_file("ws2812b", count, rate=100))
    told = (
        "f:8:9: warning: a frame of n/line takes 10010 microseconds on the data line, so the chain shows 99 a second "
        "and not 100: split it, or lower frames-per-second"
    )
    assert ([told] if slow else []) == [finding.line("f") for finding in checked.findings]
    assert checked.layout is not None


def test_chips_of_two_speeds_cannot_share_a_line() -> None:
    """A line has one speed, so a chip that wants another is an error."""
    layout = _layout("ws2811", 2)
    [chain] = layout.chains
    slow = replace(chain.chips[1], type=replace(chain.chips[1].type, name="slow", bit_ns=2500))
    mixed = replace(layout, chains=(replace(chain, chips=(chain.chips[0], slow)),))
    assert ["f:8:9: error: ws2811 and slow do not run at the same speed: put them on two chains"] == [
        finding.line("f") for finding in look_at_timing(mixed)
    ]
    assert () == look_at_timing(layout)


def test_a_chain_has_a_longest_frame() -> None:
    """A frame that no data line could carry at a useful rate is refused."""
    chips = ", ".join(["ws2811"] * 64)
    text = FILE.format(
        chip=chips, rate=1, fixtures=", ".join(f"{{name: P{n}, build: pixel}}" for n in range(339))
    )
    assert [
        # 339 fixtures of 64 chips of 3 bytes
        "f:8:9: error: a frame of n/line has 65088 bytes: 65000 are allowed, so split the chain"
    ] == [finding.line("f") for finding in check_text(text).findings]
