"""All lamps of a signal are as bright as its weakest, and trims lie over that: worked out by hand from the layout."""

from __future__ import annotations

from typing import Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.check import check_text
from bridge.layout.model import Layout
from bridge.layout.units import FULL_LEVEL, part
from bridge.light.pictures import plan_devices
from bridge.light.plans import DevicePlan

FILE: Final = """\
layout: Marl
CHIPS
builds:
  pixel: {chips: [ws2812b-v5], lamps: {head: {full-colour: 1}}}
  leds: {chips: [ws2811], lamps: {green: {channel: 1}, red: {channel: 2}}}
  measured: {chips: [ws2811], lamps: {green: {channel: 1, mcd: 900}, red: {channel: 2, mcd: 300}}}
  string:
    chips: [ws2811]
    lamps: {green: {channel: 1, mcd: 50}, red: {leds: 2, channels: [{channel: 2}, {channel: 3}]}}
  switched: {chips: [ws2811], lamps: {green: {channel: 1, mcd: 900, dimmable: false}, red: {channel: 2, mcd: 300}}}
  mixed:
    chips: [ws2811]
    lamps: {green: {channel: 1, mcd: 400}, red: {channel: 2, mcd: 300}, yellow: {mix: {red: 100%, green: 50%}}}
  dies: {chips: [ws2812b-v5], lamps: {green: {channel: G}, red: {channel: R}}}
  two-headed:
    chips: [ws2812b-v5, ws2811]
    heads: {upper: {eye: {full-colour: 1}}, lower: {red: {chip: 2, channel: 1}}}
nodes:
  marl:
    chains:
      - name: one
        fixtures:
          - {name: pixel, build: pixel}
          - {name: leds, build: leds}
          - {name: measured, build: measured}
          - {name: string, build: string}
          - {name: switched, build: switched}
          - {name: mixed, build: mixed}
          - {name: dies, build: dies}
          - {name: heads, build: two-headed}
          - {name: lamp, build: pixel}
signals:
  pixel: {aspects: {stop: red, approach: yellow, clear: green}, commands: {1: {normal: stop, reverse: clear}} MATCHED}
  leds: {aspects: {stop: red, clear: green}, commands: {2: {normal: stop, reverse: clear}}}
  measured: {aspects: {stop: red, clear: green, half: green 50%}, commands: {3: {normal: stop, reverse: clear}}}
  string: {aspects: {stop: red, clear: green}, commands: {4: {normal: stop, reverse: clear}}}
  switched: {aspects: {stop: red, clear: green}, commands: {5: {normal: stop, reverse: clear}}}
  mixed: {aspects: {stop: red, approach: yellow, clear: green}, commands: {6: {normal: stop, reverse: clear}}}
  dies: {aspects: {stop: red, clear: green}, commands: {7: {normal: stop, reverse: clear}}}
  heads:
    aspects: {stop: {upper: red, lower: red}, clear: {upper: green, lower: red}}
    commands: {8: {normal: stop, reverse: clear}}
lights:
  lamp: {when: {accessory: 9}, shows: green}
"""


def layout(chips: str = "", matched: str = "", change: tuple[str, str] = ("", "")) -> Layout:
    """Return the layout with something said of chips, of matching, or with a passage changed."""
    text = FILE.replace("CHIPS\n", chips).replace(" MATCHED", matched)
    assert change[0] in text
    checked = check_text(text.replace(*change, 1) if change[0] else text)
    assert checked.layout is not None, checked.findings
    return checked.layout


def plans(read: Layout) -> dict[str, DevicePlan]:
    """Return what each device can show."""
    return {plan.name: plan for plan in plan_devices(read)[0]}


def shown(device: str, aspect: str, read: Layout | None = None) -> list[float]:
    """Return the levels of a device's channels for an aspect, 0 to 1."""
    return [level / FULL_LEVEL for level in plans(read or layout())[device].looks[aspect].lit]


