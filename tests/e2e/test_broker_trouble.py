"""A broker that is not there yet, stops, freezes, comes back, or does not let us in."""

from __future__ import annotations

import contextlib
import getpass
import json
import re
import signal
import socket
import subprocess
import threading
import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any
from urllib.request import urlopen

from adapters.outputs.frame import KEEP_ALIVE, Header, decode
from tests.support.counting import LAYOUT, levels, order
from tests.support.daemon import Daemon, running
from tests.support.figures import processor_seconds
from tests.support.mosquitto import StartMosquitto
from tests.support.raw_mqtt import RawClient, kept
from tests.support.waiting import PATIENCE, wait

DISTRUST = "mqtt was lost, and nothing was ordered since"
INN_DISTRUST = "mqtt was lost, and accessory 70 was not ordered since"

LIT = b"\xff\x00\x00"
T1_RED, T1_GREEN = b"\x00\xff\x00", b"\xff\x00\x00"


class Page:
    """What the page of a daemon knows."""

    def __init__(self, daemon: Daemon) -> None:
        daemon.wait_for("the page is at http://")
        found = re.search(r"the page is at (http://\S+)", daemon.output)
        assert found is not None
        self._address = found[1]

    def now(self) -> dict[str, Any]:
        """Return the present picture."""
        return self._get("api/now")

    def notes(self) -> list[str]:
        """Return the sentences."""
        return [note["text"] for note in self._get("api/notes")["notes"]]

    def wait_for_broker(self, state: str, within: float = 30.0) -> None:
        """Wait until the page says this of the broker."""
        wait(lambda: self.now()["broker"]["state"] == state, lambda: str(self.now()["broker"]), within=within)

    def wait_for_reason(self, device: str, reason: str) -> None:
        """Wait until the page gives this reason for what a device shows; it is told a moment behind the frames."""
        wait(
            lambda: self.now()["devices"][device]["reason"] == reason,
            lambda: str(self.now()["devices"]),
            within=5,
        )

    def _get(self, path: str) -> dict[str, Any]:
        with urlopen(self._address + path, timeout=10) as answer:  # noqa: S310 - our own http address
            data: dict[str, Any] = json.load(answer)
        return data


@contextlib.contextmanager
def turning_away(port: int) -> Iterator[list[float]]:
    """Stand in the broker's place, close every connection at once, and give when each one came."""
    came: list[float] = []
    with socket.socket() as door:
        door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        door.bind(("127.0.0.1", port))
        door.listen()

        def serve() -> None:
            with contextlib.suppress(OSError):
                while True:
                    guest, _ = door.accept()
                    came.append(time.monotonic())
                    guest.close()

        thread = threading.Thread(target=serve)
        thread.start()
        try:
            yield came
        finally:
            door.shutdown(socket.SHUT_RDWR)
            thread.join()


