"""The packets of ANSI E1.31, beside those of the `sacn` library and as `tshark` reads them."""

from __future__ import annotations

import random
from pathlib import Path
from uuid import UUID

import pytest
from sacn.messages.data_packet import DataPacket, calculate_multicast_addr
from sacn.messages.sync_packet import SyncPacket
from sacn.messages.universe_discovery import UniverseDiscoveryPacket

from adapters.outputs import e131_packets as wire
from tests.adapters.outputs.desk import IDENTITY
from tests.support.dissect import dissected

FIELDS = (
    "acn.preamble_size",
    "acn.packet_identifier",
    "acn.pdu.length",
    "acn.cid",
    "acn.dmx.source_name",
    "acn.dmx.priority",
    "acn.dmx.seq_number",
    "acn.dmx.universe",
    "acn.dmx.count",
    "acn.dmx.start_code2",
    "acn.dmx.option_s",
)


def filled(levels: bytes, sequence: int = 0, options: int = 0, **said: int) -> bytes:
    packet = wire.data_packet(IDENTITY, "Fernhollow", said.pop("universe", 1), len(levels), **said)
    packet[wire.SEQUENCE], packet[wire.OPTIONS] = sequence, options
    packet[wire.LEVELS :] = levels
    return bytes(packet)


@pytest.mark.parametrize("case", range(20))
def test_a_full_packet_is_that_of_the_library_byte_for_byte(case: int) -> None:
    """Whatever identity, universe, priority, sequence and levels it has."""
    chance = random.Random(case)  # noqa: S311 - cases, the same in every run
    cid = UUID(int=chance.getrandbits(128))
    universe, priority, sequence = chance.randint(1, 63_999), chance.randint(0, 200), chance.randint(0, 255)
    sync, ends = chance.choice([0, chance.randint(1, 63_999)]), chance.random() < 0.5
    levels = chance.randbytes(512)
    theirs = DataPacket(
        tuple(cid.bytes),
        "Fernhollow",
        universe,
        dmxData=tuple(levels),
        priority=priority,
        sequence=sequence,
        streamTerminated=ends,
        sync_universe=sync,
    )
    ours = wire.data_packet(cid, "Fernhollow", universe, 512, priority=priority, sync=sync)
    ours[wire.SEQUENCE], ours[wire.OPTIONS] = sequence, wire.TERMINATED * ends
    ours[wire.LEVELS :] = levels
    assert bytes(theirs.getBytes()) == bytes(ours)


def test_the_library_reads_a_packet_of_fewer_slots() -> None:
    """170 pixels take 510 slots; the library adds what is missing to 512."""
    read = DataPacket.make_data_packet(filled(b"\x01\x02\x03" * 170, 7, universe=7962, priority=42))
    assert (7962, 42, 7, 0, "Fernhollow") == (
        read.universe,
        read.priority,
        read.sequence,
        read.syncAddr,
        read.sourceName.rstrip("\0"),
    )
    assert (1, 2, 3) * 170 + (0, 0) == read.dmxData
    assert not read.option_StreamTerminated


@pytest.mark.parametrize(
    ("slots", "root", "framing", "dmp", "count"),
    [(512, 0x726E, 0x7258, 0x720B, 0x0201), (510, 0x726C, 0x7256, 0x7209, 0x01FF)],
)
def test_lengths_count_from_their_own_field(
    slots: int, root: int, framing: int, dmp: int, count: int
) -> None:
    """Flags and length of each layer as in ANSI E1.31-2018, table 4-1, for a full packet and one of 170 pixels."""
    packet = filled(bytes(slots))
    assert 126 + slots == len(packet)
    read = [int.from_bytes(packet[at : at + 2], "big") for at in (16, 38, 115, 123)]
    assert [root, framing, dmp, count] == read


def test_a_synchronization_packet_is_that_of_the_library() -> None:
    """49 bytes, section 6.3."""
    ours = wire.sync_packet(IDENTITY, 7962)
    ours[wire.SYNC_SEQUENCE] = 200
    assert bytes(SyncPacket(tuple(IDENTITY.bytes), 7962, 200).getBytes()) == bytes(ours)
    assert (49, 0x7021, 0x700B) == (
        len(ours),
        int.from_bytes(ours[16:18], "big"),
        int.from_bytes(ours[38:40], "big"),
    )


@pytest.mark.parametrize("count", [0, 1, 511, 512, 513, 1500])
def test_the_lists_of_universes_are_those_of_the_library(count: int) -> None:
    """Each universe once and in order, 512 on a page: sections 6.4 and 8. `tshark` 4.0 reads none of these packets."""
    chance = random.Random(count)  # noqa: S311 - cases, the same in every run
    universes = chance.sample(range(1, 64_000), count)
    ours = wire.discovery_packets(IDENTITY, "Fernhollow", [*universes, *universes[:9]])
    theirs = UniverseDiscoveryPacket.make_multiple_uni_disc_packets(
        tuple(IDENTITY.bytes), "Fernhollow", list(universes)
    ) or [UniverseDiscoveryPacket(tuple(IDENTITY.bytes), "Fernhollow", ())]
    assert [bytes(page.getBytes()) for page in theirs] == [bytes(page) for page in ours]
    read = [UniverseDiscoveryPacket.make_universe_discovery_packet(bytes(page)) for page in ours]
    assert sorted(universes) == [universe for page in read for universe in page.universes]
    assert [(number, len(ours) - 1) for number in range(len(ours))] == [(p.page, p.lastPage) for p in read]


@pytest.mark.parametrize(
    ("universe", "group"),
    [(1, "239.255.0.1"), (256, "239.255.1.0"), (7962, "239.255.31.26"), (63_999, "239.255.249.255")],
)
def test_the_group_of_a_universe(universe: int, group: str) -> None:
    """239.255, then the universe's two bytes: section 9.3.1, and the library says the same."""
    assert group == wire.group_of(universe) == calculate_multicast_addr(universe)


def test_a_stranger_reads_the_same(tmp_path: Path) -> None:
    """`tshark` finds every field where the standard has it."""
    packets = [
        filled(bytes(510), 7, universe=3),
        filled(bytes(512), 255, wire.TERMINATED, universe=63_999, priority=200),
    ]
    options = ("--enable-heuristic", "acn", "-o", "acn.dmx_enable:TRUE")
    first, second = dissected(tmp_path, packets, wire.PORT, FIELDS, *options)
    assert {
        "acn.preamble_size": "16",
        "acn.packet_identifier": "ASC-E1.17",
        "acn.pdu.length": "620,598,521",
        "acn.cid": str(IDENTITY),
        "acn.dmx.source_name": "Fernhollow",
        "acn.dmx.priority": "100",
        "acn.dmx.seq_number": "7",
        "acn.dmx.universe": "3",
        "acn.dmx.count": "511",
        "acn.dmx.start_code2": "0",
        "acn.dmx.option_s": "0",
    } == first
    assert ("63999", "200", "255", "513", "1") == tuple(
        second[f"acn.dmx.{name}"] for name in ("universe", "priority", "seq_number", "count", "option_s")
    )
