"""What the page is given: colours that a railroader recognises, lenses of devices, and figures in words."""

from __future__ import annotations

from colorsys import rgb_to_hsv
from pathlib import Path
from typing import Any, Final

import pytest

from bridge.layout.chips import CHIP_TYPES
from bridge.layout.read import read_layout
from bridge.layout.units import FULL_LEVEL
from bridge.light.colours import COLOURS
from bridge.light.solving import mix
from bridge.service.screen import Screen, describe, in_words
from tests.support.adapters import ran
from tests.support.as_built import YARD
from tests.support.driving import layout as layout_of
from tests.support.lit import street
from tests.support.waiting import until

LAYOUT = """\
layout: Harrow Gap
builds:
  pixel: {chips: [ws2812b], lamps: {head: {full-colour: 1}}}
  newer: {chips: [ws2812b-v5], lamps: {head: {full-colour: 1}}}
  brighter: {chips: [sk6812], lamps: {head: {full-colour: 1}}}
  three-lead: {chips: [ws2811], lamps: {
    red: {channel: 1, lens: eye}, green: {channel: 2, lens: eye}, yellow: {mix: {red: 100%, green: 45%}}}}
  three-lamp: {chips: [ws2811], lamps: {green: {channel: 1}, yellow: {channel: 2}, red: {channel: 3}}}
  street: {chips: [ws2811], lamps: {lamps: {colour: amber, channels: [
    {channel: 1}, {channel: 2}, {channel: 3, level: 60%}]}}}
  mill: {chips: [sk6812-rgbw, sk6812-rgbw], lamps: {attic: {full-colour: 2}, kitchen: {full-colour: 1}}}
nodes:
  gap:
    chains:
      - name: main
        fixtures:
          - {name: S1, build: pixel}
          - {name: V5, build: newer}
          - {name: SK, build: brighter}
          - {name: S2, build: three-lead}
          - {name: S3, build: three-lamp}
          - {name: street, build: street}
          - {name: mill, build: mill}
signals:
  S1: {commands: {61: {normal: stop, reverse: clear}}}
  S2: {commands: {62: {normal: stop, reverse: approach}}}
  S3: {commands: {63: {normal: stop, reverse: approach}}}
lights:
  kitchen: {fixture: mill, lamps: [kitchen], when: {accessory: 70}}
  attic: {fixture: mill, lamps: [attic], when: {accessory: 71}}
  street: {when: {accessory: 72}}
"""

PIXELS = {"ws2812b": "S1", "ws2812b-v5": "V5", "sk6812": "SK"}
"""A fixture with a pixel of each kind."""


@pytest.fixture(scope="module")
def described() -> dict[str, Any]:
    layout, findings = read_layout(LAYOUT)
    assert layout is not None, findings
    return describe(layout, "main")


def lenses(described: dict[str, Any], fixture: str) -> list[dict[str, Any]]:
    """Return the lenses of a fixture, from the top downwards."""
    placed = {each["name"]: each for each in described["chains"][0]["fixtures"]}[fixture]
    return [lens for head in placed["heads"] for lens in head["lenses"]]


def shine(lens: dict[str, Any], **shares: float) -> list[float]:
    """Return the linear light of a lens whose dies are at these shares, with no component below zero."""
    lit = [(shares.get(die["name"], 0.0), die["rgb"]) for die in lens["dies"]]
    return [max(0.0, sum(share * rgb[part] for share, rgb in lit)) for part in range(3)]


def hue(light: list[float]) -> float:
    """Return the hue of linear light as a screen encodes it (IEC 61966-2-1), in degrees."""
    most = max(light)
    shares = (part / most for part in light)
    encoded = [12.92 * part if part <= 0.0031308 else 1.055 * part ** (1 / 2.4) - 0.055 for part in shares]
    return 360 * rgb_to_hsv(*encoded)[0]


def named(described: dict[str, Any], colour: str, chip: str = "ws2812b") -> list[float]:
    """Return what a pixel looks like in a colour that has a name."""
    mixture = mix(COLOURS[colour], CHIP_TYPES[chip].dies)
    return shine(
        lenses(described, PIXELS[chip])[0], **{die: mixture.level(die) / FULL_LEVEL for die in "RGB"}
    )


