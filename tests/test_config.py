"""The layouts that are shipped run as they stand, and the demo's shows everything that a file can say of wiring."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import pytest

from bridge.check import check_text
from bridge.commands import Cause
from bridge.engine import Engine
from bridge.events import SECOND, AccessoryOrdered, ButtonReported, ButtonState, Position
from bridge.layout.conditions import AccessoryStands, ButtonHeld
from bridge.layout.controls import Ahead, Following
from bridge.layout.model import LampKind
from bridge.service.shipped import DEMO, shipped_layout
from tests.support.tree import ROOT

if TYPE_CHECKING:
    from bridge.layout import Layout

FILES: Final = sorted(path.name for path in (ROOT / "config").glob("*.yaml"))


def layout_of(name: str) -> Layout:
    """Read a shipped layout that has to be sound."""
    layout = check_text(shipped_layout(name)).layout
    assert layout is not None
    return layout


def settled(engine: Engine, *orders: str) -> dict[str, str]:
    """Give orders such as `61 reverse` or `platform pressed`; return the frames as hex when every fade is over.

    The lights of a crossing of which nothing is known flash for ever.
    """
    for order in orders:
        whom, what = order.split()
        if whom.isdigit():
            engine.handle(
                AccessoryOrdered(at=engine.now, source="mqtt", number=int(whom), position=Position(what))
            )
        else:
            engine.handle(ButtonReported(at=engine.now, source="mqtt", name=whom, state=ButtonState(what)))
    until = engine.now + 4 * SECOND
    while (wake := engine.next_wake()) is not None and wake < until:
        engine.advance(wake)
    frames = engine.all_frames(Cause.EVENT)
    return {engine.layout.chains[frame.chain].key: frame.levels.hex() for frame in frames}


@pytest.mark.parametrize("name", FILES)
def test_a_shipped_layout_is_without_fault(name: str) -> None:
    """Every file of `config` passes the check, without so much as a warning."""
    assert () == check_text(shipped_layout(name)).findings


def test_the_layouts_that_commands_use_are_there() -> None:
    """The demo and the first steps each have their file."""
    assert {DEMO, "first-steps.yaml"} <= set(FILES)


def test_first_steps_are_short() -> None:
    """A newcomer has about ten lines to understand, one signal, and one order that changes it."""
    assert 12 >= shipped_layout("first-steps.yaml").count("\n")
    engine = Engine(layout_of("first-steps.yaml"))
    engine.start()
    assert {"bench/one": "00ff00"} == settled(engine)  # red, in the order green, red, blue
    assert {"bench/one": "79001a"} == settled(engine, "61 reverse")
    assert {"bench/one": "00ff00"} == settled(engine, "61 normal")


def test_the_demo_is_a_layout_of_some_size() -> None:
    """It has at least 40 signals and lights, on six nodes and ten chains."""
    layout = layout_of(DEMO)
    assert 40 <= len(layout.signals) + len(layout.lights)
    assert 6 <= len({chain.node for chain in layout.chains})
    assert 10 <= len(layout.chains)


def test_the_demo_has_signals_that_are_told_in_many_ways() -> None:
    """A junction that is interlocked, a line of block signals, a flash, approach lighting, and two on one mast."""
    layout = layout_of(DEMO)
    routed = [signal for signal in layout.signals if signal.routes]
    assert 3 <= len(routed)
    proved = {turnout.accessory for turnout in layout.turnouts if turnout.feedback}
    assert {
        number for each in routed for route in each.routes for number, _position in route.turnouts
    } == proved
    assert 2 <= len(proved)
    assert all(signal.locking.approach for signal in routed)
    automatic = [signal for signal in layout.signals if [Ahead] == [type(each) for each in signal.controls]]
    assert 4 <= len(automatic)
    assert any("advance-approach" in signal.sequence for signal in automatic)
    assert any(signal.lit_by for signal in automatic)
    followers = [s for s in layout.signals if any(isinstance(each, Following) for each in s.controls)]
    assert any(signal.dark_under for signal in followers)
    masts = [signal.fixture for signal in layout.signals]
    assert any(masts.count(mast) > 1 for mast in masts)
    assert all(block.district for block in layout.blocks)
    crossing = layout.crossings[0]
    assert crossing.gates
    posts = [signal for signal in layout.signals if signal.name in crossing.posts]
    assert 2 <= sum(signal.rest == "stop" for signal in posts)


def test_the_demo_has_every_kind_of_wiring() -> None:
    """Whatever a layout file can say of a lamp is said in it at least once."""
    layout = layout_of(DEMO)
    lamps = [lamp for each in layout.fixtures().values() for head in each.heads for lamp in head.lamps]
    wires = [wire for lamp in lamps for wire in lamp.wires]
    assert {chip.type.name for chain in layout.chains for chip in chain.chips} >= {
        "ws2811",
        "ws2812b",
        "sk6812-rgbw",
    }
    assert set(LampKind) == {lamp.kind for lamp in lamps}
    assert any(len(each.heads) > 1 and len(each.positions) > 1 for each in layout.fixtures().values())
    assert any(lamp.kind is LampKind.MIX and lamp.lens for lamp in lamps)
    assert any(wire.inverted and wire.leds > 1 for wire in wires)
    assert any(wire.resistor_ohm for wire in wires)
    assert any(not lamp.dimmable for lamp in lamps)
    assert any(isinstance(light.when, AccessoryStands) for light in layout.lights)
    assert any(isinstance(light.when, ButtonHeld) for light in layout.lights)
    assert any(signal.change.time for signal in layout.signals)
    assert any(light.change.time for light in layout.lights)
    assert any(len(signal.commands) > 1 for signal in layout.signals)


def test_each_of_two_chips_of_the_demo_serves_two_dwarfs() -> None:
    """Three dwarfs of two lamps share the six channels of two driver chips."""
    fixtures = layout_of(DEMO).fixtures()
    first = fixtures["D1"].positions[0]
    assert [(first,), (first, first + 1), (first + 1,)] == [
        fixtures[name].positions for name in ("D1", "D2", "D3")
    ]


def test_a_chip_amid_a_chain_of_the_demo_has_an_order_of_its_own() -> None:
    """A neighbour before it and one after it are of the same type and have the usual order."""
    chips = next(chain.chips for chain in layout_of(DEMO).chains if chain.key == "gorge/line")
    fixtures = layout_of(DEMO).fixtures()
    swapped = chips[fixtures["GW"].positions[0] - 1]
    assert 1 < swapped.position < len(chips)
    assert swapped.order != chips[fixtures["GE"].positions[0] - 1].order


# Worked out by hand from the layout file; spaces stand between chips.
@pytest.mark.parametrize(
    ("chain", "orders", "levels"),
    [
        ("fernhollow/station", (), "00ff00 ff0000 0000ff 0000ff ffff00"),
        # green is 0, 100 %, 21.45 % (1314 mcd), levelled down to the 625 mcd of red, so x 0.4755: 121.3 and 26.0;
        # sent as G, R, B by the first pixel, as R, G, B by the second
        ("fernhollow/station", ("61 reverse",), "79001a ff0000 0000ff 0000ff ffff00"),
        ("fernhollow/station", ("63 reverse",), "00ff00 00791a 0000ff 0000ff ffff00"),
        # both heads yellow, on channel 2 of their chips
        ("fernhollow/station", ("66 reverse",), "00ff00 ff0000 00ff00 00ff00 ffff00"),
        # channels 1 and 2 are inverted: full light is 0; channel 3 drives nothing
        ("fernhollow/station", ("platform pressed",), "00ff00 ff0000 0000ff 0000ff 000000"),
        ("fernhollow/village", (), "00000000 00000000 00000000 000000"),
        # warm white is the white die with a little red and green, 100 %, 46.28 % and 21.36 %, and 70 % of that is
        # 178.5 and a little, 82.6, 38.1; sent as G, R, B, W
        ("fernhollow/village", ("101 reverse",), "265300b3 00000000 00000000 000000"),
        # half of red 10 %, green 35 %, blue 100 %
        ("fernhollow/village", ("102 reverse",), "00000000 2d0d8000 00000000 000000"),
        # the third street lamp is held down to 60 %
        ("fernhollow/village", ("104 reverse",), "00000000 00000000 00000000 ffff99"),
        ("gorge/line", (), "ff0000 00ff00 000000"),
        # yellow is channel 3 alone; the second chip takes channel 2 first, then 1, then 3
        ("gorge/line", ("72 normal",), "0000ff 00ff00 000000"),
        ("gorge/line", ("74 normal",), "ff0000 0000ff 000000"),
        ("gorge/line", ("73 reverse",), "ff0000 ff0000 000000"),
        ("tarn-yard/throat", (), "ff0000 ff0000 ff0000 ff00ff 00ff00"),
        # yellow mixed: red in full, and 45 % of green
        ("tarn-yard/throat", ("76 normal",), "ff7300 ff0000 ff0000 ff00ff 00ff00"),
        # a lamp of another fixture on the same chip
        ("tarn-yard/throat", ("106 reverse",), "ff00ff ff0000 ff0000 ff00ff 00ff00"),
        # the middle dwarf's red is the last channel of one chip, its lunar the first of the next
        ("tarn-yard/throat", ("92 reverse",), "ff0000 ff0000 ff0000 ff0000 ffff00"),
        ("tarn-yard/throat", ("91 reverse", "93 reverse"), "ff0000 ff0000 ff0000 00ffff 0000ff"),
    ],
)
def test_an_order_gives_the_bytes_worked_out_by_hand(
    chain: str, orders: tuple[str, ...], levels: str
) -> None:
    """Every byte of the chain's frame follows from the layout file."""
    engine = Engine(layout_of(DEMO))
    engine.start()
    assert levels.replace(" ", "") == settled(engine, *orders)[chain]


