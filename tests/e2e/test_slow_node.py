"""Newest wins, through a real broker: what slow, silent and returning nodes get."""

from __future__ import annotations

import contextlib
import json
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path

import pytest

from adapters.outputs.frame import KEEP_ALIVE, decode
from tests.support.board import board_folder, switched_on
from tests.support.counting import CHAIN, LAYOUT, STATES, digits, levels, order, state_of
from tests.support.daemon import Daemon, hearing, running
from tests.support.figures import resident_kb
from tests.support.mosquitto import Mosquitto, StartMosquitto
from tests.support.raw_mqtt import RawClient
from tests.support.raw_node import Frame, RawNode
from tests.support.waiting import wait

SLACK = 0.05
"""Seconds between two processes on one machine that the measurement itself may be wrong by."""


class Orders:
    """Counts the layout up, one order a state.

    Attributes:
        given: for each state, when the order that leads to it was given.
    """

    def __init__(self, port: int) -> None:
        self.given = [0.0]
        self._client = RawClient(port, "orders")

    def next(self) -> None:
        """Give the next order."""
        self._client.publish(*order(len(self.given)))
        self.given.append(time.monotonic())

    def at_rate(self, rate: int, stop: threading.Event) -> None:
        """Give orders at a rate a second until told to stop."""
        began, first = time.monotonic(), len(self.given)
        while not stop.is_set():
            due = began + (len(self.given) - first) / rate
            time.sleep(max(0.0, due - time.monotonic()))
            self.next()

    @contextmanager
    def flowing(self, rate: int) -> Iterator[None]:
        """Give orders meanwhile."""
        stop = threading.Event()
        thread = threading.Thread(target=self.at_rate, args=(rate, stop))
        thread.start()
        try:
            yield
        finally:
            stop.set()
            thread.join()

    def newest(self, at: float) -> int:
        """Return the newest state that was ordered before an instant."""
        return max(state for state, given in enumerate(self.given) if given <= at)

    def close(self) -> None:
        """End."""
        with self._client:
            pass


@pytest.fixture
def layout(mosquitto: StartMosquitto, tmp_path: Path) -> Iterator[tuple[Mosquitto, Daemon, Orders]]:
    """A broker, the daemon on it, and somebody who gives orders."""
    broker = mosquitto()
    with running(tmp_path, LAYOUT, broker.port) as daemon:
        orders = Orders(broker.port)
        yield broker, daemon, orders
        orders.close()


def test_each_order_changes_one_signal_and_the_bytes_tell_which_state_it_made() -> None:
    """The measure itself: 4096 states differ in their bytes, and one signal from the next."""
    assert STATES == len({levels(state) for state in range(STATES)})
    for state in range(STATES):
        pairs = zip(digits(state), digits((state + 1) % STATES), strict=True)
        assert 1 == sum(before != after for before, after in pairs)


def read_slowly(node: RawNode, count: int) -> list[Frame]:
    """Read and acknowledge two frames a second."""
    began, frames = time.monotonic(), []
    for turn in range(1, count + 1):
        time.sleep(max(0.0, began + turn / 2 - time.monotonic()))
        frames.append(node.show())
    return frames


def stale(frames: list[Frame], orders: Orders) -> list[int]:
    """Return by how many states each frame is older than what was newest when the one before it was read."""
    pairs = pairwise(frames)
    behind = [orders.newest(before.at - SLACK) - state_of(now.levels) for before, now in pairs]
    return [states for states in behind if states > 0]


def test_slow_node_gets_the_newest_state_within_its_next_frame(
    layout: tuple[Mosquitto, Daemon, Orders],
) -> None:
    """Two frames a second are read while a hundred states a second are made; no stale frame is ever read.

    What a frame shows is never older than what was newest when the frame before it was read.
    """
    broker, _daemon, orders = layout
    with RawNode(broker.port, *CHAIN.split("/")) as node:
        node.announce()
        with orders.flowing(100):
            frames = read_slowly(node, 9)
        made = len(orders.given) - 1
        ended = read_slowly(node, 3)
        assert made > 400
        assert [] == stale(frames, orders)
        # One frame was on its way when the orders ended. What is read after it is where they ended, for good.
        assert [made, made] == [state_of(frame.levels) for frame in ended[1:]]

        # A node that was prompt may have a second frame on its way: that one is stale when it turns slow.
        for _ in range(20):
            orders.next()
            frame = node.show()
        with orders.flowing(100):
            frames = read_slowly(node, 4)
        assert len(stale([frame, *frames], orders)) <= 1
        assert [] == stale(frames[2:], orders)


