"""IPv6 where the protocols have it: E1.31 and DDP to one controller, and the groups of E1.31."""

from __future__ import annotations

import socket
import struct
from collections.abc import Iterator
from functools import partial
from ipaddress import IPv6Address

import pytest
from sacn.messages.data_packet import DataPacket

from adapters.outputs import ddp_packets
from adapters.outputs.ddp import DdpFrames, DdpOptions
from adapters.outputs.e131 import E131Frames, E131Options
from adapters.outputs.e131_packets import group_of
from adapters.outputs.udp_link import INTERFACES
from bridge.events import SECOND, LinkState
from tests.adapters.outputs.listener import Listener, Turned, rgb

pytestmark = pytest.mark.usefixtures("ended")

LINE = (rgb("line", 1),)
RED = b"\xff\0\0"


@pytest.fixture
def listener() -> Iterator[Listener]:
    """Give a socket on the loopback's IPv6 address."""
    try:
        made = Listener(address="::1")
    except OSError as problem:
        pytest.skip(f"this machine has no IPv6 ({problem})")  # nothing that could be installed
    yield made
    made.close()


async def test_one_controller_is_sent_frames_by_ipv6(listener: Listener) -> None:
    """By E1.31 and by DDP, from an address of this machine that the owner has named."""
    where = {"host": "::1", "port": listener.port, "local-address": "::1"}
    sacn = E131Options.model_validate({**where, "chains": {"tarn/line": {"universe": 7}}})
    ddp = DdpOptions.model_validate({**where, "chains": {"tarn/line": {}}})
    for turned in (
        Turned(lambda host: E131Frames("yard", sacn, LINE, host)),
        Turned(lambda host: DdpFrames("row", ddp, LINE, host)),
    ):
        await turned.output.start()
        turned.run(0)
        turned.output.show(0, RED)
        turned.run(2 * SECOND)
        ((state, why, _keys),) = turned.host.links
        assert (LinkState.UP, f"they are sent to [::1]:{listener.port}; whether they arrive nobody says") == (
            state,
            why,
        )
    packets = listener.taken()
    assert 7 == DataPacket.make_data_packet(packets[0]).universe
    assert RED == packets[-1][ddp_packets.LEVELS :]


async def test_a_controller_that_refuses_by_ipv6_is_told(listener: Listener) -> None:
    """As by IPv4, with brackets around its address."""
    port = listener.port
    listener.close()
    said = DdpOptions.model_validate({"host": "::1", "port": port, "chains": {"tarn/line": {}}})
    turned = Turned(lambda host: DdpFrames("row", said, LINE, host))
    await turned.output.start()
    turned.run(0)
    turned.output.show(0, RED)
    turned.run(SECOND)
    assert f"nothing takes packets at [::1]:{port}: switch the controller on" in turned.host.links[0][1]


@pytest.mark.parametrize(
    ("universe", "group"),
    [
        (1, "ff18::8300:1"),
        (7962, "ff18::8300:1f1a"),
        (63_999, "ff18::8300:f9ff"),
        (64_214, "ff18::8300:fad6"),
    ],
)
def test_the_ipv6_group_of_a_universe(universe: int, group: str) -> None:
    """Section 9.3.2: FF18, zeros, then the bytes 83, 00 and the universe's two. From memory; no library here has it."""
    assert group == group_of(universe, 6)


def own_addresses() -> list[tuple[str, int]]:
    """Return this machine's IPv6 addresses in a network, as an owner writes them, and their interfaces' numbers."""
    found = []
    for line in INTERFACES.read_text("ascii").splitlines() if INTERFACES.exists() else ():
        digits, number, _prefix, _scope, _flags, name = line.split()
        address = IPv6Address(int(digits, 16))
        if not address.is_loopback:
            found.append((f"{address}%{name}" if address.is_link_local else str(address), int(number, 16)))
    return found


def carries(interface: int, group: str, receiver: socket.socket) -> bool:
    """Return whether a packet that is sent to a group by an interface comes to a receiver on it."""
    with socket.socket(socket.AF_INET6, socket.SOCK_DGRAM) as probe:
        probe.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_MULTICAST_IF, interface)
        try:
            probe.sendto(b"probe", (group, receiver.getsockname()[1]))
            return receiver.recv(64) == b"probe"
        except OSError:
            return False


async def test_an_ipv6_address_of_this_machine_has_groups_used_by_ipv6() -> None:
    """A receiver on the interface of that address joined the group of the universe, and takes the packet."""
    tried = 0
    for address, interface in own_addresses():
        with socket.socket(socket.AF_INET6, socket.SOCK_DGRAM) as receiver:
            receiver.settimeout(5)
            receiver.bind(("::", 0))
            membership = socket.inet_pton(socket.AF_INET6, group_of(2, 6)) + struct.pack("@I", interface)
            receiver.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_JOIN_GROUP, membership)
            port = receiver.getsockname()[1]
            if not carries(interface, group_of(2, 6), receiver):
                continue  # a network that is down, or a firewall
            tried += 1
            chains = {"tarn/line": {"universe": 2}}
            said = E131Options.model_validate({"port": port, "local-address": address, "chains": chains})
            turned = Turned(partial(E131Frames, "yard", said, LINE))
            await turned.output.start()
            turned.run(0)
            turned.output.show(0, RED)
            assert [] == turned.host.links
            found = DataPacket.make_data_packet(receiver.recv(2048))
        assert (2, (255, 0, 0)) == (found.universe, found.dmxData[:3])
    if not tried:
        pytest.skip("no network of this machine carries IPv6 multicast")
