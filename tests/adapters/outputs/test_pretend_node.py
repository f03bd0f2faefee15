"""A pretend node on a real broker: it takes what a node has to take, and nothing else."""

from __future__ import annotations

import asyncio
import json
import socket
import time
from contextlib import asynccontextmanager
from random import Random
from typing import TYPE_CHECKING

import pytest

from adapters.outputs.frame import KEEP_ALIVE, encode
from adapters.outputs.pretend_node import PretendNode
from bridge.service.broker import BrokerAddress, BrokerLink
from bridge.service.notes import Notes
from tests.support.links import Watched, linked
from tests.support.waiting import until

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

    from adapters.contract import Receiver
    from tests.support.mosquitto import StartMosquitto

CHAINS = {"station": 3, "village": 8}
FRAME, SHOWN, NODE = "lamproom/frame/ash/station", "lamproom/shown/ash/station", "lamproom/node/ash"


class Overheard(BrokerLink):
    """A link that also keeps what it was asked to do."""

    def __init__(self, port: int) -> None:
        super().__init__(
            BrokerAddress("127.0.0.1", port),
            client_id="ash",
            notes=Notes().say,
            random=Random(1),  # noqa: S311 - jitter
        )
        self.asked: list[str] = []

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> bool:
        """Publish, and keep that it was asked."""
        self.asked.append(f"publish {topic}")
        return super().publish(topic, payload, retain=retain)

    def subscribe(self, topic_filter: str, receive: Receiver, *, qos: int = 0) -> None:
        """Subscribe, and keep that it was asked."""
        self.asked.append(f"subscribe {topic_filter}")
        super().subscribe(topic_filter, receive, qos=qos)


class Bench:
    """A node on its link, and a bridge that sends it frames and hears what it says."""

    def __init__(self, node: PretendNode, link: Overheard, bridge: Watched) -> None:
        self.node = node
        self.link = link
        self.bridge = bridge

    def heard(self, topic: str) -> list[bytes]:
        """Return the payloads that came on a topic."""
        return [raw.payload for raw in self.bridge.heard if raw.channel == topic]

    def send(self, message: bytes, topic: str = FRAME) -> None:
        """Send the node a message."""
        assert self.bridge.link.publish(topic, message)

    async def shows(self, term: int, sequence: int, times: int = 1) -> None:
        """Wait until the node has acknowledged a frame."""
        await until(lambda: self.heard(SHOWN).count(b"%d %d" % (term, sequence)) == times)

    async def ignores(self, message: bytes, topic: str = FRAME) -> None:
        """Send the node a message that it must not show; it has read it when it has shown the next chain."""
        before, acknowledged = dict(self.node.shown), len(self.heard(SHOWN))
        received = self.node.counters.received
        self.send(message, topic)
        await until(lambda: self.node.counters.received == received + 1)
        assert before == self.node.shown
        assert acknowledged == len(self.heard(SHOWN))


@asynccontextmanager
async def bench(port: int, *, reads_per_second: float = 0) -> AsyncIterator[Bench]:
    """Give a node that has announced itself and listens."""
    async with linked(port, "bridge", "lamproom/#") as bridge:
        link = Overheard(port)
        node = PretendNode("ash", CHAINS, link, reads_per_second=reads_per_second)
        link.will(*node.link_lost)
        await node.start()
        await link.start()
        try:
            found = Bench(node, link, bridge)
            # Two frames at the node's own risk: the second is seen when its subscription stands.
            await until(lambda: bool(found.heard(NODE)))
            await until(lambda: not link._connection or not link._connection._awaited)
            yield found
        finally:
            await node.stop()
            await link.stop()


async def test_it_announces_itself_before_it_asks_for_frames(mosquitto: StartMosquitto) -> None:
    """So the bridge knows that it acknowledges before the first frame can come."""
    async with bench(mosquitto().port) as found:
        assert [
            f"publish {NODE}",
            f"subscribe {FRAME}",
            "subscribe lamproom/frame/ash/village",
        ] == found.link.asked
        (payload,) = found.heard(NODE)
        assert {"state": "here"} == json.loads(payload)


async def test_its_announcement_is_kept_for_those_who_come_later(mosquitto: StartMosquitto) -> None:
    """A bridge that starts after the node still learns of it."""
    port = mosquitto().port
    async with bench(port), linked(port, "late", NODE) as late:
        await until(lambda: bool(late.heard))
        assert late.heard[0].retained


async def test_it_shows_and_acknowledges_the_newest_frame(mosquitto: StartMosquitto) -> None:
    """Each of its chains has levels of its own."""
    async with bench(mosquitto().port) as found:
        found.send(encode(0, 256, 1, b"abc"))
        await found.shows(256, 1)
        found.send(encode(KEEP_ALIVE, 256, 2, b"def"))
        await found.shows(256, 2)
        found.send(encode(0, 256, 9, b"12345678"), "lamproom/frame/ash/village")
        await until(lambda: [b"256 9"] == found.heard("lamproom/shown/ash/village"))
        assert {"station": b"def", "village": b"12345678"} == found.node.shown
        assert {"station": 256, "village": 256} == found.node.terms
        assert 3 == found.node.counters.shown


