"""Which receivers a message is for."""

from __future__ import annotations

from typing import Final

from paho.mqtt.client import topic_matches_sub

from adapters.contract import Receiver

REMEMBERED_TOPICS: Final = 4096
"""Topics whose receivers are remembered: more than a large layout has, and no stranger can fill memory."""

LONGEST_REMEMBERED: Final = 512
"""Characters of a topic that is remembered; one may have 65,535 bytes, and a stranger may send a new one each time."""

LONGEST_FILTER: Final = 65535
"""Bytes of UTF-8 (MQTT 3.1.1, section 1.5.3)."""


class Dispatch:
    """The topic filters that were asked for, and their receivers in the order in which they asked.

    A filter stands once, however many receivers share it. A receiver is called once for a message, also when
    several of its filters match. A broker that sends one copy for each of two overlapping filters makes that
    two messages; MQTT 3.1.1 allows it (section 3.3.5) and gives no means to tell.
    """

    def __init__(self) -> None:
        self.subscriptions: dict[str, int] = {}  # filter -> highest quality of service asked for
        self._entries: list[tuple[str, Receiver]] = []
        self._remembered: dict[str, tuple[Receiver, ...]] = {}

    def add(self, topic_filter: str, receive: Receiver, qos: int) -> None:
        """Add a receiver; one that has asked for the same filter before stays as it is.

        Raises:
            ValueError: the filter is not one, or the quality of service is not 0, 1 or 2.
        """
        check_filter(topic_filter)
        if qos not in (0, 1, 2):
            raise ValueError(f"quality of service {qos!r} for {topic_filter!r}: it must be 0, 1 or 2")
        self.subscriptions[topic_filter] = max(qos, self.subscriptions.get(topic_filter, 0))
        if (topic_filter, receive) not in self._entries:
            self._entries.append((topic_filter, receive))
        self._remembered.clear()

    def receivers(self, topic: str) -> tuple[Receiver, ...]:
        """Return the receivers of a topic; empty when nobody asked for it."""
        found = self._remembered.get(topic)
        if found is None:
            found = self._find(topic)
            if len(topic) > LONGEST_REMEMBERED:
                return found
            if len(self._remembered) >= REMEMBERED_TOPICS:
                self._remembered.clear()
            self._remembered[topic] = found
        return found

    def _find(self, topic: str) -> tuple[Receiver, ...]:
        matching = {name for name in self.subscriptions if topic_matches_sub(name, topic)}
        found: list[Receiver] = []
        for name, receive in self._entries:
            if name in matching and receive not in found:
                found.append(receive)
        return tuple(found)


def check_filter(topic_filter: str) -> None:
    """Check a topic filter by MQTT 3.1.1, section 4.7.

    Raises:
        ValueError: it is empty, too long or not UTF-8, or a wildcard does not fill its level or stands wrong.
    """
    if not topic_filter or "\0" in topic_filter:
        raise ValueError(f"topic filter {topic_filter!r}: it must not be empty or hold a NUL character")
    try:
        length = len(topic_filter.encode())
    except UnicodeEncodeError:
        raise ValueError(f"topic filter {topic_filter!r} cannot be written as UTF-8") from None
    if length > LONGEST_FILTER:
        raise ValueError(f"topic filter {topic_filter[:40]!r}...: longer than {LONGEST_FILTER} bytes")
    levels = topic_filter.split("/")
    for place, level in enumerate(levels, start=1):
        if level == "#" and place < len(levels):
            raise ValueError(f"topic filter {topic_filter!r}: # must be the last level")
        if len(level) > 1 and ("#" in level or "+" in level):
            raise ValueError(f"topic filter {topic_filter!r}: a wildcard must stand alone between slashes")