class Listener(RawClient):
    """Hears the frames, and what the bridge says of itself, from the moment it is made."""

    def __init__(self, port: int) -> None:
        super().__init__(port, "listener")
        self.port = port
        self.said: list[str] = []
        self.subscribe("lamproom/frame/#", "lamproom/bridge/main")

    def frame(self, within: float = PATIENCE) -> tuple[str, Header, bytes]:
        """Return chain, header and levels of the next frame."""
        while True:
            topic, payload, _retained = self.read(within)
            if topic != "lamproom/bridge/main":
                return topic.removeprefix("lamproom/frame/"), *decode(payload)
            self.said.append(json.loads(payload)["state"])

    def see(self, chain: str, expected: bytes) -> None:
        """Wait for a frame."""
        deadline, seen = time.monotonic() + PATIENCE, set[str]()
        while True:
            name, _header, shown = self.frame()
            if (name, shown) == (chain, expected):
                return
            seen.add(f"{name} {shown.hex()}")
            assert time.monotonic() < deadline, f"{chain} never showed {expected.hex()}, but {seen}"

    def order_and_see(self) -> None:
        """Give orders to each node and see its light."""
        self.publish(*order(1))
        self.see("vale/main", levels(1))
        self.publish("layout/accessory/70/ordered", "reverse")
        self.publish("layout/accessory/71/ordered", "reverse")
        self.see("town/street", LIT + T1_GREEN)
        self.publish("layout/accessory/72/ordered", "reverse")
        self.see("town/lane", LIT)

    def look_after_return(self) -> None:
        """See that all is sent in full after a return, signals restrictive and lights held, and that orders work."""
        full: dict[str, bytes] = {}
        deadline = time.monotonic() + PATIENCE
        while len(full) < 3:
            assert time.monotonic() < deadline, f"only {set(full)} were sent in full"
            chain, header, shown = self.frame()
            if not header.flags & KEEP_ALIVE:
                full.setdefault(chain, shown)
        # Nothing has changed on the last of these: it is told all the same.
        assert {"vale/main": levels(0), "town/street": LIT + T1_RED, "town/lane": LIT} == full
        for device, aspect, reason in (
            ("S0", "stop", DISTRUST),
            ("T1", "stop", DISTRUST),
            ("inn", "on", INN_DISTRUST),
        ):
            wanted = (aspect, reason)
            wait(lambda d=device, w=wanted: w == told(self.port, d), device.__str__, within=5)  # type: ignore[misc] # bound early
        self.order_and_see()
        # What the broker publishes late, the wills of connections that are no more, must not be what it keeps.
        with contextlib.suppress(TimeoutError):
            end = time.monotonic() + 1
            while time.monotonic() < end:
                self.frame(0.5)
        assert "up" == self.said[-1], f"the bridge was said to be {self.said}"


def kept_or_none(port: int, topic: str) -> Any:
    """Return what the broker keeps under a topic, or None."""
    with contextlib.suppress(TimeoutError):
        return kept(port, topic, 0.2)
    return None


def told(port: int, device: str) -> tuple[str, str] | None:
    """Return aspect and reason of a device as the broker keeps them, or None."""
    said = kept_or_none(port, f"lamproom/device/{device}")
    return said and (said["aspect"], said["reason"])


def test_restarted_broker_is_found_again_and_told_everything(
    mosquitto: StartMosquitto, tmp_path: Path
) -> None:
    """The attempts thin out, cost next to nothing, and lead to a link on which everything is as it was.

    While nothing can be heard, signals fall to their most restrictive aspect and say why; lights hold.
    """
    broker = mosquitto()
    with running(tmp_path, LAYOUT, broker.port, "--page", "127.0.0.1:0") as daemon:
        page = Page(daemon)
        with Listener(broker.port) as heard:
            heard.order_and_see()
        page.wait_for_reason("S0", "accessory 11 was ordered reverse (by mqtt)")
        broker.stop()
        page.wait_for_broker("lost")
        with turning_away(broker.port) as came:
            used, since = processor_seconds(daemon.process.pid), time.monotonic()
            wait(lambda: len(came) >= 4, lambda: f"{len(came)} attempts came", within=30)
            share = (processor_seconds(daemon.process.pid) - used) / (time.monotonic() - since)
        devices = page.now()["devices"]
        assert {"stop", DISTRUST} == {devices["S0"]["aspect"], devices["S0"]["reason"]}
        assert {"on", INN_DISTRUST} == {devices["inn"]["aspect"], devices["inn"]["reason"]}
        # The bridge is held still while the broker starts, so that somebody listens before it is back.
        daemon.process.send_signal(signal.SIGSTOP)
        broker.start()
        with Listener(broker.port) as heard:
            daemon.process.send_signal(signal.SIGCONT)
            heard.look_after_return()
        assert "up" == page.now()["broker"]["state"]
        notes = page.notes()

    gaps = [after - before for before, after in pairwise(came)]
    assert gaps[-1] > 1.5 * gaps[0], f"the attempts do not thin out: {gaps}"
    assert share < 0.05, f"waiting for the broker took {share:.1%} of a processor"
    for told in (notes, daemon.output.splitlines()):
        lost = [line for line in told if "was lost (the other end closed the connection)" in line]
        assert 1 == len(lost)
        assert 2 == sum("connected to the broker" in line for line in told)
        assert any("events from mqtt do not come in: the link to the broker is down" in line for line in told)
        assert any("events from mqtt come in: the link to the broker stands" in line for line in told)
    assert "Traceback" not in daemon.output


