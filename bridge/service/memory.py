"""What is taken up again after a restart: the last orders, if that was not too long ago, and the model time."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from typing import Any, Final

from bridge.engine import Engine
from bridge.errors import DecodeError
from bridge.events import SECOND, Authority, Event, Instant, event_from_data
from bridge.logic.clock import ClockTime
from bridge.service.state import StateFile

SAVE_EVERY: Final = 10.0
"""Seconds between two looks whether there is something new to keep."""

SAVE_CLOCK_EVERY: Final = 60 * SECOND
"""Nanoseconds between two savings of a model clock that runs: it always has something new, and cards wear out."""

ORDERS: Final = "orders"
CLOCK: Final = "clock"

_KINDS: Final = {"accessory": ("accessory-ordered", "position"), "aspect": ("aspect-ordered", "aspect")}


class Memory:
    """What was ordered, kept in the state file with the wall time of the keeping; and what the model clock showed."""

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

    def _seen(self) -> tuple[list[Any], ClockTime | None, Instant]:
        at = max(self._instant(), self._engine.now)
        return [list(order) for order in self._engine.orders()], self._engine.clock(at), at

    def _write(self, seen: tuple[list[Any], ClockTime | None, Instant], *, at_once: bool = False) -> None:
        orders, clock, at = seen
        if self._wanted and orders != self._kept:
            self._kept = orders
            self._state.put(ORDERS, {"at": self._now(), "orders": orders})
        due = at_once or at - self._clock_at >= SAVE_CLOCK_EVERY
        if clock is not None and clock != self._clock and due:
            self._clock, self._clock_at = clock, at
            self._state.put(CLOCK, clock._asdict())

    async def keep(self) -> None:
        """Save now and then, for ever."""
        while True:
            await asyncio.sleep(SAVE_EVERY)
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
