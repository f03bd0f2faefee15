"""From the layout file to the bytes on the data line, worked out by hand.

A share of full light becomes the byte `share x 255`, rounded; a byte that is turned round is 255 minus that.
"""

from __future__ import annotations

from typing import Final

import pytest

from bridge.chain.frames import Frames
from bridge.check import check_text
from bridge.layout.findings import errors
from bridge.light.pictures import plan_devices
from bridge.light.plans import DevicePlan

FILE: Final = """\
layout: Tarn
colours:
  lamp-oil: {red: 100%, green: 36%}
  moonlight: {blue: 10%, white: 50%}
builds:
  searchlight: {chips: [ws2812b], lamps: {head: {full-colour: 1}}}
  three-lamp: {chips: [ws2811], lamps: {green: {channel: 1}, red: {channel: 2}, yellow: {channel: 3}}}
  two-colour: {chips: [ws2811], lamps: {red: {channel: 1}, green: {channel: 2}, yellow: {mix: {red: 100%, green: 45%}}}}
  house: {chips: [sk6812-rgbw], lamps: {room: {full-colour: 1}}}
  porch: {chips: [sk6812-rgbw], lamps: {room: {full-colour: 1, colour: lamp-oil}}}
  roof: {chips: [ws2811], lamps: {white: {channel: 2, inverted: true}}}
  dwarf: {chips: [ws2811], lamps: {red: {channel: 1}}}
  yard-lamp: {chips: [ws2811], lamps: {white: {channel: 1, dimmable: false}, amber: {channel: 2}}}
  street: {chips: [ws2811], lamps: {amber: {channels: [{channel: 1}, {channel: 3, level: 60%}]}}}
  own-yellow: {chips: [ws2812b, ws2811], lamps: {head: {full-colour: 1}, yellow: {chip: 2, channel: 2}}}
  two-headed:
    chips: [ws2811, ws2811]
    heads:
      upper: {red: {channel: 1}, green: {channel: 2}}
      lower: {red: {channel: 3}, yellow: {chip: 2, channel: 1}}
nodes:
  tarn:
    chains:
      - name: yard
        order: {sk6812-rgbw: GRBW}
        fixtures:
          - {name: search, build: searchlight}             # bytes 0 to 2: G, R, B
          - {name: three, build: three-lamp}               # bytes 3 to 5: channels 1, 2, 3
          - {name: two, build: two-colour}                 # bytes 6 to 8
          - {name: crossed, build: three-lamp, order: 231} # bytes 9 to 11: channels 2, 3, 1
          - {name: house, build: house}                    # bytes 12 to 15: G, R, B, W
          - {name: porch, build: porch, order: RGBW}       # bytes 16 to 19: R, G, B, W
          - {name: left, build: dwarf}                     # byte 20
          - {name: right, build: dwarf, shares: left, first-channel: 3}  # byte 22
          - {name: masts, build: two-headed}               # bytes 23 to 25 and 26 to 28
          - {name: own, build: own-yellow}                 # bytes 29 to 31: G, R, B; 32 to 34
      - name: platform
        fixtures:
          - {name: roof, build: roof}                      # byte 1 is turned round
          - {name: lamp, build: yard-lamp}                 # bytes 3 and 4
          - {name: street, build: street}                  # bytes 6 and 8
aspects:
  masts: {stop: {upper: red, lower: red}, medium: {upper: red, lower: yellow}, clear: {upper: green, lower: dark}}
  own: {stop: red, approach: yellow, advance: yellow 60%, lit: head, clear: green}
signals:
  search: {commands: {1: {normal: stop, reverse: clear}, 2: {normal: approach, reverse: restricting}}}
  three: {commands: {3: {normal: stop, reverse: clear}, 4: {normal: approach}}}
  two: {commands: {5: {normal: stop, reverse: clear}, 6: {normal: approach}}}
  crossed: {commands: {7: {normal: stop, reverse: clear}, 8: {normal: approach}}}
  left: {aspects: {stop: red, proceed: dark}, commands: {9: {normal: stop, reverse: proceed}}}
  right: {aspects: {stop: red, proceed: red 50%}, commands: {10: {normal: stop, reverse: proceed}}}
  masts: {aspects: masts, commands: {11: {normal: stop, reverse: clear}, 12: {normal: medium}}}
  own: {aspects: own, commands: {13: {normal: stop, reverse: clear}, 14: {normal: approach, reverse: lit}}}
lights:
  house: {when: {accessory: 20}, shows: SHOWS}
  porch: {when: {accessory: 21}, shows: 50%}
  roof: {when: {accessory: 22}, shows: 60%}
  lamp: {when: {accessory: 23}, shows: 30%}
  street: {when: {accessory: 24}}
"""


