"""All devices of a layout, and which of them has to hear of what."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

from bridge.events import (
    AccessoryOrdered,
    AspectOrdered,
    ButtonReported,
    Event,
    Instant,
    LinkState,
    NodeReported,
    SourceReported,
)
from bridge.layout.model import Layout
from bridge.logic.circles import Circles
from bridge.logic.device import Device, SignalDevice, light_device
from bridge.logic.interlocking import Interlocking
from bridge.logic.known import BUTTON, NUMBER, ORDERED, Fact, Key
from bridge.logic.reasons import Choice, Outcome, Word
from bridge.logic.track import Change, Track

NEVER_SETTLES: Final = "it and the signals that it goes by would change each other for ever"


class Board:
    """The devices, signals first, in the order of the file.

    The work that an event makes depends on how many devices listen to it, not on how many there are.
    """

    def __init__(self, layout: Layout) -> None:
        signals = {signal.name: signal for signal in layout.signals}
        self._interlocking = Interlocking(layout)
        gates = self._interlocking.gates
        self.devices: tuple[Device, ...] = (
            *(
                SignalDevice(signal, signals.get(signal.dark_under), gates.get(signal.name))
                for signal in layout.signals
            ),
            *(light_device(light) for light in layout.lights),
        )
        self._index = {device.name: index for index, device in enumerate(self.devices)}
        self._listeners: dict[Key, list[int]] = {}
        for index, device in enumerate(self.devices):
            for key in device.keys:
                self._listeners.setdefault(key, []).append(index)
        self._track = Track(layout, [str(name) for kind, name in self._listeners if kind == BUTTON])
        self._known = self._track.known
        nodes = {fixture.name: chain.node for chain in layout.chains for fixture in chain.fixtures}
        self._node_of = [nodes[each.fixture] for each in layout.signals]
        self._on_node: dict[str, list[int]] = {}
        for index, node in enumerate(self._node_of):
            self._on_node.setdefault(node, []).append(index)
        self._lost_nodes: dict[str, str] = {}  # with the reason
        for device in self.devices:
            if isinstance(device, SignalDevice):
                self._known.tell(device.key, Fact(device.rest, 0, ""))
        self._settle(set(range(len(self.devices))), 0)

    @property
    def choices(self) -> list[Choice]:
        """What every device shows, and why, in their order."""
        return [device.shown for device in self.devices]

    def hear(self, event: Event, number: int) -> Outcome:
        """Take an event; return what came of it.

        Args:
            event: what happened.
            number: its number in the session.
        """
        dirty: set[int] = set()
        self._interlocking.now, self._interlocking.number = event.at, number
        if isinstance(event, SourceReported):
            if event.state is LinkState.LOST:
                self._lose(event, number, dirty)
        elif isinstance(event, NodeReported):
            self._node(event, number, dirty)
        else:
            self._spread(self._track.hear(event, number), dirty)
        return self._settle(dirty, number)

    def _lose(self, event: SourceReported, number: int, dirty: set[int]) -> None:
        """Take the word of a source from all that rests on it."""
        self._spread(self._track.lose(event.source, event.at, number), dirty)
        for index, device in enumerate(self.devices):
            if device.lose(event.source, number):
                dirty.add(index)

    def next_due(self) -> Instant | None:
        """Return the instant of the next timer, or None while none is set."""
        track, locks = self._track.next_due(), self._interlocking.next_due()
        return track if locks is None else locks if track is None else min(track, locks)

    def perform(self, due: Instant) -> Outcome:
        """Let every timer that is due at this instant run out; return what came of it."""
        dirty: set[int] = set()
        changes = self._track.perform(due)
        self._spread(changes, dirty)
        self._interlocking.now = due
        dirty.update(self._index[signal] for signal in self._interlocking.due(due))
        number = max((change.fact.event for change in changes if change.fact is not None), default=0)
        self._interlocking.number = number
        return self._settle(dirty, number)

    def _spread(self, changes: Iterable[Change], dirty: set[int]) -> None:
        """Tell changes to all who listen."""
        for key, fact in changes:
            listeners = self._listeners.get(key, ())
            dirty.update(listeners)
            if fact is not None:
                for index in listeners:
                    self.devices[index].hear(key, fact)

    def _node(self, event: NodeReported, number: int, dirty: set[int]) -> None:
        """Trust no signal whose node does not answer: nobody knows what it shows."""
        if event.state is LinkState.LOST:
            self._lost_nodes[event.node] = event.why or "it does not answer"
        else:
            self._lost_nodes.pop(event.node, None)
        for index in self._on_node.get(event.node, ()):
            self._announce(index, number, dirty)

    def _settle(self, dirty: set[int], number: int) -> Outcome:
        """Choose anew until nothing changes any more; return what there is to tell.

        Signals may follow each other in a ring, as round an oval. What is better ahead never makes a signal worse,
        so this comes to rest; where an owner's own table makes it go on for ever, the signals that turn stop.
        """
        before: dict[int, Choice] = {}
        words: list[Word] = []
        stuck: set[int] = set()
        circles: Circles | None = None
        while dirty:
            now, dirty, turned = sorted(dirty), set[int](), set[int]()
            for index in now:
                device = self.devices[index]
                before.setdefault(index, device.shown)
                device.decide(self._known)
                if self._announce(index, number, dirty):
                    turned.add(index)
                if self._interlocking.changed or self._interlocking.words:
                    changed, told = self._interlocking.take()
                    words += told
                    neighbours = self._interlocking.neighbours
                    dirty.update(self._index[each] for name in changed for each in neighbours[name])
            dirty -= stuck
            if dirty:
                circles = circles or Circles(lambda: self._picture(before))
                for index in sorted(circles.after(turned, dirty)):
                    stuck.add(index)
                    before.setdefault(index, self.devices[index].shown)
                    self.devices[index].give_up(NEVER_SETTLES)
                    self._announce(index, number, dirty)
                dirty -= stuck
        choices = [
            (index, self.devices[index].shown)
            for index, shown in sorted(before.items())
            if self.devices[index].shown != shown
        ]
        return Outcome(choices, words)

    def _picture(self, touched: Iterable[int]) -> list[Any]:
        """Return all that the choices of signals depend on and that they change by choosing."""
        gates = self._interlocking.gates
        found: list[Any] = []
        for index in touched:
            device = self.devices[index]
            if isinstance(device, SignalDevice):
                gate = gates.get(device.name)
                found.append((index, self._known.get(device.key), None if gate is None else gate.snapshot()))
        return found

    def _announce(self, index: int, number: int, dirty: set[int]) -> bool:
        """Make known what a signal shows to those that guard it; return whether that is something else."""
        device = self.devices[index]
        if not isinstance(device, SignalDevice):
            return False
        why = self._lost_nodes.get(self._node_of[index], "")
        aspect = device.rest if why else device.choice.aspect
        old = self._known.get(device.key)
        if old is not None and old.value == aspect and old.why == why:
            return False
        self._known.tell(device.key, Fact(aspect, number, "", why=why))
        dirty.update(self._listeners.get(device.key, ()))
        return True

    def listens(self, event: Event) -> bool:
        """Return whether anything listens to an order or a button; of all other events nobody has to."""
        match event:
            case AccessoryOrdered():
                return (ORDERED, event.number) in self._listeners
            case AspectOrdered():
                return (NUMBER, event.number) in self._listeners
            case ButtonReported():
                return (BUTTON, event.name) in self._listeners
        return True

    def snapshot(self) -> dict[str, Any]:
        """Return everything as plain data."""
        return {
            "track": self._track.snapshot(),
            "interlocking": self._interlocking.snapshot(),
            "devices": {device.name: device.state() for device in self.devices},
            "stuck": [device.name for device in self.devices if device.gave_up],
            "lost": dict(self._lost_nodes),
        }

    def restore(self, data: dict[str, Any]) -> None:
        """Take back what `snapshot` gave.

        Raises:
            KeyError, TypeError, ValueError: it is none of these devices; some may have changed.
        """
        self._track.restore(data["track"])
        self._interlocking.restore(data["interlocking"])
        if set(data["devices"]) != {device.name for device in self.devices}:
            raise ValueError("it is of other devices")
        for device in self.devices:
            device.set_state(data["devices"][device.name])
        self._lost_nodes = {str(node): str(why) for node, why in data["lost"].items()}
        stuck = {str(name) for name in data["stuck"]}
        for device in self.devices:
            if device.name in stuck:
                device.give_up(NEVER_SETTLES)
            else:
                device.decide(self._known)
