"""The bridge's term: nodes obey the highest they have seen, so every start takes a higher one."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from typing import Final

from adapters.contract import Broker, Raw
from bridge.events import LinkState
from bridge.service.state import StateFile

NUMBERS: Final = 256
"""Bridges that can be told apart: a term is epoch x 256 + number of the bridge."""

LAST_EPOCH: Final = (1 << 24) - 1
KEY: Final = "epoch"

ASK_AGAIN: Final = 2.0
"""Seconds after which the broker is asked once more for our own message."""

BRIDGE_TOPIC: Final = "lamproom/bridge/"
BRIDGE_FILTER: Final = f"{BRIDGE_TOPIC}+"
"""Where bridges say, retained, that they are up, lost or stopped, and under which term."""


class Term:
    """Learns which terms were used before, takes a higher one, and gives way to a bridge that took one after us.

    What was used before is known from three sides: our own state file, what bridges said of themselves
    (retained), and what nodes say they obeyed. The broker's own order tells when everything retained has been
    heard: a message to ourselves comes back after it.

    Later on a node of ours may turn out to obey a higher term than ours. A term that no living bridge announces
    is a left-over, and we take one above it. A term that one announces is that bridge's: two that outbid each
    other would never come to an end, so its nodes are left to it until it is gone.

    Attributes:
        value: the present term, or None while it is not settled.
        changed: called whenever it changes.
        beyond: called with a term that is so high that there is none above it.
        yielded: called with name and term of a bridge to which nodes of ours are left from now on.
        unheard: called with the topic of our message to ourselves, once, if the broker does not hand it back.
    """

    def __init__(self, link: Broker, state: StateFile, *, name: str, number: int) -> None:
        self.value: int | None = None
        self.changed: Callable[[int], None] = lambda _term: None
        self.beyond: Callable[[int], None] = lambda _term: None
        self.yielded: Callable[[str, int], None] = lambda _name, _term: None
        self.unheard: Callable[[str], None] = lambda _topic: None
        self._link = link
        self._state = state
        self._name = name
        self._number = number
        self._epoch = state.number(KEY)
        self._mark = f"{BRIDGE_TOPIC}{name}/mark"
        self._asking: asyncio.TimerHandle | None = None  # while not everything retained has been heard
        self._told_unheard = False
        self._alive: dict[str, int] = {}  # the other bridges that say they are up, each with its term
        self._yielded: set[str] = set()  # bridges that some nodes of ours are left to
        self._early: set[int] = set()  # terms seen on a new link, before it is known whose they are
        link.subscribe(BRIDGE_FILTER, self._bridge_said)
        link.subscribe(self._mark, self._settle)

    @property
    def tentative(self) -> int:
        """The term that will be taken if nobody knows of a higher one."""
        return self._next() * NUMBERS + self._number

    def link_changed(self, state: LinkState) -> None:
        """Ask for our own message on a new link, again and again until it comes; stop asking when it is lost."""
        self._stop_asking()
        self._early.clear()
        if state is LinkState.UP:
            self._ask()
        else:
            self._alive.clear()  # who is there is told anew with the next link

    def seen(self, term: int) -> bool:
        """Take note of a term that somebody used; where it is higher than ours, take one above it or give way.

        Nobody starts a bridge sixteen million times: a term of the last epoch is a mistake, and going round to 0
        would be one too.

        Returns:
            Whether whoever obeys it is left to another bridge.
        """
        epoch = term // NUMBERS
        if epoch == LAST_EPOCH:
            self.beyond(term)
        if not 0 <= epoch < LAST_EPOCH:
            return False
        self._epoch = max(self._epoch, epoch)
        if self.value is None or term <= self.value:
            return False
        if self._asking is not None:
            self._early.add(term)
            return False
        name = next((name for name, theirs in self._alive.items() if theirs == term), None)
        if name is None:
            self._take()
            return False
        if name not in self._yielded:
            self._yielded.add(name)
            self.yielded(name, term)
        return True

    # ---- other bridges -------------------------------------------------------------------------------------

    def _bridge_said(self, raw: Raw) -> None:
        name = raw.channel.removeprefix(BRIDGE_TOPIC)
        state, term = _read(raw.payload)
        if term is not None and self.value is None:
            self.seen(term)
        if name == self._name:
            return
        if state == "up" and term is not None:
            self._alive[name] = term
            if term == self.value and name < self._name:
                self._take()  # both started at once; one of them has to be above the other
        else:
            self._alive.pop(name, None)
            if name in self._yielded:
                self._take()

    # ---- settling ------------------------------------------------------------------------------------------

    def _ask(self) -> None:
        self._link.publish(self._mark, b"")
        self._asking = asyncio.get_running_loop().call_later(ASK_AGAIN, self._ask_again)

    def _ask_again(self) -> None:
        if not self._told_unheard:
            self._told_unheard = True
            self.unheard(self._mark)
        self._ask()

    def _stop_asking(self) -> None:
        if self._asking is not None:
            self._asking.cancel()
            self._asking = None

    def _settle(self, raw: Raw) -> None:
        if raw.retained or self._asking is None:
            return
        self._stop_asking()
        if self.value is None or not self._yielded <= self._alive.keys():
            self._take()
        for term in self._early:
            self.seen(term)
        self._early.clear()

    def _next(self) -> int:
        return min(self._epoch + 1, LAST_EPOCH)

    def _take(self) -> None:
        self._epoch = self._next()
        # In a thread, because it waits for the disk. Should it come to nothing, the broker still knows this term.
        asyncio.get_running_loop().run_in_executor(None, self._state.keep, KEY, self._epoch)
        self.value = self._epoch * NUMBERS + self._number
        self._yielded.clear()
        self.changed(self.value)


def _read(payload: bytes) -> tuple[object, int | None]:
    """Return state and term of what a bridge said of itself; None for what it did not say, or not so."""
    try:
        said = json.loads(payload)
        state, term = said.get("state"), said.get("term")
    except (ValueError, AttributeError, RecursionError):
        return None, None
    return state, term if type(term) is int and 0 <= term < (LAST_EPOCH + 1) * NUMBERS else None
