"""All devices of a layout, and which of them has to hear of which event."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from bridge.events import (
    AccessoryOrdered,
    AspectOrdered,
    ButtonReported,
    Event,
    Instant,
    LinkState,
    SourceReported,
)
from bridge.layout.findings import Finding, error
from bridge.layout.model import Layout, Signal
from bridge.logic.reasons import Choice
from bridge.logic.selection import Held, Key, LastCommand, Selector, Switched


class Board:
    """The selectors of all devices, signals first, in the order of the file.

    The work that an event makes depends on how many devices listen to it, not on how many there are.
    """

    def __init__(self, layout: Layout) -> None:
        self.selectors: tuple[Selector, ...] = (
            *(LastCommand(signal) for signal in layout.signals),
            *(Switched(light) if light.accessory is not None else Held(light) for light in layout.lights),
        )
        self._listeners: dict[Key, list[int]] = {}
        for index, selector in enumerate(self.selectors):
            for key in selector.keys:
                self._listeners.setdefault(key, []).append(index)

    def hear(self, event: Event, number: int) -> list[tuple[int, Choice]]:
        """Tell an event to all who listen; return the devices whose choice was made anew, in their order."""
        indexes: Iterable[int]
        if isinstance(event, AccessoryOrdered):
            indexes = self._listeners.get(("accessory", event.number), ())
        elif isinstance(event, ButtonReported):
            indexes = self._listeners.get(("button", event.name), ())
        elif isinstance(event, SourceReported) and event.state is LinkState.LOST:
            indexes = range(len(self.selectors))
        else:
            return []
        made = []
        for index in indexes:
            choice = self.selectors[index].hear(event, number)
            if choice is not None:
                made.append((index, choice))
        return made

    @property
    def choices(self) -> list[Choice]:
        """What every device shows, and why, in their order."""
        return [selector.choice for selector in self.selectors]

    def next_due(self) -> Instant | None:
        """Return the instant of the next timer, or None while none is set."""
        return None

    def perform(self, due: Instant) -> list[tuple[int, Choice]]:
        """Let every timer that is due at this instant run out; return as `hear` does."""
        del due
        return []

    def listens(self, event: Event) -> bool:
        """Return whether anything listens to an order or a button; of all other events nobody has to."""
        if isinstance(event, AccessoryOrdered):
            return ("accessory", event.number) in self._listeners
        if isinstance(event, ButtonReported):
            return ("button", event.name) in self._listeners
        return not isinstance(event, AspectOrdered)

    def snapshot(self) -> dict[str, Any]:
        """Return what every device knows, as plain data."""
        return {selector.device: selector.state() for selector in self.selectors}

    def restore(self, data: dict[str, Any]) -> None:
        """Take back what `snapshot` gave.

        Raises:
            KeyError, TypeError, ValueError: it is none of these devices; some may have changed.
        """
        if set(data) != {selector.device for selector in self.selectors}:
            raise ValueError("it is of other devices")
        for selector in self.selectors:
            selector.set_state(data[selector.device])


def claims(layout: Layout) -> tuple[Finding, ...]:
    """Find accessories that two signals claim where an order meant for one would change the other as well.

    Two signals may share all of their accessories: then every order is meant for both. Where they share
    some, the last order would no longer be the last order for one of them.
    """
    findings: list[Finding] = []
    first: dict[int, Signal] = {}
    for signal in layout.signals:
        own = {row.accessory for row in signal.commands}
        for row in signal.commands:
            other = first.setdefault(row.accessory, signal)
            if {each.accessory for each in other.commands} != own:
                findings.append(
                    error(
                        row.mark,
                        f"accessory {row.accessory} already orders the signal {other.name} (line {other.mark.line}): "
                        f"an order meant for one would change the other; give {signal.name} numbers of its own, "
                        "or give both signals the very same accessories",
                    )
                )
    return tuple(findings)
