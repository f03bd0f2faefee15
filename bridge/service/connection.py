"""One connection to the broker: paho-mqtt driven by the asyncio loop itself.

No thread carries traffic and nothing is polled: the loop calls when the socket can be read, and when it can
be written while something is waiting. paho's own callbacks only take notes. What follows from them is done
after paho has returned, because an exception inside its `on_message` has the same packet handled again for
ever, and because what is published inside a callback of paho's is queued and not sent.
"""

from __future__ import annotations

import asyncio
import contextlib
import socket
import threading
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final, Protocol

from paho.mqtt import client as mqtt
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.reasoncodes import ReasonCode

from bridge.errors import LinkError

CONNECT_TIMEOUT: Final = 3.0
"""Seconds for the TCP connection. The first packet is repeated after 1 s (RFC 6298), so two may be lost."""

BACKLOG: Final = 256 * 1024
"""Bytes that may wait to be written before a publish is refused."""


class Note(Protocol):
    """Takes a plain sentence for the owner. `bridge.service.notes.Notes.say` is one."""

    def __call__(self, text: str, level: str, **facts: object) -> None:
        """Take it.

        Args:
            text: the sentence.
            level: `info`, `warning` or `error`.
            facts: what stands behind it; `exc_info` is an exception, whose traceback belongs into the log.
        """
        ...


@dataclass(frozen=True, slots=True)
class BrokerAddress:
    """Where the broker is and how to introduce ourselves.

    Attributes:
        host: name or address.
        port: TCP port.
        user: user name, or None for a broker that admits anyone.
        password: goes with the user name.
        keepalive: seconds without traffic before a ping; a broker silent for about twice as long is lost.
    """

    host: str
    port: int = 1883
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    keepalive: int = 5

    def __str__(self) -> str:
        return f"[{self.host}]:{self.port}" if ":" in self.host else f"{self.host}:{self.port}"


@dataclass(frozen=True, slots=True)
class Will:
    """What the broker publishes for us when the connection ends without a goodbye."""

    topic: str
    payload: bytes
    retain: bool


class RefusedError(LinkError):
    """The broker answered, and does not want us: asking again soon will not change its mind."""


