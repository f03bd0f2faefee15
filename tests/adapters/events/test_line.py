"""Anything that can write a line is a source: over real connections and through a real pipe."""

from __future__ import annotations

import asyncio
import os
import stat
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from adapters.contract import Raw
from adapters.events.line import MOST_AT_ONCE, LineOptions, LineSource
from adapters.events.lines import close
from adapters.testing import SourceBench
from bridge.errors import DecodeError, LinkError
from bridge.events import (
    AccessoryOrdered,
    BlockReported,
    BlockState,
    ClockReported,
    Event,
    LinkState,
    Position,
    UseReported,
)
from bridge.service.files import look_at_text
from bridge.service.plugins import Adapters
from tests.support.layouts import changed


def heard(line: bytes) -> tuple[Event, ...]:
    """Return what is understood of a line."""
    return LineSource("script", LineOptions(), SourceBench()).decode(Raw("127.0.0.1", line), 5)


@asynccontextmanager
async def listening(host: SourceBench, **said: object) -> AsyncIterator[asyncio.Task[None]]:
    """Have a source listen, from when it can be heard on."""
    task = asyncio.create_task(LineSource("script", LineOptions.model_validate(said), host).listen())
    assert await host.until(lambda: host.up or task.done())
    try:
        yield task
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


def test_a_line_is_a_topic_and_a_payload() -> None:
    """The words are those of MQTT below the root; the first space ends the topic, or a tab where there is one."""
    order = AccessoryOrdered(at=5, source="script", number=61, position=Position.REVERSE)
    for line in (
        b"accessory/61/ordered reverse",
        b" accessory/61/ordered  thrown ",
        b"accessory/61/ordered\treverse",
        b"accessory/61/ordered reverse\t",
        b"\taccessory/61/ordered reverse \t",
    ):
        assert (order,) == heard(line)
    block = BlockReported(at=5, source="script", name="tarn 2", state=BlockState.OCCUPIED)
    assert (block,) == heard(b"block/tarn 2\toccupied")
    (clock,) = heard(b'clock {"time": "06:45", "rate": 4, "running": true}')
    assert isinstance(clock, ClockReported)
    (use,) = heard(b"use/signal/T4 out: lens broken")
    assert isinstance(use, UseReported)
    assert "lens broken" == use.why


@pytest.mark.parametrize(
    ("line", "why"),
    [
        (b"hello", "no fact has such a topic"),
        (b"accessory/61/ordered", "the line has a topic and no payload"),
        (b"accessory/0/ordered reverse", "there is no accessory 0"),
        (b"accessory/61/ordered sideways", "`sideways` is not a word that is understood here"),
        (b"block/tarn 2 occupied", "`2 occupied` is not a word that is understood here"),
        (b"\xff\xfe 1", "the line is not UTF-8 text"),
        (b"accessory/61/ordered \xff", "the payload is not UTF-8 text"),
        (b"x" * 1025, "the line is longer than 1024 bytes"),
    ],
)
def test_what_means_nothing_is_refused_with_what_came(line: bytes, why: str) -> None:
    """Each is refused with its reason, the line and what would have been understood."""
    with pytest.raises(DecodeError, match=why) as problem:
        heard(line)
    assert problem.value.received
    assert problem.value.expected


async def test_several_connections_speak_at_once(unused_tcp_port: int) -> None:
    """Lines of several come in whole, one that breaks off midway disturbs none, and all end with the source."""
    host = SourceBench()
    async with listening(host, port=unused_tcp_port):
        assert [(LinkState.UP, f"it listens at 127.0.0.1:{unused_tcp_port}")] == host.links
        first, second, third = [await asyncio.open_connection("127.0.0.1", unused_tcp_port) for _ in range(3)]
        first[1].write(b"button/a pre")
        second[1].write(b"button/b pressed\r\n")
        third[1].write(b"button/c pressed")
        third[1].write_eof()
        assert await host.until(lambda: len(host.raws) == 2)
        first[1].write(b"ssed\n")
        assert await host.until(lambda: len(host.raws) == 3)
        assert {b"button/a pressed", b"button/b pressed", b"button/c pressed"} == {
            raw.payload for raw in host.raws
        }
        assert {"127.0.0.1"} == {raw.channel for raw in host.raws}
        first[1].transport.abort()
        second[1].write(b"button/b released\n")
        assert await host.until(lambda: len(host.raws) == 4)
    assert b"" == await second[0].read()
    for _, writer in (second, third):
        await close(writer)


