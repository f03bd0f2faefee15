"""A real `lamproom run` with every kind of output at once, some of which cannot work."""

from __future__ import annotations

import contextlib
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from sacn.messages.data_packet import DataPacket

from adapters.outputs import artnet_packets, ddp_packets
from tests.adapters.outputs.listener import Listener
from tests.support.daemon import Daemon, hearing, publish, running
from tests.support.mosquitto import StartMosquitto
from tests.support.waiting import wait

LAYOUT = """\
layout: Seven ways out
builds:
  searchlight: {{chips: [ws2812b], lamps: {{head: {{full-colour: 1}}}}}}
outputs:
  sacn: {{kind: e131, host: 127.0.0.1, port: {e131}, chains: {{a/line: {{universe: 7}}}}}}
  art: {{kind: artnet, host: 127.0.0.1, port: {artnet}, chains: {{b/line: {{universe: 7}}}}}}
  row: {{kind: ddp, host: 127.0.0.1, port: {ddp}, chains: {{c/line: {{}}}}}}
  tape: {{kind: file, path: '{tape}'}}
  lost:
    kind: e131
    host: nobody.invalid
    chains: {{e/line: {{universe: 8}}}}
  taken:
    kind: artnet
    host: 127.0.0.1
    local-port: {e131}
    local-address: 127.0.0.1
    chains: {{f/line: {{universe: 8}}}}
  pins:
    kind: spi
    chains:
      g/line:
        device: /dev/spidev217.0
  foreign:
    kind: e131
    host: 127.0.0.1
    local-address: 192.0.2.7
    chains: {{i/line: {{universe: 9}}}}
  deaf:
    kind: ddp
    host: 127.0.0.3
    chains: {{j/line: {{}}}}
  paper:
    kind: file
    path: '{tape}.d/frames.txt'
nodes:
  a: {{output: sacn, chains: [{{name: line, fixtures: [{{name: A, build: searchlight}}]}}]}}
  b: {{output: art, chains: [{{name: line, fixtures: [{{name: B, build: searchlight}}]}}]}}
  c: {{output: row, chains: [{{name: line, fixtures: [{{name: C, build: searchlight}}]}}]}}
  d: {{output: tape, chains: [{{name: line, fixtures: [{{name: D, build: searchlight}}]}}]}}
  e: {{output: lost, chains: [{{name: line, fixtures: [{{name: E, build: searchlight}}]}}]}}
  f: {{output: taken, chains: [{{name: line, fixtures: [{{name: F, build: searchlight}}]}}]}}
  g: {{output: pins, chains: [{{name: line, fixtures: [{{name: G, build: searchlight}}]}}]}}
  i: {{output: foreign, chains: [{{name: line, fixtures: [{{name: I, build: searchlight}}]}}]}}
  j: {{output: deaf, chains: [{{name: line, fixtures: [{{name: J, build: searchlight}}]}}]}}
  k: {{output: paper, chains: [{{name: line, fixtures: [{{name: K, build: searchlight}}]}}]}}
  h: {{chains: [{{name: line, fixtures: [{{name: H, build: searchlight}}]}}]}}
signals:
  A: {{commands: {{61: {{normal: stop, reverse: clear}}}}}}
  B: {{commands: {{61: {{normal: stop, reverse: clear}}}}}}
  C: {{commands: {{61: {{normal: stop, reverse: clear}}}}}}
  D: {{commands: {{61: {{normal: stop, reverse: clear}}}}}}
  E: {{commands: {{61: {{normal: stop, reverse: clear}}}}}}
  F: {{commands: {{61: {{normal: stop, reverse: clear}}}}}}
  G: {{commands: {{61: {{normal: stop, reverse: clear}}}}}}
  H: {{commands: {{61: {{normal: stop, reverse: clear}}}}}}
  I: {{commands: {{61: {{normal: stop, reverse: clear}}}}}}
  J: {{commands: {{61: {{normal: stop, reverse: clear}}}}}}
  K: {{commands: {{61: {{normal: stop, reverse: clear}}}}}}
"""

