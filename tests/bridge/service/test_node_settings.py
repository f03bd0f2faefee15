"""The settings of a node come out of the layout file, and what its owner wrote into them stays."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from bridge.check import check_text
from bridge.errors import LamproomError
from bridge.service.node_settings import (
    DRIVER,
    SETTINGS,
    Wishes,
    node_settings,
    pins_of,
    poorly_timed,
    write_board,
)
from bridge.service.shipped import node_program, shipped_layout
from bridge.trial.areas import inverted
from tests.support.driving import layout
from tests.support.tree import ROOT

LAYOUT = """\
layout: Dunmere Halt
builds:
  three-lamp: {chips: [ws2811], lamps: {green: {channel: 1}, red: {channel: 2}, yellow: {channel: 3}}}
  room: {chips: [sk6812-rgbw], lamps: {room: {full-colour: 1}}}
  lantern: {chips: [ws2811], lamps: {white: {channel: 1, inverted: true, supply: 12 V, leds: 3}}}
  classic: {chips: [ws2812b], lamps: {head: {full-colour: 1}}}
nodes:
  halt:
    chains:
      - {name: main, fixtures: [{name: A1, build: three-lamp}, {name: gate, build: lantern}]}
      - {name: houses, fixtures: [{name: mill, build: room}]}
      - {name: mixed, fixtures: [{name: A2, build: three-lamp}, {name: inn, build: room}]}
  far:
    chains:
      - {name: old, fixtures: [{name: A3, build: classic}, {name: A4, build: three-lamp}]}
signals:
  A1: {aspects: {stop: flashing red, clear: green}, commands: {1: {normal: stop, reverse: clear}}}
  A2: {commands: {2: {normal: stop, reverse: clear}}}
  A3: {commands: {3: {normal: stop, reverse: clear}}}
  A4: {commands: {4: {normal: stop, reverse: clear}}}
lights:
  mill: {when: {accessory: 70}, shows: warm-white}
  inn: {when: {accessory: 71}, shows: warm-white}
  gate: {when: {accessory: 72}, shows: on}
"""

HERE = Wishes(broker=("192.0.2.10", 1883))


def chains(settings: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """Return the chains of settings by their names."""
    return {chain["name"]: chain for chain in settings["chains"]}


def test_each_chain_has_its_picture_its_pulses_and_a_pin_of_its_own() -> None:
    """The picture has signals at their most restrictive aspect, what would flash lit, and lights dark.

    Dark is 255 on the inverted channel of the lantern, and chips of three and four bytes leave no common length.
    """
    settings = node_settings(layout(LAYOUT), "halt", HERE, {})
    found = chains(settings)
    assert ["main", "houses", "mixed"] == list(found)
    assert {"main": "00ff00ff0000", "houses": "00000000", "mixed": "00ff0000000000"} == {
        name: chain["picture"] for name, chain in found.items()
    }
    assert [2, 3, 4] == [chain["pin"] for chain in found.values()]
    assert [3, 4, 1] == [chain["bytes_per_chip"] for chain in found.values()]
    assert [True, False, True] == [chain["signals"] for chain in found.values()]
    assert {"picture"} == {chain["when_silent"] for chain in found.values()}
    assert [250, 1000, 600, 650] == found["main"]["pulses_ns"]
    assert [50, 80, 80] == [chain["reset_us"] for chain in found.values()]
    assert all(
        chain["longest"] >= 1024 and chain["longest"] % chain["bytes_per_chip"] == 0
        for chain in found.values()
    )


def test_long_chain_has_room_to_grow_twice() -> None:
    """A chain of 400 chips takes 1200 bytes, and the board keeps 2400 free for it."""
    rows = ", ".join(f"{{name: L{index}, build: classic}}" for index in range(400))
    text = LAYOUT.replace("{name: A3, build: classic}", f"{{name: A3, build: classic}}, {rows}")
    (old,) = node_settings(layout(text), "far", HERE, {})["chains"]
    assert 2 * 402 * 3 == old["longest"]


def test_signals_never_hold_and_lights_do_if_told_to() -> None:
    """The refusal names the signals; a chain of houses alone may go on as it is."""
    found = chains(node_settings(layout(LAYOUT), "halt", Wishes(HERE.broker, hold=frozenset({"houses"})), {}))
    assert ["picture", "hold", "picture"] == [chain["when_silent"] for chain in found.values()]
    with pytest.raises(LamproomError, match=r"halt/mixed carries signals \(A2\), so it cannot hold"):
        node_settings(layout(LAYOUT), "halt", Wishes(HERE.broker, hold=frozenset({"mixed"})), {})


@pytest.mark.parametrize(
    ("node", "wishes", "said"),
    [
        ("hult", HERE, "no node is called 'hult'"),
        (
            "halt",
            Wishes(HERE.broker, pins={"main": 3, "houses": 3}),
            "main and houses would have the same pin",
        ),
        (
            "halt",
            Wishes(HERE.broker, pins={"man": 3}),
            "halt has no chain called 'man'; use one of: main, houses, mixed",
        ),
        ("halt", Wishes(), "say with --broker by which address the node reaches it"),
    ],
)
def test_what_cannot_be_is_told(node: str, wishes: Wishes, said: str) -> None:
    """A node or chain that is not there, a pin used twice, and a broker that no node can find."""
    with pytest.raises(LamproomError) as refused:
        node_settings(layout(LAYOUT), node, wishes, {})
    assert said in str(refused.value)


def test_node_that_is_not_reached_by_mqtt_is_refused() -> None:
    """The program listens to MQTT alone, so settings for another output would be of no use."""
    text = LAYOUT.replace("  far:\n", "  far:\n    output: beam\n") + "outputs:\n  beam: {kind: other}\n"
    with pytest.raises(LamproomError, match="reached by the output 'beam'"):
        node_settings(layout(text), "far", HERE, {})


def test_broker_of_the_layout_file_is_taken_if_nodes_can_find_it_there() -> None:
    """An address that is not this machine's own is good for the nodes too."""
    text = LAYOUT + "broker: {host: 192.0.2.7, port: 1884}\n"
    broker = node_settings(layout(text), "halt", Wishes(), {})["broker"]
    assert {"host": "192.0.2.7", "port": 1884, "user": "", "password": ""} == broker