def test_frozen_broker_is_noticed_and_found_again(mosquitto: StartMosquitto, tmp_path: Path) -> None:
    """Twenty seconds without an answer are noticed in them, and end with everything sent in full."""
    broker = mosquitto()
    with (
        running(tmp_path, LAYOUT, broker.port, "--page", "127.0.0.1:0") as daemon,
        Listener(broker.port) as heard,
    ):
        page = Page(daemon)
        heard.order_and_see()
        broker.freeze()
        frozen = time.monotonic()
        page.wait_for_broker("lost", 19)
        noticed = time.monotonic() - frozen
        assert any("was lost (no answer to its ping)" in note for note in page.notes())
        page.wait_for_reason("S0", DISTRUST)
        used, since = processor_seconds(daemon.process.pid), time.monotonic()
        wait(lambda: time.monotonic() - frozen >= 20, str, within=30)
        share = (processor_seconds(daemon.process.pid) - used) / (time.monotonic() - since)
        broker.thaw()
        daemon.wait_for("connected to the broker")
        wait(lambda: 2 <= daemon.output.count("connected to the broker"), lambda: daemon.output, within=15)
        heard.look_after_return()
        page.wait_for_broker("up")

    assert noticed < 15
    assert share < 0.05, f"the frozen broker took {share:.1%} of a processor"
    assert daemon.output.count("trying again, at least") <= 4
    assert "Traceback" not in daemon.output


def test_bridge_that_starts_before_the_broker_comes_to_life_with_it(
    mosquitto: StartMosquitto, tmp_path: Path
) -> None:
    """Without a broker it says so and waits; when the broker appears it drives its nodes."""
    broker = mosquitto()
    broker.stop()
    daemon = Daemon(tmp_path, LAYOUT, broker.port)
    try:
        daemon.wait_for("cannot be reached (Connection refused); trying again, at least every 10 s")
        assert "under term" not in daemon.output
        broker.start()
        with Listener(broker.port) as heard:
            daemon.wait_for("under term")
            heard.order_and_see()
    finally:
        assert 0 == daemon.stop()
    assert 1 == daemon.output.count("cannot be reached (")


def test_wrong_password_is_said_plainly_and_tried_again_without_a_flood(
    mosquitto: StartMosquitto, tmp_path: Path
) -> None:
    """A broker that refuses us is named with its reason, once; when the password is put right we get in."""
    secret, users = tmp_path / "secret", tmp_path / "users"
    secret.write_text("right\n", encoding="utf-8")
    users.touch()

    def register(password: str) -> None:
        subprocess.run(["mosquitto_passwd", "-c", "-b", users, "signals", password], check=True, timeout=10)

    register("wrong")
    own = f"user {getpass.getuser()}"  # started by root it would become another, who may not read the file
    broker = mosquitto("allow_anonymous false", f"password_file {users}", own)
    login = f"broker: {{user: signals, password-file: {secret}}}\n"
    daemon = Daemon(tmp_path, LAYOUT + login, broker.port)
    try:
        daemon.wait_for(
            f"the broker at 127.0.0.1:{broker.port} refused the user 'signals' (Not authorized); trying again"
        )
        register("right")
        assert broker._process is not None
        broker._process.send_signal(signal.SIGHUP)  # has Mosquitto read the passwords again
        daemon.wait_for("under term")
    finally:
        assert 0 == daemon.stop()
    assert 1 == daemon.output.count("refused the user")
    assert "right" not in daemon.output.replace("right away", "")
