"""The link to the MQTT broker: kept up for ever, shared by all adapters."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable
from random import Random
from typing import Final

from paho.mqtt import client as mqtt
from paho.mqtt.enums import MQTTErrorCode

from adapters.contract import Raw, Receiver
from bridge.errors import LinkError
from bridge.events import LinkState
from bridge.service.connection import BrokerAddress, Connection, Note, RefusedError, Will
from bridge.service.dispatch import Dispatch

__all__ = ["BrokerAddress", "BrokerLink", "Note", "backoff"]

FIRST_DELAY: Final = 0.25
"""Seconds before the second attempt, at most."""

LONGEST_DELAY: Final = 10.0
"""Seconds between attempts, at most. A connection that stood longer than this starts the series anew."""

FULL: Final = 6
"""From this failure on the delay is at its longest."""

SUBSCRIBED_WITHIN: Final = 5.0
"""Seconds that the broker has to answer our subscriptions. One that lets us in and then says nothing is given up."""

GOODBYE: Final = 0.5
"""Seconds that a goodbye may take. A broker that does not read by then is left without one."""


def backoff(attempt: int, random: Random) -> float:
    """Return the seconds to wait after failure number `attempt`, counted from 0.

    The delay doubles from `FIRST_DELAY` to `LONGEST_DELAY`. The random factor, 0.5 to 1, keeps all the
    clients of a restarted broker from coming back in the same instant.
    """
    full = min(LONGEST_DELAY, FIRST_DELAY * 2.0 ** min(attempt, FULL))
    return full * random.uniform(0.5, 1.0)


class BrokerLink:
    """The link that the bridge keeps and its adapters share; it is a `Broker` of `adapters.contract`.

    Receivers are called one after another, on the event loop, as soon as a message has been read. Publishing
    inside a receiver is sent at once. An exception from a receiver is noted, and the next message
    is delivered as if nothing had happened.

    The link is up from the moment when the broker has answered all subscriptions until the connection ends.
    Watchers are told of both, always in turn; in between it is `connected` and takes what is published.

    Args:
        address: where the broker is.
        client_id: our name there; a second client of the same name is thrown out by the broker.
        notes: is told, in plain words, what happens to the link. A fault in there does not touch the link.
        random: for the jitter of the back-off.
    """

    def __init__(self, address: BrokerAddress, *, client_id: str, notes: Note, random: Random) -> None:
        self._address = address
        self._client_id = client_id
        self._notes = notes
        self._random = random
        self._will: Will | None = None
        self._dispatch = Dispatch()
        self._watchers: list[Callable[[LinkState], None]] = []
        self._connection: Connection | None = None
        self._keeper: asyncio.Task[None] | None = None
        self._hurry = asyncio.Event()  # cuts a delay short
        self._stopping = False
        self._up = False
        self._last_failure = ""
        self._bad_topic_noted = False
        self._faults_noted: set[tuple[int, type[Exception]]] = set()

    # ---- the `Broker` of the contract ----------------------------------------------------------------------

    @property
    def connected(self) -> bool:
        """Whether the link is up: the broker has accepted us and renewed our subscriptions."""
        return self._up and self._connection is not None and self._connection.accepted

    @property
    def congested(self) -> bool:
        """Whether the link still has something to write: hand it no frame now."""
        return self._connection is not None and self._connection.congested

    def subscribe(self, topic_filter: str, receive: Receiver, *, qos: int = 0) -> None:
        """Have `receive` called for every message that matches, now and after each new connection.

        Asked for while the link stands, the request goes out at once, also for a filter that another receiver
        has already: only so does the newcomer get the retained copies. The others get them once more.

        Raises:
            ValueError: the filter is not one, or the quality of service is not 0, 1 or 2.
        """
        self._dispatch.add(topic_filter, receive, qos)
        if self._connection is not None and self._connection.accepted:
            self._connection.subscribe({topic_filter: self._dispatch.subscriptions[topic_filter]})

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> bool:
        """Publish at QoS 0 and return whether the link took it. It takes nothing while it is down.

        It also takes nothing while more than 256 kB wait to be written.

        Raises:
            ValueError: the topic is empty or holds a wildcard.
        """
        connection = self._connection
        if connection is None or not self.connected:
            return False
        return connection.publish(topic, payload, retain=retain) == MQTTErrorCode.MQTT_ERR_SUCCESS

    def watch(self, changed: Callable[[LinkState], None]) -> None:
        """Have `changed` called, once each, when the link comes up (subscriptions renewed) and when it is lost.

        Retained copies may come before the broker's answer to the subscription, and so before `UP`.
        """
        if changed not in self._watchers:
            self._watchers.append(changed)

    # ---- the bridge's own ----------------------------------------------------------------------------------

    def will(self, topic: str, payload: bytes, *, retain: bool = True) -> None:
        """Say what the broker shall publish if we end without a goodbye, from the next connection on."""
        self._will = Will(topic, payload, retain)

    async def start(self) -> None:
        """Begin to connect. It returns before the link is up."""
        if self._keeper is None:
            self._stopping = False
            self._keeper = asyncio.create_task(self._keep(), name="broker link")

    async def stop(self) -> None:
        """Say goodbye, so that no will is published, and end within a second, also with a frozen broker."""
        keeper, self._keeper = self._keeper, None
        if keeper is None:
            return
        self._stopping = True
        self._leave("the bridge is stopping")
        await keeper

    def renew(self) -> None:
        """Say goodbye and connect again at once, so that a changed will takes effect. Watchers see both."""
        if self._connection is not None:  # else what follows looks like a fault of the network
            self._note("the link to the broker is made once more, for a last will that is true", "info")
        self._leave("the link is renewed")

    def _leave(self, why: str) -> None:
        self._hurry.set()
        if self._connection is not None:
            self._connection.quit(why)

    # ---- keeping it up -------------------------------------------------------------------------------------

    async def _keep(self) -> None:
        attempt = 0
        while not self._stopping:
            self._hurry.clear()
            stood: float | None = None
            failed = "cannot be reached"
            fault: Exception | None = None
            try:
                stood, reason = await self._connect_once()
            except RefusedError as error:
                who = (
                    "us without a user name"
                    if self._address.user is None
                    else f"the user {self._address.user!r}"
                )
                reason, failed, attempt = str(error), f"refused {who}", FULL
            except LinkError as error:
                reason = str(error)
            except Exception as error:  # noqa: BLE001 - the link is kept up for ever, also past a fault of our own
                reason, fault = f"a fault of lamproom itself, {error!r}", error
            if self._hurry.is_set():
                attempt = 0
                continue
            if stood is not None and stood > LONGEST_DELAY:
                attempt = 0
            delay = backoff(attempt, self._random)
            attempt += 1
            what = f"the broker at {self._address} {failed}"
            if stood is not None:
                what = f"the link to the broker at {self._address} was lost"
            self._note_failure(what, reason, fault)
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(delay):
                    await self._hurry.wait()

    async def _connect_once(self) -> tuple[float, str]:
        """Keep one connection from its beginning to its end.

        Returns:
            How many seconds it stood, and why it ended.

        Raises:
            LinkError: it never stood.
        """
        now = asyncio.get_running_loop().time
        connection = self._connection = Connection(
            self._address,
            self._client_id,
            self._will,
            deliver=self._deliver,
            filter_refused=self._note_refused_filter,
        )
        try:
            await connection.open()
            since = now()
            connection.subscribe(self._dispatch.subscriptions)
            try:
                async with asyncio.timeout(SUBSCRIBED_WITHIN):
                    await connection.subscribed()
            except TimeoutError:
                raise LinkError(
                    f"it let us in and did not answer our subscriptions within {SUBSCRIBED_WITHIN:g} s",
                    peer=str(self._address),
                ) from None
            self._up = True
            self._note_connected()
            self._tell_watchers(LinkState.UP)
            reason = await connection.ended()
            return now() - since, reason
        finally:
            was_up, self._up = self._up, False
            await connection.close(GOODBYE)
            self._connection = None
            if was_up:
                self._tell_watchers(LinkState.LOST)

    # ---- handing out ---------------------------------------------------------------------------------------

    def _deliver(self, message: mqtt.MQTTMessage) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError as error:
            self._note_bad_topic(error)
            return
        raw = Raw(topic, bytes(message.payload), message.retain)
        for receive in self._dispatch.receivers(topic):
            try:
                receive(raw)
            except Exception as error:  # noqa: BLE001 - one receiver's fault must not reach the others
                self._note_fault(receive, error, topic=topic)

    def _tell_watchers(self, state: LinkState) -> None:
        for changed in self._watchers:
            try:
                changed(state)
            except Exception as error:  # noqa: BLE001 - one watcher's fault must not reach the others
                self._note_fault(changed, error, state=state.value)

    # ---- what the owner is told ----------------------------------------------------------------------------

    def _note(self, text: str, level: str, **facts: object) -> None:
        with contextlib.suppress(
            Exception
        ):  # whoever keeps the notes may fail, and the link is kept all the same
            self._notes(text, level, **facts)

    def _note_connected(self) -> None:
        self._last_failure = ""
        self._note(f"connected to the broker at {self._address}", "info")

    def _note_failure(self, what: str, reason: str, fault: Exception | None) -> None:
        failure = f"{what} ({reason})"
        if failure == self._last_failure:
            return
        self._last_failure = failure
        text = f"{failure}; trying again, at least every {LONGEST_DELAY:.0f} s"
        if fault is None:
            self._note(text, "warning")
        else:
            self._note(text, "error", exc_info=fault)

    def _note_refused_filter(self, topic_filter: str) -> None:
        self._note(
            f"the broker at {self._address} refused the subscription to {topic_filter!r}; nothing comes "
            "from there until its access rules allow it",
            "warning",
        )

    def _note_bad_topic(self, error: UnicodeDecodeError) -> None:
        if not self._bad_topic_noted:
            self._bad_topic_noted = True
            self._note(
                f"a message came whose topic is not UTF-8 ({error.object[:80]!r}); it and its like go "
                "no further",
                "warning",
            )

    def _note_fault(self, callee: Callable[..., None], error: Exception, **facts: object) -> None:
        kind = (id(callee), type(error))  # the callee is kept by us, so its id stays its own
        if kind not in self._faults_noted:
            self._faults_noted.add(kind)
            name = getattr(callee, "__qualname__", repr(callee))
            text = f"{name} failed ({type(error).__name__}: {error}); everything else runs on"
            self._note(text, "error", exc_info=error, **facts)