def _plans(text: str) -> tuple[dict[str, DevicePlan], Frames]:
    checked = check_text(text)
    assert checked.layout is not None, [finding.line("f") for finding in checked.findings]
    return {plan.name: plan for plan in plan_devices(checked.layout)[0]}, Frames(checked.layout)


def _light(frames: Frames, plan: DevicePlan, levels: tuple[int, ...]) -> None:
    """Set the channels of a device to levels."""
    for (chain, offset), level in zip(plan.places, levels, strict=True):
        slot = frames.bases[chain] + offset
        frames.put(slot, frames.byte(slot, level))


def _frame(device: str, aspect: str, shows: str = "on") -> bytes:
    """Return the frame of the device's chain while it alone is lit."""
    plans, frames = _plans(FILE.replace("SHOWS", shows))
    plan = plans[device]
    _light(frames, plan, plan.looks[aspect].lit)
    return frames.frame(plan.places[0][0])


@pytest.mark.parametrize(
    ("device", "aspect", "first", "levels"),
    [
        # One full-colour pixel; its bytes are G, R, B.
        ("search", "stop", 0, [0, 255, 0]),
        # A WS2812B has 625 mcd of red, 1250 of green and 300 of blue; red is the weakest of its colours.
        # Green is G 100 %, B 21.45 %, 1314 mcd: x 625 / 1314 = 0.4755. 121.3 and 26.0.
        ("search", "clear", 0, [121, 0, 26]),
        # Yellow is R 100 %, G 35.97 %, 1075 mcd: x 0.5816. 53.3 and 148.3.
        ("search", "approach", 0, [53, 148, 0]),
        # Lunar is R 98.03 %, G 100 %, B 61.88 %, 2048 mcd: x 0.3051. 77.8, 76.3 and 48.1.
        ("search", "restricting", 0, [78, 76, 48]),
        # LEDs of their own on a driver: yellow is channel 3, whatever that channel is called in the sheet.
        ("three", "clear", 3, [255, 0, 0]),
        ("three", "stop", 3, [0, 255, 0]),
        ("three", "approach", 3, [0, 0, 255]),
        # Yellow from a red and a green LED behind one lens.
        ("two", "stop", 6, [255, 0, 0]),
        ("two", "clear", 6, [0, 255, 0]),
        ("two", "approach", 6, [255, 115, 0]),  # 0.45 x 255 = 114.75
        # A chip in the middle of the chain that takes channel 2 first, then 3, then 1.
        ("crossed", "clear", 9, [0, 0, 255]),
        ("crossed", "stop", 9, [255, 0, 0]),
        ("crossed", "approach", 9, [0, 255, 0]),
        # Two fixtures on one chip: the second begins at channel 3.
        ("left", "stop", 20, [255, 0, 0]),
        ("left", "proceed", 20, [0, 0, 0]),
        ("right", "stop", 20, [0, 0, 255]),
        ("right", "proceed", 20, [0, 0, 128]),  # 0.5 x 255 = 127.5
        # Two heads over two chips: upper red, upper green, lower red; lower yellow.
        ("masts", "stop", 23, [255, 0, 255, 0, 0, 0]),
        ("masts", "medium", 23, [255, 0, 0, 255, 0, 0]),
        ("masts", "clear", 23, [0, 255, 0, 0, 0, 0]),
        # A full-colour lamp with a yellow LED beside it: asked for yellow, the LED lights alone.
        ("own", "approach", 29, [0, 0, 0, 0, 255, 0]),
        ("own", "advance", 29, [0, 0, 0, 0, 153, 0]),  # 0.6 x 255 = 153
        # The weakest is the yellow LED, 200 mcd by the table. Red is x 200 / 625 = 0.32, so 81.6.
        ("own", "stop", 29, [0, 82, 0, 0, 0, 0]),
        # White is R 100 %, G 99.89 %, B 49.24 %, 2021 mcd: x 0.0989. 25.2, 25.2 and 12.4.
        ("own", "lit", 29, [25, 25, 12, 0, 0, 0]),
    ],
)
def test_a_signal_lights_these_bytes(device: str, aspect: str, first: int, levels: list[int]) -> None:
    """Each aspect lights the bytes that follow from the wiring, and no others of its chain."""
    expected = bytearray(35)
    expected[first : first + len(levels)] = bytes(levels)
    assert expected == _frame(device, aspect)


