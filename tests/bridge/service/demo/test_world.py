"""The pretend layout around a real broker."""

from __future__ import annotations

import asyncio
import json
import time
from contextlib import asynccontextmanager
from typing import TYPE_CHECKING

import pytest

from adapters.outputs.frame import encode
from adapters.outputs.pretend_node import PretendNode
from bridge.errors import LamproomError
from bridge.events import MILLISECOND, SECOND
from bridge.service.demo.broker import EmbeddedBroker
from bridge.service.demo.player import Player
from bridge.service.demo.railroad import railroad
from bridge.service.demo.stage import Message
from bridge.service.demo.world import DemoWorld, installed_node
from tests.support.demo_day import demo
from tests.support.links import Watched, linked
from tests.support.waiting import PATIENCE, until

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

    from tests.support.mosquitto import StartMosquitto


SEEN = (b"reverse", b"pressed")
"""Orders that change a lamp."""


class Told:
    """A story that is written down already, one message a step."""

    def __init__(self, messages: list[Message]) -> None:
        self._messages = messages

    @property
    def due(self) -> int | None:
        return self._messages[0].at if self._messages else None

    def step(self) -> list[Message]:
        return [self._messages.pop(0)]


def world_on(port: int, notes: list[str]) -> DemoWorld:
    """Make the pretend layout, with its sentences in a list."""

    def note(text: str, level: str, **facts: object) -> None:
        del level, facts
        notes.append(text)

    return DemoWorld(demo(), port, notes=note, node_for=lambda _output: PretendNode)


@asynccontextmanager
async def embedded() -> AsyncIterator[int]:
    """Give the port of the demo's own broker."""
    broker = EmbeddedBroker()
    try:
        yield await broker.start()
    finally:
        await broker.stop()


async def test_the_world_comes_alive_on_the_demos_broker() -> None:
    """All nodes announce themselves, somebody does something, and each chain shows the frame that it is sent."""
    notes: list[str] = []
    async with embedded() as port, linked(port, "bridge", "layout/#", "lamproom/#") as bridge:
        world = world_on(port, notes)
        await world.start()
        try:
            await _nodes_are(bridge, "here")
            await until(lambda: any(raw.payload == b"reverse" for raw in bridge.heard))
            for chain in demo().chains:
                levels = bytes(range(chain.length))
                bridge.link.publish(f"lamproom/frame/{chain.key}", encode(0, 256, 1, levels))
                await until(lambda chain=chain: chain.name in world.nodes[chain.node].shown)  # type: ignore[misc]
                assert levels == world.nodes[chain.node].shown[chain.name]
        finally:
            await world.stop()
        await _nodes_are(bridge, "gone")
        assert {f"connected to the broker at 127.0.0.1:{port}"} == set(notes)


async def _nodes_are(bridge: Watched, state: str) -> None:
    def last() -> dict[str, str]:
        said = [raw for raw in bridge.heard if raw.channel.startswith("lamproom/node/")]
        return {raw.channel: json.loads(raw.payload)["state"] for raw in said}

    names = {f"lamproom/node/{chain.node}" for chain in demo().chains}
    await until(lambda: last() == dict.fromkeys(names, state))


async def test_something_can_be_seen_within_two_seconds(mosquitto: StartMosquitto) -> None:
    """From the start of the world to the first order that changes a lamp, by the time of its story."""
    story = railroad(demo(), 1)
    orders = [message for _turn in range(100) for message in story.step() if message.payload in SEEN]
    assert orders[0].at < 2 * SECOND
    port = mosquitto().port
    async with linked(port, "bridge", "layout/#") as bridge:
        world = world_on(port, [])
        await world.start()
        try:
            await until(lambda: any(raw.payload in SEEN for raw in bridge.heard))
            seen = next(raw for raw in bridge.heard if raw.payload in SEEN)
            assert (orders[0].topic, orders[0].payload) == (seen.channel, seen.payload)
        finally:
            await world.stop()


