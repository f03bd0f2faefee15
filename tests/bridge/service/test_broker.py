from __future__ import annotations

import asyncio
import socket
import sys
import threading
import time
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

import bridge
from adapters.contract import Broker, Raw
from bridge.events import LinkState
from bridge.service.broker import LONGEST_DELAY, BrokerAddress, BrokerLink, backoff
from bridge.service.notes import Notes
from tests.support.links import Watched, linked
from tests.support.waiting import until

if TYPE_CHECKING:
    from tests.support.mosquitto import StartMosquitto


@given(attempt=st.integers(0, 10**6), seed=st.integers())
def test_backoff_is_capped_and_jittered(attempt: int, seed: int) -> None:
    """Each delay is between half and all of 0.25 s doubled once a failure, and never over 10 s."""
    full = min(10.0, 0.25 * 2 ** min(attempt, 30))

    assert full / 2 <= backoff(attempt, Random(seed)) <= full <= LONGEST_DELAY  # noqa: S311 - jitter


def test_backoff_spreads_clients() -> None:
    """Clients that lost the same broker do not come back together: their delays fill the whole width."""
    delays = sorted(backoff(6, Random(seed)) for seed in range(200))  # noqa: S311 - jitter

    assert len(set(delays)) == 200
    assert delays[0] < 5.5
    assert delays[-1] > 9.5


def test_password_is_not_shown() -> None:
    """An address that lands in a log does not show the password."""
    assert "sesame" not in repr(BrokerAddress("host", user="me", password="sesame"))  # noqa: S106 - invented


def test_address_of_ipv6_is_readable() -> None:
    """An address reads as host:port, with brackets where the host has colons itself."""
    assert str(BrokerAddress("::1", 1884)) == "[::1]:1884"
    assert str(BrokerAddress("yard.local")) == "yard.local:1883"


async def test_message_comes_with_topic_payload_and_retained_flag(mosquitto: StartMosquitto) -> None:
    """A message comes as it was sent; a copy that was kept is marked, a live one is not."""
    port = mosquitto().port
    async with linked(port, "one") as sender:
        sender.link.publish("layout/a", b"kept", retain=True)
        async with linked(port, "two", "layout/#") as hearer:
            await until(lambda: len(hearer.heard) == 1)
            sender.link.publish("layout/a", b"\x00\xff", retain=True)
            sender.link.publish("layout/empty", b"")
            await until(lambda: len(hearer.heard) == 3)

    assert [
        Raw("layout/a", b"kept", retained=True),
        Raw("layout/a", b"\x00\xff"),
        Raw("layout/empty", b""),
    ] == hearer.heard
    assert all(type(raw.payload) is bytes for raw in hearer.heard)


def test_link_keeps_the_contract() -> None:
    """The link offers what adapters are promised; the type checker compares the signatures."""
    link: Broker = BrokerLink(
        BrokerAddress("127.0.0.1"),
        client_id="x",
        notes=Notes().say,
        random=Random(1),  # noqa: S311 - jitter
    )

    assert (False, False) == (link.connected, link.congested)


async def test_one_megabyte_comes_whole(mosquitto: StartMosquitto) -> None:
    """A message of 1 MB goes out and comes in whole, over as many writes and reads as it takes."""
    port = mosquitto().port
    payload = Random(3).randbytes(1_000_000)  # noqa: S311 - any bytes
    async with linked(port, "one", "big") as watched:
        assert watched.link.publish("big", payload)
        await until(lambda: bool(watched.heard))
        assert payload == watched.heard[0].payload
        await until(lambda: not watched.link.congested)