STOP, CLEAR = (
    bytes.fromhex("00ff00"),
    bytes.fromhex("79001a"),
)  # a WS2812B takes green first; see the guide to colours


class Came:
    """The packets that came to a listener so far."""

    def __init__(self, listener: Listener) -> None:
        self.port = listener.port
        self._listener = listener
        self.packets: list[bytes] = []

    def levels(self, offset: int, expected: bytes) -> None:
        """Wait until a packet carries these levels."""

        def shown() -> bool:
            self.packets += self._listener.taken()
            return any(packet[offset : offset + 3] == expected for packet in self.packets)

        wait(shown, lambda: f"{expected.hex()} never came; {len(self.packets)} packets did", within=20)

    def all(self) -> list[bytes]:
        """Return every packet that came."""
        self.packets += self._listener.taken()
        return self.packets


@pytest.fixture
def came() -> Iterator[list[Came]]:
    with contextlib.ExitStack() as stack:
        listeners = [stack.enter_context(contextlib.closing(Listener())) for _number in range(3)]
        yield [Came(listener) for listener in listeners]


def told(daemon: Daemon, output: str) -> str:
    """Wait until it is told that an output cannot be served, and return that line of its log."""
    words = f"frames of the output {output} no longer go out"
    daemon.wait_for(words)
    return next(line for line in daemon.output.splitlines() if words in line)


def test_outputs_that_cannot_work_are_told_with_their_line_and_the_others_run_on(
    mosquitto: StartMosquitto, came: list[Came], tmp_path: Path
) -> None:
    """An unknown host, a port in use, no such bus and the like: orders reach all other controllers, to the last frame.

    Of every trouble there is one line. 192.0.2.7 is for documentation (RFC 5737), and no address of this machine.
    """
    broker = mosquitto()
    sacn, art, row = came
    tape = tmp_path / "frames.txt"
    text = LAYOUT.format(e131=sacn.port, artnet=art.port, ddp=row.port, tape=tape)
    at = {line.strip(): number for number, line in enumerate(text.splitlines(), 1)}
    with hearing(broker.port, "lamproom/frame/#") as heard, running(tmp_path, text, broker.port) as daemon:
        heard.levels("h/line", STOP)
        publish(broker.port, "layout/accessory/61/ordered", "reverse")
        heard.levels("h/line", CLEAR)
        sacn.levels(126, CLEAR)
        art.levels(artnet_packets.LEVELS, CLEAR)
        row.levels(ddp_packets.LEVELS, CLEAR)
        wait(lambda: f"d/line {CLEAR.hex()}" in tape.read_text(), tape.read_text, within=20)
        lost, taken, pins, foreign, deaf, paper = (
            told(daemon, output) for output in ("lost", "taken", "pins", "foreign", "deaf", "paper")
        )
        for number in range(10):
            publish(broker.port, "layout/accessory/61/ordered", "reverse" if number & 1 else "normal")
            heard.levels("h/line", CLEAR if number & 1 else STOP)
        assert f"(line {at['host: nobody.invalid']} of the layout file)" in lost
        assert "the host nobody.invalid is not known" in lost
        assert f"(line {at[f'local-port: {sacn.port}']} of the layout file)" in taken
        assert f"port {sacn.port} of this machine is in use: end what uses it" in taken
        assert f"(line {at['device: /dev/spidev217.0']} of the layout file)" in pins
        assert "there is no /dev/spidev217.0: switch SPI on" in pins
        assert f"(line {at['local-address: 192.0.2.7']} of the layout file)" in foreign
        assert "192.0.2.7 is no address of this machine: write one that it has" in foreign
        assert f"(line {at['host: 127.0.0.3']} of the layout file)" in deaf
        assert "nothing takes packets at 127.0.0.3:4048: switch the controller on" in deaf
        assert f"""(line {at[f"path: '{tape}.d/frames.txt'"]} of the layout file)""" in paper
        assert f"make the folder {tape}.d, or name another file" in paper
        assert 6 == daemon.output.count("no longer go out")
        assert "Traceback" not in daemon.output
    ends = [DataPacket.make_data_packet(packet).option_StreamTerminated for packet in sacn.all()]
    assert [False, True, True, True] == ends[-4:]
    assert 1 == len({DataPacket.make_data_packet(packet).cid for packet in sacn.all()})
    assert tape.read_text().splitlines()[-1].endswith("last")
    assert [STOP] * 3 == [packet[ddp_packets.LEVELS :] for packet in row.all()[-3:]]


