"""What a board does about settings that are wrong, a network that is not there, and a link that takes nothing."""

from __future__ import annotations

import contextlib
import json
import os
import socket
import struct
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import pytest

from adapters.outputs.frame import encode
from bridge.service.node_settings import DRIVER, SETTINGS
from tests.support.board import board_folder, change_settings, switched_on
from tests.support.counting import CHAIN, LAYOUT, levels, order
from tests.support.daemon import hearing, publish, running
from tests.support.mosquitto import StartMosquitto
from tests.support.waiting import PATIENCE, wait

MISSING: Final = "(missing)"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"node": "a/b"}, '"node" is no name'),
        ({"broker": MISSING}, '"broker" is missing'),
        ({"broker": {"host": "", "port": 1883, "user": "", "password": ""}}, '"broker" has no "host"'),
        ({"broker": {"host": "b", "port": 0, "user": "", "password": ""}}, '"port" is a whole number'),
        ({"wifi": {"name": "", "password": ""}}, '"wifi" has no "name"'),
        ({"silent_after_s": 1}, '"silent_after_s" is a whole number from 2 to 60'),
        ({"chains": []}, 'there are no "chains"'),
        ({"chains": [{"pin": MISSING}]}, 'chain main: "pin" is a whole number'),
        ({"chains": [{"when_silent": "hold"}]}, 'chain main: "hold" is not for signals'),
        ({"chains": [{"when_silent": "hold", "signals": MISSING}]}, 'chain main: "hold" is not for signals'),
        ({"chains": [{"when_silent": "wait"}]}, '"when_silent" is "picture" or "hold"'),
        ({"chains": [{"picture": "00f"}]}, '"picture" is not written in hexadecimal'),
        ({"chains": [{"picture": "00ff"}]}, '"picture" is no whole number of chips'),
        ({"chains": [{"pulses_ns": [1, 2, 3]}]}, '"pulses_ns" are four whole numbers'),
        ({"chains": [{}, {}]}, 'two chains have the "name" main'),
        ({"chains": [{}, {"name": "other"}]}, 'two chains have the "pin" 2'),
    ],
    ids=str,
)
def test_settings_that_are_wrong_are_refused_as_a_whole(
    tmp_path: Path, change: dict[str, Any], said: str
) -> None:
    """The board says what is wrong, drives nothing, and gives its prompt to whoever has to mend it."""
    folder = board_folder(tmp_path, LAYOUT, "vale", 1)
    settings = json.loads((folder / SETTINGS).read_text())
    (chain,) = settings["chains"]
    if "chains" in change:
        change = {"chains": [without(chain | own) for own in change["chains"]]}
    (folder / SETTINGS).write_text(json.dumps(without(settings | change)))
    with switched_on(folder) as board:
        board.wait_for("settings.json: ")
        wait(lambda: not board.runs, lambda: board.output)
    assert said in board.output
    assert "Traceback" not in board.output
    assert [] == board.pictures()


def without(values: dict[str, Any]) -> dict[str, Any]:
    """Leave out what is to be missing."""
    return {key: value for key, value in values.items() if value != MISSING}


@pytest.mark.parametrize(
    ("text", "said"),
    [(None, "there is no settings.json"), ('{"node": "va', "is not JSON"), ("[]", "not a node's settings")],
)
def test_file_that_holds_no_settings_is_told(tmp_path: Path, text: str | None, said: str) -> None:
    """A file that is missing, cut or of something else: one sentence, and no traceback."""
    folder = board_folder(tmp_path, LAYOUT, "vale", 1)
    (folder / SETTINGS).unlink()
    if text is not None:
        (folder / SETTINGS).write_text(text)
    with switched_on(folder) as board:
        wait(lambda: not board.runs, lambda: board.output)
    assert said in board.output
    assert "Traceback" not in board.output


