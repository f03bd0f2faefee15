"""An interlocked junction on a real broker: what a restart of the broker or of lamproom itself may not do."""

from __future__ import annotations

import json
import os
import signal
from pathlib import Path
from typing import Final

import pytest

from bridge.commands import Decision, Told
from bridge.events import SECOND, BlockReported, RouteKept
from bridge.record.lines import Header, Input
from bridge.record.reader import read_log
from bridge.record.replay import replay
from tests.support.daemon import Daemon, Heard, hearing, publish, running
from tests.support.junction import BLOCKS, JUNCTION
from tests.support.mosquitto import StartMosquitto
from tests.support.waiting import wait

QUICK: Final = (
    JUNCTION.replace("sources:\n  panel: {kind: mqtt}\n  feedback: {kind: mqtt}\n", "")
    .replace("settle: 2 s", "settle: 100 ms")
    .replace("{district: main}", "{district: main, clear-after: 100 ms}")
    .replace("time: 20 s", "time: 2 s")
)
"""The junction with one source and with times that a test can wait for."""

RESTORED: Final = QUICK.replace("  W:\n", "  W:\n    at-start: restored\n")
HOUR: Final = 3600
SEASON: Final = 180 * 24 * HOUR


class Seen:
    """What the bridge has told of devices and locks, in order.

    What the broker keeps of a run that has ended does not count: it carries the mark of that run.
    """

    def __init__(self, heard: Heard) -> None:
        self._heard = heard
        self._run = ""
        self.told: dict[str, list[dict[str, str]]] = {}

    def _all(self, name: str) -> list[dict[str, str]]:
        for topic, payload in self._heard.all():
            said = json.loads(payload)
            if topic != "lamproom/bridge/main":
                self.told.setdefault(topic.removeprefix("lamproom/"), []).append(said)
            elif said["state"] == "up":
                self._run = said["run"]
        return [said for said in self.told.get(name, []) if said["run"] == self._run]

    def of(self, name: str) -> list[str]:
        """Return all that this run has told of a device (`device/W`) or a lock (`lock/63`) until now."""
        return [said.get("aspect") or said["state"] for said in self._all(name)]

    def wait_for(self, name: str, word: str, because: str = "", within: float = 20.0) -> None:
        """Wait until the last that was told of something is this, with these words in its reason."""

        def told() -> bool:
            reasons = [said["reason"] for said in self._all(name)]
            return self.of(name)[-1:] == [word] and because in reasons[-1]

        wait(told, lambda: f"{name} was told {self._all(name)}", within=within)


def facts(port: int) -> None:
    """Publish, retained, all that is needed for W to clear: power, blocks and turnouts."""
    publish(port, "layout/power/main", "on", "-r")
    for block in BLOCKS:
        publish(port, f"layout/block/{block}", "clear", "-r")
    publish(port, "layout/accessory/63/proved", "normal", "-r")
    publish(port, "layout/accessory/66/ordered", "normal", "-r")


def test_a_broker_restart_clears_no_signal_and_lets_go_of_no_route_too_early(
    mosquitto: StartMosquitto, tmp_path: Path
) -> None:
    """A train is near when the broker goes: the signal falls, its kept order is no order, the route outlasts it all."""
    keeps = ["persistence true", f"persistence_location {tmp_path}/"]
    if os.geteuid() == 0:
        keeps.append("user root")  # as another user it could not write into the test's own folder
    broker = mosquitto(*keeps)
    with running(tmp_path, QUICK, broker.port) as daemon:
        daemon.wait_for("this bridge drives the nodes under term")
        with hearing(broker.port, "lamproom/+/+") as heard:
            seen = Seen(heard)
            facts(broker.port)
            publish(broker.port, "layout/accessory/71/ordered", "reverse", "-r")
            seen.wait_for("device/W", "clear")
            seen.wait_for("lock/63", "locked")
            publish(broker.port, "layout/block/west", "occupied", "-r")
            publish(broker.port, "layout/accessory/72/ordered", "normal", "-r")
        broker.stop()
        daemon.wait_for("the link to the broker")
        # The bridge is held still while the broker starts, so that somebody listens before it is back.
        daemon.process.send_signal(signal.SIGSTOP)
        broker.start()
        with hearing(broker.port, "lamproom/+/+") as heard:
            daemon.process.send_signal(signal.SIGCONT)
            seen = Seen(heard)
            seen.wait_for("lock/63", "free")
            assert "locked" in seen.of("lock/63"), "the route was let go of before anything was known again"
            assert "clear" not in seen.of("device/W")[1:]
            publish(broker.port, "layout/accessory/71/ordered", "reverse")
            seen.wait_for("device/W", "clear")
        assert 0 == daemon.stop()


def last_run(broker_port: int, folder: Path) -> Path:
    """Run once, clear W by an order, end; return the state file."""
    with running(folder, RESTORED, broker_port) as daemon, hearing(broker_port, "lamproom/+/+") as heard:
        daemon.wait_for("this bridge drives the nodes under term")
        facts(broker_port)
        publish(broker_port, "layout/accessory/71/ordered", "reverse")
        Seen(heard).wait_for("device/W", "clear")
        assert 0 == daemon.stop()
        return daemon.state / "bridge.json"