@pytest.mark.parametrize("chip", PIXELS)
@pytest.mark.parametrize(
    ("colour", "least", "most"),
    [("yellow", 30, 45), ("amber", 27, 42), ("warm-white", 35, 50), ("green", 135, 157), ("lunar", 225, 250)],
)
def test_a_colour_by_name_has_its_hue(
    described: dict[str, Any], colour: str, least: float, most: float, chip: str
) -> None:
    """Yellow is no lemon, green no turquoise (180 degrees), warm white warm: common practice, no source."""
    assert least <= hue(named(described, colour, chip)) <= most


@pytest.mark.parametrize("chip", PIXELS)
def test_white_is_white(described: dict[str, Any], chip: str) -> None:
    """The mixture that is D65 on the layout is the white of sRGB, which is D65 too (IEC 61966-2-1)."""
    assert [1, 1, 1] == pytest.approx(named(described, "white", chip), abs=0.01)


@pytest.mark.parametrize("chip", PIXELS)
def test_red_has_nothing_else(described: dict[str, Any], chip: str) -> None:
    """What a red die takes away from a mixture leaves red as it is."""
    assert [1, 0, 0] == named(described, "red", chip)


def test_a_mixed_yellow_is_the_yellow_of_an_led(described: dict[str, Any]) -> None:
    """Red and green behind one lens look like the yellow LED of another signal."""
    _green, yellow, _red = lenses(described, "S3")
    mixed = shine(lenses(described, "S2")[0], red=1.0, green=0.45)
    assert hue(shine(yellow, yellow=1.0)) == pytest.approx(hue(mixed), abs=2)


def test_a_green_led_is_signal_green(described: dict[str, Any]) -> None:
    """Green has a little blue: far from yellow-green (90 degrees) and from turquoise (180 degrees)."""
    green, _yellow, _red = lenses(described, "S3")
    assert 135 <= hue(shine(green, green=1.0)) <= 157


def test_channels_of_one_lamp_are_one_light(described: dict[str, Any]) -> None:
    """Three channels, one held at 60 %, give the lamp's colour once when the lamp is full, and not thrice."""
    (lens,) = lenses(described, "street")
    _green, yellow, _red = lenses(described, "S3")
    full = [sum(share * die["rgb"][part] for share, die in zip((1, 1, 0.6), lens["dies"], strict=True))
            for part in range(3)]  # fmt: skip
    assert max(full) == pytest.approx(1, abs=1e-4)
    assert 20 <= hue(full) < hue(shine(yellow, yellow=1.0))


def test_dies_are_named(described: dict[str, Any]) -> None:
    """A die of a pixel by its letter, at its byte on the wire; an LED by its lamp."""
    (pixel,), (eye,) = lenses(described, "S1"), lenses(described, "S2")
    assert {"R": 1, "G": 0, "B": 2} == {die["name"]: die["byte"] for die in pixel["dies"]}
    assert {"red": 9, "green": 10} == {die["name"]: die["byte"] for die in eye["dies"]}


def test_a_device_has_its_own_lenses(described: dict[str, Any]) -> None:
    """All of a signal's mast, and the rooms of a light that is one of several in a house."""
    expected = {"S1": [0], "S2": [0], "S3": [0, 1, 2], "kitchen": [1], "attic": [0], "street": [0]}
    assert expected == {
        device["name"]: place["lenses"] for device in described["devices"] for place in device["places"]
    }


MASTERED: Final = street(
    "{accessory: 71}, effect: obstruction-red, zone: town",
    "{accessory: 72}, effect: steady",
    more="""\
zones: {town: {rows: [{when: {accessory: 75}, level: 40%}]}}
still: {when: {button: calm, toggles: true}}
""",
)