def test_fault_of_the_program_leaves_the_picture_and_begins_anew(
    mosquitto: StartMosquitto, tmp_path: Path
) -> None:
    """A driver that fails once, in the middle of a frame: what is seen last is the restrictive picture."""
    broker = mosquitto()
    folder = board_folder(tmp_path, LAYOUT, "vale", broker.port)
    driver = folder / DRIVER
    driver.write_text(
        driver.read_text().replace(
            "size, head = len(levels), self._head",
            "size, head = len(levels), self._head\n"
            "        if levels[1] == 0:\n"
            '            raise ValueError("no such luck")',
        )
    )
    with switched_on(folder) as board:
        board.wait_until_it_shows(levels(0))
        publish(broker.port, f"lamproom/frame/{CHAIN}", encode(0, 256, 1, levels(1)))
        board.wait_for("no such luck")
        # This MicroPython cannot begin anew as a board does; it ends there.
        wait(lambda: not board.runs, lambda: board.output)
    assert [levels(0), levels(0)] == [picture.levels for picture in board.pictures()]


def test_broker_that_does_not_let_it_in_is_told(mosquitto: StartMosquitto, tmp_path: Path) -> None:
    """The board says at its serial port where to look, and goes on trying: a user that is missing, or a rule."""
    broker = mosquitto("allow_anonymous false")
    folder = board_folder(tmp_path, LAYOUT, "vale", broker.port)
    with switched_on(folder) as board:
        board.wait_for("this user may not connect: see `broker` in the settings")
        assert board.runs
    with deaf() as guarded:
        change_settings(
            folder, broker={"host": "127.0.0.1", "port": guarded.port, "user": "", "password": ""}
        )
        with switched_on(folder) as board:
            guarded.let_in(answer=0x80)  # the code of MQTT 3.1.1, section 3.9.3, for a failure
            board.wait_for("it does not let us read our frames: see its access rules")
            guarded.link.close()
            guarded.let_in()
            guarded.send(1, levels(1))
            board.wait_until_it_shows(levels(1))


def test_board_with_a_password_is_let_in(mosquitto: StartMosquitto, tmp_path: Path) -> None:
    """User and password of the settings are those that the broker asks for; a wrong one is told."""
    passwords = tmp_path / "passwords"
    passwords.touch(mode=0o600)
    subprocess.run(["mosquitto_passwd", "-b", passwords, "vale", "lantern"], check=True, timeout=20)
    own = (
        ("user root",) if os.geteuid() == 0 else ()
    )  # as another user it could not read the test's own folder
    broker = mosquitto("allow_anonymous false", f"password_file {passwords}", *own)
    folder = board_folder(tmp_path, LAYOUT, "vale", broker.port)
    place = {"host": "127.0.0.1", "port": broker.port, "user": "vale"}
    change_settings(folder, broker={**place, "password": "lamp"})
    with switched_on(folder) as board:
        board.wait_for("the broker refuses")
    change_settings(folder, broker={**place, "password": "lantern"})
    with switched_on(folder) as board:
        board.wait_for("the broker is there")


def test_board_waits_for_its_network_and_joins_it_again(mosquitto: StartMosquitto, tmp_path: Path) -> None:
    """The picture stands while there is no Wi-Fi; when it is back, so are the frames.

    There is no radio here: what stands in for it says that it is joined while a file is there.
    """
    broker = mosquitto()
    folder = board_folder(
        tmp_path, LAYOUT, "vale", broker.port, silent_after_s=2, wifi={"name": "yard", "password": "secret"}
    )
    (folder / "network.py").write_text(RADIO)
    air = folder / "air"
    with running(tmp_path, LAYOUT, broker.port) as daemon, switched_on(folder) as board:
        board.wait_for("waiting for the network")
        assert levels(0) == board.shows()
        air.touch()
        daemon.wait_for("node vale answers")
        publish(broker.port, *order(1))
        board.wait_until_it_shows(levels(1))
        with hearing(broker.port, "lamproom/node/vale") as heard:
            assert -61 == json.loads(heard.next()[1])["strength"]

        air.unlink()
        broker.stop()
        board.wait_until_it_shows(levels(0))
        wait(lambda: 2 == board.output.count("waiting for the network"), lambda: board.output)
        daemon.wait_for("node vale does not answer")
        broker.start()
        air.touch()
        wait(lambda: 2 == daemon.output.count("node vale answers"), lambda: daemon.output)
    assert "connect yard secret" in board.output
    assert "Traceback" not in board.output


