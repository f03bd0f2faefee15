"""All devices of a layout, and which of them has to hear of what."""

from __future__ import annotations

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
from bridge.logic.crossing import Crossings
from bridge.logic.device import Device, SignalDevice, light_device
from bridge.logic.interlocking import Interlocking
from bridge.logic.known import BUTTON, NUMBER, ORDERED, SIGNAL, Fact, Key
from bridge.logic.reasons import Choice, Outcome, Word
from bridge.logic.track import Change, Track

NEVER_SETTLES: Final = "it and the signals that it depends on never come to rest"


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
        self._crossings = Crossings(layout, self._known)
        nodes = {fixture.name: chain.node for chain in layout.chains for fixture in chain.fixtures}
        self._node_of = [nodes[each.fixture] for each in layout.signals]
        self._on_node: dict[str, list[int]] = {}
        for index, node in enumerate(self._node_of):
            self._on_node.setdefault(node, []).append(index)
        self._lost_nodes: dict[str, str] = {}  # with the reason
        for device in self.devices:
            if isinstance(device, SignalDevice):
                self._known.tell((SIGNAL, device.name), Fact(device.rest, 0, ""))
        self._settle(set(range(len(self.devices))), 0)

    @property
    def choices(self) -> list[Choice]:
        """What every device shows, and why, in their order."""
        return [device.shown for device in self.devices]

    @property
    def words(self) -> list[Word]:
        """What there is to tell at the start of things beside devices, in the order of the file."""
        return self._crossings.words

    def hear(self, event: Event, number: int) -> Outcome:
        """Take an event; return what came of it.

        Args:
            event: what happened.
            number: its number in the session.
        """
        dirty: set[int] = set()
        self._interlocking.now, self._interlocking.number = event.at, number
        match event:
            case SourceReported(state=LinkState.LOST):
                self._hear(self._track.lose(event.source, event.at, number), event.at, dirty)
                for index, device in enumerate(self.devices):
                    if device.lose(event.source, number):
                        dirty.add(index)
            case NodeReported():
                self._node(event, number, dirty)
            case _:
                self._hear(self._track.hear(event, number), event.at, dirty)
        return self._settle(dirty, number)

    def next_due(self) -> Instant | None:
        """Return the instant of the next timer, or None while none is set."""
        parts = (self._track, self._crossings, self._interlocking)
        return min((due for part in parts if (due := part.next_due()) is not None), default=None)

    def perform(self, due: Instant) -> Outcome:
        """Let every timer that is due at this instant run out; return what came of it."""
        dirty: set[int] = set()
        changes = self._track.perform(due)
        self._hear(changes, due, dirty)
        self._spread(self._crossings.perform(due), dirty)
        self._interlocking.now = due
        dirty.update(self._index[signal] for signal in self._interlocking.due(due))
        number = max((change.fact.event for change in changes if change.fact is not None), default=0)
        self._interlocking.number = number
        return self._settle(dirty, number)

    def _hear(self, changes: list[Change], at: Instant, dirty: set[int]) -> None:
        """Tell changes of the track to the crossings, and with theirs to all who listen."""
        self._spread([*changes, *self._crossings.hear(changes, at)], dirty)

    def _spread(self, changes: list[Change], dirty: set[int]) -> None:
        """Tell changes to all who listen."""
        for key, fact in changes:
            for index in self._listeners.get(key, ()):
                if fact is not None:
                    self.devices[index].hear(key, fact)
                dirty.add(index)

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
        so this comes to rest; where an owner's own table makes it go on for ever, the signals concerned stop.
        """
        before: dict[int, Choice] = {}
        words: list[Word] = self._crossings.take()
        most = len(self.devices) + len(dirty)
        rounds = 0
        while dirty and rounds <= most:
            rounds += 1
            now, dirty = sorted(dirty), set()
            for index in now:
                device = self.devices[index]
                before.setdefault(index, device.shown)
                if rounds <= most:
                    device.decide(self._known)
                else:
                    device.give_up(NEVER_SETTLES)
                self._announce(index, number, dirty)
                changed, told = self._interlocking.take()
                words += told
                dirty.update(
                    self._index[each] for name in changed for each in self._interlocking.neighbours[name]
                )
        choices = [
            (index, self.devices[index].shown)
            for index, shown in sorted(before.items())
            if self.devices[index].shown != shown
        ]
        return Outcome(choices, words)

    def _announce(self, index: int, number: int, dirty: set[int]) -> None:
        """Make known what a signal shows to those that guard it."""
        device = self.devices[index]
        if not isinstance(device, SignalDevice):
            return
        why = self._lost_nodes.get(self._node_of[index], "")
        aspect = device.rest if why else device.choice.aspect
        key: Key = (SIGNAL, device.name)
        old = self._known.get(key)
        if old is None or old.value != aspect:
            self._known.tell(key, Fact(aspect, number, "", why=why))
            dirty.update(self._listeners.get(key, ()))

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
            "crossings": self._crossings.snapshot(),
            "devices": {device.name: device.state() for device in self.devices},
            "lost": dict(self._lost_nodes),
        }

    def restore(self, data: dict[str, Any]) -> None:
        """Take back what `snapshot` gave.

        Raises:
            KeyError, TypeError, ValueError: it is none of these devices; some may have changed.
        """
        self._track.restore(data["track"])
        self._interlocking.restore(data["interlocking"])
        self._crossings.restore(data["crossings"])
        if set(data["devices"]) != {device.name for device in self.devices}:
            raise ValueError("it is of other devices")
        for device in self.devices:
            device.set_state(data["devices"][device.name])
        self._lost_nodes = {str(node): str(why) for node, why in data["lost"].items()}
        for device in self.devices:
            device.decide(self._known)
