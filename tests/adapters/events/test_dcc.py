"""Packets that come by a real serial line or a real TCP connection are orders; what else is on the rails is none."""

from __future__ import annotations

import asyncio
import contextlib
import os
import pty
import termios
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Final

import pytest

from adapters.contract import Raw
from adapters.events.dcc import DccOptions, DccSource
from adapters.events.dcc_packets import BasicAccessory, ExtendedAccessory, Packet, encode, shift_number
from adapters.events.dcc_text import write_text
from adapters.testing import LineServer, SourceBench
from bridge.errors import DecodeError, LinkError
from bridge.events import (
    ACCESSORY_NUMBERS,
    AccessoryOrdered,
    AccessoryReleased,
    AspectOrdered,
    Event,
    LinkState,
    Position,
)
from bridge.service.files import look_at_text
from bridge.service.plugins import Adapters
from tests.support.layouts import changed

NORMAL, REVERSE = Position.NORMAL, Position.REVERSE
PLACE: Final = {"host": "127.0.0.1", "port": 1}


def source(said: Mapping[str, object] | None = None, host: SourceBench | None = None) -> DccSource:
    """Return a source with these options."""
    return DccSource("rails", DccOptions.model_validate({**PLACE, **(said or {})}), host or SourceBench())


def heard(line: str | bytes, **said: object) -> tuple[Event, ...]:
    """Return what a source with these options understands of a line."""
    return source(said).decode(Raw("port", line if isinstance(line, bytes) else line.encode()), 5)


def line(packet: Packet) -> str:
    """Return a packet as it is printed."""
    return write_text(encode(packet))


def ordered(number: int, position: Position) -> AccessoryOrdered:
    """Return the event of an order."""
    return AccessoryOrdered(at=5, source="rails", number=number, position=position)


def test_packets_are_orders() -> None:
    """Activation orders, deactivation releases, and an aspect is ordered by its number."""
    assert (ordered(1, NORMAL),) == heard("81 F9 78")
    assert (ordered(1, REVERSE),) == heard("81 f8 79\r")
    assert (AccessoryReleased(at=5, source="rails", number=1),) == heard("81F071")
    assert (AspectOrdered(at=5, source="rails", number=37, aspect=5),) == heard("8A 71 05 FE")


@pytest.mark.parametrize("offset", [-4, 0, 4])
def test_every_number_is_told_by_the_source_s_offset(offset: int) -> None:
    """What is sent for a number of a system that counts otherwise arrives as that number, for all of them."""
    rails = source({"offset": offset})
    for number in ACCESSORY_NUMBERS:
        sent = line(BasicAccessory(shift_number(number, -offset), REVERSE))
        assert ordered(number, REVERSE) in rails.decode(Raw("port", sent.encode()), 5)
        sent = line(ExtendedAccessory(shift_number(number, -offset), 7))
        assert AspectOrdered(at=5, source="rails", number=number, aspect=7) in rails.decode(
            Raw("port", sent.encode()), 5
        )


@pytest.mark.parametrize(
    "text",
    [
        "FF 00 FF",  # idle
        "00 00 00",  # reset
        "03 3F 80 BC",  # speed of locomotive 3
        "81 F0 EC 1C 05 84",  # programming of an accessory decoder
        "81 7C 05 F8",  # the same in the old form
        "81 78 F9",  # no operation
    ],
)
def test_what_orders_nothing(text: str) -> None:
    """Programming, idle packets and packets for locomotives are understood, and no event comes of them."""
    assert () == heard(text)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        (b"81 F9 79", "the error byte is 79, and would be 78"),
        (b"81 F9", "2 bytes are no packet"),
        (b"hello", "`hello` is not a byte in hexadecimal"),
        (b"\xff\xfe", r"is not a byte in hexadecimal"),
        (b"81 70 F1", "a form that the standard leaves free"),
        (b"8" * 1025, "is not a byte in hexadecimal"),
    ],
)
def test_what_means_nothing_is_refused_with_what_came(text: bytes, why: str) -> None:
    """A damaged packet, noise and forms that are reserved are refused, each with its reason."""
    with pytest.raises(DecodeError, match=why) as problem:
        heard(text)
    assert problem.value.received


