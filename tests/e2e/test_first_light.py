"""The main job end to end: a real broker, its own command-line clients, and the daemon in between."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

from adapters.outputs.frame import LAST, decode
from bridge.record.replay import replay
from tests.support.daemon import Daemon, Heard, hearing, publish, running
from tests.support.mosquitto import StartMosquitto

# One chain with everything that can be wired to it. The bytes below are worked out by hand from this file.
LAYOUT = """\
layout: Harrow Gap
builds:
  searchlight: {chips: [ws2812b], lamps: {head: {full-colour: 1}}}
  three-lamp: {chips: [ws2811], lamps: {green: {channel: 1}, red: {channel: 2}, yellow: {channel: 3}}}
  three-lead: {chips: [ws2811], lamps: {
    red: {channel: 1, lens: eye}, green: {channel: 2, lens: eye}, yellow: {mix: {red: 100%, green: 40%}}}}
  house: {chips: [sk6812-rgbw], lamps: {room: {full-colour: 1}}}
  lantern: {chips: [ws2811], lamps: {white: {channel: 1, inverted: true, supply: 12 V, leds: 3}}}
  dwarf: {chips: [ws2811], lamps: {red: {channel: 1}}}
nodes:
  gap:
    chains:
      - name: main
        fixtures:
          - {name: S1, build: searchlight}
          - {name: S2, build: three-lamp}
          - {name: S3, build: three-lead}
          - {name: S4, build: searchlight, order: BRG}
          - {name: mill, build: house}
          - {name: gate, build: lantern}
          - {name: D1, build: dwarf}
          - {name: D2, build: dwarf, shares: D1, first-channel: 3}
signals:
  S1: {commands: {61: {normal: stop, reverse: approach}, 62: {normal: clear, reverse: restricting}}}
  S2: {commands: {63: {normal: stop, reverse: approach}}}
  S3: {commands: {64: {normal: stop, reverse: approach}}}
  S4: {commands: {65: {normal: stop, reverse: clear}}}
  D1: {aspects: {stop: red, proceed: dark}, commands: {66: {normal: stop, reverse: proceed}}}
  D2: {aspects: {stop: red, proceed: dark}, commands: {67: {normal: stop, reverse: proceed}}}
lights:
  mill: {when: {accessory: 70}, shows: warm-white 60%}
  gate: {when: {button: gate-man}, shows: on 50%}
