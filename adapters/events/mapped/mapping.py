"""All entries of a source together: from a channel and a payload to facts."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from typing import Final, Literal

from adapters.contract import Fault, Mention
from adapters.cut import cut
from adapters.events.mapped.keys import MessageOptions, Tells
from adapters.events.mapped.message import Message
from adapters.events.mapped.patterns import covers, overlap
from adapters.events.mapped.reading import look_at
from bridge.errors import DecodeError
from bridge.events import Event, Instant

KNOWN_CHANNELS: Final = 8192
"""Channels of which it is remembered who is about them. The least used goes first."""

LONGEST_CHANNEL: Final = 512

_MENTIONED: Final[dict[Tells, Literal["block", "district"]]] = {Tells.BLOCK: "block", Tells.POWER: "district"}
"""What has to be in the layout where it is named. A button is there as soon as something goes by it."""


class Mapping:
    """What the messages of one source mean.

    Every entry whose topic fits is asked, in the order of the file, and all of them have a say in one message. It
    counts as a whole or not at all: what one of them refuses, none of them tells.

    Attributes:
        messages: the entries, made ready.
        longest: bytes of a payload; each of them refuses a longer one, where the payload counts at all.
    """

    def __init__(self, entries: Iterable[MessageOptions]) -> None:
        """Make one of entries without faults."""
        self.messages = tuple(Message(entry) for entry in entries)
        self.longest = max(message.longest for message in self.messages)
        self._about = lru_cache(maxsize=KNOWN_CHANNELS)(self._find)

    def hears(self, channel: str) -> bool:
        """Return whether an entry is about this channel."""
        return len(channel) <= LONGEST_CHANNEL and bool(self._about(channel))

    def decode(
        self, channel: str, payload: bytes, at: Instant, source: str, *, retained: bool
    ) -> tuple[Event, ...]:
        """Return the facts of a message, in order; none where it says that there is nothing to tell.

        Raises:
            DecodeError: it means nothing here; with topic and payload, cut, and what was expected.
        """
        try:
            return self._decode(channel, payload, at, source, retained=retained)
        except DecodeError as error:
            received = f"{cut(channel, 120)} {cut(payload)}".rstrip()
            raise DecodeError(str(error), received=received, expected=error.expected) from None

    def _decode(
        self, channel: str, payload: bytes, at: Instant, source: str, *, retained: bool
    ) -> tuple[Event, ...]:
        if len(channel) > LONGEST_CHANNEL:
            raise DecodeError(f"the topic is longer than {LONGEST_CHANNEL} characters")
        about = self._about(channel)
        if not about:
            raise DecodeError("no entry of `messages` has such a topic")
        events: list[Event] = []
        told = False
        for message, parts in about:
            found = message.events(parts, payload, at, source, retained=retained)
            if found is not None:
                told = True
                events += found
        if not told:
            raise DecodeError(
                "the payload has none of the members that are looked for",
                expected=", ".join(dict.fromkeys(message.looked_for for message, _parts in about)),
            )
        return tuple(events)

    def _find(self, channel: str) -> tuple[tuple[Message, dict[str, str]], ...]:
        found = ((message, message.topic.find(channel)) for message in self.messages)
        return tuple((message, parts) for message, parts in found if parts is not None)


def filters(messages: Iterable[tuple[str, int]]) -> dict[str, int]:
    """Return the topic filters to ask for, with their quality of service: none that another one covers.

    A broker may send a message once for each filter that it matches (MQTT 3.1.1, section 3.3.5).
    """
    asked: dict[str, int] = {}
    for name, qos in messages:
        asked[name] = max(qos, asked.get(name, 0))
    return {
        name: max(qos for inner, qos in asked.items() if covers(name, inner))
        for name in asked
        if not any(other != name and covers(other, name) for other in asked)
    }


def mentions_of(entries: Iterable[MessageOptions]) -> tuple[Mention, ...]:
    """Return the blocks and districts that entries without faults name, each with the way to it from `messages`."""
    found: list[Mention] = []
    for number, entry in enumerate(entries):
        what = _MENTIONED.get(entry.tells)
        if what is None:
            continue
        for key, named in (("bits", entry.bits), ("members", entry.members), ("called", entry.called)):
            found += [
                Mention(what, str(ours), ("messages", number, key, told))
                for told, ours in (named or {}).items()
            ]
        if entry.name is not None and not entry.name.parts:
            found.append(Mention(what, entry.name.letters[0], ("messages", number, "name")))
    return tuple(found)


def look_at_all(entries: tuple[MessageOptions, ...]) -> tuple[Fault, ...]:
    """Return what is wrong with entries, each with the way to it from `messages`."""
    faults = [
        Fault(("messages", number, *fault.keys), fault.message, fault.warning)
        for number, entry in enumerate(entries)
        for fault in look_at(entry)
    ]
    wide = list(filters((entry.topic.filter, entry.qos) for entry in entries))
    for number, entry in enumerate(entries):
        own = entry.topic.filter
        others = wide[: wide.index(own)] if own in wide else []
        other = next((each for each in others if overlap(each, own)), None)
        if other is not None:
            text = (
                f"some topics match both {own!r} and {other!r}: a broker may then send a message twice."
                " Where it is an order or a button, write the topics so that they do not meet"
            )
            faults.append(Fault(("messages", number, "topic"), text, warning=True))
    return tuple(faults)