async def test_what_is_over_several_lights_is_told_with_them(tmp_path: Path) -> None:
    """A zone and the switch that stills all flashing: how they stand, why, and since when they do."""
    async with ran(tmp_path, MASTERED) as found:
        screen = Screen(found.runner, found.notes, bridge="main", broker="127.0.0.1:1883")
        rows = {each["name"]: each for each in screen.description()["devices"]}
        assert ("town", "zone", []) == tuple(rows["zone/town"][key] for key in ("title", "kind", "places"))
        assert "all flashing" == rows["still/flashing"]["title"]
        await until(lambda: "still/flashing" in screen.picture()["devices"])
        before = screen.picture()["devices"]
        assert ("100%", "not stilled") == (before["zone/town"]["aspect"], before["still/flashing"]["aspect"])
        assert {"start"} == {before[key]["since"] for key in ("zone/town", "still/flashing")}
        found.sources["panel"].order("75 reverse")
        await until(lambda: "40%" == screen.picture()["devices"]["zone/town"]["aspect"])
        after = screen.picture()["devices"]
        assert "accessory 75 was ordered reverse" in after["zone/town"]["reason"]
        assert "start" != after["zone/town"]["since"]
        assert before["still/flashing"] == after["still/flashing"]


def test_what_a_light_does_is_told_in_words() -> None:
    """By the word of the layout file; a steady light and a signal do nothing."""
    layout, findings = read_layout(MASTERED)
    assert layout is not None, findings
    does = {each["name"]: each.get("effect") for each in describe(layout, "main")["devices"]}
    assert {"H1": "obstruction red", "H2": "", "T2": ""}.items() <= does.items()


@pytest.mark.parametrize(
    ("figures", "expected"),
    [
        (
            {"sent": 48, "skipped": 2, "kept_alive": 7, "acknowledged": 40, "round_trip_ns": 2_040_000},
            "48 frames sent, 7 of them keep-alives, 2 passed over by newer ones, answered after 2.0 ms",
        ),
        (
            {"sent": 1, "skipped": 0, "kept_alive": 0, "acknowledged": 0, "round_trip_ns": 0},
            "1 frame sent, no answer yet",
        ),
        ({"sent": 3, "acknowledged": 2, "round_trip_ns": 0}, "3 frames sent, no answer at present"),
        ({"sent": 3, "late_packets": 2}, "3 frames sent, late packets: 2"),
    ],
)
def test_figures_in_words(figures: dict[str, int], expected: str) -> None:
    """What was nought is left out, what has not been answered says so, and a strange figure is told by its name."""
    assert expected == in_words(figures)


def test_two_signals_on_one_mast_have_the_lenses_of_their_own_heads() -> None:
    """They are counted from the top of the mast, and each signal has those of its heads and no other's."""
    text = """\
layout: Harrow Gap
builds:
  mast:
    chips: [ws2811, ws2811]
    heads:
      upper: {green: {channel: 1}, red: {channel: 2}}
      lower: {green: {chip: 2, channel: 1}, yellow: {chip: 2, channel: 2}}
nodes: {gap: {chains: [{name: main, fixtures: [{name: mast, build: mast}]}]}}
signals:
  home:
    fixture: mast
    heads: [upper]
    aspects: {stop: red, clear: green}
    commands: {61: {normal: stop, reverse: clear}}
  distant:
    fixture: mast
    heads: [lower]
    aspects: {caution: yellow, proceed: green}
    follows: {signal: home, shows: {clear: proceed}}
"""
    layout, findings = read_layout(text)
    assert layout is not None, findings
    own = {each["name"]: each["places"][0]["lenses"] for each in describe(layout, "main")["devices"]}
    assert {"home": [0, 1], "distant": [2, 3]} == own


def test_what_is_planned_is_shown_as_planned() -> None:
    """It stands in its place on the chain without a position, and so does a chip that was bypassed."""
    yard, line = describe(
        layout_of(YARD.replace("build: pair, bypassed: 1", "build: pair, bypassed: [1, 2]")), "main"
    )["chains"]
    places = {
        each["name"]: (each["first"], each.get("position text"), each.get("planned"))
        for each in yard["fixtures"]
    }
    assert {
        "A": (1, None, None),
        "P": (0, "planned", True),
        "B": (2, None, None),
        "C": (0, "bypassed", None),
        "H": (3, None, None),
        "D": (5, None, None),
        "E": (6, None, None),
    } == places
    assert (False, True, 0) == (yard["planned"], line["planned"], line["length"])
    [lens, *_lenses] = yard["fixtures"][1]["heads"][0]["lenses"]
    assert lens["dies"][0]["byte"] < 0