@pytest.mark.parametrize(
    ("device", "aspect", "levels"),
    [
        # G, R, B of a WS2812B-V5 by its sheet: 780, 310 and 215 mcd. Red, 310 mcd, is its weakest colour.
        ("pixel", "stop", [0, 1, 0]),
        # Green is G 1, B 0.2004 (x 0.094, y 0.507): 780 + 43 = 823 mcd, so x 310 / 823 = 0.3767.
        ("pixel", "clear", [0.3767, 0, 0.0755]),
        # Yellow is R 1, G 0.2575: 310 + 200.9 = 510.9 mcd, so x 310 / 510.9 = 0.6068.
        ("pixel", "approach", [0.1563, 0.6068, 0]),
        # Of two LEDs nobody knows more than their colour: their resistors settle how bright they are.
        ("leds", "stop", [0, 1]),
        ("leds", "clear", [1, 0]),
        # Measured 900 and 300 mcd: green is a third, and its half level is a half of that.
        ("measured", "stop", [0, 1]),
        ("measured", "clear", [1 / 3, 0]),
        ("measured", "half", [1 / 6, 0]),
        # Two channels of two red LEDs each, 200 mcd by the table, are 800; green has 50.
        ("string", "stop", [0, 1 / 16, 1 / 16]),
        ("string", "clear", [1, 0, 0]),
        # What is switched only stays at full light, whatever the others give.
        ("switched", "clear", [1, 0]),
        # Red 300 and half of green 200: the yellow of both has 500, so both are x 3 / 5; green alone x 3 / 4.
        ("mixed", "approach", [0.3, 0.6]),
        ("mixed", "clear", [0.75, 0]),
        ("mixed", "stop", [0, 1]),
        # Dies of one pixel as lamps of their own: 780 and 310 mcd.
        ("dies", "clear", [310 / 780, 0]),
        ("dies", "stop", [0, 1]),
        # A pixel's head beside an LED's: the LED, 200 mcd by the table, is the weakest of both heads.
        ("heads", "stop", [0, 200 / 310, 0, 1]),
        ("heads", "clear", [200 / 823, 0, 0.2004 * 200 / 823, 1]),
        # A light that is no signal gives all it has.
        ("lamp", "on", [1, 0, 0.2004]),
    ],
)
def test_a_lamp_is_as_bright_as_the_weakest_of_its_signal(
    device: str, aspect: str, levels: list[float]
) -> None:
    """Each level follows from the light of the dies and LEDs of its signal."""
    assert levels == pytest.approx(shown(device, aspect), abs=2e-4)


def test_matching_can_be_turned_off() -> None:
    """With `matched: false` each lamp of a signal gives all it has."""
    off = layout(matched=", matched: false")
    assert [1, 0, 0.2004] == pytest.approx(shown("pixel", "clear", off), abs=2e-4)
    assert [1 / 3, 0] == pytest.approx(shown("measured", "clear", off), abs=2e-4)  # another signal


def test_the_light_that_the_owner_measured_counts() -> None:
    """What the section `chips` says of a die takes the place of its data sheet, also where lamps are matched."""
    read = layout(chips="chips: {ws2812b-v5: {red: {mcd: 780}, green: {mcd: 390}}}\n")
    assert 390 == read.dies_of("ws2812b-v5").green.mcd
    assert [390 / 780] == pytest.approx(shown("dies", "stop", read)[1:], abs=2e-4)
    assert [1] == shown("dies", "clear", read)[:1]


def test_a_measured_hue_changes_the_mixture() -> None:
    """A redder red die needs more green for the same yellow; other types of chips stay as they are."""
    read = layout(chips="chips: {ws2812b-v5: {red: {wavelength: 630 nm}}}\n", matched=", matched: false")
    green, red, _blue = shown("pixel", "approach", read)
    assert red == 1
    assert green > 0.2575 + 0.01


