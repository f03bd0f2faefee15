"""All devices of a layout, and which of them has to hear of what."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Final

from bridge.events import (
    AccessoryOrdered,
    AccessoryProved,
    AspectOrdered,
    BlockReported,
    ButtonReported,
    Event,
    Instant,
    LinkState,
    NodeReported,
    RouteKept,
    SourceReported,
    Subject,
    UseReported,
)
from bridge.layout.conditions import Hours
from bridge.layout.model import OFF, ON, Layout
from bridge.layout.units import percent_text
from bridge.logic.asked import Asked
from bridge.logic.circles import Circles
from bridge.logic.clock import ModelClock
from bridge.logic.crossing import Crossings
from bridge.logic.device import Device, SignalDevice, light_device, master_devices
from bridge.logic.interlocking import Interlocking
from bridge.logic.known import ABSENT, BLOCK, BUTTON, LIGHT, NUMBER, ORDERED, PROVED, SIGNAL, Fact, Key
from bridge.logic.listeners import Listeners
from bridge.logic.moments import Moments
from bridge.logic.reasons import Choice, Outcome, Word
from bridge.logic.track import Change, Track

NEVER_SETTLES: Final = "it and the signals that it goes by would change each other for ever"


class Board:
    """The devices, signals first, in the order of the file; and the masters, which are over several of them.

    The work that an event makes depends on how many devices listen to it, not on how many there are.

    Attributes:
        devices: the signals and lights.
        masters: the zones, and what stills all flashing.
        listens: returns whether what an event is about means anything here.
        asked: what can be asked of each.
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
        self.masters = master_devices(layout)
        self._all = (*self.devices, *self.masters)
        nodes = {fixture.name: chain.node for chain in layout.all_chains for fixture in chain.fixtures}
        listeners = Listeners(layout, self._all, self._interlocking, nodes.values())
        self.listens = listeners.listens
        self._listeners = listeners.by_key
        leaves = [leaf for device in self._all for leaf in device.leaves]
        self._track = Track(layout, listeners.buttons, [leaf for leaf in leaves if isinstance(leaf, Hours)])
        self._known = self._track.known
        self._moments = Moments(leaves, self._known)
        self._crossings = Crossings(layout, self._known)
        self._node_of = [nodes[each.fixture] for each in layout.signals]
        self._lost = [each.lost for each in layout.signals]  # why what they show cannot be relied upon
        self._on_node: dict[str, list[int]] = {}
        for index, node in enumerate(self._node_of):
            self._on_node.setdefault(node, []).append(index)
        self._lost_nodes: set[str] = set()
        self._doubted_nodes: dict[str, str] = {}  # with the reason: those that are lost or out of use
        self._out_of_use: dict[tuple[Subject, str], tuple[str, int]] = {}  # with the reason and the event
        self._arms = {index: signal.arm for index, signal in enumerate(layout.signals) if signal.arm}
        self._at_rest = {index: arm[layout.signals[index].rest] for index, arm in self._arms.items()}
        self._arm_stands: dict[int, str] = {}
        self._absent: set[tuple[Subject, str]] = set()
        self._places = [
            {(Subject.SIGNAL, signal.name), (Subject.NODE, node)}
            for signal, node in zip(layout.signals, self._node_of, strict=True)
        ]
        for device in self.devices:
            if isinstance(device, SignalDevice):
                self._known.tell(device.key, Fact(device.rest, 0, ""))
        node_of = {each.name: node for each, node in zip(layout.signals, self._node_of, strict=True)}
        lost = {each.name: each.lost for each in layout.signals}
        self.asked = Asked(
            self._all, self._track, self._interlocking, self._crossings, node_of, lost, self._out_of_use
        )
        self._settle(set(range(len(self._all))), 0)

    @property
    def choices(self) -> list[Choice]:
        """What every device shows, and why, in their order."""
        return [device.shown for device in self.devices]

    @property
    def words(self) -> list[Word]:
        """What there is to tell now of all things beside devices: gates, locks of turnouts, arms, zones."""
        arms = [self._arm(index) for index in self._arms]
        masters = [self._master(device) for device in self.masters]
        return [*self._crossings.words, *self._interlocking.all_words(), *arms, *masters]

    @property
    def clock(self) -> ModelClock:
        """The model clock."""
        return self._track.clock

    def _master(self, device: Device) -> Word:
        """Return what there is to tell of a zone, or of the switch that stills all flashing."""
        aspect, reason, causes, _source = device.shown
        if aspect in (ON, OFF):
            return Word("still", device.name, aspect, reason, causes)
        return Word("zone", device.name, percent_text(int(aspect)), reason, causes)

    def gates_at_rest(self, why: str) -> list[Word]:
        """Return where all gates of crossings shall be when nobody looks out for trains any more."""
        return self._crossings.at_rest(why)

    def _arm(self, index: int) -> Word:
        """Return where the arm of a signal has to stand: that goes by its aspect, also while its lamps are dark."""
        device, arm = self.devices[index], self._arms[index]
        choice = device.choice
        return Word(
            "arm", device.name, arm.get(choice.aspect, self._at_rest[index]), choice.reason, choice.causes
        )

    def hear(self, event: Event, number: int) -> Outcome:
        """Take an event; return what came of it.

        Args:
            event: what happened.
            number: its number in the session.
        """
        dirty: set[int] = set()
        words: list[Word] = []
        self._interlocking.now, self._interlocking.number = event.at, number
        if not self._out_of_use or (Subject.SOURCE, event.source) not in self._out_of_use:
            self._hear(self._track.hear(event, number), event.at, dirty)
        if isinstance(event, SourceReported | NodeReported | UseReported | RouteKept):
            self._of_ourselves(event, number, dirty, words)
        outcome = self._settle(dirty, number)
        return outcome._replace(words=words + outcome.words) if words else outcome

    def _of_ourselves(
        self,
        event: SourceReported | NodeReported | UseReported | RouteKept,
        number: int,
        dirty: set[int],
        words: list[Word],
    ) -> None:
        """Take news not of the track but of who tells of it, who shows it, what is in use, and what was locked."""
        match event:
            case SourceReported(state=LinkState.LOST):
                self._lose(event.source, event.at, number, dirty)
            case NodeReported(state=LinkState.LOST):
                self._lost_nodes.add(event.node)
                self._node(event.node, number, dirty)
            case NodeReported():
                self._lost_nodes.discard(event.node)
                self._node(event.node, number, dirty)
            case UseReported() if self.listens(event):
                words.append(self._use(event, number, dirty))
            case RouteKept():
                route = self._interlocking.route(event.signal, event.route)
                if route is not None:
                    self._interlocking.gates[event.signal].keep(route, self._known)
                    dirty.add(self._index[event.signal])

    def next_due(self) -> Instant | None:
        """Return the instant of the next timer, or None while none is set."""
        next_due = self._track.next_due()
        for due in (self._moments.next_due(), self._crossings.next_due(), self._interlocking.next_due()):
            if due is not None and (next_due is None or due < next_due):
                next_due = due
        return next_due

    @property
    def timers(self) -> int:
        """How many timers there may be."""
        return self._track.timers + len(self._crossings.names) + len(self._interlocking.gates)

    def due(self, at: Instant) -> list[str]:
        """Return the names of what has a timer that runs out at an instant or before it."""
        return [*self._track.due(at), *self._crossings.due(at), *self._interlocking.due(at)]

    def perform(self, due: Instant) -> Outcome:
        """Let every timer that is due at this instant run out; return what came of it."""
        dirty: set[int] = set()
        changes = self._track.perform(due)
        self._hear(changes, due, dirty)
        over = self._moments.perform(due)
        self._spread(over, dirty)
        changes += over
        self._spread(self._crossings.perform(due), dirty)
        self._interlocking.now = due
        dirty.update(self._index[signal] for signal in self._interlocking.due(due))
        number = max((change.fact.event for change in changes if change.fact is not None), default=0)
        self._interlocking.number = number
        return self._settle(dirty, number)

    def _hear(self, changes: Sequence[Change], at: Instant, dirty: set[int]) -> None:
        """Tell changes of the track to the crossings, and with theirs to all who listen."""
        if not changes:
            return
        self._spread(changes, dirty)
        if begun := self._moments.hear(changes, at):
            self._spread(begun, dirty)
        if self._crossings.names and (closing := self._crossings.hear(changes, at)):
            self._spread(closing, dirty)

    def _spread(self, changes: Iterable[Change], dirty: set[int]) -> None:
        """Tell changes to all who listen."""
        for key, fact in changes:
            listeners = self._listeners.get(key)
            if listeners is None:
                continue
            dirty.update(listeners)
            if fact is not None:
                for index in listeners:
                    self._all[index].hear(key, fact)

    def _node(self, node: str, number: int, dirty: set[int]) -> None:
        """Trust no signal whose node does not answer or is out of use: nobody knows what it shows."""
        self._doubt_node(node)
        for index in self._on_node.get(node, ()):
            self._announce(index, number, dirty)

    def _doubt_node(self, node: str) -> None:
        out = self._out_of_use.get((Subject.NODE, node))
        if out is not None:
            self._doubted_nodes[node] = f"node {node} {out[0]}"
        elif node in self._lost_nodes:
            self._doubted_nodes[node] = f"node {node} does not answer"
        else:
            self._doubted_nodes.pop(node, None)

    def _use(self, event: UseReported, number: int, dirty: set[int]) -> Word:
        """Take something out of use or put it back; whatever depends on it stays restrictive meanwhile."""
        subject, name = event.subject, event.name
        what = "is absent" if event.absent else "is out of use"
        why = f"{what}{': ' if event.why else ''}{event.why}" if event.out else ""
        self._out_of_use.pop((subject, name), None)
        self._absent.discard((subject, name))
        if event.out:
            self._out_of_use[subject, name] = (why, number)
        if event.absent:
            self._absent.add((subject, name))
        keys: list[Key] = []
        match subject:
            case Subject.SIGNAL:
                keys = [(SIGNAL, name)]
                self._use_signal(name, why, number, dirty)
            case Subject.BLOCK:
                keys = [(BLOCK, name)]
                self._hear(
                    self._track.use_block(name, why and f"it {why}", event.at, number), event.at, dirty
                )
            case Subject.TURNOUT:
                keys = [(ORDERED, int(name)), (PROVED, int(name))]
                self._spread(self._track.use_turnout(int(name), why, number), dirty)
            case Subject.SOURCE if event.out:
                self._lose(name, event.at, number, dirty)
            case Subject.NODE:
                keys = [(SIGNAL, self.devices[index].name) for index in self._on_node.get(name, ())]
                self._node(name, number, dirty)
        touched = {self._all[index].name for key in keys for index in self._listeners.get(key, ())}
        kept = f"; on it depend {', '.join(sorted(touched))}" if touched and event.out else ""
        state = "absent" if event.absent else "out" if event.out else "in-use"
        told = f"{event.why}{kept}".lstrip("; ")
        if subject == Subject.SIGNAL and not event.out and (lost := self._lost[self._index[name]]):
            state, told = "out", lost
        return Word("out-of-use", f"{subject}/{name}", state, told, (number,))

    def _use_signal(self, name: str, why: str, number: int, dirty: set[int]) -> None:
        index = self._index.get(name)
        device = None if index is None else self.devices[index]
        if index is not None and isinstance(device, SignalDevice):
            device.use(why, number)
            dirty.add(index)

    def _lose(self, source: str, at: Instant, number: int, dirty: set[int]) -> None:
        """Forget what a source told, and let whoever rests on its word rest."""
        self._hear(self._track.lose(source, at, number), at, dirty)
        for index, device in enumerate(self.devices):
            if device.lose(source, number):
                dirty.add(index)

    def _settle(self, dirty: set[int], number: int) -> Outcome:
        """Choose anew until nothing changes any more; return what there is to tell.

        Signals may follow each other in a ring, as round an oval. What is better ahead never makes a signal worse,
        so this comes to rest; where an owner's own table makes it go on for ever, the signals that turn stop.
        """
        words = self._crossings.take()
        if not dirty:
            return Outcome([], words, [])
        before: dict[int, Choice] = {}
        stuck: set[int] = set()
        turned: set[int]
        circles: Circles | None = None
        while dirty:
            now = sorted(dirty) if len(dirty) > 1 else dirty
            dirty, turned = set(), set()
            for index in now:
                device = self._all[index]
                before.setdefault(index, device.shown)
                device.decide(self._known)
                if self._announce(index, number, dirty) and isinstance(device, SignalDevice):
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
                    if not isinstance(self._all[index], SignalDevice):
                        continue  # it only goes by those that turn
                    stuck.add(index)
                    before.setdefault(index, self.devices[index].shown)
                    self.devices[index].give_up(NEVER_SETTLES)
                    self._announce(index, number, dirty)
                dirty -= stuck
        return self._outcome(before, words)

    def _outcome(self, before: dict[int, Choice], words: list[Word]) -> Outcome:
        """Return what is otherwise now than before, beside these words."""
        choices: list[tuple[int, Choice]] = []
        masters: list[tuple[int, Choice]] = []
        for index in sorted(before):
            device = self._all[index]
            if index in self._arms and (word := self._arm(index)).state != self._arm_stands.get(index):
                self._arm_stands[index] = word.state
                words.append(word)
            if device.shown == before[index]:
                continue
            if index < len(self.devices):
                choices.append((index, device.shown))
            else:
                masters.append((index - len(self.devices), device.shown))
                words.append(self._master(device))
        return Outcome(choices, words, masters)

    def _picture(self, touched: Iterable[int]) -> list[Any]:
        """Return all that the choices of signals depend on and that they change by choosing."""
        gates = self._interlocking.gates
        found: list[Any] = []
        for index in touched:
            device = self._all[index]
            if isinstance(device, SignalDevice):
                gate = gates.get(device.name)
                found.append((index, self._known.get(device.key), None if gate is None else gate.snapshot()))
        return found

    def _announce(self, index: int, number: int, dirty: set[int]) -> bool:
        """Make known what a signal or a light shows to those that go by it; return whether that is something else."""
        device = self._all[index]
        if not isinstance(device, SignalDevice):
            lit: Key = (LIGHT, device.name)
            listened = index < len(self.devices) and lit in self._listeners
            return listened and self._know(lit, device.shown.aspect, "", number, dirty)
        why = self._lost[index] or self._doubted_nodes.get(self._node_of[index], "")
        aspect = device.rest if why else device.choice.aspect
        if self._absent and not self._absent.isdisjoint(self._places[index]):
            aspect, why = ABSENT, ""
        return self._know(device.key, aspect, why, number, dirty)

    def _know(self, key: Key, value: str, why: str, number: int, dirty: set[int]) -> bool:
        """Take a fact of our own, if it says something else than before; return whether it does."""
        old = self._known.get(key)
        if old is not None and old.value == value and old.why == why:
            return False
        self._known.tell(key, Fact(value, number, "", why=why))
        dirty.update(self._listeners.get(key, ()))
        return True

    def orders(self) -> list[tuple[str, int, str, str]]:
        """Return what was ordered of accessories, the oldest first: kind, number, value and source of each.

        An order that a train has used up is none any more, and what was ordered before it of the same signal neither.
        """
        used_up = {key for each in self.devices if isinstance(each, SignalDevice) for key in each.used_up()}
        orders = [(key, fact) for key, fact in self._known.orders() if key not in used_up]
        return [(key[0], int(key[1]), fact.value, fact.source) for key, fact in orders]

    def locks(self) -> list[tuple[str, str, str]]:
        """Return the locked routes, the oldest lock first: signal, route, and how its gate stands."""
        return [
            (name, gate.route.name, gate.state.value)
            for name, gate in self._interlocking.held.items()
            if gate.route is not None
        ]

    def listeners(self, event: Event) -> tuple[str, ...]:
        """Return the names of those devices and crossings that go by what an order, a block or a button is about."""
        key: Key
        match event:
            case AccessoryOrdered():
                key = ORDERED, event.number
            case AccessoryProved():
                key = PROVED, event.number
            case AspectOrdered():
                key = NUMBER, event.number
            case BlockReported():
                key = BLOCK, event.name
            case ButtonReported():
                key = BUTTON, event.name
            case _:
                return ()
        keys = (key, *self._moments.begun_by(key))
        names = [self._all[index].name for each in keys for index in self._listeners.get(each, ())]
        return tuple(dict.fromkeys([*names, *self._crossings.at(key)]))

    def snapshot(self) -> dict[str, Any]:
        """Return everything as plain data."""
        return {
            "track": self._track.snapshot(),
            "interlocking": self._interlocking.snapshot(),
            "crossings": self._crossings.snapshot(),
            "moments": self._moments.snapshot(),
            "devices": {device.name: device.state() for device in self.devices},
            "masters": [device.state() for device in self.masters],
            "stuck": [device.name for device in self.devices if device.gave_up],
            "lost": sorted(self._lost_nodes),
            "out-of-use": [[*key, *said, key in self._absent] for key, said in self._out_of_use.items()],
        }

    def restore(self, data: dict[str, Any]) -> None:
        """Take back what `snapshot` gave.

        Raises:
            KeyError, TypeError, ValueError: it is none of these devices; some may have changed.
        """
        self._track.restore(data["track"])
        self._interlocking.restore(data["interlocking"])
        self._crossings.restore(data["crossings"])
        self._moments.restore(data["moments"])
        if set(data["devices"]) != {device.name for device in self.devices}:
            raise ValueError("it is of other devices")
        for device in self.devices:
            device.set_state(data["devices"][device.name])
        for device, state in zip(self.masters, data["masters"], strict=True):
            device.set_state(state)
        self._lost_nodes = {str(node) for node in data["lost"]}
        for subject, name, why, event, absent in data["out-of-use"]:
            self._out_of_use[Subject(subject), str(name)] = (str(why), int(event))
            if absent:
                self._absent.add((Subject(subject), str(name)))
            if subject == Subject.SIGNAL:
                self._use_signal(str(name), str(why), int(event), set())
        for node in self._on_node:
            self._doubt_node(node)
        stuck = {str(name) for name in data["stuck"]}
        for device in self._all:
            if isinstance(device, SignalDevice) and device.name in stuck:
                device.give_up(NEVER_SETTLES)
            else:
                device.decide(self._known)
        self._arm_stands = {index: self._arm(index).state for index in self._arms}
