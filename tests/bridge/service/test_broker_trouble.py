from __future__ import annotations

import asyncio
import socket
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from random import Random
from typing import TYPE_CHECKING

import pytest

from bridge.events import LinkState
from bridge.service.broker import BrokerAddress, backoff
from bridge.service.connection import BACKLOG
from tests.support.links import Watched, linked
from tests.support.waiting import PATIENCE, until

if TYPE_CHECKING:
    from tests.support.mosquitto import StartMosquitto


def waiting_bytes(watched: Watched) -> int:
    """Return how many bytes really wait inside the client library."""
    connection = watched.link._connection
    assert connection is not None
    return sum(packet["to_process"] for packet in connection._client._out_packet)


async def test_subscriptions_are_renewed_after_a_restart(mosquitto: StartMosquitto) -> None:
    """After the broker was stopped and started the link is up again and hears what it heard before.

    Pitfall: neither the broker nor paho restores a subscription.
    """
    broker = mosquitto()
    async with linked(broker.port, "one", "x/#") as watched:
        broker.stop()
        await until(lambda: watched.states[-1] is LinkState.LOST)
        assert watched.link.publish("x/1", b"lost") is False
        broker.start()
        await watched.until_up(2)
        watched.link.publish("x/1", b"heard")
        await until(lambda: bool(watched.heard))

    assert [b"heard"] == [raw.payload for raw in watched.heard]
    assert [LinkState.UP, LinkState.LOST, LinkState.UP, LinkState.LOST] == watched.states
    assert watched.notes[0] == f"connected to the broker at 127.0.0.1:{broker.port}"
    assert (
        "was lost (the other end closed the connection); trying again, at least every 10 s"
        in watched.notes[1]
    )


async def test_unreachable_broker_is_noted_once(mosquitto: StartMosquitto) -> None:
    """A broker that cannot be reached is noted once, not at each attempt, and used when it comes."""
    broker = mosquitto()
    broker.stop()
    watched = Watched(broker.port, "one")
    attempts: list[float] = []

    class Quick(Random):
        def uniform(self, a: float, b: float) -> float:
            attempts.append(super().uniform(a, b))
            return attempts[-1] / 20

    watched.link._random = Quick(1)
    await watched.link.start()
    await until(lambda: len(attempts) > 5)
    noted = list(watched.notes)
    broker.start()
    await watched.until_up()
    await watched.link.stop()

    assert len(noted) == 1
    start = (
        f"the broker at 127.0.0.1:{broker.port} cannot be reached (Connection refused); "
        "trying again, at least every 10 s"
    )
    assert start == noted[0][: len(start)]
    assert [f"connected to the broker at 127.0.0.1:{broker.port}"] == watched.notes[1:]
    assert [LinkState.UP, LinkState.LOST] == watched.states


async def test_host_without_address_is_a_failure_like_others() -> None:
    """A host name that does not resolve, or is none, is noted with its reason and tried again."""
    for host in ("no-such-host.invalid", "x" * 70, ""):
        watched = Watched(1883, "one", host=host)
        await watched.link.start()
        await until(lambda notes=watched.notes: bool(notes), within=60)  # type: ignore[misc] # bound early
        await watched.link.stop()

        assert "cannot be reached (" in watched.notes[0]


