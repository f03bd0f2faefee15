"""Positions, bytes and channels: counted from the file, each byte for one lamp."""

from __future__ import annotations

from typing import Any, Final

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.events import Position
from bridge.layout import Layout, read_layout
from bridge.layout.chips import CHIP_TYPES, parse_order
from bridge.layout.conditions import AccessoryStands
from bridge.light.pictures import plan_devices
from tests.support.layouts import SOUND, changed

# The byte order of each chip, the sheet that gives it, and whether the LEDs are outside the chip.
SHEETS: Final = {
    "ws2811": ("RGB", True),  # Worldsemi WS2811, "composition of 24 bit data"
    "ws2812b": ("GRB", False),  # Worldsemi WS2812B, early English sheet
    "ws2812b-v5": ("GRB", False),  # Worldsemi WS2812B V5.0, 2019-03-23
    "sk6812": ("GRB", False),  # OPSCO SK6812MINI Rev 01, 2015-07-22
    "sk6812-rgbw": ("RGBW", False),  # OPSCO SK6812RGBW Rev 01, section 13
}


def _read(text: str) -> Layout:
    layout, findings = read_layout(text)
    assert () == findings
    assert layout is not None
    return layout


@pytest.mark.parametrize("name", SHEETS)
def test_a_chip_is_as_its_data_sheet_has_it(name: str) -> None:
    """Byte order, number of channels and kind of each chip are those of its data sheet."""
    chip = CHIP_TYPES[name]
    order, driver = SHEETS[name]
    assert (order, len(order), driver) == (chip.order, chip.channels, chip.driver)
    assert set(SHEETS) == set(CHIP_TYPES)


def test_a_driver_output_stands_twelve_volts() -> None:
    """Worldsemi WS2811, absolute maximum ratings: 12 V at an output."""
    assert 12_000 == CHIP_TYPES["ws2811"].output_mv


@pytest.mark.parametrize(
    ("chip", "order", "bytes_of_channels"),
    [
        ("ws2812b", "GRB", (0, 1, 2)),  # as the sheet has it
        ("ws2812b", "RGB", (1, 0, 2)),  # the byte for G comes second, the one for R first
        ("ws2812b", "b,g,r", (1, 2, 0)),
        ("ws2812b", ["B", "R", "G"], (2, 1, 0)),
        ("ws2811", 213, (1, 0, 2)),  # the byte for channel 2 comes first
        ("ws2811", "3 1 2", (1, 2, 0)),
        ("ws2811", [3, 2, 1], (2, 1, 0)),
        ("sk6812-rgbw", "GRBW", (1, 0, 2, 3)),
        ("sk6812-rgbw", "WRGB", (1, 2, 3, 0)),
        ("sk6812-rgbw", 4321, (3, 2, 1, 0)),
    ],
)
def test_an_order_says_which_byte_comes_first(
    chip: str, order: object, bytes_of_channels: tuple[int, ...]
) -> None:
    """An order is written as letters or channel numbers, as text, number or list."""
    assert bytes_of_channels == parse_order(CHIP_TYPES[chip], order)


def test_the_nearest_order_counts() -> None:
    """What a fixture says of its chip counts before its build, that before the chain, that before the sheet."""
    text = SOUND.replace("{sk6812-rgbw: GRBW}", "{ws2811: GRB, ws2812b: BGR}")
    chips = _read(text).chains[0].chips
    # T2 has its own RGB; T4 takes the chain's; the first chip of T6 too, and its second the build's BGR.
    assert [(1, 0, 2), (1, 0, 2), (1, 0, 2), (2, 1, 0)] == [chip.order for chip in chips[:4]]


def test_positions_and_offsets_are_counted() -> None:
    """Positions count chips from 1, offsets count bytes from 0, and a shared chip is counted once."""
    station, village = _read(SOUND).chains
    assert [(1, 0), (2, 3), (3, 6), (4, 9), (5, 12)] == [
        (chip.position, chip.offset) for chip in station.chips
    ]
    assert {"T2": (1,), "T4": (2,), "T6": (3, 4), "T8": (5,)} == {
        each.name: each.positions for each in station.fixtures
    }
    assert {"D1": (1,), "D2": (1,), "roof": (2,), "mill": (3,)} == {
        each.name: each.positions for each in village.fixtures
    }
    assert (15, 10) == (station.length, village.length)  # 5 chips of 3 bytes; 2 of 3 and one of 4


