"""What the bridge tells the world of itself and of its devices: retained, the newest only."""

from __future__ import annotations

import asyncio
import json
import secrets
from collections.abc import Callable
from itertools import islice
from typing import Any, Final, Protocol

from adapters.contract import Broker, Raw
from bridge import __version__
from bridge.commands import Report, Told
from bridge.events import LinkState
from bridge.service.term import BRIDGE_FILTER, Term

GATHER: Final = 0.02
"""Seconds in which reports are gathered: of several about one device only the newest goes out."""

COUNTS_EVERY: Final = 10.0
"""Seconds between two reports of what was counted of the sources, as long as something comes in."""

AT_ONCE: Final = 5
"""Reports that go out in one turn of the loop: an event that comes in the meantime waits for no more than these."""

BETWEEN: Final = 0.001
"""Seconds until the next ones go."""

AGAIN: Final = 0.5
"""Seconds until reports that the link did not take are offered again."""


class WillingBroker(Broker, Protocol):
    """A broker link that leaves a last will."""

    def will(self, topic: str, payload: bytes, *, retain: bool = True) -> None:
        """Say what the broker shall publish if we end without a goodbye, from the next connection on."""
        ...

    def renew(self) -> None:
        """Say goodbye and connect again at once, so that a changed will takes effect."""
        ...


class Status:
    """Publishes `lamproom/bridge/<name>` (with a last will) and `lamproom/device/<name>`.

    Each report carries the mark of this run, as what we say of the bridge does: what a run that was killed left at
    the broker can be told from what is said now.

    Attributes:
        rival: called with our name when another bridge says something of itself under it.
        sources: returns how each event source is, by its name, as plain data.
    """

    def __init__(self, link: WillingBroker, term: Term, *, name: str, layout: str) -> None:
        self.rival: Callable[[str], None] = lambda _name: None
        self.sources: Callable[[], dict[str, Any]] = dict
        self._telling: asyncio.TimerHandle | None = None  # of the sources
        self._link = link
        self._term = term
        self._name = name
        self._topic = f"lamproom/bridge/{name}"
        self._run = secrets.token_hex(4)
        self._told = False  # what the broker keeps under our name is from us, or newer
        self._layout = layout
        self._reports: dict[str, dict[str, str | int]] = {}  # by topic
        self._due: dict[str, None] = {}
        self._timer: asyncio.TimerHandle | None = None
        self._willed = term.tentative
        link.will(self._topic, self._said("lost", self._willed))
        link.subscribe(BRIDGE_FILTER, self._heard)

    def report(self, report: Report | Told) -> None:
        """Tell what a device shows, or how a lock or a gate stands, soon."""
        if isinstance(report, Told):
            topic = f"lamproom/{report.subject}/{report.name or self._name}"
            self._reports[topic] = {
                "state": report.state,
                "reason": report.reason,
                "run": self._run,
                **dict(report.more),
            }
        else:
            topic = f"lamproom/device/{report.device}"
            self._reports[topic] = {"aspect": report.aspect, "reason": report.reason, "run": self._run}
        self._due[topic] = None
        self._arm(GATHER)

    def tell_sources(self, within: float = GATHER) -> None:
        """Tell anew how the sources are, soon."""
        loop = asyncio.get_running_loop()
        if self._telling is not None:
            if self._telling.when() <= loop.time() + within:
                return
            self._telling.cancel()
        self._telling = loop.call_later(within, self._tell_sources)

    def tell_counts(self) -> None:
        """Tell anew what was counted of the sources, some time."""
        self.tell_sources(COUNTS_EVERY)

    def _tell_sources(self) -> None:
        self._telling = None
        if self._told and self._term.value is not None:  # before that nothing stands under our name
            self._link.publish(self._topic, self._said("up", self._term.value), retain=True)

    def link_changed(self, state: LinkState) -> None:
        """Tell everything again on a new link."""
        if state is LinkState.UP and self._term.value is not None:
            self.everything()

    def everything(self) -> None:
        """Tell everything: the term is settled, or the link is new.

        The broker publishes the last will that it was given with the connection. Where the first term has
        turned out higher than that one says, the connection is made anew with a will that is true. Later on it
        is not: a link that goes down puts every signal to its most restrictive aspect.
        """
        term = self._term.value
        if term is None:
            return
        first = not self._told
        # Before the first frame: other bridges must know whose term it is when a node tells that it obeys it.
        self._told |= self._link.publish(self._topic, self._said("up", term), retain=True)
        if term != self._willed:
            self._willed = term
            self._link.will(self._topic, self._said("lost", term))
            if first:
                self._link.renew()
                return
        self._due.update(dict.fromkeys(self._reports))
        self._arm(GATHER)

    def close(self) -> None:
        """Say that the bridge has stopped."""
        if self._timer is not None:
            self._timer.cancel()
        self._flush(None)
        for timer in (self._timer, self._telling):
            if timer is not None:
                timer.cancel()
        self._link.publish(self._topic, self._said("stopped", self._term.value), retain=True)

    def _heard(self, raw: Raw) -> None:
        """Notice a bridge of our own name: the broker lets only one of us stay, and the other comes back for ever."""
        if not self._told or raw.channel != self._topic:
            return
        try:
            run = json.loads(raw.payload)["run"]
        except (ValueError, TypeError, KeyError, RecursionError):
            return
        if run != self._run:
            self.rival(self._name)

    def _said(self, state: str, term: int | None) -> bytes:
        data: dict[str, Any] = {"state": state, "term": term, "run": self._run}
        data |= {"version": __version__, "layout": self._layout}
        if state == "up":
            data["sources"] = self.sources()
        return json.dumps(data, ensure_ascii=False).encode()

    def _arm(self, delay: float) -> None:
        if self._timer is None:
            self._timer = asyncio.get_running_loop().call_later(delay, self._flush)

    def _flush(self, most: int | None = AT_ONCE) -> None:
        self._timer = None
        if not self._link.connected or self._term.value is None:
            return  # everything is told again when the link is up and the term settled
        for topic in list(islice(self._due, most)):
            payload = json.dumps(self._reports[topic], ensure_ascii=False).encode()
            if not self._link.publish(topic, payload, retain=True):
                self._arm(AGAIN)
                return
            del self._due[topic]
        if self._due:
            self._arm(BETWEEN)
