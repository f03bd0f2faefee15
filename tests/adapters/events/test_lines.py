"""A stream is cut into the same lines however it is cut on the way."""

from __future__ import annotations

import asyncio
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.events.lines import AT_A_TIME, Lines, close, connect, hand_on
from adapters.testing import SourceBench
from bridge.errors import LinkError

STREAMS = st.lists(
    st.binary(max_size=12) | st.sampled_from([b"\n", b"\r\n", b"\r", b"61", b"\xff"]), max_size=30
)


@given(STREAMS)
def test_lines_do_not_depend_on_the_pieces(pieces: list[bytes]) -> None:
    """Whatever pieces a stream comes in, its lines are those of the whole; CR, LF and both together end one."""
    piecewise, whole = Lines(), Lines()
    found = [line for piece in pieces for line in piecewise.feed(piece)]
    assert whole.feed(b"".join(pieces)) == found
    assert whole.last() == piecewise.last()
    stream = b"".join(pieces).replace(b"\r", b"\n").split(b"\n")
    assert [line for line in stream[:-1] if line] == found


@given(st.lists(st.binary(max_size=9), max_size=20))
def test_a_line_too_long_is_cut_to_one_byte_more_than_fits(pieces: list[bytes]) -> None:
    """A line longer than the limit comes out one byte longer than it; the line behind it is whole."""
    lines = Lines(longest=5)
    found = [line for piece in [*pieces, b"\nnext\n"] for line in lines.feed(piece)]
    assert [line[:6] for line in b"".join(pieces).replace(b"\r", b"\n").split(b"\n") if line] == found[:-1]
    assert b"next" == found[-1]


def test_a_line_that_never_ends_takes_no_memory() -> None:
    """Of a hundred megabytes without an end of line only the first bytes are kept."""
    lines = Lines()
    for _ in range(100):
        assert [] == lines.feed(b"x" * 1_000_000)
    assert 1025 == len(lines.last())


def test_other_ends_of_a_line() -> None:
    """A stream whose lines end with another byte is cut there, and only there."""
    lines = Lines(ends=b";]")
    assert [b":X1N", b"\n:X2N"] == lines.feed(b":X1N;\n:X2N]:X3")
    assert b":X3" == lines.last()


async def test_a_stream_is_handed_on_to_its_end() -> None:
    """The last line counts without an end of its own."""
    reader, taken = asyncio.StreamReader(), list[bytes]()
    reader.feed_data(b"one\r\n\r\ntwo\nthree")
    reader.feed_eof()
    await hand_on(reader, Lines(), taken.append)
    assert [b"one", b"two", b"three"] == taken


async def test_a_flood_leaves_turns_to_others() -> None:
    """Between a few lines of a stream that has everything ready somebody else has a turn."""
    reader, taken, turns = asyncio.StreamReader(), list[bytes](), list[int]()
    reader.feed_data(b"".join(b"%d\n" % number for number in range(5000)))
    reader.feed_eof()

    async def other() -> None:
        while len(taken) < 5000:
            turns.append(len(taken))
            await asyncio.sleep(0)

    await asyncio.gather(hand_on(reader, Lines(), taken.append), other())
    assert [b"%d" % number for number in range(5000)] == taken
    assert max(later - earlier for earlier, later in pairwise(turns)) <= AT_A_TIME


async def test_nobody_there_is_said_with_a_remedy(unused_tcp_port: int) -> None:
    """A port that nobody listens at, and a name that does not exist, are told with what to look at."""
    with pytest.raises(LinkError, match="takes no connection: does the program that sends there run"):
        await connect(SourceBench(), "127.0.0.1", unused_tcp_port)
    with pytest.raises(LinkError, match=r"no-such-host.invalid:1 cannot be reached \(.+\): are the address"):
        await connect(SourceBench(), "no-such-host.invalid", 1)


async def test_a_connection_brings_lines() -> None:
    """Lines come over a real connection until the other end closes it."""
    taken = list[bytes]()

    async def speak(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"81 F9 78\r\n81 F8")
        await writer.drain()
        writer.write(b" 79\r\n")
        await close(writer)

    async with await asyncio.start_server(speak, "127.0.0.1", 0) as server:
        reader, writer = await connect(SourceBench(), *server.sockets[0].getsockname())
        await hand_on(reader, Lines(), taken.append)
        await close(writer)
    assert [b"81 F9 78", b"81 F8 79"] == taken
