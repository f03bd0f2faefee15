"""Which devices have to hear of what, and whether what an event is about means anything in a layout."""

from __future__ import annotations

from collections.abc import Collection, Container, Sequence
from typing import Final

from bridge.events import (
    AccessoryOrdered,
    AspectOrdered,
    BlockReported,
    ButtonReported,
    Event,
    PowerReported,
    RouteKept,
    Subject,
    UseReported,
)
from bridge.layout.conditions import ButtonRuns, ButtonToggled
from bridge.layout.model import Layout
from bridge.logic.device import Device
from bridge.logic.interlocking import Interlocking
from bridge.logic.known import BUTTON, NUMBER, ORDERED, Key


class Listeners:
    """Who goes by what.

    Attributes:
        by_key: for each thing the places of the devices that go by it.
        buttons: all that somebody goes by, in an order that is the same in every run: timers that are due together run
            out in it.
    """

    def __init__(
        self, layout: Layout, devices: Sequence[Device], interlocking: Interlocking, nodes: Collection[str]
    ) -> None:
        self.by_key: Final[dict[Key, list[int]]] = {}
        for index, device in enumerate(devices):
            for key in device.keys:
                self.by_key.setdefault(key, []).append(index)
        self.buttons = dict.fromkeys(str(name) for kind, name in self.by_key if kind == BUTTON)
        leaves = (leaf for device in devices for leaf in device.leaves)
        pressed = (leaf for leaf in leaves if isinstance(leaf, ButtonToggled | ButtonRuns))
        self.buttons |= dict.fromkeys(leaf.button for leaf in pressed)
        # A turnout that is named in the file is known, also where no signal goes by it.
        self._turnouts = {turnout.accessory for turnout in layout.turnouts}
        self._turnouts |= {int(key[1]) for key in self.by_key if key[0] == ORDERED}
        self._names: dict[Subject, Container[str]] = {
            Subject.SIGNAL: {signal.name for signal in layout.signals},
            Subject.BLOCK: {block.name for block in layout.blocks},
            Subject.TURNOUT: {str(number) for number in self._turnouts},
            Subject.SOURCE: {source.name for source in layout.sources},
            Subject.NODE: frozenset(nodes),
        }
        self._districts = {district.name for district in layout.districts}
        self._interlocking = interlocking

    def listens(self, event: Event) -> bool:
        """Return whether what an event is about means anything here; the clock and links always do."""
        match event:
            case AccessoryOrdered():
                return event.number in self._turnouts
            case AspectOrdered():
                return (NUMBER, event.number) in self.by_key
            case ButtonReported():
                return event.name in self.buttons
            case BlockReported():
                return event.name in self._names[Subject.BLOCK]
            case PowerReported():
                return event.district in self._districts
            case UseReported():
                return event.name in self._names[event.subject]
            case RouteKept():
                return self._interlocking.route(event.signal, event.route) is not None
        return True