RADIO: Final = """
import os

STA_IF = 0


class WLAN:
    PM_NONE = 0

    def __init__(self, _which):
        self._on = False

    def active(self, on):
        self._on = on

    def config(self, pm):
        pass

    def disconnect(self):
        raise OSError("not joined")

    def connect(self, name, password):
        print("connect", name, password)

    def isconnected(self):
        return self._on and "air" in os.listdir()

    def status(self, what):
        assert what == "rssi"
        return -61
"""


class Deaf:
    """A broker that lets a node in, sends it frames, and reads nothing any more.

    Attributes:
        port: where it listens.
    """

    def __init__(self) -> None:
        self._listener = socket.socket()
        # What arrives is left here, so a small buffer is full soon.
        self._listener.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
        self._listener.bind(("127.0.0.1", 0))
        self._listener.listen(1)
        self._listener.settimeout(PATIENCE)
        self.port: int = self._listener.getsockname()[1]
        self.link = self._listener

    def let_in(self, answer: int = 0) -> None:
        """Take the next connection, and answer what a node asks at its beginning; a subscription by this code."""
        self.link, _ = self._listener.accept()
        self.link.settimeout(PATIENCE)
        seen = b""
        self.link.sendall(b"\x20\x02\x00\x00")
        while b"lamproom/frame/" not in seen:
            seen += self.link.recv(1024)
        self.link.sendall(b"\x90\x03\x00\x01" + bytes((answer,)))

    def send(self, sequence: int, shown: bytes, chain: str = CHAIN) -> None:
        """Send a frame."""
        topic = f"lamproom/frame/{chain}".encode()
        body = struct.pack(">H", len(topic)) + topic + encode(0, 256, sequence, shown)
        size = len(body)
        length = bytes((size,)) if size < 128 else bytes((size & 0x7F | 0x80, size >> 7))
        self.link.sendall(b"\x30" + length + body)

    def read(self) -> bytes:
        """Read after all whatever has come."""
        found = b""
        self.link.settimeout(0.5)
        with contextlib.suppress(TimeoutError):
            while more := self.link.recv(1 << 16):
                found += more
        return found

    def close(self) -> None:
        """End."""
        self.link.close()
        self._listener.close()


@contextmanager
def deaf() -> Iterator[Deaf]:
    """Run one."""
    broker = Deaf()
    try:
        yield broker
    finally:
        broker.close()


def test_link_that_takes_nothing_does_not_hold_up_the_frames(tmp_path: Path) -> None:
    """Acknowledgements that find no room are left out; frames go on being shown, and the next link works.

    Names as long as they may be fill the buffers between the two sooner.
    """
    node, chain = "vale".ljust(64, "-"), "main".ljust(64, "-")
    layout = LAYOUT.replace("  vale:", f"  {node}:").replace("- name: main", f"- name: {chain}")
    place = f"{node}/{chain}"
    with deaf() as broker, switched_on(board_folder(tmp_path, layout, node, broker.port)) as board:
        broker.let_in()
        for state in range(1, 24_001):  # one by one, so that nearly each is acknowledged
            broker.send(state, levels(state), place)
            time.sleep(0.0002)
        board.wait_until_it_shows(levels(state))
        shown, acknowledged = len(board.pictures()), broker.read().count(b"lamproom/shown/")
        assert acknowledged < shown - 100, "nothing was full"
        broker.link.close()
        broker.let_in()
        broker.send(state + 1, levels(state + 1), place)
        board.wait_until_it_shows(levels(state + 1))
    assert "Traceback" not in board.output


def test_packets_that_are_not_mqtt_end_the_link_and_not_the_board(tmp_path: Path) -> None:
    """A length without end, a topic longer than its packet, a packet that is broken off: each time it connects anew."""
    packets = [
        b"\x30\xff\xff\xff\xff\xff",
        b"\x30\x04\x00\x17ab",
        b"\x30\x40\x00\x17lamproom",
        b"\xff\x00\x30",
    ]
    folder = board_folder(tmp_path, LAYOUT, "vale", 1)
    with deaf() as broker:
        change_settings(folder, broker={"host": "127.0.0.1", "port": broker.port, "user": "", "password": ""})
        with switched_on(folder) as board:
            for packet in packets:
                broker.let_in()
                broker.link.sendall(packet)
                broker.link.close()
            broker.let_in()
            broker.send(1, levels(3))
            board.wait_until_it_shows(levels(3))
    assert "Traceback" not in board.output