@pytest.mark.parametrize(
    ("shows", "levels"),
    [
        # Bytes G, R, B, W, as the whole chain has its sk6812-rgbw.
        ("on", [0, 0, 0, 255]),
        ("white", [0, 0, 0, 255]),
        ("white 60%", [0, 0, 0, 153]),  # 0.6 x 255 = 153
        ("warm-white", [54, 118, 0, 255]),  # 2700 K: R 46.28 % and G 21.36 % beside a die of 2850 K
        ("2850 K", [0, 0, 0, 255]),
        ("red", [0, 255, 0, 0]),
        ("yellow", [90, 255, 0, 0]),  # G 35.21 %: 89.8
        ("lamp-oil", [92, 255, 0, 0]),  # the owner's own: 0.36 x 255 = 91.8
        ("lamp-oil 80%", [73, 204, 0, 0]),  # 0.8 x 255 = 204, 0.36 x 0.8 x 255 = 73.4
        ("moonlight", [0, 0, 26, 128]),  # 0.1 x 255 = 25.5, 0.5 x 255 = 127.5
    ],
)
def test_a_lamp_with_a_white_die_uses_it_for_white(shows: str, levels: list[int]) -> None:
    """White comes from the white die, as far as its colour allows; the owner's own colours may use all four."""
    assert bytes([*[0] * 12, *levels, *[0] * 19]) == _frame("house", "on", shows)


def test_a_lamp_has_a_colour_of_its_own() -> None:
    """`on` shows the colour that the build gives the lamp, in the order of this one chip: R, G, B, W."""
    # 0.5 x 255 = 127.5 and 0.36 x 0.5 x 255 = 45.9
    assert bytes([*[0] * 16, 128, 46, 0, 0, *[0] * 15]) == _frame("porch", "on")


def test_a_channel_that_is_turned_round_is_dark_at_full() -> None:
    """An inverted channel is dark at 255 before anything was said, and while it is off."""
    frames = _plans(FILE.replace("SHOWS", "on"))[1]
    dark = bytes([0, 255, 0, 0, 0, 0, 0, 0, 0])
    assert (bytes(35), dark) == frames.frames()
    assert dark == _frame("roof", "off")
    assert bytes([0, 102, 0, 0, 0, 0, 0, 0, 0]) == _frame("roof", "on")  # 255 - 0.6 x 255 = 102


def test_a_lamp_that_is_switched_only_is_fully_lit() -> None:
    """Asked for 30 %, a lamp that may not be dimmed gives all it has, and the one beside it 30 %."""
    # 0.3 x 255 = 76.5, and 30 % of 65535 is a little more than 19660.5
    assert bytes([0, 255, 0, 255, 77, 0, 0, 0, 0]) == _frame("lamp", "on")