@pytest.mark.parametrize(
    "message",
    [b"", b"\1", encode(0, 256, 6, b"ab"), encode(0, 256, 6, b"abcd"), b"\2" + encode(0, 256, 6, b"abc")[1:]],
    ids=["empty", "cut", "short", "long", "format"],
)
async def test_it_ignores_what_is_no_frame_for_the_chain(message: bytes, mosquitto: StartMosquitto) -> None:
    """Another format, or levels for another number of chips, change nothing."""
    async with bench(mosquitto().port) as found:
        found.send(encode(0, 256, 5, b"abc"))
        await found.shows(256, 5)
        await found.ignores(message)
        assert 1 == found.node.counters.unfit


@pytest.mark.parametrize(("term", "sequence"), [(256, 5), (256, 4), (255, 6)])
async def test_it_ignores_what_is_old(term: int, sequence: int, mosquitto: StartMosquitto) -> None:
    """A frame that came before, or comes from a bridge that another has relieved, changes nothing."""
    async with bench(mosquitto().port) as found:
        found.send(encode(0, 256, 5, b"abc"))
        await found.shows(256, 5)
        await found.ignores(encode(0, term, sequence, b"old"))
        assert 1 == found.node.counters.old


async def test_an_older_term_is_ignored_on_every_chain(mosquitto: StartMosquitto) -> None:
    """A bridge that was relieved is relieved altogether, also of chains that its successor has not sent yet."""
    async with bench(mosquitto().port) as found:
        found.send(encode(0, 512, 1, b"abc"))
        await found.shows(512, 1)
        await found.ignores(encode(0, 256, 7, b"12345678"), "lamproom/frame/ash/village")


async def test_a_newer_term_begins_its_sequence_anew(mosquitto: StartMosquitto) -> None:
    """A bridge that was started again counts from where it likes."""
    async with bench(mosquitto().port) as found:
        found.send(encode(0, 256, 4_000_000_000, b"abc"))
        await found.shows(256, 4_000_000_000)
        found.send(encode(0, 512, 1, b"new"))
        await found.shows(512, 1)
        assert {"station": b"new"} == found.node.shown


async def test_the_sequence_goes_round(mosquitto: StartMosquitto) -> None:
    """After the last number comes 0, and it is newer."""
    async with bench(mosquitto().port) as found:
        found.send(encode(0, 256, (1 << 32) - 1, b"abc"))
        await found.shows(256, (1 << 32) - 1)
        found.send(encode(0, 256, 0, b"def"))
        await found.shows(256, 0)


async def test_it_says_that_it_goes(mosquitto: StartMosquitto) -> None:
    """The kept announcement is replaced, and what comes after that is not shown."""
    async with bench(mosquitto().port) as found:
        await found.node.stop()
        await until(lambda: {"state": "gone"} == json.loads(found.heard(NODE)[-1]))
        found.send(encode(0, 256, 1, b"abc"))
        await until(lambda: [encode(0, 256, 1, b"abc")] == found.heard(FRAME))
        assert {} == found.node.shown


async def test_a_lost_node_is_announced_as_gone_and_then_as_here(mosquitto: StartMosquitto) -> None:
    """Its last will speaks for it; back again it tells the highest term that it has obeyed."""
    async with bench(mosquitto().port) as found:
        found.send(encode(0, 256, 1, b"abc"))
        await found.shows(256, 1)
        assert found.link._connection is not None
        sock = found.link._connection._client.socket()
        assert isinstance(sock, socket.socket)
        sock.shutdown(socket.SHUT_RDWR)
        await until(lambda: len(found.heard(NODE)) == 3)
        said = [json.loads(payload) for payload in found.heard(NODE)]
        assert ["here", "gone", "here"] == [each["state"] for each in said]
        assert 256 == said[-1]["term"]
        found.send(encode(0, 256, 2, b"def"))
        await found.shows(256, 2)


async def test_a_slow_node_reads_one_message_after_another(mosquitto: StartMosquitto) -> None:
    """What it has not read waits its turn, as it would in the network: nothing is skipped, and it takes its time."""
    async with bench(mosquitto().port, reads_per_second=20) as found:
        began = time.monotonic()
        for sequence in range(5):
            found.send(encode(0, 256, sequence, b"ab%d" % sequence))
        await found.shows(256, 4)
        assert 4 / 20 <= time.monotonic() - began
        assert [b"256 %d" % sequence for sequence in range(5)] == found.heard(SHOWN)


async def test_a_slow_node_that_stops_leaves_nothing_running(mosquitto: StartMosquitto) -> None:
    """What it had not read is counted as lost with the link."""
    before = asyncio.all_tasks()
    async with bench(mosquitto().port, reads_per_second=0.01) as found:
        for sequence in range(3):
            found.send(encode(0, 256, sequence, b"abc"))
        await until(lambda: found.node.counters.received == 3)
        await found.shows(256, 0)
    assert 2 == found.node.counters.unread
    assert before == asyncio.all_tasks()
