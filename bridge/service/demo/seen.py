"""What drivers and signalmen see: signals and locks as the bridge publishes them, and nothing that was only ordered."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, Final

from bridge.layout.model import DARK, Layout

DEVICES: Final = "lamproom/device"
LOCKS: Final = "lamproom/lock"
TOPICS: Final = (f"{DEVICES}/+", f"{LOCKS}/+")
"""What to listen to."""


class Seen:
    """The newest of what the bridge said.

    Args:
        layout: says which aspect of a signal is its most restrictive.
    """

    def __init__(self, layout: Layout) -> None:
        self._rests = {signal.name: signal.rest for signal in layout.signals}
        self._aspects: dict[str, str] = {}
        self._locked: set[int] = set()

    def hear(self, topic: str, payload: bytes) -> None:
        """Take a message of one of `TOPICS`; what cannot be understood is as good as nothing seen."""
        place, _, name = topic.rpartition("/")
        told = _read(payload)
        if place == DEVICES:
            self._aspects[name] = str(told.get("aspect", ""))
        elif place == LOCKS and name.isascii() and name.isdigit():
            (self._locked.discard if told.get("state") == "free" else self._locked.add)(int(name))

    def may_pass(self, signal: str) -> bool:
        """Return whether a driver may pass a signal; what is dark or was never seen counts as stop."""
        return self._aspects.get(signal, "") not in ("", DARK, self._rests[signal])

    def is_locked(self, turnout: int) -> bool:
        """Return whether a turnout must not be thrown."""
        return turnout in self._locked


def _read(payload: bytes) -> Mapping[str, Any]:
    try:
        told = json.loads(payload)
    except (ValueError, RecursionError):
        return {}
    return told if isinstance(told, dict) else {}