async def test_refused_user_is_noted_and_tried_at_the_longest_delay(
    mosquitto: StartMosquitto, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A broker that does not admit us is noted with its reason, and is asked again after 5 to 10 s only."""
    watched = Watched(mosquitto("allow_anonymous false").port, "one")
    watched.link._address = BrokerAddress("127.0.0.1", watched.link._address.port, user="x", password="wrong")  # noqa: S106 - invented
    delays: list[float] = []

    def noted(attempt: int, random: Random) -> float:
        delays.append(backoff(attempt, random))
        return 600.0

    monkeypatch.setattr("bridge.service.broker.backoff", noted)
    await watched.link.start()
    await until(lambda: bool(watched.notes))
    async with asyncio.timeout(PATIENCE):  # it ends in the midst of a delay
        await watched.link.stop()

    assert "refused the user 'x' (Not authorized); trying again, at least every 10 s" in watched.notes[0]
    assert 5 <= delays[0] <= 10
    assert [] == watched.states


async def test_frozen_broker_is_noticed_and_found_again(mosquitto: StartMosquitto) -> None:
    """A broker that stops answering is lost within about twice the keep-alive, and found again later.

    Pitfall: the kernel goes on accepting connections and bytes for a frozen process; nothing fails by itself.
    """
    broker = mosquitto()
    async with linked(broker.port, "one", "x", keepalive=1) as watched:
        broker.freeze()
        await until(lambda: watched.states[-1] is LinkState.LOST)
        await until(lambda: any("no answer to the connection request" in note for note in watched.notes))
        broker.thaw()
        await watched.until_up(2)
        watched.link.publish("x", b"heard")
        await until(lambda: bool(watched.heard))

    assert any("was lost (no answer to its ping)" in note for note in watched.notes)


def test_default_keepalive_notices_within_about_ten_seconds() -> None:
    """The default keep-alive is 5 s: a ping after 5 s of silence, and 5 s for its answer."""
    assert BrokerAddress("127.0.0.1").keepalive == 5


async def test_frozen_broker_does_not_grow_memory(mosquitto: StartMosquitto) -> None:
    """While the broker reads nothing, what waits is bounded: to a frame by `congested`, else to 256 kB.

    Pitfall: paho queues QoS 0 without any bound and calls it a success, 135 MB in a few seconds.
    """
    broker = mosquitto()
    frame = bytes(3000)
    async with linked(broker.port, "one", "frame/#") as watched:
        link = watched.link
        broker.freeze()
        for _ in range(30_000):
            if not link.congested:
                assert link.publish("frame/1", frame)
        assert link.congested
        assert 0 < waiting_bytes(watched) <= len(frame) + 20

        taken = [link.publish("frame/1", frame) for _ in range(30_000)]
        assert waiting_bytes(watched) <= BACKLOG + 40 * 90  # the headers of some ninety messages
        assert taken.count(False) > 20_000  # the kernel took some more

        broker.thaw()
        await until(lambda: not link.congested)
        assert link.publish("frame/2", b"newest")
        await until(lambda: any(raw.channel == "frame/2" for raw in watched.heard))


async def test_what_waited_goes_out_in_order(mosquitto: StartMosquitto) -> None:
    """Messages that had to wait for the socket arrive whole and in their order, none lost."""
    broker = mosquitto("max_queued_messages 0")
    async with linked(broker.port, "one", "n") as watched:
        broker.freeze()
        sent = 0
        while not watched.link.congested or waiting_bytes(watched) < 100_000:
            assert watched.link.publish("n", b"%06d" % sent + bytes(3000))
            sent += 1
        broker.thaw()
        await until(lambda: len(watched.heard) == sent)

    assert list(range(sent)) == [int(raw.payload[:6]) for raw in watched.heard]


async def test_stop_does_not_wait_for_a_broker_that_is_frozen(mosquitto: StartMosquitto) -> None:
    """`stop` ends although the broker reads nothing, bytes still wait, and no keep-alive is due."""
    broker = mosquitto()
    async with linked(broker.port, "one", keepalive=600) as watched:
        broker.freeze()
        while not watched.link.congested:
            watched.link.publish("x", bytes(60_000))
        async with asyncio.timeout(PATIENCE):
            await watched.link.stop()

    assert [LinkState.UP, LinkState.LOST] == watched.states


async def test_stop_does_not_wait_for_a_connection(monkeypatch: pytest.MonkeyPatch) -> None:
    """`stop` ends although the connection attempt of the moment gets no answer at all, and could go on for long."""
    monkeypatch.setattr("bridge.service.connection.CONNECT_TIMEOUT", 600.0)
    with socket.socket() as full:
        full.bind(("127.0.0.1", 0))
        full.listen(0)
        address = full.getsockname()
        # A listener whose queue is full answers nothing: the attempt hangs as towards a machine switched off.
        fill = [socket.socket() for _ in range(4)]
        for sock in fill:
            sock.setblocking(False)
            sock.connect_ex(address)
        watched = Watched(address[1], "one")
        await watched.link.start()
        await until(lambda: watched.link._connection is not None)
        async with asyncio.timeout(PATIENCE):
            await watched.link.stop()
        for sock in fill:
            sock.close()

    assert {asyncio.current_task()} == asyncio.all_tasks()


CONNACK = bytes.fromhex("20020000")


@asynccontextmanager
async def scripted(answer: Callable[[int, bytes], bytes]) -> AsyncIterator[int]:
    """Serve as a broker that answers packets by `answer(type, rest)`: for what Mosquitto never sends."""
    writers: list[asyncio.StreamWriter] = []

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writers.append(writer)
        try:
            while True:
                head, length = await reader.readexactly(2)  # all packets here are shorter than 128 bytes
                writer.write(answer(head >> 4, await reader.readexactly(length)))
        except (asyncio.IncompleteReadError, ConnectionError):
            writer.close()

    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    try:
        yield server.sockets[0].getsockname()[1]
    finally:
        server.close()
        for writer in writers:
            writer.close()


def publish_packet(topic: bytes, payload: bytes) -> bytes:
    """Return a PUBLISH packet of QoS 0 (MQTT 3.1.1, section 3.3)."""
    return bytes([0x30, 2 + len(topic) + len(payload), 0, len(topic)]) + topic + payload


async def test_topic_that_is_not_utf8_goes_no_further() -> None:
    """A topic that is not UTF-8 is noted once, and the messages after it are delivered."""

    def answer(kind: int, rest: bytes) -> bytes:
        if kind == 1:
            return CONNACK
        bad = publish_packet(b"x/\xff\xfe", b"?")
        return b"\x90\x03" + rest[:2] + b"\x00" + bad + bad + publish_packet(b"x/1", b"fine")

    async with scripted(answer) as port, linked(port, "one", "x/#") as watched:
        await until(lambda: bool(watched.heard))
        assert watched.link.connected

    assert [b"fine"] == [raw.payload for raw in watched.heard]
    assert len([note for note in watched.notes if r"not UTF-8 (b'x/\xff\xfe')" in note]) == 1


async def test_refused_subscription_is_noted() -> None:
    """A subscription that the broker refuses (0x80, section 3.9.3) is noted by its filter; others hold."""

    def answer(kind: int, rest: bytes) -> bytes:
        if kind == 1:
            return CONNACK
        return b"\x90\x04" + rest[:2] + b"\x80\x00" + publish_packet(b"open", b"fine")

    async with scripted(answer) as port, linked(port, "one", "secret/#", "open") as watched:
        await until(lambda: bool(watched.heard) and len(watched.notes) == 2)

    assert any("refused the subscription to 'secret/#'" in note for note in watched.notes)


async def test_up_is_told_after_the_subscriptions_stand() -> None:
    """Watchers hear `UP` only when the broker has answered the subscriptions, not when it has let us in."""
    answered: list[int] = []
    hold = asyncio.Event()

    def answer(kind: int, rest: bytes) -> bytes:
        answered.append(kind)
        if kind == 1:
            return CONNACK
        return b"\x90\x03" + rest[:2] + b"\x00" if hold.is_set() else b""

    async with scripted(answer) as port:
        watched = Watched(port, "one")
        watched.link.subscribe("x", watched.hear)
        await watched.link.start()
        await until(lambda: answered == [1, 8])
        assert watched.link._connection is not None
        assert watched.link._connection.accepted
        assert not watched.link.connected
        assert watched.link.publish("x", b"early") is False
        assert [] == watched.states
        hold.set()
        watched.link.renew()
        await watched.until_up()
        await watched.link.stop()

    assert [LinkState.UP, LinkState.LOST] == watched.states


async def test_what_is_not_mqtt_ends_the_connection_not_the_link() -> None:
    """A peer that does not speak MQTT is left, with the reason, and tried again with growing delays."""
    for garbage in (b"HTTP/1.1 400 Bad Request\r\n\r\n", b"\x30\x03\x00\xffx", b"\x20\x00", b"\xff" * 9):
        async with scripted(lambda _kind, _rest, garbage=garbage: garbage) as port:  # type: ignore[misc] # bound early
            watched = Watched(port, "one", keepalive=1)
            await watched.link.start()
            await until(lambda notes=watched.notes: bool(notes))  # type: ignore[misc] # bound early
            await watched.link.stop()

        assert "; trying again, at least every 10 s" in watched.notes[0]
        assert [] == watched.states


async def test_link_that_dies_before_its_subscriptions_stand_was_never_up() -> None:
    """Whoever asks in between finds it down, so nobody believes for ever in a link of which no `LOST` will come.

    Pitfall: a source that is started at this moment takes an accepted connection for a link that stands.
    """
    in_between = asyncio.Event()

    def answer(kind: int, _rest: bytes) -> bytes:
        if kind == 1:
            return CONNACK
        in_between.set()
        return b""

    async with scripted(answer) as port:
        watched = Watched(port, "one")
        watched.link.subscribe("x", watched.hear)
        await watched.link.start()
        await in_between.wait()
        found = watched.link.connected
        assert watched.link._connection is not None
        watched.link._connection._end("the other end closed the connection")
        await until(lambda: bool(watched.notes))
        await watched.link.stop()

    assert not found
    assert [] == watched.states
    assert "cannot be reached (the other end closed the connection); trying again" in watched.notes[0]


async def test_broker_that_never_answers_a_subscription_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """After some seconds the connection ends with a plain reason, told once, and another attempt is made."""
    monkeypatch.setattr("bridge.service.broker.SUBSCRIBED_WITHIN", 0.1)
    connections: list[int] = []

    def answer(kind: int, _rest: bytes) -> bytes:
        if kind == 1:
            connections.append(kind)
            return CONNACK
        return b""

    async with scripted(answer) as port:
        watched = Watched(port, "one")
        watched.link.subscribe("x", watched.hear)
        await watched.link.start()
        await until(lambda: len(connections) > 2)
        await watched.link.stop()

    [note] = watched.notes
    assert "(it let us in and did not answer our subscriptions within 0.1 s); trying again" in note
    assert ["warning"] == watched.levels
    assert [] == watched.states


async def test_notes_that_fail_do_not_end_the_link(mosquitto: StartMosquitto) -> None:
    """Whoever keeps the notes may raise at each of them: the link comes up, is lost, and comes up again."""
    broker = mosquitto()
    watched = Watched(broker.port, "one")

    def breaks(text: str, level: str, **facts: object) -> None:
        del level, facts
        watched.notes.append(text)
        raise RuntimeError("invented")

    watched.link._notes = breaks
    await watched.link.start()
    await watched.until_up()
    broker.stop()
    await until(lambda: len(watched.notes) == 2)
    broker.start()
    await watched.until_up(2)
    await watched.link.stop()

    assert ["connected", "the", "connected"] == [note.split()[0] for note in watched.notes]
