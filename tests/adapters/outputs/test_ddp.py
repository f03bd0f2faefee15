"""Frames by DDP to a real socket, read by the words of the protocol's own text."""

from __future__ import annotations

import struct
from typing import Any, NamedTuple

import pytest

from adapters.contract import ChainPlace, ChipRun
from adapters.outputs import ddp_packets as wire
from adapters.outputs.ddp import DdpFrames, DdpOptions
from bridge.events import MILLISECOND
from tests.adapters.outputs.listener import Listener, Turned, rgb, rgbw


class Read(NamedTuple):
    """A packet by its header: flags, sequence, data type, destination, offset, and its levels."""

    flags: int
    sequence: int
    kind: int
    destination: int
    offset: int
    levels: bytes


def read(packet: bytes) -> Read:
    flags, sequence, kind, destination, offset, length = struct.unpack(">BBBBIH", packet[:10])
    assert length == len(packet) - 10
    return Read(flags, sequence, kind, destination, offset, packet[10:])


async def begun(listener: Listener, *places: ChainPlace, **said: Any) -> Turned:
    """Give an output to the listener; each chain begins at the beginning of destination 1, 2, 3, ..."""
    chains = {place.key: {"destination": 1 + number} for number, place in enumerate(places)}
    options = DdpOptions.model_validate(
        {"host": "127.0.0.1", "port": listener.port, "chains": chains, **said}
    )
    assert () == options.faults(places)
    turned = Turned(lambda host: DdpFrames("yard", options, places, host))
    await turned.output.start()
    turned.run(0)
    return turned


async def test_a_header_is_the_published_one(listener: Listener) -> None:
    """Ten RGB pixels at offset 0, sequence 1, pushed: version 1, type RGB of 8 bits, destination 1."""
    turned = await begun(listener, rgb("line", 10))
    turned.output.show(0, bytes(range(30)))
    assert [bytes.fromhex("41 01 0B 01 00000000 001E") + bytes(range(30))] == listener.taken()


@pytest.mark.parametrize(
    ("chips", "kind"),
    [
        ((ChipRun("ws2811", 3, 2),), 0x0B),
        ((ChipRun("ws2811", 3, 1), ChipRun("ws2812b", 3, 1)), 0x0B),
        ((ChipRun("sk6812-rgbw", 4, 2),), 0x1B),
        ((ChipRun("ws2812b", 3, 1), ChipRun("sk6812-rgbw", 4, 1)), 0x00),
    ],
)
async def test_the_data_type_is_that_of_the_chips(
    listener: Listener, chips: tuple[ChipRun, ...], kind: int
) -> None:
    """RGB, RGBW, or none said where both are on one chain."""
    place = ChainPlace("tarn", "line", chips)
    turned = await begun(listener, place)
    turned.output.show(0, bytes(place.length))
    assert [kind] == [read(packet).kind for packet in listener.taken()]


@pytest.mark.parametrize(
    ("place", "offsets"),
    [
        (rgb("line", 480), [0]),
        (rgb("line", 481), [0, 1440]),
        (rgb("line", 5000), [1440 * number for number in range(11)]),
        (rgbw("line", 361), [0, 1440]),
    ],
)
async def test_a_long_chain_is_cut_and_pushed_once(
    listener: Listener, place: ChainPlace, offsets: list[int]
) -> None:
    """Each packet says where it belongs; the last alone has the whole shown, so nobody sees half a picture."""
    turned = await begun(listener, place)
    levels = bytes(number * 7 % 251 for number in range(place.length))
    turned.output.show(0, levels)
    packets = [read(packet) for packet in listener.taken()]
    assert offsets == [packet.offset for packet in packets]
    assert [0x40] * (len(offsets) - 1) + [0x41] == [packet.flags for packet in packets]
    assert levels == b"".join(packet.levels for packet in packets)
    assert all(len(packet.levels) <= 1440 for packet in packets)


async def test_no_two_packets_in_a_row_have_the_same_sequence(listener: Listener) -> None:
    """1 to 15 over all chains: a receiver may drop what comes twice, and a repeat is none of that."""
    turned = await begun(listener, rgb("line", 481), rgb("shed", 1))
    for number in range(40):
        turned.output.show(number % 2, bytes([number]) * (3 if number % 2 else 1443))
        turned.run(turned.host.clock + 25 * MILLISECOND)
    sequences = [read(packet).sequence for packet in listener.taken()]
    assert 60 <= len(sequences)
    assert [step % 15 + 1 for step in range(len(sequences))] == sequences


async def test_chains_have_their_places_at_the_controller(listener: Listener) -> None:
    """By the id of its output, and by the bytes before them."""
    chains = {"tarn/line": {"destination": 2, "offset": 300}, "tarn/shed": {"offset": 9}}
    turned = await begun(listener, rgb("line", 481), rgb("shed", 1), chains=chains)
    turned.output.show(0, bytes(1443))
    turned.output.show(1, bytes(3))
    places = [(packet.destination, packet.offset) for packet in map(read, listener.taken())]
    assert [(2, 300), (2, 1740), (1, 9)] == places


async def test_the_last_frame_goes_out_three_times(listener: Listener) -> None:
    """Nothing says that it is the last, so a lost packet must not leave another picture."""
    turned = await begun(listener, rgb("line", 1))
    await turned.output.stop((b"\7\7\7",))
    packets = [read(packet) for packet in listener.taken()]
    assert [b"\7\7\7"] * 3 == [packet.levels for packet in packets]
    assert [1, 2, 3] == [packet.sequence for packet in packets]


def test_bytes_that_two_chains_share_are_claimed_by_both() -> None:
    """What is compared is each chain's first and last byte of its destination."""
    places = rgb("line", 10), rgb("shed", 1)
    chains = {"tarn/line": {"offset": 0}, "tarn/shed": {"offset": 29}}
    options = DdpOptions.model_validate({"host": "yard", "chains": chains})
    line, shed = options.claims(places)
    assert (0, 29, 29, 31) == (line.first, line.last, shed.first, shed.last)
    assert line.space == shed.space == "of DDP at yard:4048, destination 1,"
    assert wire.PORT == 4048


def test_an_offset_that_is_too_far_is_found() -> None:
    """An offset has 32 bits."""
    options = DdpOptions.model_validate({"host": "yard", "chains": {"tarn/line": {"offset": (1 << 32) - 3}}})
    assert () == options.faults((rgb("line", 1),))
    (fault,) = options.faults((rgb("line", 2),))
    assert f"begin at {(1 << 32) - 6} or before" in fault.message
