"""Terms, last words and ends: what nodes and other bridges can rely on, whatever ends the bridge."""

from __future__ import annotations

import json
import random
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from adapters.outputs.frame import LAST, Header, decode
from bridge.record.replay import replay
from tests.support.counting import CHAIN, LAYOUT, levels, order
from tests.support.daemon import Daemon, running
from tests.support.figures import peak_kb, processor_seconds, resident_kb
from tests.support.mosquitto import Mosquitto, StartMosquitto
from tests.support.raw_mqtt import RawClient, kept
from tests.support.waiting import wait

BRIDGE = "lamproom/bridge/main"


def next_frame(client: RawClient, chain: str = CHAIN) -> tuple[Header, bytes]:
    """Return the next frame of a chain."""
    while True:
        message = client.read()
        if message.topic == f"lamproom/frame/{chain}":
            return decode(message.payload)


def until_kept(port: int, topic: str, state: str, term: int) -> None:
    """Wait until the broker keeps this of a bridge."""
    expected = (state, term)

    def found() -> tuple[Any, Any]:
        said = kept(port, topic)
        return said["state"], said["term"]

    wait(lambda: expected == found(), lambda: f"{found()} is kept in place of {expected}")


def test_each_run_takes_a_higher_term_than_the_one_before(mosquitto: StartMosquitto, tmp_path: Path) -> None:
    """The epoch is kept in the state directory, so it rises even where the broker remembers nothing."""
    for epoch in (1, 2):
        broker = mosquitto()  # a new one, which knows of no run before
        with RawClient(broker.port, "listener") as listener:
            listener.subscribe("lamproom/frame/#")
            with running(tmp_path, LAYOUT, broker.port, "--number", "7"):
                assert epoch * 256 + 7 == next_frame(listener)[0].term
            header, shown = next_frame(listener)
            while not header.flags & LAST:
                header, shown = next_frame(listener)
            assert (epoch * 256 + 7, levels(0)) == (header.term, shown)


@pytest.mark.parametrize(
    ("topic", "said"),
    [
        ("lamproom/node/vale", {"state": "here", "term": 77 * 256 + 3, "uptime": 5}),
        ("lamproom/bridge/other", {"state": "stopped", "term": 77 * 256 + 3}),
        (BRIDGE, {"state": "lost", "term": 77 * 256 + 3}),
    ],
)
def test_without_state_the_term_is_learned_from_what_the_broker_keeps(
    mosquitto: StartMosquitto, tmp_path: Path, topic: str, said: dict[str, Any]
) -> None:
    """A bridge on a new machine goes above every term used before it sends its first frame; so does its will."""
    broker = mosquitto()
    with RawClient(broker.port, "listener") as listener:
        listener.publish(topic, json.dumps(said), retain=True)
        listener.subscribe("lamproom/frame/#")
        with running(tmp_path, LAYOUT, broker.port) as daemon:
            assert 78 * 256 == next_frame(listener)[0].term
            until_kept(broker.port, BRIDGE, "up", 78 * 256)
            daemon.process.kill()
            until_kept(broker.port, BRIDGE, "lost", 78 * 256)


def test_clean_stop_says_so_and_leaves_signals_restrictive_and_lights_dark(
    mosquitto: StartMosquitto, tmp_path: Path
) -> None:
    """The last frame of each chain carries the flag for it, and the bridge is kept as stopped, not lost."""
    broker = mosquitto()
    with RawClient(broker.port, "listener") as listener:
        listener.subscribe("lamproom/frame/#")
        with running(tmp_path, LAYOUT, broker.port) as daemon:
            listener.publish("layout/accessory/70/ordered", "reverse")
            listener.publish("layout/accessory/71/ordered", "reverse")
            while next_frame(listener, "town/street")[1] != bytes.fromhex("ff0000 ff0000"):
                pass
            assert 0 == daemon.stop()
        until_kept(broker.port, BRIDGE, "stopped", 256)
        last: dict[str, tuple[int, bytes]] = {}
        for message in listener.read_for(0.5):
            header, shown = decode(message.payload)
            last[message.topic] = (header.flags & LAST, shown)
    assert {
        f"lamproom/frame/{CHAIN}": (LAST, levels(0)),
        "lamproom/frame/town/street": (LAST, bytes.fromhex("000000 00ff00")),
        "lamproom/frame/town/lane": (LAST, bytes(3)),
    } == last


@pytest.mark.parametrize("frozen", [False, True], ids=["broker-well", "broker-frozen"])
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_both_signals_end_it_cleanly_within_two_seconds(
    mosquitto: StartMosquitto, tmp_path: Path, number: signal.Signals, *, frozen: bool
) -> None:
    """Exit status 0, no traceback, and a session log with an end, also when the broker no longer reads."""
    broker = mosquitto()
    with running(tmp_path, LAYOUT, broker.port, "--page", "127.0.0.1:0") as daemon:
        if frozen:
            broker.freeze()
        began = time.monotonic()
        daemon.process.send_signal(number)
        assert 0 == daemon.process.wait(10)
        took = time.monotonic() - began
        broker.thaw()
    assert took < 2
    assert "Traceback" not in daemon.output
    assert replay(daemon.log()).same
    if not frozen:
        assert "stopped" == kept(broker.port, BRIDGE)["state"]


