"""What the engine wants done: the commands that it returns, for whoever drives it to carry out."""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple, TypeAlias

from bridge.events import Instant


class Cause(StrEnum):
    """Why a frame is published."""

    START = "start"
    EVENT = "event"
    TIMER = "timer"
    MOTION = "motion"
    LAST = "last"
    TEST = "test"  # a lamp test began, went on or ended


class PublishFrame(NamedTuple):
    """Send a whole frame.

    Attributes:
        at: when.
        chain: index of the chain.
        levels: the bytes in the order in which they leave on the data line.
        cause: why.
        test: it is a picture of a lamp test, which may also have another length than the chain.
    """

    at: Instant
    chain: int
    levels: bytes
    cause: Cause
    test: bool = False


class Decision(NamedTuple):
    """A device was given an aspect, or a new reason for the one it has.

    Attributes:
        at: when.
        device: its name.
        before: the aspect that it had.
        aspect: the one that it has now.
        reason: why, in a sentence.
        causes: numbers of the events in the session that it rests on, in order; none where it knows of none.
    """

    at: Instant
    device: str
    before: str
    aspect: str
    reason: str
    causes: tuple[int, ...]


class Report(NamedTuple):
    """Tell the world what a device shows and why; kept for those who come later."""

    at: Instant
    device: str
    aspect: str
    reason: str


class Told(NamedTuple):
    """Tell the world of something beside a device; kept for those who come later.

    Attributes:
        at: when.
        subject: what kind of thing: `lock` of a turnout, `gate` or `exit-gate` of a crossing, `arm` of a signal,
            `zone` of lights, `lamp-test`.
        name: which of them; empty where there is one of it for the whole bridge.
        state: what it is now, in one word.
        reason: why, in a sentence.
        causes: numbers of the events in the session that it rests on.
        more: what else a program wants to know of it, each with its name.
    """

    at: Instant
    subject: str
    name: str
    state: str
    reason: str
    causes: tuple[int, ...]
    more: tuple[tuple[str, str | int], ...] = ()


class Note(NamedTuple):
    """Something worth writing down that changes no light."""

    at: Instant
    text: str
    event: int


Command: TypeAlias = PublishFrame | Decision | Report | Told | Note
