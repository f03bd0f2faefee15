"""Frames by E1.31 to a real socket, with a clock that the test turns."""

from __future__ import annotations

import socket
from itertools import pairwise
from typing import Any, NamedTuple
from uuid import uuid5

import pytest
from sacn.messages.data_packet import DataPacket
from sacn.messages.sync_packet import SyncPacket
from sacn.messages.universe_discovery import UniverseDiscoveryPacket

from adapters.contract import ChainPlace
from adapters.outputs.e131 import E131Frames, E131Options
from adapters.outputs.e131_packets import DISCOVERY, PORT, group_of
from bridge.events import MILLISECOND, SECOND
from tests.adapters.outputs.desk import IDENTITY
from tests.adapters.outputs.listener import Listener, Turned, rgb, rgbw
from tests.support.missing import is_missing

MS = MILLISECOND
SYNC_LENGTH = 49


class Read(NamedTuple):
    """What the `sacn` library reads in a packet."""

    universe: int
    sequence: int
    levels: bytes
    ends: bool


def read(packet: bytes) -> Read:
    found = DataPacket.make_data_packet(packet)
    assert tuple(uuid5(IDENTITY, "yard").bytes) == found.cid  # each output is a source of its own
    levels = bytes(found.dmxData)[: len(packet) - 126]
    return Read(found.universe, found.sequence, levels, bool(found.option_StreamTerminated))


async def begun(listener: Listener, *places: ChainPlace, **said: Any) -> Turned:
    """Give an output to the listener, begun at instant 0; each chain begins at universe 1, 101, 201, ..."""
    chains = {place.key: {"universe": 1 + 100 * number} for number, place in enumerate(places)}
    options = E131Options.model_validate(
        {"host": "127.0.0.1", "port": listener.port, "chains": chains, **said}
    )
    assert () == options.faults(places)
    turned = Turned(lambda host: E131Frames("yard", options, places, host))
    await turned.output.start()
    turned.run(0)
    return turned


