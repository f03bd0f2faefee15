"""What is taken up again after a restart: locked routes, the model time, and the last orders that are not too old."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from contextlib import suppress
from threading import Lock
from typing import Any, Final, NamedTuple

from bridge.engine import Engine
from bridge.errors import DecodeError
from bridge.events import SECOND, Authority, Event, Instant, RouteKept, event_from_data
from bridge.logic.clock import ClockTime
from bridge.service.state import StateFile

SAVE_EVERY: Final = 10.0
"""Seconds between two looks whether there is something new to keep. Locks do not wait for it."""

SAVE_CLOCK_EVERY: Final = 60 * SECOND
"""Nanoseconds between two savings of a model clock that runs: it always has something new, and cards wear out."""

ORDERS: Final = "orders"
CLOCK: Final = "clock"
LOCKS: Final = "locks"

MEMORY: Final = "memory"
"""The source of events that tell of routes that were locked before."""

_KINDS: Final = {"accessory": ("accessory-ordered", "position"), "aspect": ("aspect-ordered", "aspect")}


class _Seen(NamedTuple):
    """What there is to keep at an instant: all of it is looked at in one go, on the event loop."""

    at: Instant
    orders: list[Any]
    locks: list[tuple[str, str, str]]
    clock: ClockTime | None


class Memory:
    """What was ordered, kept in the state file with the wall time of the keeping; locked routes; and the model time."""

    def __init__(
        self,
        state: StateFile,
        engine: Engine,
        now: Callable[[], float] = time.time,
        instant: Callable[[], Instant] | None = None,
    ) -> None:
        """Remember for an engine.

        Args:
            state: where it is kept.
            engine: what is driven.
            now: returns the wall time in seconds since 1970.
            instant: returns the instant of the session; left out, the one that the engine has come to.
        """
        self._state = state
        self._engine = engine
        self._now = now
        self._instant = instant or (lambda: engine.now)
        self._clock: ClockTime | None = None
        self._clock_at: Instant = -SAVE_CLOCK_EVERY
        self._within = engine.layout.restore_within / SECOND
        wanting = [each.restores for each in engine.layout.signals]
        self._wanted = any(wanting + [each.restores for each in engine.layout.lights])
        self._kept: list[Any] | None = None
        self._kept_locks: Any = state.value(LOCKS)
        self._seen_locks: list[tuple[str, str, str]] = []
        self._written: Instant = -1
        self._writing = Lock()
        self._hurry = asyncio.Event()

    def locks(self, at: Instant) -> tuple[list[Event], list[str]]:
        """Return the routes that were locked, to be told before anything else, and what cannot be taken up, in words.

        However long ago that was: a train may still stand where it stood. A lock only ever keeps others away.
        """
        kept = self._state.value(LOCKS)
        events: list[Event] = []
        dropped = []
        for lock in kept if isinstance(kept, list) else ():
            match lock:
                case [str(signal), str(route)]:
                    event = RouteKept(at=at, source=MEMORY, signal=signal, route=route)
                    if self._engine.listens(event):
                        events.append(event)
                    else:
                        what = f"route {route} of {signal} was locked before the restart"
                        dropped.append(f"{what}, and this layout has no such route: nothing is locked for it")
                case _:
                    dropped.append(
                        f"the state file has a lock that means nothing, and it is dropped: {lock!r:.80}"
                    )
        return events, dropped

    def recall(self, at: Instant) -> list[Event]:
        """Return what counts again: the model time, and the orders that are not too old, the newest first.

        The model day goes on where it was, however long ago that is. Of orders there are none where no device wants
        them. A clock that was put back makes them neither old nor new: what is from the future is not believed.
        """
        return [*_clock(self._state.value(CLOCK), at), *self._orders(at)]

    def _orders(self, at: Instant) -> list[Event]:
        kept = self._state.value(ORDERS)
        if not self._wanted or not isinstance(kept, dict):
            return []
        age = self._now() - _number(kept.get("at"))
        orders = kept.get("orders")
        if not 0 <= age <= self._within or not isinstance(orders, list):
            return []
        events = [_event(order, at) for order in reversed(orders)]
        return [event for event in events if event is not None]

    def save(self) -> None:
        """Keep what was ordered until now, and the model time. It writes a file: call it in a worker thread."""
        self._write(self._seen(), at_once=True)

    def look(self) -> None:
        """Have what is locked kept at once, if that is something else now. It is quick: call it behind every event."""
        if self._engine.locks() != self._seen_locks:
            self._hurry.set()

    def _seen(self) -> _Seen:
        at = max(self._instant(), self._engine.now)
        orders = [list(order) for order in self._engine.orders()]
        self._seen_locks = self._engine.locks()
        return _Seen(at, orders, self._seen_locks, self._engine.clock(at))

    def _write(self, seen: _Seen, *, at_once: bool = False) -> None:
        with self._writing:
            if seen.at < self._written:  # whoever saw more has been quicker
                return
            self._written = seen.at
            new = self._new(seen, at_once=at_once)
            if new:
                self._state.put_all(new)

    def _new(self, seen: _Seen, *, at_once: bool) -> dict[str, Any]:
        """Return what has to be written."""
        new: dict[str, Any] = {}
        if self._wanted and seen.orders != self._kept:
            self._kept = seen.orders
            new[ORDERS] = {"at": self._now(), "orders": seen.orders}
        locks = [[signal, route] for signal, route, _stands in seen.locks]
        if locks != (self._kept_locks or []):
            self._kept_locks = new[LOCKS] = locks
        due = at_once or seen.at - self._clock_at >= SAVE_CLOCK_EVERY
        if seen.clock is not None and seen.clock != self._clock and due:
            self._clock, self._clock_at = seen.clock, seen.at
            new[CLOCK] = seen.clock._asdict()
        return new

    async def keep(self) -> None:
        """Save now and then, and when something else is locked, for ever."""
        while True:
            with suppress(TimeoutError):
                async with asyncio.timeout(SAVE_EVERY):
                    await self._hurry.wait()
            self._hurry.clear()
            await asyncio.to_thread(self._write, self._seen())


def _clock(kept: Any, at: Instant) -> list[Event]:
    """Return the event that tells the model time again, standing still; none where there is nothing to tell."""
    try:
        data = {"kind": "clock", "at": at, "running": False, "authority": Authority.RESTORED.value}
        said = {key: kept[key] for key in ("seconds", "rate_quarters", "source")}
        return [event_from_data(data | said)]
    except (DecodeError, KeyError, TypeError):
        return []


def _number(value: Any) -> float:
    return float(value) if isinstance(value, int | float) else float("-inf")


def _event(order: Any, at: Instant) -> Event | None:
    """Return the event that tells an order again, or None where it cannot be understood."""
    try:
        what, number, value, source = order
        kind, key = _KINDS[what]
        said = int(value) if key == "aspect" else value
        data = {"kind": kind, "at": at, "source": source, "number": number, key: said}
        return event_from_data(data | {"authority": Authority.RESTORED.value})
    except (DecodeError, KeyError, TypeError, ValueError):
        return None