"""

# G,R,B of S1 | R,G,B outputs of S2 | the same of S3 | S4: its bytes arrive B,R,G | R,G,B,W of the mill |
# the gate's channel 1 is inverted, so dark is 255 | D1 on channel 1 and D2 on channel 3 of one chip.
AT_START = "00ff00 00ff00 ff0000 00ff00 00000000 ff0000 ff00ff"


class Case(NamedTuple):
    """A topic and payload, and the whole frame that has to come of it."""

    topic: str
    payload: str
    frame: str


CASES = [
    # Yellow of a WS2812B is red 100 %, green 35.97 % (1075 mcd), levelled down to the 625 mcd of red, so x 0.5816:
    # R = 148.3 = 0x94, G = 53.3 = 0x35, B = 0.
    Case("accessory/61/ordered", "reverse", "359400 00ff00 ff0000 00ff00 00000000 ff0000 ff00ff"),
    # The yellow LED sits on the third output, and it alone is lit.
    Case("accessory/63/ordered", "reverse", "359400 0000ff ff0000 00ff00 00000000 ff0000 ff00ff"),
    # Yellow mixed from two LEDs: red 100 %, green 0.4 x 255 = 102 = 0x66.
    Case("accessory/64/ordered", "reverse", "359400 0000ff ff6600 00ff00 00000000 ff0000 ff00ff"),
    # Green is green 100 %, blue 21.45 % (1314 mcd), so x 0.4755: G = 121.3 = 0x79, B = 26.0 = 0x1a, on a chip in
    # mid-chain whose bytes arrive B, R, G.
    Case("accessory/65/ordered", "reverse", "359400 0000ff ff6600 1a0079 00000000 ff0000 ff00ff"),
    # Warm white of a lamp with a white die is that die with red 46.28 % and green 21.36 %, and 60 % of that is
    # 153 = 0x99, 70.8 = 0x47 and 32.7 = 0x21.
    Case("accessory/70/ordered", "reverse", "359400 0000ff ff6600 1a0079 47210099 ff0000 ff00ff"),
    # Half light through an inverted channel: 0.5 x 255 = 127.5, rounded to 128; 255 - 128 = 127 = 0x7f.
    Case("button/gate-man", "pressed", "359400 0000ff ff6600 1a0079 47210099 7f0000 ff00ff"),
    # Two fixtures on one chip: each moves alone.
    Case("accessory/66/ordered", "reverse", "359400 0000ff ff6600 1a0079 47210099 7f0000 0000ff"),
    Case("accessory/67/ordered", "reverse", "359400 0000ff ff6600 1a0079 47210099 7f0000 000000"),
    Case("button/gate-man", "released", "359400 0000ff ff6600 1a0079 47210099 ff0000 000000"),
    # The last command wins, whichever of the two accessories it came by.
    Case("accessory/62/ordered", "normal", "79001a 0000ff ff6600 1a0079 47210099 ff0000 000000"),
    Case("accessory/61/ordered", "normal", "00ff00 0000ff ff6600 1a0079 47210099 ff0000 000000"),
]


@pytest.fixture
def light(mosquitto: StartMosquitto, tmp_path: Path) -> Iterator[tuple[int, Daemon, Heard]]:
    """A broker, the daemon on it, and somebody who listens to the frames."""
    broker = mosquitto()
    with (
        hearing(broker.port, "lamproom/frame/#") as heard,
        running(tmp_path, LAYOUT, broker.port) as daemon,
    ):
        heard.levels("gap/main", bytes.fromhex(AT_START))
        yield broker.port, daemon, heard


def test_an_order_on_the_broker_becomes_the_right_bytes_on_the_chain(
    light: tuple[int, Daemon, Heard],
) -> None:
    """Every kind of lamp, by the bytes worked out by hand from the layout file."""
    port, daemon, heard = light
    for case in CASES:
        publish(port, f"layout/{case.topic}", case.payload)
        heard.levels("gap/main", bytes.fromhex(case.frame))
    assert 0 == daemon.stop()
    # At the end every signal is put to its most restrictive aspect and every light is dark, inverted or not.
    header, levels = decode(heard.next()[1])
    while not header.flags & LAST:
        header, levels = decode(heard.next()[1])
    assert bytes.fromhex(AT_START) == levels
    assert [] == heard.all()
    assert "Traceback" not in daemon.output
    result = replay(daemon.log())
    assert result.same
    assert len(CASES) == result.events - 1  # and that the broker could be heard


def test_a_kept_copy_is_no_command(mosquitto: StartMosquitto, tmp_path: Path) -> None:
    """A retained order moves no signal, a light follows it, and a live order moves both."""
    broker = mosquitto()
    publish(broker.port, "layout/accessory/61/ordered", "reverse", "-r")
    publish(broker.port, "layout/accessory/70/ordered", "reverse", "-r")
    with (
        hearing(broker.port, "lamproom/#") as heard,
        running(tmp_path, LAYOUT, broker.port),
    ):
        heard.levels("gap/main", bytes.fromhex("00ff00 00ff00 ff0000 00ff00 47210099 ff0000 ff00ff"))
        publish(broker.port, "layout/accessory/61/ordered", "reverse")
        heard.levels("gap/main", bytes.fromhex("359400 00ff00 ff0000 00ff00 47210099 ff0000 ff00ff"))


def test_a_device_tells_what_it_shows_and_why(light: tuple[int, Daemon, Heard]) -> None:
    """Aspect and reason of each device are published, kept for those who come later."""
    port, daemon, heard = light
    publish(port, "layout/accessory/61/ordered", "reverse")
    heard.levels("gap/main", bytes.fromhex("359400 00ff00 ff0000 00ff00 00000000 ff0000 ff00ff"))
    with hearing(port, "lamproom/device/S1") as device:
        said: dict[str, str] = {}
        while said.get("aspect") != "approach":
            _topic, payload = device.next()
            said = json.loads(payload)
    said.pop("run")
    assert {"aspect": "approach", "reason": "accessory 61 was ordered reverse (by mqtt)"} == said
    daemon.stop()
    with hearing(port, "lamproom/device/S1") as device:
        _topic, payload = device.next()
    said = json.loads(payload)
    said.pop("run")
    assert {"aspect": "stop", "reason": "lamproom has stopped"} == said


GARBAGE = [
    ("layout/accessory/61/ordered", b""),
    ("layout/accessory/61/ordered", b"sideways"),
    ("layout/accessory/61/ordered", b"\xff\xfe\x00"),
    ("layout/accessory/61/ordered", b"x" * 1_000_000),
    ("layout/accessory/9999/ordered", b"normal"),
    ("layout/accessory/-1/ordered", b"normal"),
    ("layout/aspect/61", b"256"),
    ("layout/signalbox/61", b"normal"),
    ("layout/clock", b'{"time": "25:00"}'),
    ("lamproom/shown/gap/main", b"\x00garbage"),
    ("lamproom/node/gap", b"[1, 2"),
    ("lamproom/bridge/other", b"{{{"),
]


def test_garbage_is_noted_once_and_changes_nothing(light: tuple[int, Daemon, Heard]) -> None:
    """Payloads that mean nothing are told once with topic and payload, cut, and everything runs on."""
    port, daemon, heard = light
    for _twice in range(2):
        for topic, payload in GARBAGE:
            publish(port, topic, payload)
    publish(port, "layout/accessory/61/ordered", "reverse")
    heard.levels("gap/main", bytes.fromhex("359400 00ff00 ff0000 00ff00 00000000 ff0000 ff00ff"))
    assert daemon.process.poll() is None
    daemon.wait_for("lamproom/node/gap [1, 2")
    complaints = [line for line in daemon.output.splitlines() if "means nothing here" in line]
    assert len(complaints) == len(set(complaints))
    assert 9 <= len(complaints) <= len(GARBAGE)
    assert all(len(line) < 700 for line in complaints)
    assert any("accessory/9999" in line for line in complaints)


def test_a_name_that_nothing_listens_to_is_noted_once(light: tuple[int, Daemon, Heard]) -> None:
    """A button, an accessory, an aspect and a block that the file has not: told once with topic and payload."""
    port, daemon, heard = light
    for _twice in range(2):
        publish(port, "layout/button/gate-mna", "pressed")
        publish(port, "layout/accessory/99/ordered", "reverse")
        publish(port, "layout/aspect/12", "5")
        publish(port, "layout/block/quay1", "occupied")
    publish(port, "layout/accessory/61/ordered", "reverse")
    heard.levels("gap/main", bytes.fromhex("359400 00ff00 ff0000 00ff00 00000000 ff0000 ff00ff"))
    daemon.wait_for("layout/aspect/12 5")
    daemon.wait_for("layout/block/quay1 occupied")
    told = [line for line in daemon.output.splitlines() if "nothing in this layout listens" in line]
    assert 3 == len(told)
    assert "layout/button/gate-mna pressed" in told[0]
    (line,) = (line for line in daemon.output.splitlines() if "no block of the layout file is" in line)
    assert "called quay1, so it changes nothing; there are none yet (from mqtt)" in line


def test_a_layout_with_errors_starts_nothing(tmp_path: Path) -> None:
    """The errors are printed with their lines, and the exit status is 1."""
    file = tmp_path / "broken.yaml"
    file.write_text(LAYOUT.replace("approach", "aproach"), encoding="utf-8")
    command = [sys.executable, "-c", "from bridge.cli import main; main()", "run", str(file)]
    result = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert 1 == result.returncode
    lines = [line for line in result.stderr.splitlines() if ": error: " in line]
    assert 3 == len(lines)
    assert lines[0].startswith(f"{file}:24:")
    assert "did you mean approach?" in lines[0]
    assert "Traceback" not in result.stderr