def test_every_order_to_a_signal_of_the_demo_is_obeyed() -> None:
    """Each position of its accessories brings the aspect that the file says, where nothing else has a say."""
    layout = layout_of(DEMO)
    engine = Engine(layout)
    engine.start()
    ordered = [signal for signal in layout.signals if len(signal.controls) == 1 and signal.commands]
    assert 11 == len(ordered)
    for signal in ordered:
        for row in signal.commands:
            for position, aspect in row.aspects.items():
                settled(engine, f"{row.accessory} {position.value}")
                assert aspect == engine.choices()[signal.name].aspect


def test_a_switch_and_a_held_button_of_the_demo_light_a_lamp() -> None:
    """Where the light is steady, its chain has another frame, and the old one again afterwards.

    Lights that play something or go by anything else are looked at through a whole day, with the pretend layout.
    """
    layout = layout_of(DEMO)
    engine = Engine(layout)
    engine.start()
    dark = settled(engine)
    looked = 0
    for light in layout.lights:
        chain = layout.chains[layout.fixture(light.lamps[0].fixture).chain].key
        match light.when:
            case ButtonHeld(button):
                whom, on, off = button, "pressed", "released"
            case AccessoryStands(number, _, False):
                whom, on, off = str(number), "reverse", "normal"
            case _:
                continue
        if light.effect is not None:
            continue
        looked += 1
        assert dark[chain] != settled(engine, f"{whom} {on}")[chain], light.name
        assert dark[chain] == settled(engine, f"{whom} {off}")[chain], light.name
    assert 7 <= looked
