"""Time that a test turns, and a broker in memory: what the contract suite rests on."""

from __future__ import annotations

import asyncio

import pytest
from paho.mqtt.client import topic_matches_sub

from adapters.contract import Raw
from adapters.testing import MemoryLink, SourceBench
from adapters.testing.hosts import matches
from bridge.events import SECOND, LinkState


async def waits(host: SourceBench, seconds: float, told: list[float]) -> None:
    await host.sleep(seconds)
    told.append(seconds)


async def test_time_passes_only_when_it_is_let() -> None:
    """Those that wait are served in the order in which they are due, however far it is turned at once."""
    host, told = SourceBench(), list[float]()
    tasks = [asyncio.create_task(waits(host, seconds, told)) for seconds in (3, 1, 2)]
    await asyncio.sleep(0.01)
    assert [] == told
    host.pass_by(2 * SECOND)
    await asyncio.sleep(0)
    assert [1, 2] == told
    host.pass_by(SECOND)
    await asyncio.gather(*tasks)
    assert (3 * SECOND, [1, 2, 3]) == (host.now(), told)


async def test_a_limit_is_one_of_the_session() -> None:
    """It is over when so much time was let pass, and not after it was left."""
    host = SourceBench()

    async def limited() -> None:
        async with host.timeout(5):
            await asyncio.Event().wait()

    task = asyncio.create_task(limited())
    await asyncio.sleep(0)
    host.pass_by(5 * SECOND - 1)
    await asyncio.sleep(0)
    assert not task.done()
    host.pass_by(1)
    with pytest.raises(TimeoutError):
        await task
    async with host.timeout(1):
        pass
    host.pass_by(2 * SECOND)
    await asyncio.sleep(0)


@pytest.mark.parametrize(
    ("topic_filter", "topic"),
    [
        (topic_filter, topic)
        for topic_filter in ("#", "+", "a/#", "a/+", "+/b", "a/+/c", "a", "a/b", "/#", "+/+")
        for topic in ("a", "a/b", "a/b/c", "/", "/a", "b", "$SYS/a", "a/")
    ],
)
def test_a_filter_matches_as_the_standard_has_it(topic_filter: str, topic: str) -> None:
    """As a library of others does (MQTT 3.1.1, section 4.7)."""
    assert topic_matches_sub(topic_filter, topic) == matches(topic_filter, topic)


def test_a_receiver_counts_once() -> None:
    """As at the real link; and nothing comes while it is down."""
    link, heard = MemoryLink(), list[Raw]()
    for _ in range(2):
        link.subscribe("a/#", heard.append)
    link.hand("a/b", b"1")
    link.turn(LinkState.UP)
    link.hand("a/b", b"2", retained=True)
    link.hand("b", b"3")
    assert [Raw("a/b", b"2", retained=True)] == heard
