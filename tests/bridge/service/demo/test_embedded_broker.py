"""The broker inside the demo."""

from __future__ import annotations

import asyncio
import importlib
import logging
import socket
import sys
from contextlib import AsyncExitStack
from itertools import count
from typing import TYPE_CHECKING

import pytest

from bridge.errors import LamproomError
from bridge.events import LinkState
from bridge.service.demo.broker import EmbeddedBroker
from tests.support.links import Watched, linked
from tests.support.raw_mqtt import Message, RawClient
from tests.support.waiting import PATIENCE, until

if TYPE_CHECKING:
    from collections.abc import AsyncIterator


@pytest.fixture
async def broker() -> AsyncIterator[EmbeddedBroker]:
    """Give a broker that runs, and see that no task is left of it."""
    embedded = EmbeddedBroker()
    await embedded.start()
    yield embedded
    await embedded.stop()
    assert {asyncio.current_task()} == asyncio.all_tasks()


def answers(port: int) -> bool:
    """Return whether somebody listens on a port."""
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


async def test_messages_go_from_client_to_client(broker: EmbeddedBroker) -> None:
    """What one publishes the other receives, and one that comes later is told what was retained."""
    async with linked(broker.port, "early", "fact") as early, linked(broker.port, "speaker") as speaker:
        assert speaker.link.publish("fact", b"kept", retain=True)
        await until(lambda: [b"kept"] == [raw.payload for raw in early.heard])
        async with linked(broker.port, "late", "fact") as late:
            await until(lambda: bool(late.heard))
            assert late.heard[0].retained


async def test_who_says_one_thing_and_goes_is_heard(broker: EmbeddedBroker) -> None:
    """As a command for the terminal does. It is not handed what others asked for, which it would leave unread."""

    def say(number: int) -> None:
        with RawClient(broker.port, f"say-{number}") as client:
            client.publish_and_go("said", str(number))

    def heard_unasked() -> list[Message]:
        with RawClient(broker.port, "quiet") as quiet:
            return quiet.read_for(0.3)

    async with linked(broker.port, "listener", "#") as listener:
        for number in range(50):
            assert listener.link.publish(f"kept/{number}", b"x" * 200, retain=True)
        await until(lambda: len(listener.heard) >= 50)
        for number in range(20):
            await asyncio.to_thread(say, number)
        await until(lambda: len(listener.heard) >= 70)
        assert [str(number).encode() for number in range(20)] == [raw.payload for raw in listener.heard[50:]]
        assert [] == await asyncio.to_thread(heard_unasked)


async def test_only_this_machine_can_reach_it(broker: EmbeddedBroker) -> None:
    """It listens on the loopback address and no other."""
    assert answers(broker.port)
    with socket.socket() as other:
        # Were it bound to every address, this one would be taken too.
        other.bind(("127.0.0.2", broker.port))


async def test_who_comes_is_not_disturbed_by_who_subscribes(
    broker: EmbeddedBroker, caplog: pytest.LogCaptureFixture
) -> None:
    """A newcomer keeps its first connection, whatever the others ask for meanwhile, and hears what is retained."""
    async with linked(broker.port, "busy", "kept/#") as busy:
        for number in range(20):
            busy.link.publish(f"kept/{number}", b"x", retain=True)
        await until(lambda: len(busy.heard) == 20)
        filters = (f"own/{number}" for number in count())
        clients = [Watched(broker.port, f"client {number}") for number in range(10)]
        async with AsyncExitStack() as stack:
            for client in clients:
                client.link.subscribe("kept/7", client.hear)
                stack.push_async_callback(client.link.stop)
                await client.link.start()
                while not client.heard:
                    busy.link.subscribe(next(filters), busy.hear)
                    await asyncio.sleep(0.001)
            for client in clients:
                await client.until_up()
            assert [[LinkState.UP]] * 10 == [client.states for client in clients]
    assert [] == [record.message for record in caplog.records]


async def test_a_client_that_never_introduces_itself_leaves_nothing_behind(
    broker: EmbeddedBroker, caplog: pytest.LogCaptureFixture
) -> None:
    """It may close at once or talk nonsense: the broker closes too and serves the next one."""
    for nonsense in (b"", b"GET / HTTP/1.1\r\n\r\n", b"\x10\xff\xff\xff\xff\xff", b"\x30\x05\0\1ax"):
        reader, writer = await asyncio.open_connection("127.0.0.1", broker.port)
        writer.write(nonsense)
        writer.write_eof()
        async with asyncio.timeout(5):
            assert b"" == await reader.read()
        writer.close()
        await writer.wait_closed()
    async with linked(broker.port, "next"):
        pass
    assert [] == [record.message for record in caplog.records]


async def test_it_ends_with_clients_connected() -> None:
    """Nobody can reach it then, each client is told, and no task is left; it waits for nobody to say something."""
    before = asyncio.all_tasks()
    embedded = EmbeddedBroker()
    port = await embedded.start()
    clients = [Watched(port, f"client {number}", keepalive=600) for number in range(20)]
    async with AsyncExitStack() as stack:
        for client in clients:
            client.link.subscribe("#", client.hear)
            await client.link.start()
            stack.push_async_callback(client.link.stop)
        for client in clients:
            await client.until_up()
        async with asyncio.timeout(PATIENCE):
            await embedded.stop()
        assert not answers(port)
        await until(lambda: not any(client.link.connected for client in clients))
    assert before == asyncio.all_tasks()


async def test_it_may_be_stopped_twice_or_before_it_was_started() -> None:
    """Whoever tidies up after a start that failed need not know how far it came."""
    embedded = EmbeddedBroker()
    await embedded.stop()
    await embedded.start()
    await embedded.stop()
    await embedded.stop()
    assert 0 == embedded.port


async def test_it_says_nothing(capfd: pytest.CaptureFixture[str], caplog: pytest.LogCaptureFixture) -> None:
    """Start, clients coming and going with and without a goodbye, and end leave nothing on the terminal."""
    caplog.set_level(logging.DEBUG)
    embedded = EmbeddedBroker()
    port = await embedded.start()
    async with linked(port, "polite", "#") as polite:
        polite.link.publish("fact", b"1")
        await until(lambda: bool(polite.heard))
        async with linked(port, "rude", "#") as rude:
            assert rude.link._connection is not None
            sock = rude.link._connection._client.socket()
            assert isinstance(sock, socket.socket)
            sock.shutdown(socket.SHUT_RDWR)
            await rude.until_up(2)
        async with linked(port, "another"):
            pass
    await embedded.stop()
    assert ("", "") == capfd.readouterr()
    names = {record.name.split(".")[0] for record in caplog.records}
    assert not names & {"amqtt", "transitions", "websockets"}


async def test_without_the_library_the_remedy_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """An owner who installed lamproom without the demo's parts reads how to add them."""
    importlib.import_module("amqtt.broker")
    monkeypatch.setitem(sys.modules, "amqtt.broker", None)
    with pytest.raises(LamproomError, match=r"pip install 'lamproom\[demo\]'"):
        await EmbeddedBroker().start()
