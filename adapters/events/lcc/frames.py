"""CAN frames as text, as they go over TCP: `:X195B4123N0102030405060708;`.

The frames themselves are those of NMRA S-9.7.2.1 (CAN Frame Transfer). That they go over TCP as text, and by which
port, is in no adopted standard: it rests on a preliminary technical note on TCP transfer (30 April 2021).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from adapters.cut import cut
from adapters.events.lines import Lines
from bridge.errors import DecodeError

EXPECTED: Final = (
    "a frame such as `:X195B4123N0102030405060708;` (8 hex digits of header, 0 to 8 bytes of data in hex)"
)

LONGEST_KEPT: Final = 64
"""Bytes that are kept between two ends of frames; the longest frame has 28."""

_FRAME: Final = re.compile(rb":X([0-9A-Fa-f]{8})N((?:[0-9A-Fa-f]{2}){0,8});")
_PASSED_OVER: Final = re.compile(rb":(?:S[0-9A-Fa-f]{1,3}[NR]|X[0-9A-Fa-f]{1,8}R)[0-9A-Fa-f]{0,16};")
_TEXT: Final = re.compile(rb":[^:]*|[^:]+")

_SENT: Final = 1 << 28  # sent as 1 and ignored when received
_MESSAGE: Final = 1 << 27
_WIDTH: Final = (1 << 29) - 1


@dataclass(frozen=True, slots=True)
class Frame:
    """One extended data frame.

    Attributes:
        content: bits 27 to 12 of the header: 1 and 15 bits of a message, or 0 and 15 bits of a control frame.
        alias: the 12 bits that stand for the sender.
        data: 0 to 8 bytes.
    """

    content: int
    alias: int
    data: bytes = b""

    @property
    def is_message(self) -> bool:
        """Whether it belongs to a message; else it is one of those by which nodes agree on aliases."""
        return bool(self.content & (_MESSAGE >> 12))

    def text(self) -> bytes:
        """Return the frame as it is sent."""
        header = _SENT | self.content << 12 | self.alias
        return b":X%08XN%b;" % (header, self.data.hex().upper().encode())


def read_frame(text: bytes) -> Frame | None:
    """Return the frame that a text holds; None for a standard or a remote frame, which LCC has no use for.

    Raises:
        DecodeError: it is no frame.
    """
    found = _FRAME.fullmatch(text)
    if found is None:
        if _PASSED_OVER.fullmatch(text):
            return None
        raise DecodeError("this is no frame of LCC", received=cut(text), expected=EXPECTED)
    header = int(found[1], 16)
    if header > _WIDTH:
        raise DecodeError(
            "the header of this frame has more than 29 bits", received=cut(text), expected=EXPECTED
        )
    return Frame((header & ~_SENT) >> 12, header & 0xFFF, bytes.fromhex(found[2].decode()))


def frame_lines() -> Lines:
    """Return what cuts a stream at the end of each frame, however its reads were split or joined."""
    return Lines(ends=b";", longest=LONGEST_KEPT)


def texts(piece: bytes) -> list[bytes]:
    """Return the texts of a piece that ended with `;`: the last should be a frame, and those before it are broken off.

    A frame begins with `:`. Blanks and line ends between frames, which some send, are passed over.
    """
    found = [text for each in _TEXT.findall(piece) if (text := each.strip())]
    return [*found[:-1], found[-1] + b";"] if found else []
