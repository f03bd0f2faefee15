"""The alias of a node: 12 bits that stand for its 48-bit number in every frame, agreed upon among the nodes.

Source: NMRA S-9.7.2.1, CAN Frame Transfer, section 6. Four frames ask whether a number is free (CID), and after
0.2 s without an objection the alias is taken (RID) and told (AMD). The codes of AME and AMR, and the generator
of numbers to try, are from memory of the standard and its note.

What happens when a frame is heard depends on whether we are still asking:

    heard                            asking         holding
    CID with our alias               take another   defend it: RID
    any other frame with our alias   take another   yield: AMR, and take another
    AME for all, or for us           (nothing)      answer: AMD
    0.2 s have passed                take it        (nothing)
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from typing import Final

from adapters.events.lcc.frames import Frame

RID: Final = 0x0700
AMD: Final = 0x0701
AME: Final = 0x0702
AMR: Final = 0x0703

OBJECTIONS_WITHIN: Final = 0.2
"""Seconds for which others may object to an alias."""


class Standing(Enum):
    """How far we are with our alias."""

    ASKING = "asking"
    HOLDING = "holding"


class Heard(Enum):
    """What concerns our alias."""

    CHECKED = "checked"  # somebody asks whether it is free
    USED = "used"  # somebody sends under it
    ENQUIRED = "enquired"  # somebody wants to know whose it is
    WAITED = "waited"  # nobody objected in time


class Act(Enum):
    """What is done about it."""

    NOTHING = "nothing"
    ANOTHER = "another"
    TAKE = "take"
    DEFEND = "defend"
    YIELD = "yield"
    ANSWER = "answer"


ALIAS_TABLE: Final[dict[tuple[Standing, Heard], Act]] = {
    (Standing.ASKING, Heard.CHECKED): Act.ANOTHER,
    (Standing.ASKING, Heard.USED): Act.ANOTHER,
    (Standing.ASKING, Heard.ENQUIRED): Act.NOTHING,
    (Standing.ASKING, Heard.WAITED): Act.TAKE,
    (Standing.HOLDING, Heard.CHECKED): Act.DEFEND,
    (Standing.HOLDING, Heard.USED): Act.YIELD,
    (Standing.HOLDING, Heard.ENQUIRED): Act.ANSWER,
    (Standing.HOLDING, Heard.WAITED): Act.NOTHING,
}
"""The whole of it."""


def aliases(node_id: int) -> Iterator[int]:
    """Yield aliases to try, never 0; those of two nodes differ, so that two that collide do not do so again.

    A linear congruence of 48 bits, x' = (2^9 + 1) x + c, begun with the node's number and folded to 12 bits.
    """
    state = node_id
    while True:
        alias = (state ^ state >> 12 ^ state >> 24 ^ state >> 36) & 0xFFF
        if alias:
            yield alias
        state = (state * 0x201 + 0x1B0CA37A4BA9) & 0xFFFFFFFFFFFF


def is_check(frame: Frame) -> bool:
    """Return whether a frame asks whether an alias is free: the first three bits are 4 to 7."""
    return not frame.is_message and frame.content >= 0x4000


def checks(node_id: int, alias: int) -> list[Frame]:
    """Return the four frames that ask whether an alias is free; each has 12 bits of the node's number."""
    return [
        Frame(turn << 12 | node_id >> 12 * place & 0xFFF, alias)
        for place, turn in ((3, 7), (2, 6), (1, 5), (0, 4))
    ]