async def test_more_connections_than_it_serves(unused_tcp_port: int) -> None:
    """One too many is told so and closed; when another has gone there is room again."""
    host = SourceBench()
    async with listening(host, port=unused_tcp_port):
        there = [await asyncio.open_connection("127.0.0.1", unused_tcp_port) for _ in range(MOST_AT_ONCE)]
        for _, writer in there:
            writer.write(b"button/a pressed\n")
        assert await host.until(lambda: len(host.raws) == MOST_AT_ONCE)
        reader, writer = await asyncio.open_connection("127.0.0.1", unused_tcp_port)
        assert b"too many speak at once: close a connection, and come back\n" == await reader.read()
        await close(writer)
        await close(there.pop()[1])
        while True:
            reader, writer = await asyncio.open_connection("127.0.0.1", unused_tcp_port)
            writer.write(b"button/a released\n")
            writer.write_eof()
            refused = await reader.read()
            await close(writer)
            if not refused:
                break
        assert await host.until(lambda: host.raws[-1].payload == b"button/a released")
        for _, writer in there:
            await close(writer)


async def test_a_flood_over_tcp_comes_in_whole_and_lets_the_loop_turn(unused_tcp_port: int) -> None:
    """Of a flood nothing is lost, and nobody waits for long."""
    host = SourceBench()
    async with listening(host, port=unused_tcp_port):
        _, writer = await asyncio.open_connection("127.0.0.1", unused_tcp_port)
        writer.write(b"".join(b"button/b%d pressed\n" % number for number in range(20_000)))
        await host.until_quiet(20_000)
        assert [b"button/b%d pressed" % number for number in range(20_000)] == [
            raw.payload for raw in host.raws
        ]
        assert host.longest <= 100
        await close(writer)


async def test_a_port_that_is_taken_is_told(unused_tcp_port: int) -> None:
    """Where something listens already, and where this machine is not, the reason has a remedy."""
    async with listening(SourceBench(), port=unused_tcp_port):
        with pytest.raises(LinkError, match="something listens there already: give another `port`"):
            await LineSource("script", LineOptions(port=unused_tcp_port), SourceBench()).listen()
    with pytest.raises(LinkError, match="this machine has no such `address`"):
        await LineSource("script", LineOptions(address="192.0.2.7"), SourceBench()).listen()


async def test_a_pipe_is_read_for_all_who_write_into_it(tmp_path: Path) -> None:
    """The pipe is made for its owner alone; writers come and go, and a line without an end counts with its writer's."""
    pipe, host = tmp_path / "facts", SourceBench()
    async with listening(host, pipe=str(pipe)):
        assert stat.S_ISFIFO(pipe.stat().st_mode)
        assert 0o600 == stat.S_IMODE(pipe.stat().st_mode)
        for number in range(20):
            await asyncio.to_thread(
                pipe.write_bytes, b"button/b%d pressed\nbutton/b%d released" % (number, number)
            )
            assert await host.until(lambda number=number: len(host.raws) == 2 * number + 2)  # type: ignore[misc]
        assert b"button/b19 released" == host.raws[-1].payload
        assert [(LinkState.UP, f"the pipe {pipe} is open")] == host.links
    assert pipe.exists()


