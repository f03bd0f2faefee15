"""A connection to an MQTT broker: as much of MQTT 3.1.1 as a node needs, and nothing that makes objects for a message.

It is written out here, because the module that is often used for this is not part of MicroPython: it has to be
fetched for each board, makes an object for each topic and message, and blocks in the middle of a packet for ever.

Everything raises OSError once the connection is of no use any more. Numbers of packets are those of chapter 3 of
the standard.
"""

import select
import socket
import struct

CONNACK = 0x20
PUBLISH = 0x30
SUBACK = 0x90
PINGRESP = 0xD0

KEEP_ALIVE_S = 10
"""So long the broker waits, and half as long again, before it publishes our last will."""

_WITHIN_S = 2
"""A connection that takes longer, or stops for longer in the middle of a packet, is of no use to anyone."""

_REFUSED = {
    1: "it does not speak MQTT 3.1.1",
    2: "it does not like the name of this node",
    3: "it is not ready",
    4: "user or password are wrong: see `broker` in the settings",
    5: "this user may not connect: see `broker` in the settings, and the broker's own",
}


class Link:
    """One connection at a time.

    Attributes:
        left: bytes of the present packet that were not read yet.
        flags: the lower half of its first byte.

    Args:
        broker: its `host`, `port`, `user` and `password`.
        client: the name of this client. A newer connection under it ends an older one that the broker takes for alive.
        will: topic and payload that the broker publishes, retained, when the connection is lost.
    """

    def __init__(self, broker: dict, client: bytes, will: tuple) -> None:
        self.left = 0
        self.flags = 0
        self._broker = broker
        self._client = client
        self._will = will
        self._socket = None
        self._address = None
        self._readable = None
        self._writable = None
        self._one = bytearray(1)
        self._waste = bytearray(64)

    def open(self) -> None:
        """Connect, and return when the broker has agreed."""
        if self._address is None:
            self._address = socket.getaddrinfo(self._broker["host"], self._broker["port"])[0][-1]
        self._socket = link = socket.socket()
        link.settimeout(_WITHIN_S)
        try:
            link.connect(self._address)
        except OSError:
            self._address = None  # a name may stand for another address next time
            raise
        try:
            link.setsockopt(6, 1, 1)  # TCP_NODELAY: an acknowledgement does not wait for the one before
        except (OSError, ValueError, NotImplementedError):
            pass
        self._readable = select.poll()
        self._readable.register(link, select.POLLIN)
        self._writable = select.poll()
        self._writable.register(link, select.POLLOUT)
        self.left = 0
        self._greet()

    def close(self) -> None:
        """Let go of the connection, which may be lost already."""
        link, self._socket = self._socket, None
        if link is not None:
            link.close()

    def subscribe(self, topics: list) -> None:
        """Ask for the messages on these topics. The broker's answer comes among them."""
        self._packet(0x82, b"\x00\x01" + b"".join(_text(topic) + b"\x00" for topic in topics))

    def publish(self, topic: bytes, payload: bytes) -> None:
        """Publish a message that the broker keeps."""
        self._packet(PUBLISH | 1, _text(topic) + payload)

    def ping(self) -> None:
        """Ask the broker for a sign of life."""
        self._packet(0xC0, b"")

    def write(self, data: bytearray, begin: int, size: int) -> None:
        """Send bytes as they are."""
        if self._socket.write(data, begin, size) != size:
            raise OSError("the broker takes nothing")

    def room(self) -> bool:
        """Return whether something can be sent without waiting."""
        for _ in self._writable.ipoll(0):
            return True
        return False

    def wait(self, milliseconds: int) -> bool:
        """Wait until something can be read, and return whether it can."""
        for _ in self._readable.ipoll(milliseconds):
            return True
        return False

    def packet(self) -> int:
        """Begin to read a packet; return its kind. Its body is read by `take` and `skip`."""
        one = self._one
        self.left = 1
        self.take(one, 1)
        kind = one[0]
        size = shift = 0
        while True:
            self.left = 1
            self.take(one, 1)
            size |= (one[0] & 0x7F) << shift
            shift += 7
            if one[0] < 0x80:
                break
            if shift > 21:
                raise OSError("the broker sends what is not MQTT")
        self.left = size
        self.flags = kind & 0x0F
        return kind & 0xF0

    def take(self, target: bytearray, size: int) -> None:
        """Read so many bytes of the body."""
        if size > self.left:
            raise OSError("the broker sends what is not MQTT")
        if size and self._socket.readinto(target, size) != size:
            raise OSError("the connection is lost")
        self.left -= size

    def skip(self, size: int = -1) -> None:
        """Read so many bytes of the body, or all that are left, and forget them."""
        end = self.left - size if size >= 0 else 0
        while self.left > end:
            self.take(self._waste, min(self.left - end, len(self._waste)))

    def _greet(self) -> None:
        broker, (topic, payload) = self._broker, self._will
        flags = 0x26  # a clean session; a will, retained
        body = _text(self._client) + _text(topic) + _text(payload)
        if broker["user"]:
            flags |= 0x80
            body += _text(broker["user"].encode())
            if broker["password"]:
                flags |= 0x40
                body += _text(broker["password"].encode())
        self._packet(0x10, b"\x00\x04MQTT\x04" + bytes((flags, 0, KEEP_ALIVE_S)) + body)
        if self.packet() != CONNACK or self.left != 2:
            raise OSError("this is no MQTT broker")
        answer = bytearray(2)
        self.take(answer, 2)
        if answer[1]:
            raise OSError("the broker refuses: " + _REFUSED.get(answer[1], str(answer[1])))

    def _packet(self, kind: int, body: bytes) -> None:
        size = len(body)
        head = bytearray((kind,))
        while True:
            head.append(size & 0x7F | (0x80 if size > 0x7F else 0))
            size >>= 7
            if not size:
                break
        data = head + body
        self.write(data, 0, len(data))


def _text(data: bytes) -> bytes:
    return struct.pack(">H", len(data)) + data
