"""Every mistake in a layout file is told in one line, at its place, with what is allowed."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import pytest
import yaml

from bridge.check import check_text
from tests.support.layouts import SOUND, TRACK, changed, places, said_of

MISTAKES: Final = Path(__file__).with_name("mistakes")


def _cases(folder: Path) -> list[Any]:
    cases = []
    for table in sorted(folder.glob("*.yaml")):
        for case in yaml.safe_load(table.read_text(encoding="utf-8")):
            name = f"{table.stem}: {case['to'].strip()}"
            cases.append(pytest.param(case["change"], case["to"], case["says"], id=name))
    return cases


def test_the_layout_that_is_changed_here_is_sound() -> None:
    """Whatever is found in these tests comes from the change alone."""
    for text in (SOUND, TRACK):
        assert [] == said_of(text)
        assert check_text(text).layout is not None


@pytest.mark.parametrize(("change", "to", "says"), _cases(MISTAKES))
def test_a_mistake_is_one_line_at_its_place(change: str, to: str, says: str) -> None:
    """One mistake gives one line, `FILE:LINE:COLUMN: error: message`, and nothing else is blamed for it."""
    text = changed(change, to)
    [place] = places(text)
    assert [f"f:{place}: error: {says}"] == said_of(text)


@pytest.mark.parametrize(("change", "to", "says"), _cases(MISTAKES / "track"))
def test_a_mistake_in_what_tells_a_signal_is_one_line_at_its_place(change: str, to: str, says: str) -> None:
    """One mistake in the track, or in what tells a signal what to show, gives one line too, and blames nothing else."""
    text = changed(change, to, TRACK)
    [place] = places(text)
    assert [f"f:{place}: error: {says}"] == said_of(text)


def test_a_name_of_the_track_is_looked_for_where_there_is_none_yet() -> None:
    """Where no block is named at all, the message says where blocks are named."""
    text = changed("  T2: {commands: {61", "  T2: {lit-by: [▸east], commands: {61")
    [place] = places(text)
    told = "no block is called 'east'; there are none yet; a block is named in the section `blocks`"
    assert [f"f:{place}: error: {told}"] == said_of(text)


@pytest.mark.parametrize(
    ("broken", "with_"),
    [
        ("  east-1: {district: main}", "  east-1: {▸dstrict: main}"),
        ("  main: {settle: 3 s}", "  main: {settle: ▸soon}"),
        ("  H1: {commands: {67: {normal: stop, reverse: clear}}}", "  H1: {▸comands: {67: {normal: stop}}}"),
    ],
)
def test_who_uses_a_name_that_could_not_be_read_is_not_blamed(broken: str, with_: str) -> None:
    """An error in a block, a district or a signal is told where it is, and not once more where its name is used."""
    text = changed(broken, with_, TRACK)
    [place] = places(text)
    assert [f"f:{place}"] == [line.split(": ")[0] for line in said_of(text)]


def test_mistakes_of_the_track_are_told_in_one_go() -> None:
    """Mistakes in several signals, blocks and turnouts come out together, in the order of the file."""
    text = (
        TRACK.replace("{settle: 3 s}", "{settle: ▸2 min}")
        .replace("detector: spot", "detector: ▸laser")
        .replace("15: clear}}}", "15: ▸clean}}}")
        .replace("next: A2", "next: ▸A7")
        .replace("{red: stop, green: clear}}", "{red: stop, green: ▸gren}}")
        .replace("dark-under: A2", "dark-under: ▸A22")
    )
    assert [f"f:{place}" for place in places(text)] == [line.split(": ")[0] for line in said_of(text)]


def test_all_mistakes_are_told_in_one_go() -> None:
    """Mistakes of every room, from the notation to a colour that a lamp cannot show, come out together."""
    text = (
        SOUND.replace("scale: N", "scale: ▸X")
        .replace("type: ws2811", "type: ▸ws2801")
        .replace("order: RGB}", "order: ▸RG}")
        .replace("{name: D2, build: dwarf", "{name: D2, build: ▸dwerf")
        .replace("62: {normal: stop, reverse: approach}", "62: {normal: stop, reverse: ▸restricting}")
        .replace("commands: {64: {", "commands: {64: {normal: stop}, ▸62: {")
        .replace("when-unknown: off", "▸whenever: off")
        .replace("lamp-oil 80%", "▸gold")
    )
    found = said_of(text)
    assert 8 == len(places(text))
    assert [f"f:{place}" for place in places(text)] == [line.split(": ")[0] for line in found]
    assert all(": error: " in line for line in found)


def test_two_keys_for_one_thing() -> None:
    """A misspelt key that had to be there is told twice: it means nothing, and the right one is missing."""
    assert [
        "f:18:21: error: the key 'type' is missing here",
        "f:18:22: error: no key 'sort' belongs here; use one of: type, order",
    ] == said_of(changed("type: ws2811, order", "sort: ws2811, order"))


def test_a_section_that_cannot_be_read_blames_nobody_else() -> None:
    """Where a whole section is broken, those who use its names are not told that the names are missing."""
    builds = SOUND[SOUND.index("builds:") : SOUND.index("nodes:")]
    assert ["f:9:9: error: builds must be a mapping: a name and a colon for each entry"] == said_of(
        SOUND.replace(builds, "builds: [searchlight]\n")
    )
    assert ["f:29:1: error: 'nodes' stands here twice; the first is in line 28: keep one"] == said_of(
        SOUND.replace(
            "nodes:\n", "nodes: {a: {chains: [{name: b, fixtures: [{name: c, build: mill}]}]}}\nnodes:\n"
        )
    )


def test_a_zone_that_puts_a_signal_out_is_refused() -> None:
    """A zone with a signal may not go below a tenth of full light, in any of its rows; one with lights only may."""
    zones = "zones: {town: {rows: [{when: {clock: 22:00 to 05:00}, level: 9%}]}}\nsignals:\n  T2: {"
    text = changed("signals:\n  T2: {", f"{zones}zone: ▸town, ")
    [place] = places(text)
    told = (
        "the zone town (line 48) goes down to 9%, and a signal has to be seen: 10% is the least for its zone"
    )
    assert [f"f:{place}: error: {told}"] == said_of(text)
    assert [] == said_of(text.replace("level: 9%", "level: 10%"))
    lit = changed("signals:\n  T2: {", zones).replace("when-unknown: off", "zone: town")
    assert [] == said_of(lit)


def test_an_accessory_may_be_shared_with_a_light() -> None:
    """A light only listens to an accessory, so it may follow one that orders a signal."""
    assert [] == said_of(changed("when: {accessory: 31}", "when: {accessory: 61}"))


@pytest.mark.parametrize("name", ["T2", "007", "4E2", "upper yard", "Große Straße", "12"])
def test_a_name_stays_as_it_was_written(name: str) -> None:
    """What looks like a number is still a name, with its zeros."""
    text = SOUND.replace("{name: T2,", f"{{name: {name},").replace("  T2: {", f"  {name}: {{")
    layout = check_text(text).layout
    assert layout is not None
    assert name == layout.signals[0].name
    assert name == layout.chains[0].fixtures[0].name


def test_what_is_said_of_a_lamp_holds_for_each_of_its_channels() -> None:
    """`leds`, `supply` and the like need not be repeated for every channel, and may differ at one."""
    text = changed("{channel: 2}]}", "{channel: 2, supply: 10 V}]}")
    layout = check_text(text).layout
    assert layout is not None
    wires = layout.fixture("roof").heads[0].lamps[0].wires
    assert [(3, 12_000), (3, 10_000)] == [(wire.leds, wire.supply_mv) for wire in wires]


def test_a_lamp_that_cannot_be_dimmed_is_only_warned_of() -> None:
    """A level for a lamp that may only be switched is worth a warning, and the layout runs."""
    text = changed("{channel: 1}, {channel: 2}]}", "{channel: 1}, {channel: 2}], dimmable: false}")
    assert [
        "f:54:40: warning: the lamp roof of roof is not dimmable: it is fully lit whenever it is on"
    ] == said_of(text)
    assert check_text(text).layout is not None