@pytest.mark.parametrize("trouble", ["none", "frozen", "gone", "never there"])
async def test_the_world_ends_whatever_the_broker_does(
    trouble: str, mosquitto: StartMosquitto, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It waits for no answer and for no delay between two attempts, and no task is left."""
    monkeypatch.setattr("bridge.service.broker.backoff", lambda *_: 600.0)
    before = asyncio.all_tasks()
    broker = mosquitto()
    if trouble == "never there":
        broker.stop()
    notes: list[str] = []
    world = world_on(broker.port, notes)
    await world.start()
    if trouble == "never there":
        await until(lambda: bool(notes))
    else:
        await until(lambda: len(notes) == len(world.nodes) + 1)
    if trouble == "frozen":
        broker.freeze()
    elif trouble == "gone":
        broker.stop()
    async with asyncio.timeout(PATIENCE):
        await world.stop()
    assert before == asyncio.all_tasks()


async def test_an_output_without_a_pretend_node_is_refused() -> None:
    """The message says what to do."""
    with pytest.raises(LamproomError, match="no pretend node for the output 'smoke'"):
        installed_node("smoke")


async def test_messages_are_sent_when_they_are_due(mosquitto: StartMosquitto) -> None:
    """In their order, none early, those of one instant together, and with the retain flag that they have."""
    times = [0, 0, 120, 120, 240]
    messages = [Message(at * MILLISECOND, f"t/{n}", b"x", retain=n == 1) for n, at in enumerate(times)]
    port = mosquitto().port
    async with linked(port, "speaker") as speaker, linked(port, "judge", "t/#") as judge:
        player = Player(Told(messages), speaker.link)
        began = time.monotonic()
        await player.start()
        await until(lambda: len(judge.heard) == len(times))
        assert 0.24 <= time.monotonic() - began
        await player.stop()
        assert [f"t/{n}" for n in range(5)] == [raw.channel for raw in judge.heard]
        async with linked(port, "late", "t/#") as late:
            await until(lambda: bool(late.heard))
            assert ["t/1"] == [raw.channel for raw in late.heard]


async def test_the_time_counts_from_when_the_link_came_up(mosquitto: StartMosquitto) -> None:
    """A broker that is late does not lose the beginning of the day."""
    broker = mosquitto()
    broker.stop()
    speaker = Watched(broker.port, "speaker")
    player = Player(Told([Message(0, "t/0", b"x", retain=True)]), speaker.link)
    await player.start()
    await speaker.link.start()
    await until(lambda: bool(speaker.notes))
    broker.start()
    async with linked(broker.port, "judge", "t/#") as judge:
        await until(lambda: bool(judge.heard))
    await player.stop()
    await speaker.link.stop()


async def test_after_a_long_sleep_the_day_goes_on_from_where_it_was(mosquitto: StartMosquitto) -> None:
    """What was missed is not sent in one burst: the pauses between the messages stay."""
    messages = Told(
        [Message(-3600 * SECOND, "t/0", b""), Message(-3600 * SECOND + 200 * MILLISECOND, "t/1", b"")]
    )
    port = mosquitto().port
    async with linked(port, "speaker") as speaker, linked(port, "judge", "t/#") as judge:
        player = Player(messages, speaker.link)
        await player.start()
        await until(lambda: len(judge.heard) == 1)
        began = time.monotonic()
        await until(lambda: len(judge.heard) == 2)
        assert 0.15 <= time.monotonic() - began
        await player.stop()


async def test_a_fault_in_the_making_of_messages_is_not_swallowed(mosquitto: StartMosquitto) -> None:
    """It comes out where the player is stopped."""
    port = mosquitto().port
    async with linked(port, "speaker") as speaker:
        player = Player(_Broken([Message(0, "t/0", b"")]), speaker.link)
        await player.start()
        task = player._task
        assert task is not None
        await until(task.done)
        with pytest.raises(ZeroDivisionError):
            await player.stop()


class _Broken(Told):
    """A story whose first step fails."""

    def step(self) -> list[Message]:
        raise ZeroDivisionError
