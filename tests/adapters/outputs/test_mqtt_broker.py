"""The frame output through a real broker, with a pretend node at its other end."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from adapters.contract import ChainPlace
from adapters.outputs.frame import KEEP_ALIVE, LAST, decode
from adapters.outputs.mqtt import MqttFrames, MqttFramesOptions
from adapters.outputs.node_talk import (
    Announcement,
    Shown,
    frame_topic,
    node_topic,
    shown_topic,
    write_announcement,
    write_shown,
)
from bridge.events import LinkState
from tests.adapters.outputs.desk import HILL, TERM, THROAT, LoopHost
from tests.support.links import Watched, linked
from tests.support.mosquitto import Mosquitto, StartMosquitto
from tests.support.waiting import until


class Node:
    """A pretend node: it takes one frame after the other, shows it, and acknowledges it."""

    def __init__(self, watched: Watched, place: ChainPlace) -> None:
        self.link = watched.link
        self.place = place
        self.inbox = watched.heard
        self.showing = b""
        self.taken: list[bytes] = []
        self.flags: list[int] = []
        self.most_waiting = 0

    async def run(self, seconds_a_frame: float) -> None:
        """Take frames for ever, each in so many seconds."""
        while True:
            await until(lambda: bool(self.inbox))
            self.most_waiting = max(self.most_waiting, len(self.inbox))
            header, levels = decode(self.inbox.pop(0).payload)
            await asyncio.sleep(seconds_a_frame)
            self.showing = levels
            self.taken.append(levels)
            self.flags.append(header.flags)
            topic = shown_topic(self.place.node, self.place.chain)
            self.link.publish(topic, write_shown(Shown(header.term, header.sequence)))

    async def until_it_shows(self, picture: bytes) -> None:
        await until(lambda: self.showing == picture)

    def announce(self) -> None:
        announcement = write_announcement(Announcement("here", TERM))
        self.link.publish(node_topic(self.place.node), announcement, retain=True)


@asynccontextmanager
async def bridge(broker: Mosquitto, *places: ChainPlace) -> AsyncIterator[tuple[LoopHost, MqttFrames]]:
    """Give an output that has begun, over a link that is up."""
    async with linked(broker.port, "bridge") as watched:
        host = LoopHost(watched.link)
        output = MqttFrames("out", MqttFramesOptions(), places, host)
        host.begin(output)
        await output.start()
        yield host, output
        host.timer.cancel()


@asynccontextmanager
async def pretend(broker: Mosquitto, place: ChainPlace, seconds_a_frame: float) -> AsyncIterator[Node]:
    """Give a node that takes so many seconds for each frame."""
    async with linked(broker.port, f"node {place.node}", frame_topic(place.node, place.chain)) as watched:
        node = Node(watched, place)
        task = asyncio.create_task(node.run(seconds_a_frame), name=f"node {place.node}")
        yield node
        task.cancel()


async def test_a_prompt_node_shows_each_picture_and_is_up(mosquitto: StartMosquitto) -> None:
    """A frame goes out, is acknowledged, and the next one follows."""
    broker = mosquitto()
    async with pretend(broker, THROAT, 0) as node, bridge(broker, THROAT) as (host, output):
        for picture in (b"\x01\x02\x03", b"\x04\x05\x06"):
            output.show(0, picture)
            await node.until_it_shows(picture)
        await until(lambda: bool(host.nodes))
        assert [("tarn-yard", LinkState.UP)] == [told[:2] for told in host.nodes]


async def test_a_slow_node_never_has_a_queue_and_ends_with_the_newest(mosquitto: StartMosquitto) -> None:
    """It takes ten frames a second of a hundred that are made: what it takes next is always the newest."""
    broker = mosquitto()
    async with pretend(broker, THROAT, 0.1) as node, bridge(broker, THROAT) as (host, output):
        node.announce()
        output.show(0, bytes(3))
        await until(lambda: bool(host.nodes))
        for number in range(100):
            output.show(0, bytes([number, 0, 1]))
            await asyncio.sleep(0.01)
        newest = bytes([99, 0, 1])
        taken = len(node.taken)
        await node.until_it_shows(newest)
        # One it was busy with, one that was on the way, and the newest; with a keep-alive one more.
        assert len(node.taken) - taken <= 3
        assert node.most_waiting <= 2
        assert output._lanes[0].window.counters.skipped > 0


async def test_a_plain_subscriber_gets_everything_and_the_keep_alives(mosquitto: StartMosquitto) -> None:
    """Who acknowledges nothing is not held back, and has no health."""
    broker = mosquitto()
    topic = frame_topic(HILL.node, HILL.chain)
    async with linked(broker.port, "subscriber", topic) as subscriber, bridge(broker, HILL) as (host, output):
        pictures = [bytes([number, 0, 0]) for number in range(50)]
        for picture in pictures:
            output.show(0, picture)
        await until(lambda: len(subscriber.heard) >= 51)
        frames = [decode(raw.payload) for raw in subscriber.heard]
        assert pictures == [levels for _, levels in frames[:50]]
        assert [0] * 50 + [KEEP_ALIVE] == [header.flags for header, _ in frames[:51]]
        assert [] == host.nodes


async def test_a_broker_that_comes_back_brings_every_chain_whole(mosquitto: StartMosquitto) -> None:
    """What was shown while it was away is there as soon as link and node have found back."""
    broker = mosquitto()
    async with pretend(broker, THROAT, 0) as node, bridge(broker, THROAT) as (host, output):
        output.show(0, b"\x01\x01\x01")
        await node.until_it_shows(b"\x01\x01\x01")
        broker.stop()
        await until(lambda: not host.broker.connected)
        output.show(0, b"\x02\x02\x02")
        broker.start()
        await node.until_it_shows(b"\x02\x02\x02")


async def test_the_last_frame_arrives_before_the_link_ends(mosquitto: StartMosquitto) -> None:
    """Flagged, and after everything else."""
    broker = mosquitto()
    async with pretend(broker, THROAT, 0) as node:
        async with bridge(broker, THROAT) as (_, output):
            output.show(0, b"\x01\x01\x01")
            await output.stop((b"\x00\x00\x07",))
        await node.until_it_shows(b"\x00\x00\x07")
        assert LAST == node.flags[-1]