async def test_raising_receiver_is_called_once_per_message(mosquitto: StartMosquitto) -> None:
    """A receiver that raises is called once for each message, others are served, and the processor rests.

    Pitfall: an exception inside paho's `on_message` leaves the packet where it is, and the loop calls again
    at once and for ever, at full load.
    """
    calls: list[bytes] = []

    def breaks(raw: Raw) -> None:
        calls.append(raw.payload)
        raise RuntimeError("invented")

    watched = Watched(mosquitto().port, "one")
    watched.link.subscribe("x", breaks)
    watched.link.subscribe("x", watched.hear)
    await watched.link.start()
    await watched.until_up()
    for number in range(5):
        watched.link.publish("x", b"%d" % number)
    await until(lambda: len(watched.heard) == 5)
    before = time.process_time()
    await asyncio.sleep(0.5)  # the time in which processor time is measured
    used = time.process_time() - before
    await watched.link.stop()

    assert [b"0", b"1", b"2", b"3", b"4"] == calls
    assert used < 0.15, f"{used:.3f} s of processor time in 0.5 s of rest"
    [fault] = [n for n, note in enumerate(watched.notes) if "RuntimeError: invented" in note]
    assert "error" == watched.levels[fault]
    assert isinstance(watched.facts[fault]["exc_info"], RuntimeError)


async def test_raising_watcher_does_not_stop_the_link(mosquitto: StartMosquitto) -> None:
    """A watcher that raises is noted, and the next one is told."""

    def breaks(_state: LinkState) -> None:
        raise RuntimeError("invented")

    watched = Watched(mosquitto().port, "one")
    watched.link._watchers.insert(0, breaks)
    await watched.link.start()
    await watched.until_up()
    await watched.link.stop()

    assert [LinkState.UP, LinkState.LOST] == watched.states
    assert 1 == len([note for note in watched.notes if "RuntimeError: invented" in note])


async def test_small_packets_are_sent_at_once(mosquitto: StartMosquitto) -> None:
    """Nagle's algorithm is off on the link's socket.

    Pitfall: paho leaves it on, and the second of two packets waits for the first one's acknowledgement.
    """
    async with linked(mosquitto().port, "one") as watched:
        assert watched.link._connection is not None
        sock = watched.link._connection._client.socket()
        assert isinstance(sock, socket.socket)
        assert sock.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY) != 0


async def test_burst_of_eight_arrives_at_once(mosquitto: StartMosquitto) -> None:
    """Eight frames of one event reach a node that acknowledges on the same connection well within 20 ms.

    Pitfall: with Nagle's algorithm at either end each burst takes 24 to 44 ms. A busy machine may spoil some
    bursts, the algorithm spoils all; so the median is looked at here, and the tail in the benchmark.
    """
    port = mosquitto().port
    took: list[float] = []
    all_here = asyncio.Event()
    async with (
        linked(port, "bridge") as sender,
        linked(port, "node") as node,
        linked(port, "page", "shown/#") as page,  # not the sender: what came to it would hide the delay
    ):

        def acknowledge(raw: Raw) -> None:
            node.hear(raw)
            node.link.publish(f"shown/{raw.channel}", raw.payload[:4])
            if len(node.heard) == 8:
                all_here.set()

        node.link.subscribe("frame/#", acknowledge, qos=1)
        await until(lambda: not node.link._connection or not node.link._connection._awaited)
        for _ in range(101):
            all_here.clear()
            node.heard.clear()
            page.heard.clear()
            began = time.perf_counter()
            for chain in range(8):
                sender.link.publish(f"frame/{chain}", bytes(512))
            await all_here.wait()
            took.append(time.perf_counter() - began)
            await until(lambda: len(page.heard) == 8)

    assert sorted(took)[50] < 0.020, f"slowest {max(took) * 1000:.1f} ms"


async def test_publishing_inside_a_receiver_is_sent_at_once(mosquitto: StartMosquitto) -> None:
    """What a receiver publishes has left the link when `publish` returns.

    Pitfall: inside a callback of paho's it is only queued, until somebody asks for writing.
    """
    left_over: list[bool] = []
    async with linked(mosquitto().port, "one", "answer") as watched:

        def answer(raw: Raw) -> None:
            watched.link.publish("answer", raw.payload)
            left_over.append(watched.link.congested)

        watched.link.subscribe("question", answer)
        watched.link.publish("question", b"?")
        await until(lambda: bool(watched.heard))

    assert [False] == left_over


