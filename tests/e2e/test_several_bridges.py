"""Several bridges on one broker, and a broker whose access rules leave something out."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from adapters.outputs.node_talk import Shown, shown_topic, write_shown
from tests.e2e.test_terms import until_kept
from tests.support.counting import LAYOUT, levels, order
from tests.support.daemon import Daemon, running
from tests.support.mosquitto import StartMosquitto
from tests.support.raw_mqtt import RawClient
from tests.support.raw_node import RawNode
from tests.support.waiting import PATIENCE, wait

ROOT = Path(__file__).parents[2]


@contextmanager
def ended(daemon: Daemon) -> Iterator[Daemon]:
    """Give a daemon that need not have a term yet, and end it."""
    try:
        yield daemon
    finally:
        daemon.stop()


def test_two_bridges_on_the_same_nodes_come_to_rest_and_take_over_from_each_other(
    mosquitto: StartMosquitto, tmp_path: Path
) -> None:
    """The one that started last drives the nodes, the other says so once; killed, it is followed by the other.

    Pitfall: each of them takes a term above the one that the node obeys, some hundred times a second and for ever.
    """
    broker = mosquitto()
    for name in ("old", "new"):
        (tmp_path / name).mkdir()
    with (
        RawNode(broker.port, "vale", "main") as node,
        RawClient(broker.port, "orders") as orders,
        running(tmp_path / "old", LAYOUT, broker.port, "--name", "old") as old,
    ):
        node.announce()
        while levels(0) != node.show().levels:
            pass
        with running(tmp_path / "new", LAYOUT, broker.port, "--name", "new") as new:
            new.wait_for("under term 512")
            while 512 != node.show().header.term:
                pass
            old.wait_for("another bridge, new, has taken over nodes of this layout under the higher term 512")
            orders.publish(*order(1))  # both follow the layout, and only one of them shows it
            end, terms = time.monotonic() + 3, []
            while time.monotonic() < end:
                terms.append(node.show().header.term)
            assert {512} == set(terms[2:])
            assert (1, 1) == tuple(each.output.count("drives the nodes under term") for each in (old, new))
            assert 1 == old.output.count("has taken over nodes")
            new.process.kill()
            new.process.wait(10)
            old.wait_for("under term 768")
        frame = node.show()
        while frame.header.term < 768:
            frame = node.show()
        assert (768, levels(1)) == (frame.header.term, frame.levels)
        until_kept(broker.port, "lamproom/bridge/old", "up", 768)


def test_broker_that_hands_the_mark_back_to_nobody_is_told_with_the_topic(
    mosquitto: StartMosquitto, tmp_path: Path
) -> None:
    """The bridge says which topic is missing in the access rules, and goes on once they are those of the guide."""
    rules, guide = tmp_path / "rules", ROOT / "config/guide/mqtt.md"
    *allowed, mark = re.findall(r"^topic .*$", guide.read_text(encoding="utf-8"), re.MULTILINE)
    rules.write_text("\n".join((*allowed, "topic readwrite lamproom/frame/#", "")))  # for the listener
    broker = mosquitto(
        "user root", f"acl_file {rules}"
    )  # started by root it would give up reading our folder
    with (
        RawClient(broker.port, "listener") as listener,
        ended(Daemon(tmp_path, LAYOUT, broker.port)) as daemon,
    ):
        listener.subscribe("lamproom/frame/#")
        daemon.wait_for("does not hand back what this bridge publishes on lamproom/bridge/main/mark")
        assert [] == listener.read_for(0.5)
        rules.write_text(f"{rules.read_text()}{mark}\n")
        broker.reload()
        assert listener.read(PATIENCE).topic.startswith("lamproom/frame/")
        assert 1 == daemon.output.count("does not hand back")


def test_what_a_dead_bridge_left_behind_is_outbid(mosquitto: StartMosquitto, tmp_path: Path) -> None:
    """A node may come later with a term that no bridge is behind any more: it is driven again, under a higher one."""
    broker = mosquitto()
    with RawNode(broker.port, "vale", "main") as node, running(tmp_path, LAYOUT, broker.port) as daemon:
        daemon.wait_for("under term 256")
        topic, payload = shown_topic("vale", "main"), write_shown(Shown(9 * 256, 1))
        node.publish(topic, payload)
        daemon.wait_for("under term 2560")
        wait(lambda: 2560 == node.frame().header.term, lambda: daemon.output)
