"""An MQTT 3.1.1 client on a bare socket, which reads when the test says so and never before.

A library reads ahead into buffers of its own. A slow node does not: what it has not read waits in the kernel and
then in the broker, and only a client that leaves it there shows whether anything piles up.
"""

from __future__ import annotations

import contextlib
import json
import socket
import time
from types import TracebackType
from typing import Any, Final, NamedTuple, Self

from tests.support.waiting import PATIENCE

CONNECT: Final = 0x10
CONNACK: Final = 0x20
PUBLISH: Final = 0x30
SUBSCRIBE: Final = 0x82
SUBACK: Final = 0x90
DISCONNECT: Final = 0xE0


LIFE: Final = 90.0
"""Seconds that a client may be used. A test that waits among keep-alives for what never comes ends here."""


class Message(NamedTuple):
    """A message that was read."""

    topic: str
    payload: bytes
    retained: bool


class RawClient:
    """One connection without keep-alive. Packets by MQTT 3.1.1, chapter 3; QoS 0 alone.

    Args:
        port: of the broker on 127.0.0.1.
        name: client identifier.
        will: topic and payload that the broker publishes, retained, if the connection ends without a goodbye.
        buffer: bytes that the kernel may take ahead of us, or None for its own choice.
        life: seconds that it may be used.
    """

    def __init__(
        self,
        port: int,
        name: str,
        *,
        will: tuple[str, bytes] | None = None,
        buffer: int | None = None,
        life: float = LIFE,
    ) -> None:
        self.socket = socket.socket()
        if buffer is not None:
            self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, buffer)
        self.socket.settimeout(PATIENCE)
        self.socket.connect(("127.0.0.1", port))
        self.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        flags, rest = 0x02, _text(name.encode())  # a clean session
        if will is not None:
            flags |= 0x24  # a will, retained
            rest += _text(will[0].encode()) + _text(will[1])
        self._ends = time.monotonic() + life
        self._early: list[Message] = []
        self._send(CONNECT, b"\x00\x04MQTT\x04" + bytes((flags, 0, 0)) + rest)
        assert (CONNACK, b"\x00\x00") == self._packet()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, where: TracebackType | None
    ) -> None:
        with contextlib.suppress(OSError):
            self._send(DISCONNECT, b"")
        self.socket.close()

    def subscribe(self, *filters: str) -> None:
        """Subscribe and wait until the broker has agreed; what it sends before that is kept."""
        wanted = b"".join(_text(name.encode()) + b"\x00" for name in filters)
        self._send(SUBSCRIBE, b"\x00\x01" + wanted)
        while (packet := self._packet())[0] != SUBACK:
            self._early.append(_message(*packet))
        assert b"\x00\x01" + bytes(len(filters)) == packet[1]

    def publish(self, topic: str, payload: bytes | str, *, retain: bool = False) -> None:
        """Publish."""
        data = payload.encode() if isinstance(payload, str) else payload
        self._send(PUBLISH | retain, _text(topic.encode()) + data)

    def publish_and_go(self, topic: str, payload: bytes | str) -> None:
        """Publish and say goodbye in one piece of data, and end."""
        data = payload.encode() if isinstance(payload, str) else payload
        packets = _packed(PUBLISH, _text(topic.encode()) + data) + _packed(DISCONNECT, b"")
        self.socket.sendall(packets)
        self.socket.close()

    def read(self, within: float = PATIENCE) -> Message:
        """Read exactly one message.

        Raises:
            TimeoutError: none came in time.
        """
        assert time.monotonic() < self._ends, "what was waited for never came"
        if self._early:
            return self._early.pop(0)
        return _message(*self._packet(within))

    def read_for(self, seconds: float) -> list[Message]:
        """Read whatever comes within a time."""
        found: list[Message] = []
        end = time.monotonic() + seconds
        with contextlib.suppress(TimeoutError):
            while (left := end - time.monotonic()) > 0:
                found.append(self.read(left))
        return found

    def vanish(self) -> None:
        """End without a goodbye, as a node does whose power fails."""
        self.socket.close()

    def _send(self, kind: int, body: bytes) -> None:
        self.socket.sendall(_packed(kind, body))

    def _packet(self, within: float = PATIENCE) -> tuple[int, bytes]:
        self.socket.settimeout(within)  # for the first byte: a packet that has begun is read whole
        try:
            kind = self._exactly(1)[0]
        finally:
            self.socket.settimeout(PATIENCE)
        size = shift = 0
        while True:
            digit = self._exactly(1)[0]
            size |= (digit & 0x7F) << shift
            shift += 7
            if digit < 0x80:
                return kind, self._exactly(size)

    def _exactly(self, size: int) -> bytes:
        data = b""
        while len(data) < size:
            more = self.socket.recv(size - len(data))
            if not more:
                raise ConnectionError("the broker closed the connection")
            data += more
        return data


def kept(port: int, topic: str, within: float = PATIENCE) -> Any:
    """Return what the broker keeps under a topic, read as JSON.

    Raises:
        TimeoutError: nothing came in time.
    """
    with RawClient(port, "reader") as reader:
        reader.subscribe(topic)
        return json.loads(reader.read(within).payload)


def _packed(kind: int, body: bytes) -> bytes:
    length, size = b"", len(body)
    while True:  # the remaining length: seven bits a byte, the lowest first
        size, digit = size >> 7, size & 0x7F
        length += bytes((digit | (0x80 if size else 0),))
        if not size:
            return bytes((kind,)) + length + body


def _message(kind: int, body: bytes) -> Message:
    assert PUBLISH == kind & 0xF6, f"a packet {kind:#x} came in place of a message of QoS 0"
    length = int.from_bytes(body[:2], "big")
    return Message(body[2 : 2 + length].decode(), body[2 + length :], bool(kind & 1))


def _text(data: bytes) -> bytes:
    return len(data).to_bytes(2, "big") + data