def test_board_that_needs_half_a_second_for_a_frame_shows_the_newest(
    layout: tuple[Mosquitto, Daemon, Orders], tmp_path: Path
) -> None:
    """The shipped program shows no stale frame at two frames a second, beside a hundred orders a second."""
    broker, daemon, orders = layout
    with switched_on(board_folder(tmp_path, LAYOUT, "vale", broker.port, pause_ms=500)) as board:
        daemon.wait_for("node vale answers")
        seen: list[tuple[float, int]] = []
        with orders.flowing(100):
            end = time.monotonic() + 6
            while (now := time.monotonic()) < end:
                count = len(board.pictures())
                if count > len(seen) + 1:  # after the picture from before the first frame
                    seen.append((now, state_of(board.pictures()[-1].levels)))
                time.sleep(0.005)
        made = len(orders.given) - 1
        board.wait_until_it_shows(levels(made), within=3)
    assert made > 400
    assert len(seen) >= 8
    behind = [orders.newest(before - 2 * SLACK) - state for (before, _), (_, state) in pairwise(seen)]
    assert [] == [states for states in behind if states > 0]


def test_subscriber_that_never_acknowledges_gets_every_change(
    layout: tuple[Mosquitto, Daemon, Orders],
) -> None:
    """Each state comes in its order, none left out, none twice but by a keep-alive."""
    broker, _daemon, orders = layout
    with hearing(broker.port, f"lamproom/frame/{CHAIN}") as heard:
        assert levels(0) == decode(heard.next()[1])[1]
        for _ in range(1000):
            orders.next()
        seen: list[int] = []
        while seen[-1:] != [1000]:
            header, shown = decode(heard.next()[1])
            if not header.flags & KEEP_ALIVE:
                seen.append(state_of(shown))
    assert list(range(1, 1001)) == [state for state in seen if state]


def test_node_that_stops_acknowledging_is_silent_after_three_seconds_and_asked_each_five(
    layout: tuple[Mosquitto, Daemon, Orders],
) -> None:
    """It is told to the owner, asked each 5 s however much changes, and greeted by the newest frame when it is back."""
    broker, daemon, orders = layout
    complaint = "node vale does not answer: chain main has acknowledged nothing for 3 s"
    with RawNode(broker.port, *CHAIN.split("/")) as node:
        node.announce()
        frame = node.show()
        daemon.wait_for("node vale answers")
        with orders.flowing(50):
            while state_of(frame.levels) < 10:
                frame = node.show()
            answered_last, told_after = frame.at, 0.0
            unanswered = [frame]
            while frame.at - unanswered[-1].at < 4:
                unanswered.append(frame)
                while True:
                    if not told_after and complaint in daemon.output:
                        told_after = time.monotonic() - answered_last
                    with contextlib.suppress(TimeoutError):
                        frame = node.frame(0.05)
                        break
            node.acknowledge(frame)
            back = node.frame(1)
            node.acknowledge(back)
            wait(lambda: 2 == daemon.output.count("node vale answers"), lambda: daemon.output, within=5)

    assert 2.9 < told_after < 4.5
    assert len(unanswered[2:]) <= 3  # two, and a keep-alive
    assert 4.5 < frame.at - unanswered[-1].at < 5.5
    assert 0 == back.header.flags & KEEP_ALIVE
    assert back.at - frame.at < 0.5
    assert orders.newest(frame.at - SLACK) <= state_of(back.levels)


def test_node_that_comes_back_gets_the_whole_picture_at_once(
    layout: tuple[Mosquitto, Daemon, Orders],
) -> None:
    """A node whose last will says that it is gone is lost at once; when it announces itself it is greeted at once."""
    broker, daemon, orders = layout
    node = RawNode(broker.port, *CHAIN.split("/"))
    node.announce()
    node.show()
    daemon.wait_for("node vale answers")
    node.vanish()
    daemon.wait_for("node vale does not answer: it has said, itself or by its last will, that it is gone")
    orders.next()
    with RawNode(broker.port, *CHAIN.split("/")) as again:
        began = time.monotonic()
        again.announce()
        frame = again.show(1)
        assert frame.at - began < 0.5
        assert 1 == state_of(frame.levels)
        assert 0 == frame.header.flags & KEEP_ALIVE
        wait(lambda: 2 == daemon.output.count("node vale answers"), lambda: daemon.output, within=5)


def test_memory_stays_flat_beside_a_node_that_does_not_read(
    layout: tuple[Mosquitto, Daemon, Orders],
) -> None:
    """Twelve thousand events beside a node that reads no frame grow neither the bridge nor the broker by 4 MB."""
    broker, daemon, orders = layout
    assert broker._process is not None
    processes = (daemon.process.pid, broker._process.pid)
    with RawNode(broker.port, *CHAIN.split("/")) as node, RawClient(broker.port, "watcher") as watcher:
        node.announce()
        node.show()
        watcher.subscribe("lamproom/device/inn")
        watcher.read_for(0.1)

        def give(count: int) -> None:
            for _ in range(count):
                orders.next()
                if len(orders.given) % 20 == 0:
                    time.sleep(0.005)
            for word in ("reverse", "normal"):
                watcher.publish("layout/accessory/70/ordered", word)
                aspect = "on" if word == "reverse" else "off"
                while json.loads(watcher.read().payload)["aspect"] != aspect:
                    pass

        give(3000)
        before = [resident_kb(process) for process in processes]
        give(12_000)
        after = [resident_kb(process) for process in processes]
    grown = [now - then for then, now in zip(before, after, strict=True)]
    assert max(grown) < 4096, f"grown by {grown} kB from {before} kB"
    assert "Traceback" not in daemon.output
