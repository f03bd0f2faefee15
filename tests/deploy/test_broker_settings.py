"""The broker's settings that we ship do what their comments say, with a real Mosquitto."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import socket
import statistics
import subprocess
import threading
import time
from typing import TYPE_CHECKING, Final

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from tests.support.ports import free_port
from tests.support.tree import ROOT

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

SETTINGS: Final = (ROOT / "deploy/mosquitto.conf").read_text(encoding="utf-8")

LIMIT_S: Final = 10.0

COMPLAINT: Final = "warning|error|duplicate"
"""What Mosquitto writes when it does not like its settings. That a client is unknown to it is no complaint."""

BURST: Final = 8
ROUNDS: Final = 15

HELD_BACK_S: Final = 0.02
"""A burst that took longer was held back: Linux delays an acknowledgement by up to 40 ms, and without the
delay a burst on loopback takes about one."""


@contextlib.contextmanager
def broker(folder: Path, settings: str, port: int) -> Iterator[Path]:
    """Run Mosquitto with the settings included by a main file like Debian's; yield its log file."""
    included = folder / "conf.d"
    included.mkdir(exist_ok=True)
    replaced, count = re.subn(r"^listener .*$", f"listener {port} 127.0.0.1", settings, flags=re.MULTILINE)
    assert count == 1
    (included / "lamproom.conf").write_text(replaced, encoding="utf-8")
    log = folder / "mosquitto.log"
    main = [
        "persistence true",
        f"persistence_location {folder}/",
        f"log_dest file {log}",
        f"include_dir {included}",
    ]
    if os.geteuid() == 0:
        main.append("user root")  # as another user it could not write into the test's own folder
    (folder / "mosquitto.conf").write_text("\n".join([*main, ""]), encoding="utf-8")
    program = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
    assert program, "these tests need Mosquitto, for instance from `apt-get install mosquitto`"
    with subprocess.Popen([program, "-c", folder / "mosquitto.conf"], stderr=subprocess.DEVNULL) as process:
        try:
            wait_for(process, port, log)
            yield log
        finally:
            process.terminate()
            process.wait(LIMIT_S)


def wait_for(process: subprocess.Popen[bytes], port: int, log: Path) -> None:
    """Return when the broker answers."""
    deadline = time.monotonic() + LIMIT_S
    while time.monotonic() < deadline and process.poll() is None:
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
            return
        time.sleep(0.01)
    raise AssertionError(f"the broker does not answer: {log.read_text() if log.exists() else 'no log'}")


def client(program: str, port: int, *words: str) -> subprocess.CompletedProcess[str]:
    """Run one of Mosquitto's own clients to its end."""
    command = [program, "-h", "127.0.0.1", "-p", str(port), *words]
    return subprocess.run(command, capture_output=True, text=True, timeout=LIMIT_S, check=False)


def test_the_broker_starts_without_a_word_of_warning(tmp_path: Path) -> None:
    """Mosquitto takes every line of the settings, in the place where its comments put them."""
    with broker(tmp_path, SETTINGS, free_port()) as log:
        said = log.read_text(encoding="utf-8")
    assert "running" in said
    assert [] == [line for line in said.splitlines() if re.search(COMPLAINT, line, re.IGNORECASE)]


def test_a_misspelt_setting_keeps_the_broker_from_starting(tmp_path: Path) -> None:
    """A line that Mosquitto does not know would be seen here."""
    misspelt = SETTINGS.replace("\nset_tcp_nodelay true\n", "\nset_tcp_nodelays true\n")
    with pytest.raises(AssertionError, match="does not answer"), broker(tmp_path, misspelt, free_port()):
        pass


def test_only_this_machine_is_listened_to_until_the_owner_says_more() -> None:
    """The one listener that is not a comment stands on the loopback address."""
    assert ["listener 1883 127.0.0.1"] == re.findall(r"^listener.*$", SETTINGS, re.MULTILINE)


def test_a_second_listener_leaves_the_first_one_open(tmp_path: Path) -> None:
    """With the line for the network added, the broker answers there and on its own machine as before."""
    (shown,) = re.findall(r"^# +(listener 1883 .+)$", SETTINGS, re.MULTILINE)
    port = free_port()
    # Put in front, so that the one that `broker` looks for is still the only one that begins so.
    both = SETTINGS.replace(f"#   {shown}\n", f" listener {port} 127.0.0.2\n")
    assert both != SETTINGS
    with broker(tmp_path, both, port):
        for host in ("127.0.0.1", "127.0.0.2"):
            ran = client("mosquitto_pub", port, "-h", host, "-t", "x", "-m", "x", "-q", "1")
            assert 0 == ran.returncode, ran.stderr


