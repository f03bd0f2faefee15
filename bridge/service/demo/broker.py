"""An MQTT broker inside this process, for the demo only.

A layout runs on a broker of its own: this one does not notice a client that has fallen silent, holds without
bound what a slow client has not read, and takes its share of the time that the bridge has.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
from collections.abc import ItemsView, Iterator
from typing import Any, Final, TypeVar

from bridge.errors import LamproomError

GOODBYE: Final = 0.8
"""Seconds that the broker may take to let go of its clients."""

_HUSHED: Final = ("amqtt", "transitions", "websockets")

_SETTINGS: Final = {
    "listeners": {"default": {"type": "tcp", "bind": "127.0.0.1:0"}},
    "timeout_disconnect_delay": 5,  # seconds, on top of a client's own keep-alive
    # Named, so that its usual plug-ins stay away: they log every packet and publish figures of their own.
    "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
}

Item = TypeVar("Item")


class _Steady(dict[str, Item]):
    """A table that may change while somebody goes through it: he goes through it as it was.

    The library waits inside such loops. Clients that come at the same time would end each other's connections.
    """

    def __iter__(self) -> Iterator[str]:
        return iter(tuple(super().__iter__()))

    def items(self) -> ItemsView[str, Item]:  # type: ignore[override] # the library only goes through them
        return dict(super().items()).items()


class EmbeddedBroker:
    """A broker on a free port of 127.0.0.1 that admits anyone and keeps nothing on disk.

    Attributes:
        port: its TCP port while it runs, else 0.
    """

    def __init__(self) -> None:
        self.port = 0
        self._broker: Any = None

    async def start(self) -> int:
        """Start, and return the port.

        Raises:
            LamproomError: the library is not installed, or it cannot start.
        """
        # It tells of every client and packet, which is news to nobody who wants to see a layout.
        for name in _HUSHED:
            logging.getLogger(name).setLevel(logging.CRITICAL)
        try:
            from amqtt.broker import Broker  # type: ignore[import-untyped]  # noqa: PLC0415 - it has no types, and only the demo needs it
            from amqtt.errors import BrokerError  # type: ignore[import-untyped]  # noqa: PLC0415 - the same
        except ImportError as error:
            raise LamproomError(
                f"the demo needs a broker inside it, and {error.name} is missing: "
                "run `pip install 'lamproom[demo]'` in this environment"
            ) from error
        broker = _mended(Broker(_SETTINGS))
        try:
            await broker.start()
        except BrokerError as error:
            raise LamproomError(f"the demo's broker does not start: {error}") from error
        self._broker = broker
        # It has no public word for the port that the system chose.
        listener = broker._servers["default"].instance  # noqa: SLF001 - see above
        self.port = int(listener.sockets[0].getsockname()[1])
        return self.port

    async def stop(self) -> None:
        """End, whoever is still connected, and leave no task behind. It may be called twice."""
        broker, self._broker = self._broker, None
        self.port = 0
        if broker is None:
            return
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(GOODBYE):
                await broker.shutdown()


def _mended(broker: Any) -> Any:
    """Mend three faults that clients meet which come and go quickly; the version of the library is held for it."""
    broker._subscriptions = _Steady()  # noqa: SLF001 - there is no public way
    broker._retained_messages = _Steady()  # noqa: SLF001 - the same
    connected = broker._client_connected  # noqa: SLF001 - the same

    async def connected_and_closed(listener: str, reader: Any, writer: Any) -> None:
        try:
            await connected(listener, reader, writer)
        finally:
            # It forgets to close the connection of a client that went away before it had introduced itself.
            with contextlib.suppress(OSError):
                await writer.close()

    broker._client_connected = connected_and_closed  # noqa: SLF001 - the same
    hand_out = broker._publish_retained_messages_for_subscription  # noqa: SLF001 - the same

    async def hand_out_what_was_asked_for(subscription: tuple[str, int], session: Any) -> None:
        # It hands whoever comes what everybody has asked for. A client that says one thing and goes leaves that
        # unread, so its connection is reset, and what it said is thrown away.
        asked = broker._subscriptions.get(subscription[0], ())  # noqa: SLF001 - the same
        if any(who is session for who, _qos in asked):
            await hand_out(subscription, session)

    broker._publish_retained_messages_for_subscription = hand_out_what_was_asked_for  # noqa: SLF001 - the same
    return broker
