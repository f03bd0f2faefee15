"""The link of the outputs over UDP: refused, lost, tried again, and never in anybody's way."""

from __future__ import annotations

import socket
import threading
import tracemalloc
from typing import Any

import pytest

from adapters.outputs import udp
from adapters.outputs.e131 import E131Frames, E131Options
from adapters.outputs.udp_link import Target, trouble
from bridge.events import MILLISECOND, SECOND, LinkState
from tests.adapters.outputs.desk import Link, LoopHost
from tests.adapters.outputs.listener import Listener, Turned, rgb
from tests.support.waiting import PATIENCE, until

pytestmark = pytest.mark.usefixtures("ended")

MS = MILLISECOND
LINE = (rgb("line", 1),)
RED, GREEN = b"\xff\0\0", b"\0\xff\0"


def options(**said: Any) -> E131Options:
    return E131Options.model_validate({"host": "127.0.0.1", "chains": {"tarn/line": {"universe": 1}}, **said})


async def begun(**said: Any) -> Turned:
    taken = options(**said)
    turned = Turned(lambda host: E131Frames("yard", taken, LINE, host))
    await turned.output.start()
    turned.run(0)
    return turned


async def test_a_link_that_nobody_refuses_is_told_once(listener: Listener) -> None:
    """Half a second after the first packet, since a refusal takes its time to come back."""
    turned = await begun(port=listener.port)
    turned.output.show(0, RED)
    turned.run(400 * MS)
    assert [] == turned.host.links
    turned.run(20 * SECOND)
    assert [
        (
            LinkState.UP,
            f"they are sent to 127.0.0.1:{listener.port}; whether they arrive nobody says",
            ("host",),
        )
    ] == turned.host.links