def test_a_broadcast_orders_its_own_number_and_those_that_it_is_said_to_be_for() -> None:
    """A broadcast (S-9.2.1 part D) is for all decoders; here it is for those that `broadcast-to` names."""
    stop = line(ExtendedAccessory(2044, 0))
    assert [2044] == [getattr(event, "number", 0) for event in heard(stop)]
    found = heard(stop, **{"broadcast-to": "9-12"})
    assert [2044, 9, 10, 11, 12] == [getattr(event, "number", 0) for event in found]
    assert {0} == {getattr(event, "aspect", None) for event in found}
    pair = line(BasicAccessory(2042, REVERSE))  # the second pair of every decoder: 2, 6, 10 ...
    assert [ordered(number, REVERSE) for number in (2042, 2, 6, 10)] == list(
        heard(pair, **{"broadcast-to": "1-12"})
    )
    assert [ordered(number, REVERSE) for number in (2043, 3, 7, 11)] == list(
        heard(pair, **{"broadcast-to": "1-12", "offset": 1})
    )
    released = heard("BF 86 39", **{"broadcast-to": "1-12"})
    assert {AccessoryReleased} == {type(event) for event in released}


async def test_lines_over_tcp_and_over_again() -> None:
    """Packets come over a real connection; when it ends the source says so with a remedy, and can listen again."""
    host = SourceBench()
    async with LineServer([b"81 F9 78\r\n"]) as server:
        rails = source({"port": server.port}, host)
        with pytest.raises(LinkError, match="takes no connection: does the program that sends there run"):
            await rails.listen()
        for hard in (False, True):
            await server.come_up()
            task = asyncio.create_task(rails.listen())
            assert await host.until(lambda: bool(server.connected))
            await server.say()
            assert await host.until(lambda: bool(host.raws))
            assert [Raw(f"127.0.0.1:{server.port}", b"81 F9 78")] == host.raws
            host.raws.clear()
            await server.cut(hard=hard)
            with pytest.raises(LinkError, match=r"broke off|has ended: is the device still"):
                await task
    assert [(LinkState.UP, f"127.0.0.1:{server.port} is open")] == host.links


async def test_packets_for_no_accessory_are_a_sign_of_life_and_no_flood() -> None:
    """Of what fills the rails one packet a second is handed in; orders and what is damaged all are."""
    host = SourceBench()
    async with LineServer([]) as server:
        await server.come_up()
        task = asyncio.create_task(source({"port": server.port}, host).listen())
        assert await host.until(lambda: bool(server.connected))
        server.send(b"FF 00 FF\n03 3F 80 BC\n" * 5000 + b"81 F9 78\n81 F9 79\nFF 00 FF\n81 F8 79\n")
        assert await host.until(lambda: len(host.raws) >= 4)
        assert b"FF 00 FF" == host.raws[0].payload
        assert [b"81 F9 78", b"81 F9 79", b"81 F8 79"] == [
            raw.payload for raw in host.raws if raw.payload.startswith(b"81")
        ]
        assert len(host.raws) < 300  # time passes while it is waited for: each second of it one
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


@pytest.fixture
def line_pair() -> Iterator[tuple[int, str]]:
    """Give a serial line: the end of a device, and the name of the port at the other end."""
    device, port = pty.openpty()
    name = os.ttyname(port)
    os.close(port)
    try:
        yield device, name
    finally:
        with contextlib.suppress(OSError):
            os.close(device)


async def test_lines_from_a_serial_port(line_pair: tuple[int, str]) -> None:
    """A port is set to raw bytes at its speed and read; a second program does not get it; unplugged, it is told."""
    device, name = line_pair
    host = SourceBench()
    rails = DccSource("rails", DccOptions.model_validate({"serial": name, "speed": 57600}), host)
    task = asyncio.create_task(rails.listen())
    assert await host.until(lambda: host.up or task.done())
    settings = termios.tcgetattr(device)
    assert termios.B57600 == settings[4] == settings[5]
    assert not settings[3] & (termios.ICANON | termios.ECHO)
    os.write(device, b"81 F9 7")
    os.write(device, b"8\r\n81 F8 79\r\n\x03\x04\n")
    assert await host.until(lambda: len(host.raws) >= 3)
    assert [b"81 F9 78", b"81 F8 79", b"\x03\x04"] == [raw.payload for raw in host.raws]
    assert {name} == {raw.channel for raw in host.raws}

    second = DccSource("other", DccOptions(serial=name), SourceBench())
    with pytest.raises(LinkError, match="another program has it"):
        await second.listen()

    os.close(device)
    with pytest.raises(LinkError, match=r"is it still there|still plugged in"):
        await task