def test_retained_messages_outlive_a_restart(tmp_path: Path) -> None:
    """What was retained before the broker was stopped is there when it is started again."""
    port = free_port()
    with broker(tmp_path, SETTINGS, port):
        assert 0 == client("mosquitto_pub", port, "-t", "kept", "-m", "reverse", "-r", "-q", "1").returncode
    with broker(tmp_path, SETTINGS, port):
        assert "reverse\n" == client("mosquitto_sub", port, "-t", "kept", "-C", "1", "-W", "5").stdout


def test_the_longest_frame_passes_and_what_is_far_longer_does_not(tmp_path: Path) -> None:
    """A frame has at most 65,000 bytes of levels and 12 of header; a message of 200,000 reaches nobody."""
    port = free_port()
    with broker(tmp_path, SETTINGS, port):
        for topic, length in (("long", 200_000), ("frame", 65_012)):
            message = tmp_path / topic
            message.write_bytes(bytes(length))
            client("mosquitto_pub", port, "-t", topic, "-f", str(message), "-r", "-q", "1")
        heard = client("mosquitto_sub", port, "-t", "#", "-F", "%t %l", "-W", "2").stdout
    assert ["frame 65012"] == heard.splitlines()


def test_the_password_file_shuts_out_who_has_no_password(tmp_path: Path) -> None:
    """With the two lines changed as the comment says, only a client with the password may connect."""
    passwords = tmp_path / "passwords"
    subprocess.run(["mosquitto_passwd", "-b", "-c", passwords, "tarn", "ballast"], check=True)
    shut = SETTINGS.replace("\nallow_anonymous true\n", "\nallow_anonymous false\n")
    shut = re.sub(r"^#password_file .*$", f"password_file {passwords}", shut, flags=re.MULTILINE)
    port = free_port()
    with broker(tmp_path, shut, port):
        words = ("-t", "x", "-m", "x", "-q", "1")
        assert 0 != client("mosquitto_pub", port, *words).returncode
        assert 0 != client("mosquitto_pub", port, *words, "-u", "tarn", "-P", "wrong").returncode
        assert 0 == client("mosquitto_pub", port, *words, "-u", "tarn", "-P", "ballast").returncode


def test_a_burst_is_not_held_back(tmp_path: Path) -> None:
    """Eight frames of one event arrive at once, and are held back where `set_tcp_nodelay` is taken out."""
    held = SETTINGS.replace("\nset_tcp_nodelay true\n", "\n")
    assert held != SETTINGS
    took = {}
    for name, settings in (("shipped", SETTINGS), ("held", held)):
        folder = tmp_path / name
        folder.mkdir()
        port = free_port()
        with broker(folder, settings, port):
            took[name] = burst(port)
    assert took["shipped"] < HELD_BACK_S
    assert took["held"] > HELD_BACK_S, "the broker's delay does not show here, so this test proves nothing"


def burst(port: int) -> float:
    """Return the median time in seconds until a node has all eight frames.

    The node says what it shows after the eighth only. A connection that sends now and then is taken for a
    dialogue by Linux, which then waits with its bare acknowledgements: the case in which a broker that waits
    for them stands still.
    """
    done = threading.Semaphore(0)
    subscribed = threading.Event()
    node = connect(port)
    node.on_subscribe = lambda *_: subscribed.set()
    received = []

    def receive(client: paho.Client, _: object, message: paho.MQTTMessage) -> None:
        received.append(message.topic)
        if len(received) % BURST == 0:
            client.publish("shown", "8")
            done.release()

    node.on_message = receive
    bridge = connect(port)
    node.loop_start()
    bridge.loop_start()
    try:
        node.subscribe("frame/+")
        assert subscribed.wait(LIMIT_S)
        times = []
        for _ in range(ROUNDS):
            began = time.perf_counter()
            for chain in range(BURST):
                bridge.publish(f"frame/{chain}", bytes(512))
            assert done.acquire(timeout=LIMIT_S)
            times.append(time.perf_counter() - began)
        return statistics.median(times)
    finally:
        for each in (bridge, node):
            each.disconnect()
            each.loop_stop()


def connect(port: int) -> paho.Client:
    """Return a connected client that sends each packet at once."""
    made = paho.Client(CallbackAPIVersion.VERSION2)

    def send_at_once(_client: paho.Client, _data: object, opened: object) -> None:
        assert isinstance(opened, socket.socket)
        opened.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    made.on_socket_open = send_at_once
    made.connect("127.0.0.1", port)
    return made