async def test_publish_before_connect_is_refused_and_not_sent_later(mosquitto: StartMosquitto) -> None:
    """What is published while the link is down is refused, and does not come out when it is up.

    Pitfall: a client that keeps it would send a stale frame minutes later.
    """
    watched = Watched(mosquitto().port, "one")
    watched.link.subscribe("#", watched.hear)
    assert watched.link.publish("x", b"early") is False
    await watched.link.start()
    assert watched.link.publish("x", b"still early") is False
    await watched.until_up()
    assert watched.link.publish("x", b"now") is True
    await until(lambda: bool(watched.heard))
    await watched.link.stop()
    assert watched.link.publish("x", b"late") is False

    assert [b"now"] == [raw.payload for raw in watched.heard]


async def test_two_receivers_on_one_filter_make_one_subscription(mosquitto: StartMosquitto) -> None:
    """Two receivers on one filter are one subscription at the broker, and each gets each message once."""
    watched = Watched(mosquitto().port, "one")
    other: list[Raw] = []
    watched.link.subscribe("x/#", watched.hear)
    watched.link.subscribe("x/#", other.append)
    await watched.link.start()
    await watched.until_up()
    watched.link.publish("x/1", b"1")
    watched.link.publish("x/2", b"2")
    await until(lambda: len(other) == 2)
    await watched.link.stop()

    assert {"x/#": 0} == watched.link._dispatch.subscriptions
    assert [b"1", b"2"] == [raw.payload for raw in watched.heard] == [raw.payload for raw in other]


async def test_late_subscription_gets_the_retained_copies(mosquitto: StartMosquitto) -> None:
    """A receiver that asks while the link stands is served at once, also on a filter that stood before."""
    late: list[Raw] = []
    async with linked(mosquitto().port, "one", "x") as watched:
        watched.link.publish("x", b"kept", retain=True)
        await until(lambda: len(watched.heard) == 1)
        watched.link.subscribe("x", late.append)
        await until(lambda: bool(late))

    assert [Raw("x", b"kept", retained=True)] == late


async def test_no_thread_carries_traffic(mosquitto: StartMosquitto) -> None:
    """While the link stands there is no thread beside those that were there before."""
    before = set(threading.enumerate())
    async with linked(mosquitto().port, "one", "x") as watched:
        watched.link.publish("x", b"")
        await until(lambda: bool(watched.heard))
        await until(lambda: set(threading.enumerate()) <= before)


async def test_stop_leaves_nothing_behind(mosquitto: StartMosquitto) -> None:
    """After `stop` there is no task, and a second `stop`, or one without `start`, does nothing."""
    watched = Watched(mosquitto().port, "one")
    await watched.link.stop()
    await watched.link.start()
    await watched.link.start()
    await watched.until_up()
    await watched.link.stop()
    await watched.link.stop()

    assert {asyncio.current_task()} == asyncio.all_tasks()
    assert [LinkState.UP, LinkState.LOST] == watched.states
    assert not watched.link.connected


async def test_link_starts_again_after_stop(mosquitto: StartMosquitto) -> None:
    """A stopped link can be started anew, with its subscriptions."""
    watched = Watched(mosquitto().port, "one")
    watched.link.subscribe("x", watched.hear)
    await watched.link.start()
    await watched.until_up()
    await watched.link.stop()
    await watched.link.start()
    await watched.until_up(2)
    watched.link.publish("x", b"again")
    await until(lambda: bool(watched.heard))
    await watched.link.stop()

    assert [LinkState.UP, LinkState.LOST] * 2 == watched.states