def test_four_fixtures_in_the_middle_renumber_the_rest() -> None:
    """Four more lines in a chain move what follows by their chips, and nothing else changes, in file or light."""
    line = "          - {name: T6, build: two-headed}\n"
    more = "".join(
        f"          - {{name: N{n}, build: {build}}}\n" for n, build in enumerate(["dwarf"] * 3 + ["mill"])
    )
    text = changed(line, more + line)
    assert SOUND.splitlines() == [each for each in text.splitlines() if each not in more.splitlines()]
    before, after = _read(SOUND), _read(text)
    # Three drivers of 3 bytes and a pixel of 4 come in: 4 positions and 13 bytes.
    moved = {"T2": (0, 0), "T4": (0, 0), "T6": (4, 13), "T8": (4, 13)}
    for old in before.fixtures().values():
        new = after.fixture(old.name)
        chips, offset = moved.get(old.name, (0, 0))
        assert tuple(position + chips for position in old.positions) == new.positions
        assert [wire.offset + offset for wire in _wires(old)] == [wire.offset for wire in _wires(new)]
    old_plans, new_plans = plan_devices(before)[0], plan_devices(after)[0]
    for was, now in zip(old_plans, new_plans, strict=True):
        assert (was.name, was.looks, was.rest, was.change) == (now.name, now.looks, now.rest, now.change)
        shift = moved.get(was.name, (0, 0))[1]
        assert tuple((chain, offset + shift) for chain, offset in was.places) == now.places


def _wires(fixture: Any) -> list[Any]:
    return [wire for head in fixture.heads for lamp in head.lamps for wire in lamp.wires]


@st.composite
def layouts(draw: st.DrawFn) -> dict[str, Any]:
    """Return a sound layout: random builds on random chips, chains of them with random orders and sharing."""
    builds = {f"b{index}": draw(_builds()) for index in range(draw(st.integers(1, 4)))}
    fixtures: list[dict[str, Any]] = []
    for index in range(draw(st.integers(1, 12))):
        build = draw(st.sampled_from(sorted(builds)))
        fixture: dict[str, Any] = {"name": f"F{index}", "build": build}
        if draw(st.booleans()):
            fixture["order"] = [draw(_orders(kind)) for kind in builds[build]["chips"]]
        fixtures.append(fixture)
        if fixtures[-1]["build"] == "b0" and builds["b0"] == SHARED and draw(st.booleans()):
            fixtures.append({"name": f"S{index}", "build": "b0", "shares": f"F{index}", "first-channel": 2})
    cut = draw(st.integers(0, len(fixtures) - 1))
    chains = [part for part in (fixtures[:cut], fixtures[cut:]) if part]
    if any("shares" in part[0] for part in chains):
        chains = [fixtures]
    named = [{"name": f"c{index}", "fixtures": part} for index, part in enumerate(chains)]
    return {"layout": "any", "builds": builds, "nodes": {"n": {"chains": named}}}


SHARED: Final = {"chips": ["ws2811"], "lamps": {"red": {"channel": 1}}}


@st.composite
def _builds(draw: st.DrawFn) -> dict[str, Any]:
    if draw(st.booleans()):
        return SHARED
    chips = draw(st.lists(st.sampled_from(sorted(CHIP_TYPES)), min_size=1, max_size=3))
    lamps: dict[str, Any] = {}
    for index, kind in enumerate(chips, start=1):
        if not CHIP_TYPES[kind].driver or draw(st.booleans()):
            lamps[f"full {index}"] = {"full-colour": index}
            continue
        for channel in draw(st.permutations([1, 2, 3])):
            lamp = {"chip": index, "channel": channel, "inverted": draw(st.booleans())}
            lamps[f"{index}.{channel} red"] = {"colour": "red", **lamp}
    return {"chips": chips, "lamps": lamps}


def _orders(kind: str) -> st.SearchStrategy[str]:
    return st.permutations(list(CHIP_TYPES[kind].order)).map("".join)


@settings(max_examples=150, deadline=None)
@given(layouts())
def test_every_byte_belongs_to_one_lamp_at_the_most(data: dict[str, Any]) -> None:
    """Sound layouts are read, whatever the wiring; bytes are never given twice, and each order is whole."""
    layout = _read(yaml.safe_dump(data, sort_keys=False))
    assert () == plan_devices(layout)[1]
    for chain in layout.chains:
        given_away = [wire.offset for fixture in chain.fixtures for wire in _wires(fixture)]
        assert len(given_away) == len(set(given_away))
        assert set(given_away) <= set(range(chain.length))
        assert list(range(1, len(chain.chips) + 1)) == [chip.position for chip in chain.chips]
        ends = 0
        for chip in chain.chips:
            assert ends == chip.offset
            ends += chip.type.channels
            assert list(range(chip.type.channels)) == sorted(chip.order)
        assert ends == chain.length


def test_closed_and_thrown_are_the_hobby_s_words() -> None:
    """An order or a switch given as closed or thrown is one of normal or reverse."""
    plain = _read(changed("62: {normal: stop, reverse: approach}", "62: {normal: stop, reverse: approach}"))
    words = _read(changed("62: {normal: stop, reverse: approach}", "62: {closed: stop, thrown: approach}"))
    assert [row.aspects for signal in plain.signals for row in signal.commands] == [
        row.aspects for signal in words.signals for row in signal.commands
    ]
    closed = _read(changed("{accessory: 31}", "{accessory: 31, ordered: closed}"))
    assert AccessoryStands(31, Position.NORMAL) in {light.when for light in closed.lights}