def test_the_white_of_a_strip_is_what_the_owner_says() -> None:
    """Asked for 4250 K, a lamp whose white die has just that lights it alone."""
    text = FILE.replace(" MATCHED", "").replace("lamp, build: pixel", "lamp, build: house")
    text = text.replace("shows: green", "shows: 4250 K")
    text = text.replace(
        "builds:\n", "builds:\n  house: {chips: [sk6812-rgbw], lamps: {room: {full-colour: 1}}}\n"
    )
    usual = check_text(text.replace("CHIPS\n", "")).layout
    own = check_text(text.replace("CHIPS", "chips: {sk6812-rgbw: {white: {temperature: 4250 K}}}")).layout
    assert usual is not None
    assert own is not None
    assert [0, 0, 0, 1] == shown("lamp", "on", own)
    assert [0, 0, 0, 1] != shown("lamp", "on", usual)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("layout: Marl\n", "layout: Marl\nchips: {ws2812b-v5: {trim: 50%}}\n"),
        ("  pixel: {chips: [ws2812b-v5],", "  pixel: {trim: 50%, chips: [ws2812b-v5],"),
        ("lamps: {head: {full-colour: 1}}", "lamps: {head: {full-colour: 1, trim: 50%}}"),
        ("      - name: one\n", "      - name: one\n        trim: 50%\n"),
    ],
)
def test_a_trim_lies_over_the_matching(old: str, new: str) -> None:
    """A trim of a type of chip, a build, a lamp or a chain takes its part of every level, matched or not."""
    read = layout(change=(old, new))
    assert [0.3767 / 2, 0, 0.0755 / 2] == pytest.approx(shown("pixel", "clear", read), abs=2e-4)
    assert [0.5, 0, 0.2004 / 2] == pytest.approx(shown("lamp", "on", read), abs=2e-4)


def test_trims_multiply_and_are_rounded_once() -> None:
    """Four trims of 90 %, 70 %, 50 % and 30 % are 9.45 %, rounded once from the product of what each of them is."""
    text = FILE.replace("CHIPS\n", "chips: {ws2812b-v5: {trim: 50%}}\n").replace(" MATCHED", "")
    text = text.replace("  pixel: {chips: [ws2812b-v5],", "  pixel: {trim: 70%, chips: [ws2812b-v5],")
    text = text.replace("{head: {full-colour: 1}}", "{head: {full-colour: 1, trim: 90%}}")
    text = text.replace("      - name: one\n", "      - name: one\n        trim: 30%\n")
    read = check_text(text).layout
    assert read is not None
    shares = [
        percent * FULL_LEVEL * 2 // 200 + (percent * FULL_LEVEL * 2 % 200 >= 100)
        for percent in (90, 70, 50, 30)
    ]
    exact = shares[0] * shares[1] * shares[2] * shares[3]
    once = (2 * exact + FULL_LEVEL**3) // (2 * FULL_LEVEL**3)
    assert {once} == {wire.trim for wire in read.fixture("pixel").heads[0].lamps[0].wires}
    assert once == plans(read)["lamp"].looks["on"].lit[0]


@given(st.lists(st.integers(0, FULL_LEVEL), min_size=1, max_size=5))
def test_a_product_of_shares_is_rounded_once(shares: list[int]) -> None:
    """However many shares there are, the result is the nearest level to their exact product, halves up."""
    exact = 1
    for share in shares:
        exact *= share
    scale = FULL_LEVEL ** (len(shares) - 1)
    assert -scale < 2 * (part(*shares) * scale - exact) <= scale


def test_the_lowest_level_of_a_lamp_is_kept_on_its_channels() -> None:
    """`least` of a lamp stands on each of its channels; where nothing is said it is 0."""
    read = layout(change=("green: {channel: 1}", "green: {channel: 1, least: 3%}"))
    green, red = read.fixture("leds").heads[0].lamps
    assert [1966] == [wire.least for wire in green.wires]
    assert [0] == [wire.least for wire in red.wires]
