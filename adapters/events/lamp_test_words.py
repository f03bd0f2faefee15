"""Lamp tests in plain text: what is wanted stands in the topic, below `lamp-test`, and how in the payload. Pure.

    chips/<area>, channels/<area>, together/<area>, blink/<area>    `start` or seconds, perhaps a mark
    picture/<node>/<chain>       the bytes of the whole chain in hexadecimal, perhaps seconds, perhaps a mark
    confirm/<node>/<chain>       the mark of the test
    next/<node>/<chain>          the mark: this chain has been seen
    end                          the mark, or `any`

An area is `all`, a node, a chain (`<node>/<chain>`), a fixture or a device. A mark is a word by which whoever asks
knows his test again; without one the bridge gives it a number.
"""

from __future__ import annotations

import re
from typing import Final, NamedTuple

from adapters.cut import cut
from bridge.errors import DecodeError
from bridge.events import (
    Authority,
    Event,
    Instant,
    LampTestAsked,
    LampTestConfirmed,
    LampTestEnded,
    LampTestWay,
)

LONGEST: Final = 2 * 65_000 + 64
"""Bytes of a payload: a picture of the longest frame, and a few words."""

EXPECTED: Final = (
    "`start` or a number of seconds, for a picture its bytes in hexadecimal before it; to confirm, or to go on to the "
    "next chain, the mark of the test; to end it, its mark or `any`"
)

_TOPICS: Final = (
    "lamp-test/chips/<area>, channels/<area>, together/<area> or blink/<area>, where an area is all, a node, "
    "<node>/<chain>, a fixture or a device; picture/<node>/<chain>, confirm/<node>/<chain>, next/<node>/<chain>, end"
)

_CONFIRM: Final = "confirm"
_NEXT: Final = "next"
_END: Final = "end"
_ANY: Final = "any"
_START: Final = "start"
_MARK: Final = re.compile(r"[A-Za-z0-9-]{1,32}", re.ASCII)
_SECONDS: Final = re.compile(r"[1-9][0-9]{0,3}", re.ASCII)
_LONGEST_AREA: Final = 130


class Wish(NamedTuple):
    """What a topic wants, and of which area or chain."""

    what: str
    where: str


def read_lamp_test_topic(levels: list[str]) -> Wish:
    """Return what a topic wants: `levels` are those below `lamp-test`.

    Raises:
        DecodeError: it wants nothing that is understood.
    """
    what, *names = levels or [""]
    where = "/".join(names)
    known = what in (*LampTestWay, _CONFIRM, _NEXT) and len(names) in (1, 2) and all(names)
    if not (known or levels == [_END]) or len(where) > _LONGEST_AREA or not where.isprintable():
        raise DecodeError("no lamp test has such a topic", expected=_TOPICS)
    return Wish(what, where)


def lamp_test_event(wish: Wish, text: str, at: Instant, source: str, authority: Authority) -> Event:
    """Return the event that a payload means under a topic.

    Raises:
        DecodeError: it means nothing here, or it is a kept copy: nobody stands before the layout for that.
    """
    if authority is Authority.STATE:
        raise DecodeError(
            "a retained copy neither starts nor confirms nor ends a lamp test: publish it without the retain flag",
            expected=EXPECTED,
        )
    words = text.split()
    if wish.what == _END:
        mark = _only_mark(words)
        return LampTestEnded(at=at, source=source, mark="" if mark == _ANY else mark)
    if wish.what == _CONFIRM:
        return LampTestConfirmed(at=at, source=source, chain=wish.where, mark=_only_mark(words))
    if wish.what == _NEXT:
        return LampTestEnded(at=at, source=source, chain=wish.where, mark=_only_mark(words))
    picture = words.pop(0) if wish.what == LampTestWay.PICTURE else ""
    if not picture and not words:
        raise DecodeError("the payload does not say for how long", expected=EXPECTED)
    seconds = _read_seconds(words.pop(0)) if words else 0
    if words and words[0] in ("s", "seconds"):
        words.pop(0)
    return LampTestAsked(
        at=at,
        source=source,
        way=LampTestWay(wish.what),
        area=wish.where,
        seconds=seconds,
        picture=picture.lower(),
        mark=_only_mark(words) if words else "",
    )


def _read_seconds(word: str) -> int:
    if word == _START:
        return 0
    if not _SECONDS.fullmatch(word):
        raise DecodeError(f"`{cut(word, 20)}` is no whole number of seconds", expected=EXPECTED)
    return int(word)


def _only_mark(words: list[str]) -> str:
    if len(words) != 1 or not _MARK.fullmatch(words[0]):
        raise DecodeError(
            f"`{cut(' '.join(words), 30)}` is no mark of a lamp test: it is one word of letters, digits and hyphens",
            expected=EXPECTED,
        )
    return words[0]
