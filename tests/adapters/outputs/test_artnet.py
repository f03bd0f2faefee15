"""Frames by Art-Net to a real socket, and as `tshark` reads them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from adapters.contract import ChainPlace
from adapters.outputs import artnet_packets as wire
from adapters.outputs.artnet import ArtNetFrames, ArtNetOptions
from bridge.events import MILLISECOND, SECOND
from tests.adapters.outputs.listener import Listener, Turned, rgb, rgbw
from tests.support.dissect import dissected

FIELDS = (
    "artnet.header.id",
    "artnet.header.opcode",
    "artnet.header.protver",
    "artnet.output.sequence",
    "artnet.output.physical",
    "artnet.output.universe",
    "artnet.output.length",
)


async def begun(listener: Listener, *places: ChainPlace, **said: Any) -> Turned:
    """Give an output to the listener; each chain begins at universe 0, 100, 200, ..."""
    chains = {place.key: {"universe": 100 * number} for number, place in enumerate(places)}
    options = ArtNetOptions.model_validate(
        {"host": "127.0.0.1", "port": listener.port, "chains": chains, **said}
    )
    assert () == options.faults(places)
    turned = Turned(lambda host: ArtNetFrames("yard", options, places, host))
    await turned.output.start()
    turned.run(0)
    return turned


def test_a_header_is_the_published_one() -> None:
    """Port address 0x0123, 510 slots, sequence 1; the operation code has its low byte first, the length its high."""
    packet = wire.dmx_packet(0x0123, 510)
    packet[wire.SEQUENCE] = 1
    assert bytes.fromhex("4172742d4e657400 0050 000e 01 00 23 01 01fe") == packet[: wire.LEVELS]
    assert (528, 530) == (len(packet), len(wire.dmx_packet(0, 512)))


@pytest.mark.parametrize(("slots", "length"), [(3, 4), (4, 4), (1, 2), (509, 510)])
def test_a_length_is_even(slots: int, length: int) -> None:
    """From 2 to 512: a level of 0 is added where it is not."""
    packet = wire.dmx_packet(0, slots)
    assert length == int.from_bytes(packet[16:18], "big") == len(packet) - wire.LEVELS


async def test_a_stranger_reads_the_same(listener: Listener, tmp_path: Path) -> None:
    """`tshark` finds each universe of a chain with its number, length and sequence."""
    turned = await begun(listener, rgb("line", 341), chains={"tarn/line": {"universe": 0x0123}})
    turned.output.show(0, bytes(range(256)) * 3 + bytes(255))
    read = dissected(tmp_path, listener.taken(), wire.PORT, FIELDS)
    assert [("291", "510"), ("292", "510"), ("293", "4")] == [
        (each["artnet.output.universe"], each["artnet.output.length"]) for each in read
    ]
    for each in read:
        assert ("Art-Net", "0x5000", "14", "1", "0") == tuple(each[field] for field in FIELDS[:5])


@pytest.mark.parametrize(
    ("place", "sizes"),
    [
        (rgb("line", 5000), [510] * 29 + [210]),
        (rgbw("line", 129), [512, 4]),
    ],
)
async def test_a_chain_takes_as_many_universes_as_it_needs(
    listener: Listener, place: ChainPlace, sizes: list[int]
) -> None:
    """Whole pixels go into each, and put together they are the frame."""
    turned = await begun(listener, place)
    levels = bytes(number * 7 % 251 for number in range(place.length))
    turned.output.show(0, levels)
    packets = listener.taken()
    assert sizes == [len(packet) - wire.LEVELS for packet in packets]
    assert [*range(len(sizes))] == [packet[14] + (packet[15] << 8) for packet in packets]
    assert levels == b"".join(packet[wire.LEVELS :] for packet in packets)


async def test_each_universe_counts_from_1_to_255(listener: Listener) -> None:
    """0 would say that nobody counts."""
    turned = await begun(listener, rgb("line", 171))
    for number in range(300):
        turned.output.show(0, bytes([number % 200]) * 513)
        turned.run(turned.host.clock + 25 * MILLISECOND)
    packets = listener.taken()
    for universe in (0, 1):
        own = [packet[wire.SEQUENCE] for packet in packets if packet[14] == universe]
        assert len(own) >= 300
        assert [step % 255 + 1 for step in range(len(own))] == own


async def test_an_unchanged_frame_is_repeated_each_800_to_1000_ms(listener: Listener) -> None:
    """Art-Net itself asks for 4 s, and recommends this for who uses streaming ACN as well."""
    turned = await begun(listener, rgb("line", 1))
    turned.output.show(0, b"\1\2\3")
    turned.run(SECOND // 2)
    assert 4 == len(listener.taken())
    for _second in range(5):
        turned.run(turned.host.clock + SECOND)
        assert 1 <= len(listener.taken()) <= 2


async def test_the_last_frame_goes_out_three_times(listener: Listener) -> None:
    """Nothing says that it is the last, so a lost packet must not leave another picture."""
    turned = await begun(listener, rgb("line", 1))
    turned.output.show(0, b"\1\2\3")
    listener.taken()
    await turned.output.stop((b"\7\7\7",))
    assert [b"\7\7\7\0"] * 3 == [packet[wire.LEVELS :] for packet in listener.taken()]


def test_a_controller_has_to_be_named() -> None:
    """Art-Net 4 sends levels to one controller and never to all."""
    with pytest.raises(ValidationError, match="host\n  Field required"):
        ArtNetOptions.model_validate({})


def test_universes_begin_at_0_and_end_at_32767() -> None:
    """15 bits: net, sub-net and universe."""
    options = ArtNetOptions.model_validate({"host": "yard", "chains": {"tarn/line": {"universe": 32_767}}})
    assert () == options.faults((rgb("line", 170),))
    (fault,) = options.faults((rgb("line", 171),))
    assert ("chains", "tarn/line", "universe") == fault.keys
    assert "takes 2 universes, and the last is 32767: begin at 32766 or before" in fault.message
    with pytest.raises(ValidationError, match="32768 is not a universe: write 0 to 32767"):
        ArtNetOptions.model_validate({"host": "yard", "chains": {"tarn/line": {"universe": 32_768}}})
