"""Orders that are taken up again after a restart, if that was not too long ago."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from typing import Any, Final

from bridge.engine import Engine
from bridge.errors import DecodeError
from bridge.events import SECOND, Authority, Event, Instant, event_from_data
from bridge.service.state import StateFile

SAVE_EVERY: Final = 10.0
"""Seconds between two looks whether there is something new to keep."""

ORDERS: Final = "orders"

_KINDS: Final = {"accessory": ("accessory-ordered", "position"), "aspect": ("aspect-ordered", "aspect")}


class Memory:
    """What was ordered, kept in the state file with the wall time of the keeping."""

    def __init__(self, state: StateFile, engine: Engine, now: Callable[[], float] = time.time) -> None:
        """Remember for an engine; `now` returns the wall time in seconds since 1970."""
        self._state = state
        self._engine = engine
        self._now = now
        self._within = engine.layout.restore_within / SECOND
        wanting = [each.restores for each in engine.layout.signals]
        self._wanted = any(wanting + [each.restores for each in engine.layout.lights])
        self._kept: list[Any] | None = None

    def recall(self, at: Instant) -> list[Event]:
        """Return the orders that are not too old, the newest first; none where no device wants them.

        A clock that was put back makes them neither old nor new: what is from the future is not believed.
        """
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
        """Keep what was ordered until now, if any of it is new. It writes a file: call it in a worker thread."""
        orders = [list(order) for order in self._engine.orders()]
        self._write(orders)

    def _write(self, orders: list[Any]) -> None:
        if self._wanted and orders != self._kept:
            self._kept = orders
            self._state.put(ORDERS, {"at": self._now(), "orders": orders})

    async def keep(self) -> None:
        """Save now and then, for ever."""
        while self._wanted:
            await asyncio.sleep(SAVE_EVERY)
            orders = [list(order) for order in self._engine.orders()]
            await asyncio.to_thread(self._write, orders)


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