async def test_a_serial_port_that_cannot_be_opened(tmp_path: Path) -> None:
    """A port that is not there, and a file that is none, are told with what to look at."""
    for path, words in (
        ("/dev/no-such-port", "is it plugged in"),
        (str(tmp_path / "file"), "is no serial port"),
    ):
        (tmp_path / "file").touch()
        with pytest.raises(LinkError, match=words):
            await DccSource("rails", DccOptions(serial=path), SourceBench()).listen()


@pytest.mark.parametrize(
    ("said", "message"),
    [
        ("{kind: dcc}", "where are the packets printed? Give `serial`, or `host` and `port`"),
        ("{kind: dcc, host: 127.0.0.1}", "where are the packets printed?"),
        (
            "{kind: dcc, serial: /dev/ttyUSB0, host: sniffer, port: 2560}",
            "a source listens at one place: `serial`, or `host` and `port`",
        ),
        ("{kind: dcc, host: sniffer, port: 2560, speed: 9600}", "the speed is one of a serial port"),
        (
            "{kind: dcc, serial: ttyUSB0}",
            "ttyUSB0 is no place of a file: write all of it, such as /dev/ttyUSB0",
        ),
        ("{kind: dcc, serial: /dev/ttyUSB0, speed: 12345}", "12345 is no speed that a port here has"),
        ("{kind: dcc, serial: /dev/ttyUSB0, offset: 3000}", "3000 is not an offset: write -2047 to 2047"),
        ("{kind: dcc, serial: /dev/ttyUSB0, broadcast-to: 64-1}", "64-1 names no accessories"),
        ("{kind: dcc, serial: /dev/ttyUSB0, broadcast-to: 1-2000}", "2000 accessories are too many"),
    ],
)
def test_mistakes_in_the_layout_file(said: str, message: str) -> None:
    """Each is told while checking, with its line and what to write."""
    text = changed("{kind: mqtt, repeat-window: 500 ms}", said)
    errors = [each for each in look_at_text("f", text.encode(), Adapters()).lines() if ": error: " in each]
    assert 1 == len(errors), errors
    assert errors[0].startswith("f:6:")
    assert message in errors[0]


@pytest.mark.parametrize(
    "said",
    [
        "{kind: dcc, serial: /dev/ttyUSB0, speed: 57600, offset: 4, repeat-window: 1 s}",
        "{kind: dcc, host: sniffer, port: 2560, offset: -4, refresh-every: 2 s, broadcast-to: 61}",
    ],
)
def test_a_sound_entry(said: str) -> None:
    """Either place, with all other keys, is taken."""
    text = changed("{kind: mqtt, repeat-window: 500 ms}", said)
    assert not [each for each in look_at_text("f", text.encode(), Adapters()).lines() if ": error: " in each]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "81 f9 78",
            "81 F9 78 is a basic accessory packet: accessory 1 (decoder 1, pair 0) is ordered normal",
        ),
        ("FF00FF", "FF 00 FF is an idle packet; it is not for an accessory"),
        (
            "8170F1",
            "81 70 F1 is a packet for accessories of a form that the standard leaves free: nothing is ordered by it",
        ),
    ],
)
def test_a_packet_is_explained(text: str, said: str) -> None:
    """A text is said to be what it is, in a sentence, and what that is here by the offset."""
    assert said == source().explain(Raw("dcc", text.encode()))
    other = source({"offset": 4}).explain(Raw("dcc", text.encode()))
    assert other == said + (
        "; with the offset 4 that is accessory 5 here" if "ordered normal" in said else ""
    )