def test_what_was_written_by_hand_survives_a_new_layout_file(tmp_path: Path) -> None:
    """Passwords, pins, what holds and the driver stay; pictures and lengths are those of the new file."""
    folder = tmp_path / "halt"
    files = write_board(folder, layout(LAYOUT), "halt", Wishes(HERE.broker, wifi="yard", pins={"main": 15}))
    assert {*node_program(), SETTINGS} == set(files) == {path.name for path in folder.iterdir()}
    settings = json.loads((folder / SETTINGS).read_text())
    settings["wifi"] |= {"password": "wifi-secret"}
    settings["broker"] |= {"user": "halt", "password": "broker-secret"}
    settings["silent_after_s"] = 9
    settings["chains"][1]["when_silent"] = "hold"
    (folder / SETTINGS).write_text(json.dumps(settings))
    (folder / DRIVER).write_text("# of my own\n")

    longer = LAYOUT.replace(
        "{name: A1, build: three-lamp}", "{name: new, build: lantern}, {name: A1, build: three-lamp}"
    )
    write_board(folder, layout(longer), "halt", Wishes())
    again = json.loads((folder / SETTINGS).read_text())
    assert {"name": "yard", "password": "wifi-secret"} == again["wifi"]
    assert {"host": "192.0.2.10", "port": 1883, "user": "halt", "password": "broker-secret"} == again[
        "broker"
    ]
    assert 9 == again["silent_after_s"]
    assert {"main": 15, "houses": 2, "mixed": 3} == {
        name: each["pin"] for name, each in chains(again).items()
    }
    assert "hold" == chains(again)["houses"]["when_silent"]
    assert "ff000000ff00ff0000" == chains(again)["main"]["picture"]
    assert "# of my own\n" == (folder / DRIVER).read_text()


def test_folder_of_another_node_is_left_alone(tmp_path: Path) -> None:
    """Its settings are not written over, and neither are settings that cannot be read."""
    write_board(tmp_path, layout(LAYOUT), "far", HERE)
    before = (tmp_path / SETTINGS).read_text()
    with pytest.raises(LamproomError, match="holds the settings of another node"):
        write_board(tmp_path, layout(LAYOUT), "halt", HERE)
    assert before == (tmp_path / SETTINGS).read_text()
    (tmp_path / SETTINGS).write_text("{")
    with pytest.raises(LamproomError, match="cannot be read as settings"):
        write_board(tmp_path, layout(LAYOUT), "far", HERE)