def test_outputs_that_are_written_wrongly_are_told_with_their_line_and_the_others_run_on(
    mosquitto: StartMosquitto, came: list[Came], tmp_path: Path
) -> None:
    """A universe that is none, one given twice, a host that is none and no SPI device: `check` and `run` say the same.

    All of them come out at once, each with its line and what to write instead. Those outputs send nothing, and orders
    reach all others.
    """
    broker = mosquitto()
    sacn, art, row = came
    file = tmp_path / "layout.yaml"
    text = LAYOUT.format(e131=sacn.port, artnet=art.port, ddp=row.port, tape=tmp_path / "tape")
    for right, wrong in (
        ("universe: 8}}", "universe: 64000}}"),
        (
            "local-address: 192.0.2.7\n    chains: {i/line: {universe: 9}}",
            f"port: {sacn.port}\n    chains: {{i/line: {{universe: 7}}}}",
        ),
        ("host: nobody.invalid", "host: nobody.invalid:5568"),
        ("/dev/spidev217.0", "/dev/spi0"),
        ("host: 127.0.0.3", "host: 127.0.0.300"),
    ):
        assert right in text
        text = text.replace(right, wrong, 1)
    file.write_text(text, encoding="utf-8")
    at = {line.strip(): number for number, line in enumerate(text.splitlines(), 1)}
    command = [sys.executable, "-c", "from bridge.cli import main; main()", "check", str(file)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert 1 == done.returncode
    with hearing(broker.port, "lamproom/frame/#") as heard, running(tmp_path, text, broker.port) as daemon:
        heard.levels("h/line", STOP)
        publish(broker.port, "layout/accessory/61/ordered", "reverse")
        heard.levels("h/line", CLEAR)
        sacn.levels(126, CLEAR)
        art.levels(artnet_packets.LEVELS, CLEAR)
        row.levels(ddp_packets.LEVELS, CLEAR)
        for output, why in (
            ("lost", "is no host"),
            ("foreign", "two cannot share one"),
            ("pins", "is no SPI device"),
        ):
            assert "nothing is sent until its entry is mended: " in told(daemon, output)
            assert why in told(daemon, output)
        assert "the other outputs run" in daemon.output
        assert "Traceback" not in daemon.output
    said = [
        [line.partition("layout.yaml:")[2] for line in text.splitlines() if ": error: " in line]
        for text in (done.stdout, daemon.output)
    ]
    expected = {
        "chains: {e/line: {universe: 64000}}": "64000 is not a universe: write 1 to 63999",
        "host: nobody.invalid:5568": "is no host: write its name or its address",
        "chains: {i/line: {universe: 7}}": "would be for i/line, and universe 7 for a/line in line 5: two cannot",
        "device: /dev/spi0": "/dev/spi0 is no SPI device: write one such as /dev/spidev0.0",
        "host: 127.0.0.300": "127.0.0.300 is no address: it has four numbers from 0 to 255",
    }
    assert said[0] == said[1]
    for line, error in expected.items():
        assert any(each.startswith(f"{at[line]}:") and error in each for each in said[0]), error
    assert len(expected) == len(said[0])