class Connection:
    """One connection, from the first packet to the last. Each attempt makes a new one.

    Args:
        address: where to.
        client_id: our name at the broker.
        will: what it publishes if we die, or None.
        deliver: called with each message, on the loop and outside paho. It must not raise.
        filter_refused: called with each topic filter that the broker refuses.
    """

    def __init__(
        self,
        address: BrokerAddress,
        client_id: str,
        will: Will | None,
        *,
        deliver: Callable[[mqtt.MQTTMessage], None],
        filter_refused: Callable[[str], None],
    ) -> None:
        self.accepted = False
        self._address = address
        self._deliver = deliver
        self._filter_refused = filter_refused
        self._loop = asyncio.get_running_loop()
        self._inbox: deque[mqtt.MQTTMessage] = deque()
        self._backlog = 0  # bytes taken since the queue was last empty: at least what waits now
        self._awaited: dict[int, list[str]] = {}  # packet id of a subscribe -> its filters
        self._ended: str | None = None
        self._refused = False
        self._news: asyncio.Future[None] | None = None
        self._misc: asyncio.TimerHandle | None = None
        self._attached = False  # the loop has taken over from the connecting thread
        self._fd = -1  # what the loop watches, or -1
        self._writing = False
        self._parting: socket.socket | None = None  # the same connection, kept open while we say goodbye
        self._lock = threading.Lock()  # between `close` and a connection attempt in its thread
        self._opened = self._closed = False
        self._client = self._make_client(client_id, will)

    def _make_client(self, client_id: str, will: Will | None) -> mqtt.Client:
        client = mqtt.Client(
            CallbackAPIVersion.VERSION2,
            client_id=client_id,
            clean_session=True,
            protocol=MQTTProtocolVersion.MQTTv311,
            reconnect_on_failure=False,  # it would connect again by itself, blocking the loop
        )
        client.suppress_exceptions = True
        client.connect_timeout = CONNECT_TIMEOUT
        if self._address.user is not None:
            client.username_pw_set(self._address.user, self._address.password)
        if will is not None:
            client.will_set(will.topic, will.payload, qos=0, retain=will.retain)
        client.on_socket_open = _send_at_once
        client.on_socket_close = self._on_socket_close
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        client.on_disconnect = self._on_disconnect
        return client

    # ---- what the link calls -------------------------------------------------------------------------------

    async def open(self) -> None:
        """Connect and wait until the broker has accepted us.

        Raises:
            RefusedError: it does not want us.
            LinkError: it cannot be reached, or does not answer.
        """
        failure: list[Exception] = []

        def finished(error: Exception | None) -> None:
            if error is not None:
                failure.append(error)
            elif not self._closed:
                self._attach()
            self._tell()

        # A daemon thread, not an executor: a name that does not resolve can block for half a minute, and the
        # end of the process must not wait for it.
        threading.Thread(target=self._connect, args=(finished,), name="broker-connect", daemon=True).start()
        await self._until(lambda: self.accepted or bool(failure))
        if failure:
            raise LinkError(_in_words(failure[0]), peer=str(self._address)) from failure[0]

    async def subscribed(self) -> None:
        """Wait until the broker has answered every subscription.

        Raises:
            LinkError: the connection ended first.
        """
        await self._until(lambda: self.accepted and not self._awaited)

    async def ended(self) -> str:
        """Wait until the connection ends, and return why in plain words."""
        with contextlib.suppress(LinkError):
            await self._until(lambda: False)
        return self._ended or ""

    @property
    def congested(self) -> bool:
        """Whether something still waits to be written."""
        return self._client.want_write()

    def publish(self, topic: str, payload: bytes, *, retain: bool) -> MQTTErrorCode:
        """Publish at QoS 0, at once; what the socket does not take waits, up to `BACKLOG` bytes.

        Returns:
            `MQTT_ERR_SUCCESS`, `MQTT_ERR_QUEUE_SIZE` when too much waits already, or what ended it all.

        Raises:
            ValueError: the topic is empty or holds a wildcard.
        """
        size = len(topic) + len(payload)
        if self._backlog and self._backlog + size > BACKLOG:
            return MQTTErrorCode.MQTT_ERR_QUEUE_SIZE
        taken = self._client.publish(topic, payload, 0, retain).rc
        if self._client.want_write():
            self._backlog += size
            self._write_later()
        else:
            self._backlog = 0
        return taken

    def subscribe(self, subscriptions: Mapping[str, int]) -> None:
        """Send one request for all these filters, with the quality of service of each."""
        if not subscriptions:
            return
        _, packet_id = self._client.subscribe(list(subscriptions.items()))
        if packet_id is not None:
            self._awaited[packet_id] = list(subscriptions)
        self._look_after_writing()

    def quit(self, why: str) -> None:
        """Say goodbye, so that no will is published. Whoever waits here is told that the connection ended."""
        sock = self._client.socket()
        if self._fd >= 0 and self._parting is None and isinstance(sock, socket.socket):
            self._parting = sock.dup()
            self._client.disconnect()
            self._look_after_writing()
        self._end(why)

    async def close(self, patience: float = 0.0) -> None:
        """Close the socket. After `quit`, what still waits is given `patience` seconds to be written and read.

        paho closes its socket as soon as the goodbye is written. With messages still coming in, the broker would
        meet a reset connection before it reads the goodbye, and publish the will. So we read on until it closes.
        """
        try:
            if self._parting is not None:
                with contextlib.suppress(OSError):  # a timeout, or a reset
                    async with asyncio.timeout(patience):
                        while self._writing:
                            await self._next_news()
                        while await self._loop.sock_recv(self._parting, 65536):
                            pass
        finally:
            self._abandon()
            if self._parting is not None:
                self._parting.close()

    # ---- connecting, in its own thread ---------------------------------------------------------------------

    def _connect(self, finished: Callable[[Exception | None], None]) -> None:
        error: Exception | None = None
        try:
            code = self._client.connect(self._address.host, self._address.port, self._address.keepalive)
            if code != MQTTErrorCode.MQTT_ERR_SUCCESS:
                error = ConnectionError("the connection was closed at once")
        except Exception as caught:  # noqa: BLE001 - handed over to the loop, whatever it is
            error = caught
        with self._lock:
            self._opened = True
            if self._closed:  # nobody waits any more
                self._client.disconnect()
                return
        with contextlib.suppress(RuntimeError):  # the loop is closed
            self._loop.call_soon_threadsafe(finished, error)

    # ---- the loop's calls ----------------------------------------------------------------------------------

    def _attach(self) -> None:
        sock = self._client.socket()
        if sock is None:
            self._end("the connection was closed at once")
            return
        self._attached = True
        self._fd = sock.fileno()
        self._loop.add_reader(self._fd, self._readable)
        self._misc = self._loop.call_later(1.0, self._every_second)
        self._look_after_writing()

    def _readable(self) -> None:
        self._guarded(self._client.loop_read)
        inbox = self._inbox
        while inbox:
            self._deliver(inbox.popleft())
        self._look_after_writing()  # an acknowledgement may not have been written whole

    def _writable(self) -> None:
        self._guarded(self._client.loop_write)
        self._look_after_writing()

    def _every_second(self) -> None:
        self._guarded(self._client.loop_misc)
        if self._fd >= 0:
            self._misc = self._loop.call_later(1.0, self._every_second)
            self._look_after_writing()

    def _guarded(self, step: Callable[[], MQTTErrorCode]) -> None:
        try:
            step()
        except Exception as error:  # noqa: BLE001 - the loop would call again at once and for ever
            self._end(f"what came cannot be read: {error!r}")
            self._abandon()

    def _look_after_writing(self) -> None:
        if self._client.want_write():
            self._write_later()
        else:
            self._backlog = 0
            if self._writing:
                self._writing = False
                if self._fd >= 0:
                    self._loop.remove_writer(self._fd)
                self._tell()

    def _write_later(self) -> None:
        if not self._writing and self._fd >= 0:
            self._writing = True
            self._loop.add_writer(self._fd, self._writable)

    def _detach(self) -> None:
        """Take the socket out of the loop, before its number can be given to another socket."""
        if self._fd >= 0:
            self._loop.remove_reader(self._fd)
            self._loop.remove_writer(self._fd)
            self._fd = -1
            self._writing = False
        if self._misc is not None:
            self._misc.cancel()
            self._misc = None

    def _abandon(self) -> None:
        self._end("it was given up")
        with self._lock:
            self._closed = True
            if not self._opened:
                return  # the thread closes it
        self._detach()
        self._client.disconnect()
        sock = self._client.socket()
        if sock is not None:  # the goodbye could not be written
            sock.close()
            self._client.loop_read()  # paho finds the socket closed and lets go of it

    # ---- paho's callbacks: notes only ----------------------------------------------------------------------

    def _on_message(self, _client: mqtt.Client, _data: Any, message: mqtt.MQTTMessage) -> None:
        self._inbox.append(message)

    def _on_connect(
        self,
        _client: mqtt.Client,
        _data: Any,
        _flags: mqtt.ConnectFlags,
        reason: ReasonCode,
        _properties: Any,
    ) -> None:
        if reason.is_failure:
            self._end(reason.getName(), refused=True)
        else:
            self.accepted = True
            self._tell()

    def _on_subscribe(
        self, _client: mqtt.Client, _data: Any, packet_id: int, reasons: list[ReasonCode], _properties: Any
    ) -> None:
        filters = self._awaited.pop(packet_id, [])
        for name, reason in zip(filters, reasons, strict=False):
            if reason.is_failure:
                self._loop.call_soon(self._filter_refused, name)
        self._tell()

    def _on_disconnect(
        self, _client: mqtt.Client, _data: Any, _flags: Any, reason: ReasonCode, _properties: Any
    ) -> None:
        # paho may call this twice for one connection. Before `_attach` it calls from the connecting thread,
        # and the failure comes by `_connect`.
        if not self._attached:
            return
        name = reason.getName()
        if name == "Keep alive timeout":
            awaited = "its ping" if self.accepted else "the connection request"
            self._end(f"no answer to {awaited}")
        elif name == "Protocol error":
            self._end("what came is not MQTT 3.1.1")
        else:
            self._end("the other end closed the connection")

    def _on_socket_close(self, _client: mqtt.Client, _data: Any, _sock: Any) -> None:
        if self._fd >= 0:
            self._detach()
            self._tell()

    # ---- waiting -------------------------------------------------------------------------------------------

    def _end(self, why: str, *, refused: bool = False) -> None:
        self.accepted = False
        if self._ended is None:
            self._ended = why
            self._refused = refused
        self._tell()

    def _tell(self) -> None:
        if self._news is not None and not self._news.done():
            self._news.set_result(None)

    async def _next_news(self) -> None:
        self._news = self._loop.create_future()
        await self._news

    async def _until(self, holds: Callable[[], bool]) -> None:
        while not holds():
            if self._ended is not None:
                error = RefusedError if self._refused else LinkError
                raise error(self._ended, peer=str(self._address))
            await self._next_news()


def _send_at_once(_client: mqtt.Client, _data: Any, sock: Any) -> None:
    """Switch Nagle's algorithm off: with it a second packet waits some 40 ms for the first one's ACK."""
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)


def _in_words(error: Exception) -> str:
    if isinstance(error, TimeoutError):
        return "no answer"
    return getattr(error, "strerror", None) or str(error) or type(error).__name__