def test_board_without_radio_has_no_wifi() -> None:
    """An empty name stands for a board with a cable; unless it is said, what was there stays."""
    assert node_settings(layout(LAYOUT), "far", Wishes(HERE.broker, wifi=""), {})["wifi"] is None
    assert node_settings(layout(LAYOUT), "far", HERE, {"wifi": None})["wifi"] is None
    new = node_settings(
        layout(LAYOUT), "far", Wishes(HERE.broker, wifi="b"), {"wifi": {"name": "a", "password": "x"}}
    )
    assert {"name": "b", "password": ""} == new["wifi"]  # the password was the other network's


def test_chips_that_share_no_pulses_are_told() -> None:
    """A WS2811 and an early WS2812B want other lengths of a 1: 675 ns at most, 750 ns at least."""
    assert [] == poorly_timed(layout(LAYOUT), "halt")
    (line,) = poorly_timed(layout(LAYOUT), "far")
    assert line.startswith(
        "far/old: the data sheets of ws2811 and ws2812b allow no pulses in common; these are 38 ns"
    )


def test_pins_are_said_by_chain_and_number() -> None:
    """A chain's name may hold an equals sign of its own; anything else is refused with an example."""
    assert {"main": 15, "a=b": 4} == pins_of(["main=15", "a=b=4"])
    for word in ("15", "main=", "=3", "main=-1", "main=GP3", "main=100"):
        with pytest.raises(LamproomError, match="--pin throat=2"):
            pins_of([word])


def test_every_file_of_the_program_is_shipped() -> None:
    """What stands in the checkout for boards is what is written for them."""
    stand = {path.name: path.read_text() for path in (ROOT / "deploy" / "node").glob("*.py")}
    assert {"main.py", "node.py", DRIVER} <= set(stand)
    assert stand == node_program()


@pytest.mark.parametrize("node", ["fernhollow", "gorge", "tarn-yard", "alder"])
def test_nodes_of_the_demo_have_settings(node: str) -> None:
    """Each node of the layout that is shipped gets some, each picture as long as its chain."""
    shown = layout(shipped_layout("fernhollow.yaml"))
    lengths = {chain.name: chain.length for chain in shown.chains if chain.node == node}
    settings = chains(node_settings(shown, node, HERE, {}))
    assert lengths == {name: len(bytes.fromhex(chain["picture"])) for name, chain in settings.items()}


def test_what_is_planned_is_not_on_the_board_yet() -> None:
    """Length and picture are those of what is built; a node of which nothing is gets no settings, and learns why."""
    text = LAYOUT.replace("{name: gate, build: lantern}", "{name: gate, build: lantern, planned: true}")
    layout = check_text(text).layout
    assert layout is not None
    place = Wishes(broker=("192.0.2.1", 1883))
    [main, *_others] = node_settings(layout, "halt", place, {})["chains"]
    assert "00ff00" == main["picture"]
    text = LAYOUT.replace("{name: old, fixtures", "{name: old, planned: true, fixtures")
    planned = check_text(text).layout
    assert planned is not None
    with pytest.raises(LamproomError, match="nothing of far is built yet"):
        node_settings(planned, "far", place, {})
    with pytest.raises(LamproomError, match="no node is called 'near'"):
        node_settings(planned, "near", place, {})


def test_a_chain_of_which_nothing_is_built_can_be_made_ready() -> None:
    """It has a pin and room, and is dark in silence, a lamp behind a transistor stage too; what is built stays so."""
    text = LAYOUT.replace("{name: gate, build: lantern}", "{name: gate, build: lantern, planned: true}")
    text = text.replace("{name: old, fixtures", "{name: old, planned: true, fixtures")
    checked = check_text(text)
    assert checked.layout is not None
    assert checked.planned is not None
    place = Wishes(broker=("192.0.2.1", 1883), plan=checked.planned)
    (old,) = node_settings(checked.layout, "far", place, {})["chains"]
    chain = next(chain for chain in checked.planned.chains if chain.node == "far")
    assert (chain.length, 2) == (len(bytes.fromhex(old["picture"])), old["pin"])
    lit = {offset for offset, byte in enumerate(bytes.fromhex(old["picture"])) if byte}
    assert inverted(chain) == lit
    [main, *_others] = node_settings(checked.layout, "halt", place, {})["chains"]
    assert "00ff00" == main["picture"]