@pytest.mark.parametrize("pixels", [170, 171, 340, 5000])
async def test_a_chain_takes_as_many_universes_as_it_needs(listener: Listener, pixels: int) -> None:
    """170 pixels of three bytes go into each, and put together they are the frame."""
    turned = await begun(listener, rgb("line", pixels))
    levels = bytes(number * 7 % 251 for number in range(3 * pixels))
    turned.output.show(0, levels)
    packets = [read(packet) for packet in listener.taken()]
    assert [*range(1, 1 + -(-pixels // 170))] == [packet.universe for packet in packets]
    assert levels == b"".join(packet.levels for packet in packets)
    assert {510} >= {len(packet.levels) for packet in packets[:-1]}


async def test_an_rgbw_chain_is_cut_by_128(listener: Listener) -> None:
    """128 pixels of four bytes fill a universe to its last slot."""
    turned = await begun(listener, rgbw("street", 300))
    levels = bytes(number * 5 % 251 for number in range(1200))
    turned.output.show(0, levels)
    packets = [read(packet) for packet in listener.taken()]
    assert [512, 512, 176] == [len(packet.levels) for packet in packets]
    assert levels == b"".join(packet.levels for packet in packets)


async def test_each_universe_counts_for_itself_and_wraps(listener: Listener) -> None:
    """Section 6.2.5: one more for each packet of a universe, and 0 after 255."""
    turned = await begun(listener, rgb("line", 171), rgb("shed", 1))
    for number in range(300):
        turned.output.show(0, bytes([number % 200]) * 513)
        turned.run(turned.host.clock + 25 * MS)
    turned.output.show(1, b"\1\2\3")
    packets = [read(packet) for packet in listener.taken()]
    for universe in (1, 2):
        own = [packet.sequence for packet in packets if packet.universe == universe]
        assert 300 <= len(own)
        assert [(own[0] + step) % 256 for step in range(len(own))] == own
    assert 1 == next(packet.sequence for packet in packets if packet.universe == 101)


async def test_an_unchanged_frame_is_repeated_and_then_kept_alive(listener: Listener) -> None:
    """Three repeats, then one packet each 800 to 1000 ms (section 6.6.2), whose sequence counts on."""
    turned = await begun(listener, rgb("line", 1))
    turned.output.show(0, b"\1\2\3")
    seen = []
    while turned.host.clock < 5 * SECOND:
        turned.run(turned.host.clock + MS)
        seen += [(turned.host.clock, read(packet)) for packet in listener.taken()]
    gaps = [later[0] - earlier[0] for earlier, later in pairwise(seen)]
    assert all(59 * MS <= gap <= 61 * MS for gap in gaps[:3])
    assert all(800 * MS <= gap <= 1000 * MS for gap in gaps[3:])
    assert 3 + 5 == len(gaps)
    assert [*range(1, 10)] == [packet.sequence for _at, packet in seen]
    assert {b"\1\2\3"} == {packet.levels for _at, packet in seen}


async def test_a_slow_output_gets_the_newest_frame_each_time(listener: Listener) -> None:
    """With two frames a second, of a thousand only those go out that are the newest at their instant."""
    turned = await begun(listener, rgb("line", 1), refresh=2)
    expected = []
    for number in range(1000):
        turned.run(number * 10 * MS)
        turned.output.show(0, number.to_bytes(3, "big"))
        if number % 50 == 0:
            expected.append(number if number == 0 else number - 1)
    shown = [int.from_bytes(read(packet).levels, "big") for packet in listener.taken()]
    assert expected == shown
    turned.run(11 * SECOND)
    _at, _place, figures = turned.host.told[-1]
    assert 1000 - len(expected) - 1 == figures["skipped"]


async def test_a_stream_ends_with_its_last_frame_and_says_so(listener: Listener) -> None:
    """The last frame goes out whatever the refresh limit says, then three packets that say the end (6.2.6)."""
    turned = await begun(listener, rgb("line", 171), rgb("shed", 1))
    turned.output.show(0, bytes(513))
    listener.taken()
    await turned.output.stop((b"\7" * 513, b"\x09" * 3))
    packets = [read(packet) for packet in listener.taken()]
    for universe in (1, 2, 101):
        own = [packet for packet in packets if packet.universe == universe]
        assert [False, True, True, True] == [packet.ends for packet in own]
        assert 1 == len({packet.levels for packet in own})
    assert [*range(2, 6)] == [packet.sequence for packet in packets if packet.universe == 1]
    last = max(number for number, packet in enumerate(packets) if not packet.ends)
    assert all(packet.ends for packet in packets[last + 1 :])
    assert b"\7" * 510 == packets[0].levels


async def test_without_last_frames_nothing_more_is_sent(listener: Listener) -> None:
    """Everything stays lit as it is."""
    turned = await begun(listener, rgb("line", 1))
    turned.output.show(0, b"\1\2\3")
    listener.taken()
    await turned.output.stop(None)
    assert [] == listener.taken()


async def test_what_belongs_together_is_shown_together(listener: Listener) -> None:
    """With `synchronise` one synchronization packet follows the frames of one turn of the loop, section 6.3."""
    turned = await begun(listener, rgb("line", 171), rgb("shed", 1), synchronise=7962)
    turned.output.show(0, bytes(513))
    turned.output.show(1, bytes(3))
    turned.run(0)
    *data, last = listener.taken()
    assert [1, 2, 101] == [read(packet).universe for packet in data]
    assert {7962} == {DataPacket.make_data_packet(packet).syncAddr for packet in data}
    sync = SyncPacket.make_sync_packet(tuple(last))
    assert (7962, 1) == (sync.syncAddr, sync.sequence)
    turned.run(SECOND)
    lengths = [len(packet) for packet in listener.taken()]
    assert [636, 129, 129, SYNC_LENGTH] * 3 == lengths


async def test_the_last_frame_is_shown_before_its_stream_ends(listener: Listener) -> None:
    """Its synchronization packet stands before the packets that say the end."""
    turned = await begun(listener, rgb("line", 1), synchronise=9)
    await turned.output.stop((b"\1\1\1",))
    assert [129, SYNC_LENGTH, 129, 129, 129] == [len(packet) for packet in listener.taken()]


async def test_priority_and_name_are_those_of_the_file(listener: Listener) -> None:
    """A chain's own priority counts before the output's."""
    chains = {"tarn/a": {"universe": 1, "priority": 0}, "tarn/b": {"universe": 2}}
    turned = await begun(
        listener, rgb("a", 1), rgb("b", 1), chains=chains, priority=150, **{"source-name": "Fernhollow ü"}
    )
    turned.output.show(0, bytes(3))
    turned.output.show(1, bytes(3))
    found = [DataPacket.make_data_packet(packet) for packet in listener.taken()]
    assert [0, 150] == [packet.priority for packet in found]
    assert {"Fernhollow ü"} == {packet.sourceName.rstrip("\0") for packet in found}


def joined(universe: int) -> socket.socket:
    """Return a receiver that joined the group of a universe on the machine's loopback."""
    receiver = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    receiver.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    receiver.settimeout(5)
    receiver.bind((group_of(universe), 0))
    membership = socket.inet_aton(group_of(universe)) + socket.inet_aton("127.0.0.1")
    try:
        receiver.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, membership)
    except OSError as problem:
        receiver.close()
        is_missing(f"the loopback of this machine takes no multicast ({problem})")
    return receiver


async def sent_by_multicast(receiver: socket.socket, **said: Any) -> Turned:
    """Give an output that sends a chain in universes 2 and 3 to where a receiver listens."""
    port = receiver.getsockname()[1]
    chains = {"tarn/line": {"universe": 2}}
    options = E131Options.model_validate(
        {"port": port, "local-address": "127.0.0.1", "chains": chains, **said}
    )
    turned = Turned(lambda host: E131Frames("yard", options, (rgb("line", 171),), host))
    await turned.output.start()
    turned.run(0)
    return turned


@pytest.mark.usefixtures("ended")
async def test_without_a_host_each_universe_goes_to_its_group() -> None:
    """A receiver that joined the group of universe 3 takes it, from the machine's loopback."""
    with joined(3) as receiver:
        turned = await sent_by_multicast(receiver)
        turned.output.show(0, b"\5" * 513)
        found = read(receiver.recv(2048))
    assert (3, b"\5\5\5") == (found.universe, found.levels)
    assert PORT == E131Options().port == 5568


@pytest.mark.usefixtures("ended")
async def test_by_multicast_the_universes_are_listed_each_ten_seconds() -> None:
    """At once and then by E131_UNIVERSE_DISCOVERY_INTERVAL, appendix A; that of the synchronization is among them."""
    with joined(DISCOVERY) as receiver:
        turned = await sent_by_multicast(receiver, synchronise=700, **{"source-name": "Fernhollow"})
        receiver.setblocking(False)  # on loopback a packet is there when `send` returns
        times = []
        for tenth in range(451):
            turned.run(tenth * 100 * MS)
            try:
                found = UniverseDiscoveryPacket.make_universe_discovery_packet(receiver.recv(2048))
            except BlockingIOError:
                continue
            times.append(tenth / 10)
            assert ((2, 3, 700), "Fernhollow") == (found.universes, found.sourceName)
            assert tuple(uuid5(IDENTITY, "yard").bytes) == found._cid
    assert [0, 10, 20, 30, 40] == times


async def test_one_controller_is_sent_no_list(listener: Listener) -> None:
    """It is told which universes are its own by whoever set it up."""
    turned = await begun(listener, rgb("line", 1))
    turned.output.show(0, b"\1\2\3")
    turned.run(30 * SECOND)
    assert {1} == {read(packet).universe for packet in listener.taken()}