async def test_no_line_is_lost_between_two_writers(tmp_path: Path) -> None:
    """There never is no reader: whoever opens the pipe as another leaves is heard too, and in order."""
    pipe, host = tmp_path / "facts", SourceBench()
    several = 2000  # which a pipe holds, however late they are read

    def write() -> None:
        for number in range(several):
            writer = os.open(pipe, os.O_WRONLY | os.O_NONBLOCK)  # which is refused where nobody reads
            os.write(writer, b"button/b%d pressed\n" % number)
            os.close(writer)

    async with listening(host, pipe=str(pipe)) as task:
        await asyncio.to_thread(write)
        assert await host.until(lambda: len(host.raws) >= several or task.done())
        assert [b"button/b%d pressed" % number for number in range(several)] == [
            raw.payload for raw in host.raws
        ]
        assert [(LinkState.UP, f"the pipe {pipe} is open")] == host.links


async def test_a_pipe_that_is_taken_away_as_its_writer_ends_is_a_lost_source(tmp_path: Path) -> None:
    """Its end alone is no loss, since another may write; that its name is gone is one."""
    pipe, host = tmp_path / "facts", SourceBench()
    async with listening(host, pipe=str(pipe)) as task:
        writer = await asyncio.to_thread(os.open, pipe, os.O_WRONLY)
        os.write(writer, b"button/b pressed\n")
        assert await host.until(lambda: bool(host.raws))
        pipe.unlink()
        os.close(writer)
        assert await host.until(task.done)
        with pytest.raises(LinkError, match="was taken away or replaced"):
            task.result()
    assert not pipe.exists()


@pytest.mark.parametrize("instead", ["nothing", "another pipe", "a file", "a folder"])
async def test_a_pipe_that_is_taken_away_is_a_lost_source(tmp_path: Path, instead: str) -> None:
    """What is written then goes elsewhere, so nobody may believe that all is quiet; a pipe that is new is read."""
    pipe, host = tmp_path / "facts", SourceBench()
    async with listening(host, pipe=str(pipe)) as task:
        pipe.unlink()
        if instead == "another pipe":
            os.mkfifo(pipe)
        elif instead == "a file":
            pipe.touch()
        elif instead == "a folder":
            pipe.mkdir()
        assert await host.until(task.done)
        with pytest.raises(LinkError, match="was taken away or replaced"):
            task.result()
    if instead in ("nothing", "another pipe"):
        again = SourceBench()  # the other one has heard of a pipe that is open already
        async with listening(again, pipe=str(pipe)):
            await asyncio.to_thread(pipe.write_bytes, b"button/b pressed\n")
            assert await again.until(lambda: bool(again.raws))


async def test_a_pipe_that_cannot_be(tmp_path: Path) -> None:
    """A file in the place of the pipe, and a folder that is not there, are told with a remedy."""
    (tmp_path / "file").touch()
    for path, words in (("file", "is no named pipe: move it away"), ("none/pipe", "does its folder exist")):
        with pytest.raises(LinkError, match=words):
            await LineSource("script", LineOptions(pipe=str(tmp_path / path)), SourceBench()).listen()


@pytest.mark.parametrize(
    ("said", "message"),
    [
        ("  bus: {kind: line, pipe: facts}", "f:6:27: error: facts is no place of a file"),
        ("  bus: {kind: line, pipe: /run/facts, port: 9}", "f:6:27: error: a source listens at one place"),
        ("  bus: {kind: line, address: anywhere}", "f:6:30: error: anywhere is no address"),
        (
            "  bus: {kind: line, address: 0.0.0.0}",
            "f:6:30: warning: whoever reaches 0.0.0.0 can give orders here",
        ),
        (
            "  bus: {kind: line}\n  other: {kind: line, port: 8471}",
            "f:7:29: error: port 8471 of this machine, for lines, would be for one source",
        ),
    ],
)
def test_mistakes_in_the_layout_file(said: str, message: str) -> None:
    """Each is told while checking, with its line and what to write."""
    text = changed("  bus: {kind: mqtt, repeat-window: 500 ms}", said)
    lines = look_at_text("f", text.encode(), Adapters()).lines()
    assert [each for each in lines if each.startswith(message)], lines