def test_the_channels_of_one_lamp_have_their_shares() -> None:
    """A lamp of several channels lights them together, each with its level: 0.6 x 255 = 153."""
    assert bytes([0, 255, 0, 0, 0, 0, 255, 0, 153]) == _frame("street", "on")


@pytest.mark.parametrize(
    ("lamps", "levels"),
    [("[yellow]", [255, 115]), ("[green]", [0, 255]), ("[red, yellow]", [255, 115]), ("", [255, 255])],
)
def test_a_light_may_be_a_mixed_lamp(lamps: str, levels: list[int]) -> None:
    """A light that is a mix lights the LEDs that are mixed; where lamps overlap, the brighter counts."""
    text = FILE.replace("SHOWS", "on").replace(
        "  two: {commands: {5: {normal: stop, reverse: clear}, 6: {normal: approach}}}\n", ""
    )
    plans, frames = _plans(
        text + f"  two: {{when: {{accessory: 30}}{', lamps: ' + lamps if lamps else ''}}}\n"
    )
    _light(frames, plans["two"], plans["two"].looks["on"].lit)
    assert bytes([*levels, 0]) == frames.frame(0)[6:9]


@pytest.mark.parametrize("shown", ["[red, yellow 50%]", "[yellow 50%, red]"])
def test_lamps_of_one_head_may_be_lit_together(shown: str) -> None:
    """Several words light together, and where they need the same LED, the brighter counts in any order."""
    text = FILE.replace("SHOWS", "on").replace(
        "two: {commands: {5:",
        f"two: {{aspects: {{stop: {shown}, clear: green, approach: yellow}}, commands: {{5:",
    )
    plans, _frames = _plans(text)
    # Red at full. Green: 45 % is 29491, 50 % is 32768 (both rounded), and 29491 x 32768 / 65535 = 14745.7.
    assert (65535, 14746) == plans["two"].looks["stop"].lit


@pytest.mark.parametrize(
    ("change", "to", "says"),
    [
        (
            "shows: SHOWS",
            "shows: crimson",
            "house cannot be lit so: no colour is called 'crimson'; use one of: ",
        ),
        (
            "own: {stop: red,",
            "own: {stop: 50%,",
            "own cannot show stop: a level alone does not say what is lit; use ",
        ),
        (
            "own: {stop: red,",
            "own: {stop: room,",
            "own cannot show stop: 'room' is no lamp and no colour here; ",
        ),
        (
            "own: {stop: red,",
            "own: {stop: moonlight,",
            "the colour moonlight uses a white LED, and the lamp head has only",
        ),
        (
            "when: {accessory: 24}",
            "when: {accessory: 24}, shows: red",
            "its lamp amber is amber, not red: say which `lamps` are meant",
        ),
    ],
)
def test_what_a_lamp_cannot_show_is_refused(change: str, to: str, says: str) -> None:
    """Light that the wiring cannot give is refused, with what it can."""
    text = FILE.replace(change, to).replace("SHOWS", "on")
    assert text != FILE.replace("SHOWS", "on")
    checked = check_text(text)
    assert checked.layout is None
    assert any(says in finding.message for finding in checked.findings)


def test_one_of_several_lamps_has_to_be_named() -> None:
    """Where two lamps of a head could show a colour, which one is not for lamproom to choose."""
    text = (
        FILE.replace("SHOWS", "on")
        .replace(
            "dwarf: {chips: [ws2811], lamps: {red: {channel: 1}}}",
            "dwarf: {chips: [ws2811], lamps: {a-red: {channel: 1}, b-red: {channel: 2}}}",
        )
        .replace("shares: left, first-channel: 3", "order: RGB")
    )
    assert {
        f"{name} cannot show {aspect}: its head has several lamps that can show red: name a-red or b-red"
        for name, aspect in [("left", "stop"), ("right", "stop"), ("right", "proceed")]
    } == {finding.message for finding in errors(check_text(text).findings)}