@pytest.mark.parametrize(("age", "aspect"), [(HOUR, "clear"), (SEASON, "stop")])
def test_a_saved_order_counts_again_after_an_hour_and_not_after_a_season(
    mosquitto: StartMosquitto, tmp_path: Path, age: int, aspect: str
) -> None:
    """The route is locked anew from what is known now; an order from last season clears nothing."""
    broker = mosquitto()
    state = last_run(broker.port, tmp_path)
    values = json.loads(state.read_text("utf-8"))
    assert ["accessory", 71, "reverse", "mqtt"] in values["orders"]["orders"]
    values["orders"]["at"] -= age
    state.write_text(json.dumps(values), "utf-8")

    daemon = Daemon(tmp_path, RESTORED, broker.port)
    try:
        daemon.wait_for("this bridge drives the nodes under term")
        with hearing(broker.port, "lamproom/+/+") as heard:
            seen = Seen(heard)
            if aspect == "clear":
                seen.wait_for("device/W", "clear")
            else:
                publish(broker.port, "layout/block/east", "occupied")
                publish(broker.port, "layout/accessory/72/ordered", "normal")
                publish(broker.port, "layout/accessory/73/ordered", "normal")
                seen.wait_for("device/B", "stop", "accessory 73 was ordered normal")
                assert "clear" not in seen.of("device/W")
    finally:
        assert 0 == daemon.stop()


def crash(daemon: Daemon) -> None:
    """End it as a crash would: with nothing said and nothing put away."""
    daemon.process.kill()
    daemon.stop()


def kept_locks(daemon: Daemon) -> object:
    """Return the locks in its state file."""
    file = daemon.state / "bridge.json"
    return json.loads(file.read_text("utf-8")).get("locks") if file.exists() else None


def test_a_locked_route_outlasts_a_crash(mosquitto: StartMosquitto, tmp_path: Path) -> None:
    """A train is before a clear signal when the bridge is killed; the conflicting one clears after the full time only.

    No signal here restores its orders. The log of the second run replays to the same.
    """
    broker = mosquitto()
    held = QUICK.replace(", refused: drop", "")
    daemon = Daemon(tmp_path, held, broker.port)
    with hearing(broker.port, "lamproom/+/+") as heard:
        seen = Seen(heard)
        daemon.wait_for("this bridge drives the nodes under term")
        facts(broker.port)
        publish(broker.port, "layout/accessory/71/ordered", "reverse")
        seen.wait_for("device/W", "clear")
        publish(broker.port, "layout/block/west", "occupied", "-r")
        wait(lambda: kept_locks(daemon) == [["W", "to-east"]], lambda: str(kept_locks(daemon)), within=20)
        crash(daemon)
        publish(broker.port, "layout/block/west", "clear", "-r")
    first = daemon.log()
    again = Daemon(tmp_path, held, broker.port)
    try:
        again.wait_for("this bridge drives the nodes under term")
        with hearing(broker.port, "lamproom/+/+") as heard:
            seen = Seen(heard)
            publish(broker.port, "layout/accessory/72/ordered", "reverse")
            seen.wait_for("device/E", "clear")
            assert "clear" not in seen.of("device/W")
            assert "locked" == seen.of("lock/63")[0]
    finally:
        assert 0 == again.stop()
    log = again.log()
    assert first != log
    lines = [placed.line for placed in read_log(log)]
    assert isinstance(lines[0], Header)
    inputs = [line for line in lines if isinstance(line, Input)]
    assert isinstance(inputs[0].events[0], RouteKept)
    known = min(line.at for line in inputs for event in line.events if isinstance(event, BlockReported))
    cleared = [
        line.at
        for line in lines
        if isinstance(line, Decision) and line.aspect == "clear" and line.device == "E"
    ]
    free = [line.at for line in lines if isinstance(line, Told) and (line.name, line.state) == ("63", "free")]
    assert cleared[0] >= known + 2 * SECOND
    assert not [at for at in free if 0 < at < known + 2 * SECOND]
    result = replay(log)
    assert result.same, result.difference


def test_a_lock_of_a_route_that_is_gone_is_told(mosquitto: StartMosquitto, tmp_path: Path) -> None:
    """The layout file was changed between two runs: the note names the route, and everything else runs."""
    broker = mosquitto()
    state = last_run(broker.port, tmp_path)
    assert [["W", "to-east"]] == json.loads(state.read_text("utf-8"))["locks"]
    with running(tmp_path, RESTORED.replace("to-east:", "to-town:"), broker.port) as daemon:
        daemon.wait_for("route to-east of W was locked before the restart, and this layout has no such route")
        publish(broker.port, "layout/accessory/71/ordered", "reverse")
        with hearing(broker.port, "lamproom/+/+") as heard:
            Seen(heard).wait_for("device/W", "clear")