async def test_a_controller_that_refuses_is_told_once_with_the_remedy(listener: Listener) -> None:
    """It is tried again after 1, 2, 4, 8 and then each 10 seconds, and nobody is told of that."""
    listener.close()
    turned = await begun(port=listener.port)
    turned.output.show(0, RED)
    turned.run(120 * SECOND)
    why = f"nothing takes packets at 127.0.0.1:{listener.port}: switch the controller on, and set it to take E1.31"
    assert [(LinkState.LOST, why, ("host",))] == turned.host.links
    _at, _place, figures = turned.host.told[-1]
    assert 4 + -(-(120 - 15) // 10) == figures["failed"]


async def test_a_controller_that_comes_back_gets_the_newest_frame(listener: Listener) -> None:
    """What was shown meanwhile is one frame in a slot, and the newest of them is the first that goes out."""
    port = listener.port
    listener.close()
    turned = await begun(port=port)
    turned.output.show(0, RED)
    turned.run(2 * SECOND)
    turned.output.show(0, b"\1\1\1")
    turned.output.show(0, GREEN)
    again = Listener(port)
    turned.run(20 * SECOND)
    packets = again.taken()
    again.close()
    assert GREEN == packets[0][126:]
    assert [LinkState.LOST, LinkState.UP] == [state for state, _why, _keys in turned.host.links]
    turned.run(21 * SECOND)
    assert 1 == turned.host.told[-1][2]["skipped"]


async def test_a_port_in_use_is_told_with_the_remedy(listener: Listener) -> None:
    """The key to look at is `local-port`."""
    turned = await begun(**{"local-port": listener.port, "local-address": "127.0.0.1"})
    text = f"port {listener.port} of this machine is in use: end what uses it, or leave `local-port` out"
    assert [(LinkState.LOST, text, ("local-port",))] == turned.host.links


async def test_an_address_of_another_machine_is_told_with_the_remedy() -> None:
    """The key to look at is `local-address`; 192.0.2.1 is for documentation, RFC 5737, and nobody's."""
    turned = await begun(**{"local-address": "192.0.2.1"})
    ((state, text, keys),) = turned.host.links
    assert (LinkState.LOST, ("local-address",)) == (state, keys)
    assert "192.0.2.1 is no address of this machine" in text


async def test_an_unknown_host_is_told_with_the_remedy() -> None:
    """`.invalid` never resolves, RFC 2606."""
    host = LoopHost(Link())
    output = E131Frames("yard", options(host="yard.invalid"), LINE, host)
    host.begin(output)
    await output.start()
    output.show(0, RED)
    await until(lambda: bool(host.links))
    ((state, text, keys),) = host.links
    assert (LinkState.LOST, ("host",)) == (state, keys)
    assert text.startswith("the host yard.invalid is not known (")
    assert text.endswith("write its name as this network knows it, or its address, such as 192.168.1.40")
    await output.stop((RED,))
    host.timer.cancel()


async def test_a_name_that_takes_its_time_holds_nobody_up(
    listener: Listener, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While the network is asked the loop runs on, and the frame that is newest then goes out."""
    asked, answered = threading.Event(), list[bool]()

    def slow(*_words: object) -> list[Any]:
        answered.append(asked.wait(PATIENCE))
        return [(socket.AF_INET, socket.SOCK_DGRAM, 17, "", ("127.0.0.1", listener.port))]

    monkeypatch.setattr(socket, "getaddrinfo", slow)
    host = LoopHost(Link())
    output = E131Frames("yard", options(host="yard", port=listener.port), LINE, host)
    host.begin(output)
    await output.start()
    output.show(0, RED)
    output.show(0, GREEN)
    assert [] == answered
    asked.set()
    packets: list[bytes] = []

    def came() -> bool:
        packets.extend(listener.taken())
        return bool(packets)

    await until(came)
    assert GREEN == packets[0][126:]
    await output.stop(None)
    host.timer.cancel()


class Full:
    """A socket whose buffer takes so many packets and no more until it is emptied."""

    def __init__(self, room: int) -> None:
        self.room = room
        self.taken: list[bytes] = []

    def send(self, packet: bytes) -> None:
        if self.room == 0:
            raise BlockingIOError(11, "full")
        self.room -= 1
        self.taken.append(bytes(packet))

    def close(self) -> None:
        pass


async def test_a_full_buffer_gets_the_newest_frame_as_soon_as_it_has_room(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Nothing queues up: a frame that found no room is passed over by the next one."""
    full = Full(room=1)
    monkeypatch.setattr(udp, "open_socket", lambda _target, _address: full)
    turned = await begun()
    turned.output.show(0, RED)
    for number in range(100):
        turned.run(turned.host.clock + 25 * MS)
        turned.output.show(0, bytes([number, 0, 0]))
    assert 1 == len(full.taken)
    full.room = 1
    turned.run(turned.host.clock + 2 * MS)
    assert [RED, bytes([99, 0, 0])] == [packet[126:] for packet in full.taken]
    turned.run(turned.host.clock + 2 * SECOND)
    assert 99 == turned.host.told[-1][2]["skipped"]
    assert turned.host.told[-1][2]["failed"] > 99


async def test_several_chains_share_a_full_buffer(monkeypatch: pytest.MonkeyPatch) -> None:
    """A chain that changes all the time does not pass by one that waits."""
    full = Full(room=0)
    monkeypatch.setattr(udp, "open_socket", lambda _target, _address: full)
    places = (rgb("a", 1), rgb("b", 1), rgb("c", 1))
    chains = {place.key: {"universe": number + 1} for number, place in enumerate(places)}
    said = options(chains=chains)
    turned = Turned(lambda host: E131Frames("yard", said, places, host))
    await turned.output.start()
    turned.run(0)
    for number in range(30):
        for index in range(3):
            turned.output.show(index, bytes([number, index, 0]))
        full.room = 1
        turned.run(turned.host.clock + 30 * MS)
    served = [packet[127] for packet in full.taken]
    assert 30 == len(served)
    assert all(8 <= served.count(index) <= 12 for index in range(3)), served


async def test_memory_stays_flat_under_a_flood() -> None:
    """Whatever is shown to a link that takes nothing, there is one frame a chain."""
    turned = await begun(host="127.0.0.1", port=9, refresh=2)
    lane = turned.output._lanes[0]  # type: ignore[attr-defined]
    tracemalloc.start()
    for number in range(100_000):
        if number == 1000:
            before = tracemalloc.get_traced_memory()[0]
        turned.output.show(0, number.to_bytes(3, "big"))
    after = tracemalloc.get_traced_memory()[0]
    tracemalloc.stop()
    assert after - before < 10_000
    assert (99_999).to_bytes(3, "big") == lane.pace.newest
    assert lane.pace.counters.skipped >= 99_990
    assert turned.host.links == []


@pytest.mark.parametrize(
    ("number", "words", "key"),
    [
        (101, "no way leads to 10.0.0.9:5568: is this machine in the controller's network?", "host"),
        (13, "this machine may not send to 10.0.0.9:5568", "host"),
        (5, "sending to 10.0.0.9:5568 failed: Input/output error", "host"),
    ],
)
def test_every_error_of_a_socket_is_told_in_words(number: int, words: str, key: str) -> None:
    """With the controller, and what can be done where something can."""
    problem = OSError(number, {5: "Input/output error"}.get(number, "no"))
    found = trouble(Target("10.0.0.9", 5568, "E1.31"), problem)
    assert found.why.startswith(words)
    assert key == found.key


def test_a_network_that_no_route_leads_to_asks_for_the_local_address() -> None:
    """By multicast nobody knows which network is meant; a port that is not ours to use is named."""
    assert "say which by `local-address`" in trouble(Target("", 5568, "E1.31"), OSError(101, "no")).why
    found = trouble(Target("10.0.0.9", 6454, "Art-Net", local_port=80), OSError(13, "no"))
    assert "local-port" == found.key
    assert "write one above 1023" in found.why