DYING = """
import asyncio, sys
from random import Random
from bridge.service.broker import BrokerAddress, BrokerLink

async def main():
    link = BrokerLink(BrokerAddress("127.0.0.1", int(sys.argv[1])), client_id="dying",
                      notes=lambda *_, **_facts: None, random=Random(1))
    link.will("bridge", b"died")
    link.watch(lambda state: link.publish("bridge", b"alive"))
    await link.start()
    await asyncio.sleep(60)

asyncio.run(main())
"""


async def test_will_is_published_when_the_process_dies(mosquitto: StartMosquitto) -> None:
    """A bridge that is killed leaves its will, retained."""
    port = mosquitto().port
    async with linked(port, "witness", "bridge") as witness:
        child = await asyncio.create_subprocess_exec(
            sys.executable, "-c", DYING, str(port), cwd=Path(bridge.__file__).parent.parent
        )
        try:
            await until(lambda: bool(witness.heard))
        finally:
            child.kill()
            await child.wait()
        await until(lambda: len(witness.heard) == 2)
        async with linked(port, "later", "bridge") as later:
            await until(lambda: bool(later.heard))

    assert [b"alive", b"died"] == [raw.payload for raw in witness.heard]
    assert [Raw("bridge", b"died", retained=True)] == later.heard


async def test_no_will_on_stop_and_last_words_go_first(mosquitto: StartMosquitto) -> None:
    """A bridge that stops says goodbye: what it published before arrives, its will does not.

    Pitfall: messages keep coming in while it stops, paho closes the socket right after the goodbye, and the
    broker, which meets a reset connection when it sends the next of them, publishes the will all the same.
    """
    port = mosquitto().port
    async with linked(port, "witness", "bridge", "done") as witness:
        for _ in range(5):
            leaving = Watched(port, "leaving")
            leaving.link.will("bridge", b"died")
            leaving.link.subscribe("noise", leaving.hear)
            await leaving.link.start()
            await leaving.until_up()
            for _burst in range(200):
                witness.link.publish("noise", bytes(100))
            await until(lambda heard=leaving.heard: len(heard) > 20)  # type: ignore[misc] # bound early
            leaving.link.publish("bridge", b"last words")
            await leaving.link.stop()
        # A will would be published when the broker sees the connection end, so before what comes after that.
        witness.link.publish("done", b"")
        await until(lambda: any(raw.channel == "done" for raw in witness.heard))

    assert [b"last words"] * 5 == [raw.payload for raw in witness.heard if raw.channel == "bridge"]


async def test_renew_makes_a_changed_will_count(mosquitto: StartMosquitto) -> None:
    """`renew` connects again at once, without the old will, and the new one holds from there."""
    port = mosquitto().port
    async with linked(port, "witness", "bridge", "x") as witness:
        watched = Watched(port, "one")
        watched.link.will("bridge", b"old")
        watched.link.subscribe("x", watched.hear)
        await watched.link.start()
        await watched.until_up()
        watched.link.will("bridge", b"new", retain=False)
        watched.link.renew()
        await watched.until_up(2)
        assert watched.link._connection is not None
        sock = watched.link._connection._client.socket()
        assert isinstance(sock, socket.socket)
        sock.shutdown(socket.SHUT_RDWR)  # an end without a goodbye
        await watched.until_up(3)
        watched.link.publish("x", b"after")
        await until(lambda: len(watched.heard) == 1)
        await watched.link.stop()
        await until(lambda: len(witness.heard) == 2)

    assert {b"new", b"after"} == {raw.payload for raw in witness.heard}
    assert [LinkState.UP, LinkState.LOST] * 3 == watched.states


async def test_wrong_topic_is_an_error_of_the_caller(mosquitto: StartMosquitto) -> None:
    """A topic with a wildcard is refused to whoever publishes on it, and the link stays up."""
    async with linked(mosquitto().port, "one") as watched:
        with pytest.raises(ValueError, match="topic"):
            watched.link.publish("a/#", b"")
        assert watched.link.connected
