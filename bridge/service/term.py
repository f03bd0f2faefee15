"""The bridge's term: nodes obey the highest they have seen, so every start takes a higher one."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from typing import Final

from adapters.contract import Raw
from bridge.service.broker import BrokerLink
from bridge.service.state import StateFile

NUMBERS: Final = 256
"""Bridges that can be told apart: a term is epoch x 256 + number of the bridge."""

LAST_EPOCH: Final = (1 << 24) - 1
KEY: Final = "epoch"

BRIDGE_FILTER: Final = "lamproom/bridge/+"
"""Where bridges say, retained, that they are up, lost or stopped, and under which term."""


class Term:
    """Learns which terms were used before, and takes a higher one.

    What was used before is known from three sides: our own state file, what bridges said of themselves
    (retained), and what nodes say they obeyed. The broker's own order tells when everything retained has been
    heard: a message to ourselves comes back after it.

    Attributes:
        value: the present term, or None while it is not settled.
        changed: called whenever it changes.
        beyond: called with a term that is so high that there is none above it.
    """

    def __init__(self, link: BrokerLink, state: StateFile, *, name: str, number: int) -> None:
        self.value: int | None = None
        self.changed: Callable[[int], None] = lambda _term: None
        self.beyond: Callable[[int], None] = lambda _term: None
        self._link = link
        self._state = state
        self._number = number
        self._epoch = state.number(KEY)
        self._mark = f"lamproom/bridge/{name}/mark"
        link.subscribe(BRIDGE_FILTER, self._bridge_said)
        link.subscribe(self._mark, self._settle)

    @property
    def tentative(self) -> int:
        """The term that will be taken if nobody knows of a higher one."""
        return self._next() * NUMBERS + self._number

    def ask(self) -> None:
        """Ask the broker for our own message back; called when the link has come up."""
        if self.value is None:
            self._link.publish(self._mark, b"")

    def seen(self, term: int) -> None:
        """Take note of a term that somebody used; where it is higher than ours, take one above it.

        Nobody starts a bridge sixteen million times: a term of the last epoch is a mistake, and going round to 0
        would be one too.
        """
        epoch = term // NUMBERS
        if epoch == LAST_EPOCH:
            self.beyond(term)
        if not 0 <= epoch < LAST_EPOCH:
            return
        self._epoch = max(self._epoch, epoch)
        if self.value is not None and term > self.value:
            self._take()

    def _bridge_said(self, raw: Raw) -> None:
        try:
            said = json.loads(raw.payload)
            term = said["term"]
        except (ValueError, TypeError, KeyError, RecursionError):
            return
        if isinstance(term, int) and self.value is None:
            self.seen(term)

    def _settle(self, raw: Raw) -> None:
        if self.value is None and not raw.retained:
            self._take()

    def _next(self) -> int:
        return min(self._epoch + 1, LAST_EPOCH)

    def _take(self) -> None:
        self._epoch = self._next()
        # In a thread, because it waits for the disk. Should it come to nothing, the broker still knows this term.
        asyncio.get_running_loop().run_in_executor(None, self._state.keep, KEY, self._epoch)
        self.value = self._epoch * NUMBERS + self._number
        self.changed(self.value)
