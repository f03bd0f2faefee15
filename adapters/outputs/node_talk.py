"""What nodes say, and on which topics. Pure: bytes to values and back, for the bridge and for pretend nodes.

    lamproom/frame/<node>/<chain>   to the node: one frame, see `frame.py`
    lamproom/shown/<node>/<chain>   from the node: the newest frame it shows, as `<term> <sequence>` in decimal
    lamproom/node/<node>            from the node, retained, when it connects and as its last will: a JSON object,
                                    {"state": "here", "term": 513, "board": "e66118604b2c3a21"} or {"state": "gone"}

A node announces itself each time it connects and not on a timer: an announcement means that what was on its
way to the node is lost, and brings a whole frame at once. Keys that are not known here are a node's own.
"""

from __future__ import annotations

import json
import re
from typing import Final, Literal, NamedTuple

from adapters.cut import cut
from adapters.outputs.frame import SEQUENCES, TERMS
from bridge.errors import DecodeError

SHOWN_FILTER: Final = "lamproom/shown/+/+"
NODE_FILTER: Final = "lamproom/node/+"

LONGEST_ANNOUNCEMENT: Final = 4096
LONGEST_BOARD: Final = 64

_SHOWN: Final = re.compile(rb"\s{0,4}([0-9]{1,10}) ([0-9]{1,10})\s{0,4}")
_SHOWN_EXPECTED: Final = "`<term> <sequence>` in decimal, such as `513 17`"
_NODE_EXPECTED: Final = '{"state": "here", "term": <number>} or {"state": "gone"}'


def frame_topic(node: str, chain: str) -> str:
    """Return the topic that the frames of a chain go out on."""
    return f"lamproom/frame/{node}/{chain}"


def shown_topic(node: str, chain: str) -> str:
    """Return the topic that a node acknowledges the frames of a chain on."""
    return f"lamproom/shown/{node}/{chain}"


def node_topic(node: str) -> str:
    """Return the topic that a node announces itself on."""
    return f"lamproom/node/{node}"


class Shown(NamedTuple):
    """An acknowledgement: the newest frame that a node shows on a chain."""

    term: int
    sequence: int


class Announcement(NamedTuple):
    """What a node says of itself.

    Attributes:
        state: whether it is there.
        term: the highest term that it has obeyed, where it said so.
        board: what the board on which it runs has to itself, such as the number of its chip, where it said so.
    """

    state: Literal["here", "gone"]
    term: int | None = None
    board: str | None = None


def write_shown(shown: Shown) -> bytes:
    """Return the payload of an acknowledgement."""
    return b"%d %d" % shown


def read_shown(payload: bytes) -> Shown:
    """Return the acknowledgement that a payload holds; white space around it is passed over.

    Raises:
        DecodeError: it holds none.
    """
    found = _SHOWN.fullmatch(payload)
    if found is None:
        raise DecodeError("this is no acknowledgement", received=cut(payload), expected=_SHOWN_EXPECTED)
    shown = Shown(int(found[1]), int(found[2]))
    if shown.term not in TERMS or shown.sequence not in SEQUENCES:
        raise DecodeError(
            "term and sequence have 32 bits each", received=cut(payload), expected=_SHOWN_EXPECTED
        )
    return shown


def write_announcement(announcement: Announcement, **figures: int | str) -> bytes:
    """Return the payload of an announcement, with figures of the node's own after what is known here."""
    known = {key: value for key, value in announcement._asdict().items() if value is not None}
    return json.dumps({**known, **figures}).encode()


def read_announcement(payload: bytes) -> Announcement:
    """Return the announcement that a payload holds.

    Raises:
        DecodeError: it holds none.
    """
    try:
        return _read_announcement(payload)
    except DecodeError as error:
        raise DecodeError(str(error), received=cut(payload), expected=_NODE_EXPECTED) from None


def _read_announcement(payload: bytes) -> Announcement:
    if not payload:
        # What a broker passes on when somebody deletes the kept announcement.
        raise DecodeError("the announcement is empty, which says nothing of the node")
    if len(payload) > LONGEST_ANNOUNCEMENT:
        raise DecodeError(f"the announcement is longer than {LONGEST_ANNOUNCEMENT} bytes")
    try:
        values = json.loads(payload.decode("utf-8"))
    except (ValueError, RecursionError):
        raise DecodeError("the announcement is not JSON") from None
    if not isinstance(values, dict) or values.get("state") not in ("here", "gone"):
        raise DecodeError('the announcement does not say `"state"`: `"here"` or `"gone"`')
    term = values.get("term")
    if term is not None and not (type(term) is int and term in TERMS):
        raise DecodeError('the announcement\'s `"term"` is not a whole number of 32 bits')
    board = values.get("board")
    if board is not None and not (
        isinstance(board, str) and 0 < len(board) <= LONGEST_BOARD and board.isprintable()
    ):
        raise DecodeError(
            f'the announcement\'s `"board"` is not a text of 1 to {LONGEST_BOARD} characters that can be printed'
        )
    return Announcement(values["state"], term, board)
