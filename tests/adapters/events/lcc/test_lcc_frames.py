"""Frames of LCC are read and written as the standards have them, and what is none is refused."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.events.lcc.alias import AMD, RID, checks
from adapters.events.lcc.frames import Frame, frame_lines, read_frame, texts
from adapters.events.lcc.messages import Mti, read_message, to_all, to_one
from bridge.errors import DecodeError

EVENT = 0x01020304_05060708

# Headers: NMRA S-9.7.2.1 table 1 and S-9.7.3 section 7.3.1; types of messages: S-9.7.3 section 7.3.3 and S-9.7.3.1
# sections 4 and 7. The form of the text: the samples in the technical note on firmware upgrade, section 4.
TEXTS = [
    (to_all(Mti.EVENT, 0x123, EVENT), b":X195B4123N0102030405060708;"),
    (to_all(Mti.EVENT, 0x123, 0x01000000_0000FFFF), b":X195B4123N010000000000FFFF;"),
    (to_all(Mti.EVENT, 0x123, 0x01010200_00FF0009), b":X195B4123N0101020000FF0009;"),
    (to_all(Mti.EVENT_FIRST, 0x123, EVENT), b":X19F16123N0102030405060708;"),
    (Frame(0x9F15, 0x123, bytes(8)), b":X19F15123N0000000000000000;"),
    (Frame(0x9F14, 0x123, b"\x01"), b":X19F14123N01;"),
    (to_all(Mti.PRODUCER_VALID, 0x123, EVENT), b":X19544123N0102030405060708;"),
    (to_all(Mti.PRODUCER_INVALID, 0x123, EVENT), b":X19545123N0102030405060708;"),
    (to_all(Mti.PRODUCER_UNKNOWN, 0x123, EVENT), b":X19547123N0102030405060708;"),
    (to_all(Mti.CONSUMER_VALID, 0x123, EVENT), b":X194C4123N0102030405060708;"),
    (to_all(Mti.CONSUMER_INVALID, 0x123, EVENT), b":X194C5123N0102030405060708;"),
    (to_all(Mti.CONSUMER_UNKNOWN, 0x123, EVENT), b":X194C7123N0102030405060708;"),
    (to_all(Mti.PRODUCER_RANGE, 0x123, EVENT), b":X19524123N0102030405060708;"),
    (to_all(Mti.CONSUMER_RANGE, 0x123, EVENT), b":X194A4123N0102030405060708;"),
    (to_all(Mti.IDENTIFY_CONSUMER, 0x123, EVENT), b":X198F4123N0102030405060708;"),
    (to_all(Mti.IDENTIFY_PRODUCER, 0x123, EVENT), b":X19914123N0102030405060708;"),
    (Frame(0x9000 | Mti.IDENTIFY_GLOBAL, 0x123), b":X19970123N;"),
    (to_one(Mti.IDENTIFY, 0x123, 0x2A5), b":X19968123N02A5;"),
    (to_all(Mti.LEARN, 0x123, EVENT), b":X19594123N0102030405060708;"),
    (to_all(Mti.INITIALIZED, 0x123, 0x0501_0101_9A3C, 6), b":X19100123N050101019A3C;"),
    (Frame(0x9000 | Mti.VERIFY_GLOBAL, 0x123), b":X19490123N;"),
    (to_all(Mti.VERIFIED, 0x123, 0x0501_0101_9A3C, 6), b":X19170123N050101019A3C;"),
    # The alias 2A5 for the node 05.01.01.01.9A.3C, S-9.7.2.1 sections 6.2 and 6.3.
    *zip(
        checks(0x0501_0101_9A3C, 0x2A5),
        (b":X170502A5N;", b":X161012A5N;", b":X150192A5N;", b":X14A3C2A5N;"),
        strict=True,
    ),
    (Frame(RID, 0x2A5), b":X107002A5N;"),
    (Frame(AMD, 0x2A5, bytes.fromhex("050101019A3C")), b":X107012A5N050101019A3C;"),
    # A frame that the technical note on firmware upgrade prints, section 4.
    (Frame(0x9100, 0x4AA, bytes.fromhex("A1A2A3A4A5A6A7A8")[:6]), b":X191004AANA1A2A3A4A5A6;"),
]


@pytest.mark.parametrize(("frame", "text"), TEXTS, ids=[text.decode() for _frame, text in TEXTS])
def test_a_frame_is_written_and_read_as_the_standards_have_it(frame: Frame, text: bytes) -> None:
    """Each text is that frame, and in small letters as well."""
    assert text == frame.text()
    assert frame == read_frame(text)
    assert frame == read_frame(text.lower().replace(b":x", b":X").replace(b"n", b"N"))


def test_the_first_bit_of_a_header_is_sent_and_ignored() -> None:
    """S-9.7.2.1 table 1: bit 28 is sent as 1, and whoever receives ignores it."""
    assert read_frame(b":X195B4123N;") == read_frame(b":X095B4123N;") == Frame(0x95B4, 0x123)


@pytest.mark.parametrize("text", [b":S123N0102;", b":S7FFR;", b":X195B4123R;", b":X195B4123R8;"])
def test_frames_that_lcc_does_not_use_are_passed_over(text: bytes) -> None:
    """S-9.7.2.1 section 4: standard and remote frames have to be tolerated."""
    assert read_frame(text) is None


@pytest.mark.parametrize(
    "text",
    [
        b"",
        b";",
        b":;",
        b"X195B4123N;",
        b":X195B4123;",
        b":X195B412N;",
        b":X195B41233N;",
        b":X195B4123N0;",
        b":X195B4123N010203040506070809;",
        b":X195B4123N01 02;",
        b":X195B4123NGG;",
        b":X195B4123N",
        b":X395B4123N;",
        b"\xff\x00;",
        ":X195B4123N\uff10\uff11;".encode(),  # digits, but not those of ASCII
    ],
)
def test_what_is_no_frame_is_refused(text: bytes) -> None:
    """It is said what a frame looks like."""
    with pytest.raises(DecodeError) as caught:
        read_frame(text)
    assert ":X195B4123N0102030405060708;" in caught.value.expected


def test_a_header_of_more_than_29_bits_is_refused() -> None:
    """Eight hex digits could say more than a header has."""
    with pytest.raises(DecodeError, match="more than 29 bits"):
        read_frame(b":X20000123N;")


frames = st.builds(Frame, st.integers(0, 0xFFFF), st.integers(0, 0xFFF), st.binary(max_size=8))


@given(frames)
def test_every_frame_comes_back(frame: Frame) -> None:
    """What was written is read as the same frame."""
    assert frame == read_frame(frame.text())


anything = st.one_of(
    st.binary(max_size=40),
    st.from_regex(rb":[XS][0-9A-F]{3,8}[NR][0-9A-F]{0,16};", fullmatch=True),
    st.from_regex(rb":X[0-3][0-9A-Fa-f]{7}N([0-9A-Fa-f]{2}){0,8};", fullmatch=True),
)


@given(anything)
def test_whatever_comes_is_a_frame_or_refused(text: bytes) -> None:
    """Nothing but DecodeError comes out, and what is read has each bit of its header and each byte of its data.

    Bits of a header: S-9.7.2.1 table 1, from the highest: one that is ignored, whether it is of a message, and with
    that the form of the frame, of which 1 is a whole message; the last 12 are the alias.
    """
    try:
        frame = read_frame(text)
    except DecodeError:
        return
    if frame is None:
        assert text.startswith(b":S") or b"R" in text
        return
    header = int(text[2:10], 16)
    assert (header >> 12 & 0xFFFF, header & 0xFFF) == (frame.content, frame.alias)
    assert bytes.fromhex(text[11:-1].decode()) == frame.data
    assert bool(header >> 27 & 1) == frame.is_message
    message = read_message(frame)
    if message is not None:
        assert 0b1001 == header >> 24 & 0b1111
        assert header >> 12 & 0xFFF == message.mti
        assert frame.data.endswith(message.data)


def split(pieces: list[bytes]) -> list[bytes]:
    """Return the texts that come out of a stream that is read in these pieces."""
    lines = frame_lines()
    return [text for piece in pieces for line in lines.feed(piece) for text in texts(line)]


STREAM = (
    b"\r\n:X195B4123N0102030405060708;\n:X195B4:X107002A5N;rubbish:X19970123N;;\n"
    + b"x" * 500
    + b";:X19490123N;"
)


def test_reads_may_be_split_at_every_byte() -> None:
    """Wherever a read ends, the same frames come out, and what is broken takes none of its neighbours with it."""
    for place in range(len(STREAM)):
        assert split([STREAM]) == split([STREAM[:place], STREAM[place:]]), place
    assert split([STREAM]) == split([STREAM[i : i + 1] for i in range(len(STREAM))])


def test_what_is_broken_comes_out_beside_what_is_whole() -> None:
    """Each broken text can be refused by itself, and one without an end takes no memory."""
    *first, long, last = split([STREAM])
    assert [
        b":X195B4123N0102030405060708;",
        b":X195B4",
        b":X107002A5N;",
        b"rubbish",
        b":X19970123N;",
    ] == first
    assert b":X19490123N;" == last
    assert len(long) <= 66


@given(st.lists(frames, max_size=8), st.lists(st.integers(0, 250), max_size=8))
def test_joined_frames_come_out_one_by_one(sent: list[Frame], cuts: list[int]) -> None:
    """However many frames a read brings, and wherever the reads are cut, each comes out once and in order."""
    stream = b"".join(frame.text() for frame in sent)
    places = sorted({0, *(min(place, len(stream)) for place in cuts), len(stream)})
    pieces = [stream[a:b] for a, b in pairwise(places)]
    assert sent == [read_frame(text) for text in split(pieces)]
