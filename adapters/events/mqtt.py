"""Layout facts that come in over MQTT as plain text, so that any MQTT client can send one."""

from __future__ import annotations

import asyncio
from functools import lru_cache, partial
from typing import ClassVar, Final, cast

from pydantic import Field, field_validator

from adapters.contract import Options, Raw, SourceHost
from adapters.cut import cut
from adapters.events.facts import KNOWN_TOPICS, read_topic
from bridge.errors import DecodeError
from bridge.events import Event, Instant, LinkState

OWN_ROOT: Final = "lamproom"
"""Below this stand our own frames and reports; a source that listened there would hear itself."""

_LINK_WORDS: Final = {
    LinkState.UP: "the link to the broker stands",
    LinkState.LOST: "the link to the broker is down",
}


class MqttFactsOptions(Options):
    """The keys of an MQTT source in the layout file: `root`, the topic that all its facts stand below."""

    root: str = Field(default="layout", max_length=128)

    @field_validator("root")
    @classmethod
    def _usable(cls, root: str) -> str:
        if not root:
            raise ValueError("the root is empty; name the topic that the facts stand below, such as `layout`")
        if not root.isprintable():
            raise ValueError(f"the root `{cut(root)}` has a character that cannot be printed")
        if "+" in root or "#" in root:
            raise ValueError(
                f"the root `{root}` has a wildcard (`+` or `#`); name one topic, such as `layout`"
            )
        if "" in root.split("/"):
            raise ValueError(f"the root `{root}` begins, ends or doubles a `/`; write `{_tidy(root)}`")
        if root.startswith("$"):
            raise ValueError(f"the root `{root}` begins with `$`, which brokers keep for themselves")
        if root.split("/", maxsplit=1)[0] == OWN_ROOT:
            raise ValueError(f"the root `{root}` is where frames go out; take another, such as `layout`")
        return root


def _tidy(root: str) -> str:
    return "/".join(level for level in root.split("/") if level) or "layout"


class MqttFacts:
    """An event source: every message below the root is a fact or is refused with a reason.

    One subscription, `<root>/#`, takes them all. A filter for each topic would pass over a misspelt one in
    silence; this way it is noted, and its sender can be found.

    QoS 0, because it loses less. A broker keeps a queue for each QoS 1 subscriber and drops what does not
    fit: of 4000 retained facts Mosquitto 2.0.11 (its default `max_queued_messages`) handed over 1020 at
    QoS 1, and all 4000 at QoS 0. On a link that stands both bring everything, in the same order.
    """

    options: ClassVar[type[Options]] = MqttFactsOptions

    def __init__(self, name: str, options: Options, host: SourceHost) -> None:
        """Make a source that does nothing yet.

        Args:
            name: the source's name in the layout file; its events carry it.
            options: a `MqttFactsOptions`.
            host: what the bridge offers.
        """
        self.name = name
        self.root = cast("MqttFactsOptions", options).root
        self._host = host
        self._listening = False
        self._link: LinkState | None = None
        # A topic that means nothing raises, and what raises is not remembered: what fills this is short.
        self._fact = lru_cache(maxsize=KNOWN_TOPICS)(partial(read_topic, self.root))

    async def listen(self) -> None:
        """Listen until it is cancelled. The shared link mends itself, and tells when it is down and up."""
        self._listening = True
        try:
            self._host.broker.subscribe(f"{self.root}/#", self._receive, qos=0)
            self._host.broker.watch(self._link_changed)
            if self._host.broker.connected:
                self._link_changed(LinkState.UP)
            await asyncio.Event().wait()
        finally:
            self._listening = False
            self._link = None

    def attempt(self, channel: str, payload: str) -> tuple[Raw, ...]:
        """Return a message as it comes, and as a kept copy; none where it is not below the root."""
        data = payload.encode()
        heard = channel.startswith(f"{self.root}/")
        return (Raw(channel, data), Raw(channel, data, retained=True)) if heard else ()

    def _receive(self, raw: Raw) -> None:
        if self._listening:
            self._host.received(raw)

    def _link_changed(self, state: LinkState) -> None:
        if self._listening and state is not self._link:
            self._link = state
            self._host.link(state, _LINK_WORDS[state])

    def decode(self, raw: Raw, at: Instant) -> tuple[Event, ...]:
        """Return the one event that `raw` means, stamped `at`.

        Raises:
            DecodeError: it means nothing here; it carries topic and payload, cut, and what was expected.
        """
        try:
            return (self._fact(raw.channel).event(raw.payload, at, self.name, retained=raw.retained),)
        except DecodeError as error:
            received = f"{cut(raw.channel, 120)} {cut(raw.payload)}".rstrip()
            raise DecodeError(str(error), received=received, expected=error.expected) from None
