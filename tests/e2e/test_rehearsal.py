"""A rehearsal without trains: a node gets what the log has, in order, and nobody can take it for the real thing."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from adapters.outputs.frame import LAST, decode
from bridge.events import MILLISECOND, SECOND, AccessoryOrdered, Position
from tests.bridge.record.sessions import Session
from tests.support.counting import CHAIN, LAYOUT, levels, order
from tests.support.daemon import running
from tests.support.mosquitto import Mosquitto, StartMosquitto
from tests.support.program import START
from tests.support.raw_mqtt import RawClient
from tests.support.waiting import PATIENCE

STEPS = 40
GAP = 100 * MILLISECOND


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """Return the log of a session in which each order changes one frame."""
    path = tmp_path / "session.jsonl"
    session = Session(path, LAYOUT)
    for state in range(1, STEPS + 1):
        topic, position = order(state)
        number = int(topic.split("/")[2])
        session.message(
            state * GAP, AccessoryOrdered(at=0, source="mqtt", number=number, position=Position(position))
        )
    session.end(STEPS * GAP + SECOND)
    return path


@contextmanager
def rehearsing(log: Path, broker: Mosquitto, *options: str) -> Iterator[subprocess.Popen[str]]:
    """Give a rehearsal that runs, and end it."""
    words = [
        "rehearse",
        str(log),
        "--broker",
        f"127.0.0.1:{broker.port}",
        "--state",
        str(log.parent / "state"),
    ]
    process = subprocess.Popen(
        [sys.executable, "-c", START, *words, "--yes", *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        yield process
    finally:
        if process.poll() is None:
            process.kill()
        process.communicate(timeout=PATIENCE)


def frames(client: RawClient) -> Iterator[tuple[int, bytes]]:
    """Yield flags and levels of each frame of the chain, up to the last one; the same again is a keep-alive."""
    before = None
    while True:
        message = client.read()
        if message.topic == f"lamproom/frame/{CHAIN}":
            header, shown = decode(message.payload)
            if shown != before or header.flags & LAST:
                yield header.flags, shown
            before = shown
            if header.flags & LAST:
                return


def test_a_node_gets_the_frames_of_the_log_in_order_and_at_its_speed(
    mosquitto: StartMosquitto, tmp_path: Path, log: Path
) -> None:
    """Every one of them; at the end the restrictive picture. Nobody is told of an aspect, and nothing is recorded."""
    broker = mosquitto()
    with RawClient(broker.port, "node") as node, RawClient(broker.port, "world") as world:
        node.subscribe("lamproom/frame/#")
        world.subscribe("lamproom/#")
        began = time.monotonic()
        with rehearsing(log, broker, "--speed", "2") as process:
            shown = [each for _flags, each in frames(node)]
            taken = time.monotonic() - began
            output, errors = process.communicate(timeout=PATIENCE)
        assert (0, "") == (process.returncode, errors)
        assert [*(levels(state) for state in range(STEPS + 1)), levels(0)] == shown
        assert taken >= (STEPS * GAP + SECOND) / SECOND / 2
        assert "the rehearsal begins" in output
        assert "2 times as fast" in output
        topics = {message.topic for message in world.read_for(0.5)}
    assert "lamproom/bridge/rehearsal" in topics
    assert not any(topic.startswith(("lamproom/device", "lamproom/lock")) for topic in topics)
    assert not (tmp_path / "state" / "sessions").exists()


def test_a_part_is_shown_from_its_picture_on(mosquitto: StartMosquitto, log: Path) -> None:
    """What came before is not shown step by step, and what comes after not at all."""
    broker = mosquitto()
    with RawClient(broker.port, "node") as node:
        node.subscribe("lamproom/frame/#")
        with rehearsing(log, broker, "--speed", "4", "--from", "+1.05", "--to", "+2.05"):
            shown = [each for _flags, each in frames(node)]
    assert [levels(state) for state in range(10, 21)] == shown[-12:-1]
    assert levels(0) == shown[-1]


def test_under_another_layout_file_what_moves_there_is_shown(
    mosquitto: StartMosquitto, tmp_path: Path, log: Path
) -> None:
    """Its own log has no instants for a fade that it did not have."""
    broker = mosquitto()
    other = tmp_path / "other.yaml"
    other.write_text(LAYOUT.replace("S0: {aspects", "S0: {change: fade 80 ms, aspects"), encoding="utf-8")
    whole = {levels(state) for state in range(STEPS + 1)}
    with RawClient(broker.port, "node") as node:
        node.subscribe("lamproom/frame/#")
        with rehearsing(log, broker, "--layout", str(other)):
            shown = [each for _flags, each in frames(node)]
    between = [each for each in shown if each not in whole]
    assert len(between) > STEPS // 2
    assert {levels(state) for state in range(0, STEPS + 1, 4)} <= set(shown)


def test_it_is_refused_while_a_bridge_drives_nodes(
    mosquitto: StartMosquitto, tmp_path: Path, log: Path
) -> None:
    """Trains go by the signals of that bridge."""
    broker = mosquitto()
    with running(tmp_path, LAYOUT, broker.port), rehearsing(log, broker) as process:
        output, errors = process.communicate(timeout=PATIENCE)
    assert 2 == process.returncode
    assert "lamproom: the bridge main drives Counting Vale on the broker at" in errors
    assert "the rehearsal begins" not in output


def test_it_gives_way_to_a_bridge_that_begins(mosquitto: StartMosquitto, tmp_path: Path, log: Path) -> None:
    """And leaves alone what that one shows."""
    broker = mosquitto()
    with rehearsing(log, broker, "--speed", "0.1") as process:
        assert process.stdout is not None
        while "the rehearsal begins" not in process.stdout.readline():
            assert process.poll() is None
        with running(tmp_path, LAYOUT, broker.port), RawClient(broker.port, "node") as node:
            _output, errors = process.communicate(timeout=PATIENCE)
            node.subscribe(f"lamproom/frame/{CHAIN}")
            assert 2 == process.returncode
            assert "the bridge main has begun to drive Counting Vale, and the rehearsal has ended" in errors
            assert not any(decode(message.payload)[0].flags & LAST for message in node.read_for(0.3))


def test_ctrl_c_ends_it_in_the_restrictive_picture(mosquitto: StartMosquitto, log: Path) -> None:
    """At once, with the last frames of a bridge that ends."""
    broker = mosquitto()
    with RawClient(broker.port, "node") as node, rehearsing(log, broker, "--speed", "0.5") as process:
        node.subscribe("lamproom/frame/#")
        seen = []
        for flags, shown in frames(node):
            seen.append((flags, shown))
            if shown == levels(3):
                process.send_signal(signal.SIGINT)
        output, errors = process.communicate(timeout=PATIENCE)
    assert (0, "") == (process.returncode, errors)
    assert (LAST, levels(0)) == seen[-1]
    assert "the rehearsal is over: signals are restrictive, lights are dark" in output
    with RawClient(broker.port, "late") as late:
        late.subscribe("lamproom/bridge/rehearsal")
        assert "stopped" == json.loads(late.read().payload)["state"]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--speed", "0"), "--speed 0: write a number from 0.1 to 100"),
        (("--broker", "127.0.0.1:1"), "without it nobody knows whether a bridge drives the nodes"),
        (("--from", "+99"), "the session was over before that"),
    ],
)
def test_what_cannot_be_rehearsed_is_said_with_its_reason(
    mosquitto: StartMosquitto, log: Path, options: tuple[str, ...], said: str
) -> None:
    """And nothing is shown."""
    with rehearsing(log, mosquitto(), *options) as process:
        _output, errors = process.communicate(timeout=PATIENCE)
    assert 2 == process.returncode
    assert said in errors
    assert "Traceback" not in errors
