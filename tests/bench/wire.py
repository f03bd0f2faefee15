"""A client that costs little: a blocking socket and MQTT 3.1.1 packets made by hand, quality of service 0 only."""

from __future__ import annotations

import socket
import time

CONNECT, CONNACK, PUBLISH, SUBSCRIBE, SUBACK = 0x10, 0x20, 0x30, 0x82, 0x90


def packet(kind: int, body: bytes) -> bytes:
    """Return a packet; section 2.2.3 says how its length is written."""
    left, length = len(body), bytearray()
    while True:
        left, digit = left >> 7, left & 0x7F
        length.append(digit | 0x80 if left else digit)
        if not left:
            return bytes((kind,)) + bytes(length) + body


def words(text: str) -> bytes:
    """Return a string with its length before it."""
    data = text.encode()
    return len(data).to_bytes(2, "big") + data


def publication(topic: str, payload: bytes) -> bytes:
    """Return the packet that publishes something."""
    return packet(PUBLISH, words(topic) + payload)


class Wire:
    """One connection to the broker.

    Args:
        port: of the broker on 127.0.0.1.
        name: client identifier.
        patience: seconds that one step may take.
    """

    def __init__(self, port: int, name: str, patience: float = 5) -> None:
        self._socket = socket.create_connection(("127.0.0.1", port), timeout=patience)
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._come = bytearray()
        self.send(packet(CONNECT, words("MQTT") + b"\x04\x02\x00\x00" + words(name)))  # clean, no keep-alive
        self._expect(CONNACK)

    def wait(self, patience: float) -> None:
        """Give each step so many seconds from now on."""
        self._socket.settimeout(patience)

    def send(self, data: bytes) -> None:
        """Send a packet."""
        self._socket.sendall(data)

    def subscribe(self, topic_filter: str) -> None:
        """Subscribe, and wait until the broker has taken note; what comes before that is passed over."""
        self.send(packet(SUBSCRIBE, b"\x00\x01" + words(topic_filter) + b"\x00"))
        self._expect(SUBACK)

    def receive(self) -> tuple[int, bytes, bytes]:
        """Wait for a publication; return when it had come, its topic and its payload."""
        while True:
            kind, body, at = self._next()
            if kind & 0xF0 == PUBLISH:
                end = 2 + int.from_bytes(body[:2], "big")
                return at, body[2:end], body[end:]

    def close(self) -> None:
        """Close it."""
        self._socket.close()

    def _expect(self, kind: int) -> None:
        while self._next()[0] != kind:
            pass

    def _next(self) -> tuple[int, bytes, int]:
        at = time.perf_counter_ns()
        while (found := self._cut_off()) is None:
            data = self._socket.recv(65536)
            at = time.perf_counter_ns()
            if not data:
                raise ConnectionError("the broker closed the connection")
            self._come += data
        return *found, at

    def _cut_off(self) -> tuple[int, bytes] | None:
        length = shift = 0
        for place in range(1, len(self._come)):
            digit = self._come[place]
            length |= (digit & 0x7F) << shift
            shift += 7
            if digit < 0x80:
                end = place + 1 + length
                if len(self._come) < end:
                    return None
                found = self._come[0], bytes(self._come[place + 1 : end])
                del self._come[:end]
                return found
        return None
