"""Packets from a serial line and lines from a shell script end to end: in through the real bridge, and out as bytes."""

from __future__ import annotations

import contextlib
import socket
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import pytest

from bridge.record.replay import replay
from tests.support.daemon import hearing, running
from tests.support.far_ends import SerialLine
from tests.support.mosquitto import StartMosquitto
from tests.support.ports import free_port
from tests.support.waiting import wait

LAYOUT: Final = """\
layout: Sallow Ferry
sources:
  rails: {kind: dcc, serial: %(serial)s, repeat-window: 1 s}
  station: {kind: dcc, host: 127.0.0.1, port: %(tcp)d, offset: 4, refresh-every: 20 s}
  script: {kind: line, port: %(port)d}
builds:
  searchlight: {chips: [ws2812b], lamps: {head: {full-colour: 1}}}
  three-lamp: {chips: [ws2811], lamps: {green: {channel: 1}, red: {channel: 2}, yellow: {channel: 3}}}
  house: {chips: [ws2811], lamps: {white: {channel: 1}}}
nodes:
  ferry:
    chains:
      - name: main
        fixtures:
          - {name: S1, build: three-lamp}
          - {name: S2, build: three-lamp}
          - {name: inn, build: house}
signals:
  S1: {commands: {61: {normal: stop, reverse: clear}, 62: {normal: approach}}}
  S2: {commands: {5: {normal: stop, reverse: clear}, 6: {normal: approach}}}
lights:
  inn: {when: {button: shed}, shows: white}
"""

RED, GREEN, YELLOW = "00ff00", "ff0000", "0000ff"
DARK, LIT = "000000", "ff0000"

# NMRA S-9.2.1: accessory 61 is decoder 16, pair 0; 62 pair 1; the linear 1 and 2 are decoder 1, pairs 0 and 1.
REVERSE_61, NORMAL_62, RELEASED_61 = b"90 F8 68\r\n", b"90 FB 6B\r\n", b"90 F0 60\r\n"
REVERSE_1, NORMAL_2 = b"81 F8 79\n", b"81 FB 7A\n"

SCRIPT: Final = r"""
set -e
exec 3>/dev/tcp/127.0.0.1/"$1"
echo "button/shed pressed" >&3
printf 'accessory/62/ordered\tnormal\n' >&3
echo "this is no fact" >&3
exec 3>&-
"""


@pytest.fixture
def serial_line(tmp_path: Path) -> Iterator[SerialLine]:
    """Give a line that is plugged in."""
    line = SerialLine(tmp_path / "sniffer")
    line.plug_in()
    yield line
    line.unplug()


@contextlib.contextmanager
def station(port: int) -> Iterator[socket.socket]:
    """Give the connection of a station that prints its packets over TCP."""
    with socket.create_server(("127.0.0.1", port)) as server:
        server.settimeout(30)
        guest, _ = server.accept()
        with guest:
            yield guest


def test_rails_and_a_script_light_the_same_layout(
    mosquitto: StartMosquitto, tmp_path: Path, serial_line: SerialLine
) -> None:
    """Orders from the rails and from a shell script come out as bytes; lost ends are told, and come back."""
    broker, tcp, port = mosquitto(), free_port(), free_port()
    layout = LAYOUT % {"serial": serial_line.name, "tcp": tcp, "port": port}
    with (
        hearing(broker.port, "lamproom/frame/#") as heard,
        running(tmp_path, layout, broker.port) as daemon,
    ):

        def shows(*lamps: str) -> None:
            heard.levels("ferry/main", bytes.fromhex("".join(lamps)))

        daemon.wait_for("events from rails come in")
        daemon.wait_for("events from script come in")
        daemon.wait_for("takes no connection: does the program that sends there run")
        shows(RED, RED, DARK)

        # As a station does it: several times, with idle packets between, and the output let go at last.
        serial_line.print(
            b"FF 00 FF\r\n" + REVERSE_61 + b"90 F8" + b" 68\r\n" + RELEASED_61 + b"90 F8 69\r\n"
        )
        shows(GREEN, RED, DARK)
        daemon.wait_for("the error byte is 69, and would be 68")

        subprocess.run(["bash", "-c", SCRIPT, "bash", str(port)], check=True, timeout=20)
        shows(YELLOW, RED, LIT)
        daemon.wait_for("no fact has such a topic")

        serial_line.unplug()
        daemon.wait_for("events from rails do not come in")
        serial_line.plug_in()
        wait(lambda: daemon.output.count("events from rails come in") == 2, lambda: daemon.output, within=30)
        serial_line.print(REVERSE_61)
        shows(GREEN, RED, LIT)

        with station(tcp) as guest:
            daemon.wait_for("events from station come in")
            guest.sendall(REVERSE_1)  # it may be a refresh of something old
            guest.sendall(REVERSE_1)
            wait(lambda: "counts as a kept copy" in _log(daemon.log()), lambda: _log(daemon.log()), within=30)
            guest.sendall(NORMAL_2.replace(b"81 FB 7A", b"81 FA 7B") + NORMAL_2)
            shows(GREEN, YELLOW, LIT)
            guest.sendall(b"81 F9 78\n" + REVERSE_1)  # told of something else, so this is an order
            shows(GREEN, GREEN, LIT)
            guest.sendall((REVERSE_1 + NORMAL_2) * 20)
            again = "again, as station refreshes its orders"
            wait(lambda: _log(daemon.log()).count(again) == 41, lambda: _log(daemon.log()), within=30)
            with socket.create_connection(("127.0.0.1", port)) as script:
                script.sendall(b"button/shed released")
            shows(GREEN, GREEN, DARK)
        daemon.wait_for("events from station do not come in")
        shows(GREEN, RED, DARK)
        log = daemon.log()
    assert replay(log).same


def _log(path: Path) -> str:
    return path.read_text(encoding="utf-8")


def test_a_flood_of_lines_does_not_hold_up_the_rails(
    mosquitto: StartMosquitto, tmp_path: Path, serial_line: SerialLine
) -> None:
    """While a script sends as fast as it can, an order from the rails is shown."""
    broker, port = mosquitto(), free_port()
    layout = LAYOUT % {"serial": serial_line.name, "tcp": free_port(), "port": port}
    with (
        hearing(broker.port, "lamproom/frame/#") as heard,
        running(tmp_path, layout, broker.port) as daemon,
    ):
        daemon.wait_for("events from script come in")
        daemon.wait_for("events from rails come in")
        with socket.create_connection(("127.0.0.1", port)) as flood:
            flood.settimeout(30)
            flood.sendall(b"block/nowhere occupied\n" * 20_000 + b"button/shed pre")
            serial_line.print(REVERSE_61)
            heard.levels("ferry/main", bytes.fromhex(GREEN + RED + DARK))
            flood.sendall(b"ssed\n")
            heard.levels("ferry/main", bytes.fromhex(GREEN + RED + LIT))
        assert 0 == daemon.stop()
