"""Layout facts by HTTP, one a POST on the page's API: the same topics and words as over MQTT."""

from __future__ import annotations

import asyncio
from functools import lru_cache, partial
from typing import Annotated, Any, ClassVar, Final, cast

from pydantic import BeforeValidator, Field

from adapters.contract import Options, Raw, SourceHost
from adapters.cut import cut
from adapters.events.facts import KNOWN_TOPICS, Fact, read_topic
from bridge.errors import DecodeError, LinkError
from bridge.events import Event, Instant, LinkState

KINDS: Final = ("accessory", "aspect", "block", "power", "button", "use", "clock", "lamp-test")
"""What a fact can be about: the first word of its topic."""

_ROOT: Final = "events"


def _kind(value: Any) -> str:
    if value not in KINDS:
        raise ValueError(
            f"{cut(str(value), 30)!r} is no kind of fact: write {', '.join(KINDS[:-1])} or {KINDS[-1]}"
        )
    return str(value)


class HttpOptions(Options):
    """The keys of an HTTP source in the layout file: `takes`, the kinds of facts that it takes; all if left out."""

    takes: Annotated[tuple[Annotated[str, BeforeValidator(_kind)], ...], Field(min_length=1)] = KINDS


class HttpFacts:
    """An event source: each request is a fact or is refused with a reason, and whoever asked is told which.

    Whoever reaches the page reaches this as well. So there is none unless the layout file names one, and it takes
    no more than it is to take.
    """

    options: ClassVar[type[Options]] = HttpOptions

    def __init__(self, name: str, options: Options, host: SourceHost) -> None:
        """Make a source that does nothing yet.

        Args:
            name: the source's name in the layout file; its events carry it, and so does its address.
            options: a `HttpOptions`.
            host: what the bridge offers.
        """
        self.name = name
        self._takes = cast("HttpOptions", options).takes
        self._host = host
        self._fact = lru_cache(maxsize=KNOWN_TOPICS)(partial(read_topic, _ROOT))

    def attempt(self, channel: str, payload: str) -> tuple[Raw, ...]:
        """Return a request to this path; none where it begins with no kind of fact."""
        return (Raw(channel, payload.encode()),) if channel.split("/", maxsplit=1)[0] in KINDS else ()

    async def listen(self) -> None:
        """Take requests until it is cancelled.

        Raises:
            LinkError: no page is open, so there is nowhere to ask.
        """
        address = self._host.door.address
        if address is None:
            raise LinkError("no page is open, so nobody can ask: start with `--page HOST:PORT`")
        with self._host.door.open(self._host.received):
            self._host.link(LinkState.UP, f"requests are taken at {address}")
            await asyncio.Event().wait()

    def decode(self, raw: Raw, at: Instant) -> tuple[Event, ...]:
        """Return the one event that `raw` means, stamped `at`.

        Raises:
            DecodeError: it means nothing here; it carries path and body, cut, and what was expected.
        """
        try:
            return (self._read(raw.channel).event(raw.payload, at, self.name, retained=raw.retained),)
        except DecodeError as error:
            received = f"{cut(raw.channel, 120)} {cut(raw.payload)}".rstrip()
            raise DecodeError(str(error), received=received, expected=error.expected) from None

    def _read(self, channel: str) -> Fact:
        kind = channel.split("/", maxsplit=1)[0]
        if kind in KINDS and kind not in self._takes:
            raise DecodeError(
                f"this source takes no `{kind}`: its `takes` in the layout file does not name it",
                expected=", ".join(self._takes),
            )
        return self._fact(f"{_ROOT}/{channel}")