def test_term_that_nothing_is_above_is_told_and_not_gone_round(
    mosquitto: StartMosquitto, tmp_path: Path
) -> None:
    """A node that speaks of the highest term of all moves nothing: no round of the circle, no loop, one sentence."""
    broker = mosquitto()
    with RawClient(broker.port, "listener") as listener:
        said = {"state": "here", "term": 2**32 - 1}
        listener.publish("lamproom/node/vale", json.dumps(said), retain=True)
        listener.subscribe("lamproom/frame/#")
        with running(tmp_path, LAYOUT, broker.port) as daemon:
            assert 256 == next_frame(listener)[0].term
            for sequence in range(200):
                listener.publish(f"lamproom/shown/{CHAIN}", f"{2**32 - 1} {sequence}")
            listener.publish(*order(1))
            while levels(1) != next_frame(listener)[1]:
                pass
    assert 1 == daemon.output.count("term 4294967295 was heard of, and there is none above it")
    assert 1 == daemon.output.count("under term")


def test_two_bridges_of_one_name_are_told_of_each_other_and_do_not_race(
    mosquitto: StartMosquitto, tmp_path: Path
) -> None:
    """The broker throws one out for the other. Both say why and what to do, and neither keeps the processor busy."""
    broker = mosquitto()
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
    with (
        running(tmp_path / "one", LAYOUT, broker.port) as one,
        running(tmp_path / "two", LAYOUT, broker.port) as two,
    ):
        both = (one, two)
        for each in both:
            each.wait_for("another bridge named main is on this broker")
        used, since = sum(processor_seconds(each.process.pid) for each in both), time.monotonic()
        connections = sum(each.output.count("connected to") for each in both)
        wait(lambda: time.monotonic() - since > 4, str, within=10)
        share = (sum(processor_seconds(each.process.pid) for each in both) - used) / (
            time.monotonic() - since
        )
        connections = sum(each.output.count("connected to") for each in both) - connections
        assert share < 0.1, f"they took {share:.1%} of a processor"
        assert connections <= 8
        for each in both:
            assert 1 == each.output.count("give one of them another --name")
        assert 0 == two.stop()
        wait(lambda: drives(broker, one), lambda: one.output)


def drives(broker: Mosquitto, daemon: Daemon) -> bool:
    """Return whether a daemon is the one that the broker says is up."""
    terms = [line.rsplit(" ", 1)[1] for line in daemon.output.splitlines() if "under term" in line]
    said = kept(broker.port, BRIDGE)
    return ("up", terms[-1]) == (said["state"], str(said["term"]))


def test_session_log_of_a_killed_bridge_replays(mosquitto: StartMosquitto, tmp_path: Path) -> None:
    """Killed five times at random moments amid traffic, each log is a session that gives the same frames again."""
    broker = mosquitto()
    chance = random.Random(61)  # noqa: S311 - moments to kill at
    with RawClient(broker.port, "orders") as orders:
        state = 0
        for _turn in range(5):
            with running(tmp_path, LAYOUT, broker.port) as daemon:
                end = time.monotonic() + chance.uniform(0.05, 0.6)
                while time.monotonic() < end:
                    state += 1
                    orders.publish(*order(state))
                    time.sleep(0.001)
                daemon.process.kill()
                daemon.process.wait(10)
    logs = sorted((tmp_path / "state" / "sessions").iterdir())
    assert 5 == len(logs)
    results = [replay(log) for log in logs]
    assert [True] * 5 == [result.same for result in results]
    assert any(result.events > 50 for result in results)
    command = [sys.executable, "-c", "from bridge.cli import main; main()", "replay", str(logs[-1])]
    assert 0 == subprocess.run(command, stdout=subprocess.DEVNULL, timeout=60, check=False).returncode


def test_flood_garbage_and_huge_payloads_leave_lights_quick_and_memory_bounded(
    mosquitto: StartMosquitto, tmp_path: Path
) -> None:
    """Five thousand events a second, payloads of 1 MB, ten thousand senseless topics: the next order is obeyed.

    Nothing piles up, 32 MB at most come on top, and of the ten thousand complaints an owner is spared the most.
    """
    broker = mosquitto()
    with (
        running(tmp_path, LAYOUT, broker.port) as daemon,
        RawClient(broker.port, "crowd") as crowd,
        RawClient(broker.port, "listener") as listener,
    ):
        listener.subscribe("lamproom/frame/town/street")

        def obeyed() -> float:
            began = time.monotonic()
            for word, shown in (("reverse", "ff0000 00ff00"), ("normal", "000000 00ff00")):
                crowd.publish("layout/accessory/70/ordered", word)
                while decode(listener.read().payload)[1] != bytes.fromhex(shown):
                    pass
            return time.monotonic() - began

        obeyed()
        before = resident_kb(daemon.process.pid)
        began = time.monotonic()
        for state in range(1, 10_001):
            crowd.publish(*order(state))
            if state % 50 == 0:
                time.sleep(max(0.0, began + state / 5000 - time.monotonic()))
        obeyed()
        for _ in range(10):
            crowd.publish("layout/accessory/61/ordered", b"x" * 1_000_000)
            crowd.publish(f"layout/{'x' * 60_000}", b"normal")
        obeyed()
        for number in range(10_000):
            crowd.publish(f"layout/senseless/{number}", bytes((number & 255,)) * 20)
        obeyed()
        quick = obeyed()
        grown = peak_kb(daemon.process.pid) - before
        assert grown < 32 * 1024, f"it held {grown} kB more than before"
        assert quick < 0.2
    complaints = [line for line in daemon.output.splitlines() if "means nothing here" in line]
    assert 100 == len(complaints) == len(set(complaints))
    assert "sent 100 different things within a minute that mean nothing here" in daemon.output
    assert replay(daemon.log()).same
