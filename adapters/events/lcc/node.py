"""What a node of LCC owes the others: an alias, its number, and which events it listens to and sends. Pure.

Frames in, frames out; nothing here waits. Whoever drives it sends what it returns, in order, and calls `waited`
when 0.2 s have passed since the last attempt at an alias.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

from adapters.events.lcc.alias import (
    ALIAS_TABLE,
    AMD,
    AME,
    AMR,
    RID,
    Act,
    Heard,
    Standing,
    aliases,
    checks,
    is_check,
)
from adapters.events.lcc.frames import Frame
from adapters.events.lcc.messages import (
    NAMES_ITSELF,
    Message,
    Mti,
    datagram_ends,
    read_message,
    to_all,
    to_one,
)
from adapters.events.lcc.numbers import DUPLICATE_NODE, dotted, in_range

EVENT_EXCHANGE: Final = bytes.fromhex("040000000000")
"""The set of protocols that we speak: events, and nothing else."""

_UNKNOWN_TYPE: Final = 0x1043
_NOT_IMPLEMENTED: Final = 0x1040
_UNANSWERED: Final = frozenset({Mti.REJECTED, Mti.TERMINATED, Mti.PROTOCOLS, Mti.DATAGRAM_REFUSED})
"""Answers are not answered, or two nodes would never end."""


class Node:
    """One node, from its first frame on a new connection.

    Attributes:
        alias: the one that we have or ask for; 0 before the first.
        standing: whether we hold it.
        attempt: grows with each alias that we ask for.
        conflicts: aliases that somebody else had or took since we held one for 0.2 s.
        names: the number of the node behind each alias, as far as it was told.
    """

    def __init__(
        self,
        node_id: int,
        consumed: Iterable[int],
        ranges: Iterable[int],
        produced: Mapping[int, Mti],
        ask: Iterable[int] = (),
    ) -> None:
        """Make a node that has said nothing yet.

        Args:
            node_id: its number, 48 bits.
            consumed: the events that it listens to, one by one.
            ranges: the ranges of events that it listens to, each as the event that stands for it.
            produced: the events that it sends, and how each stands; whoever drives the node keeps this up to date.
            ask: those of them that it sends when it has joined, to learn how others stand.
        """
        self.node_id = node_id
        self.alias = 0
        self.standing = Standing.ASKING
        self.attempt = 0
        self.conflicts = 0
        self.names: dict[int, int] = {}
        self._produced = produced
        self._ask = tuple(ask)
        self._consumed = tuple(dict.fromkeys(consumed))
        self._ranges = tuple(ranges)
        self._tries = aliases(node_id)
        self._joined = False
        self._twin_told = False

    def begin(self) -> list[Frame]:
        """Ask for the first alias."""
        return self._another()

    def waited(self) -> list[Frame]:
        """Take the alias to which nobody objected; the first one means that we have joined."""
        if ALIAS_TABLE[self.standing, Heard.WAITED] is not Act.TAKE:
            return []
        self.conflicts = 0
        self.standing = Standing.HOLDING
        frames = [Frame(RID, self.alias), self._amd()]
        if not self._joined:
            self._joined = True
            frames += [
                to_all(Mti.INITIALIZED, self.alias, self.node_id, 6),
                *self._identify(),
                Frame(AME, self.alias),
                Frame(0x9000 | Mti.IDENTIFY_GLOBAL, self.alias),
                *(to_all(Mti.EVENT, self.alias, event) for event in self._ask),
            ]
        return frames

    def hear(self, frame: Frame) -> list[Frame]:
        """Take a frame of another node; return what it obliges us to send."""
        self._learn(frame)
        frames = self._alias_heard(frame)
        if self.standing is Standing.HOLDING:
            frames += self._twin(frame)
            message = read_message(frame)
            if message is not None:
                frames += self._answer(message, frame.alias)
            elif datagram_ends(frame) == self.alias:
                code = _NOT_IMPLEMENTED.to_bytes(2, "big")
                frames.append(to_one(Mti.DATAGRAM_REFUSED, self.alias, frame.alias, code))
        return frames

    def report(self, event: int) -> list[Frame]:
        """Return the frame that sends an event; none while we have no alias."""
        return [to_all(Mti.EVENT, self.alias, event)] if self.standing is Standing.HOLDING else []

    def who(self, alias: int) -> str:
        """Return the number of the node behind an alias, or the alias in words while that was not told."""
        number = self.names.get(alias)
        return f"alias {alias:03X}" if number is None else dotted(number, 6)

    def _amd(self) -> Frame:
        return Frame(AMD, self.alias, self.node_id.to_bytes(6, "big"))

    def _another(self) -> list[Frame]:
        self.standing = Standing.ASKING
        self.attempt += 1
        self.alias = next(self._tries)
        return checks(self.node_id, self.alias)

    def _alias_heard(self, frame: Frame) -> list[Frame]:
        heard = self._concerns(frame)
        act = Act.NOTHING if heard is None else ALIAS_TABLE[self.standing, heard]
        if act is Act.ANSWER:
            return [self._amd()]
        if act is Act.DEFEND:
            return [Frame(RID, self.alias)]
        if act in (Act.ANOTHER, Act.YIELD):
            self.conflicts += 1
            gone = [Frame(AMR, self.alias, self.node_id.to_bytes(6, "big"))] if act is Act.YIELD else []
            return gone + self._another()
        return []

    def _concerns(self, frame: Frame) -> Heard | None:
        if frame.alias == self.alias:
            return Heard.CHECKED if is_check(frame) else Heard.USED
        if frame.content == AME and frame.data in (b"", self.node_id.to_bytes(6, "big")):
            return Heard.ENQUIRED
        return None

    def _learn(self, frame: Frame) -> None:
        """Take note of the number of the node behind an alias."""
        if frame.content == AMR:
            self.names.pop(frame.alias, None)
            return
        number = named_by(frame)
        if number is not None:
            self.names[frame.alias] = number

    def _twin(self, frame: Frame) -> list[Frame]:
        """Tell once that another node has our number: there is an event for that."""
        if self._twin_told or frame.alias == self.alias or named_by(frame) != self.node_id:
            return []
        self._twin_told = True
        return self.report(DUPLICATE_NODE)

    def _identify(self) -> list[Frame]:
        """Return frames that say which events we listen to and send."""
        return [
            *(to_all(Mti.CONSUMER_RANGE, self.alias, each) for each in self._ranges),
            *(to_all(Mti.CONSUMER_UNKNOWN, self.alias, each) for each in self._consumed),
            *(to_all(mti, self.alias, each) for each, mti in self._produced.items()),
        ]

    def _answer(self, message: Message, asker: int) -> list[Frame]:
        if message.to is not None and (message.to != self.alias or not message.last):
            return []
        number = int.from_bytes(message.data, "big")
        match message.mti:
            case Mti.VERIFY_GLOBAL if not message.data or number == self.node_id:
                return [to_all(Mti.VERIFIED, self.alias, self.node_id, 6)]
            case Mti.VERIFY:
                return [to_all(Mti.VERIFIED, self.alias, self.node_id, 6)]
            case Mti.IDENTIFY_GLOBAL | Mti.IDENTIFY:
                return self._identify()
            case Mti.IDENTIFY_CONSUMER if len(message.data) == 8 and self._listens_to(number):
                return [to_all(Mti.CONSUMER_UNKNOWN, self.alias, number)]
            case Mti.IDENTIFY_PRODUCER if len(message.data) == 8 and number in self._produced:
                return [to_all(self._produced[number], self.alias, number)]
            case Mti.ASK_PROTOCOLS:
                return [to_one(Mti.PROTOCOLS, self.alias, asker, EVENT_EXCHANGE)]
            case _ if message.to is None or message.mti in _UNANSWERED:
                return []
        why = _UNKNOWN_TYPE.to_bytes(2, "big") + message.mti.to_bytes(2, "big")
        return [to_one(Mti.REJECTED, self.alias, asker, why)]

    def _listens_to(self, event: int) -> bool:
        return event in self._consumed or any(in_range(event, each) for each in self._ranges)


def named_by(frame: Frame) -> int | None:
    """Return the number of its node that a frame tells, or None."""
    if len(frame.data) != 6:
        return None
    message = read_message(frame)
    if frame.content == AMD or (message is not None and message.mti in NAMES_ITSELF):
        return int.from_bytes(frame.data, "big")
    return None
