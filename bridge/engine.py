"""The whole pure core behind one door: events and instants in, commands out.

The engine reads no clock and touches nothing. Whoever drives it hands in events with non-decreasing
instants, calls `advance` at the instants that `next_wake` names, and carries out the commands it returns.
What is due by itself (a timer of the logic) happens at its own due instant, before whatever comes later, so it
makes no difference how late the engine is called.
"""

from __future__ import annotations

from typing import Any, Final

from bridge.chain.timing import look_at_timing
from bridge.commands import Cause, Command, Decision, Note, PublishFrame, Report, Told
from bridge.errors import EngineError, LayoutError
from bridge.events import AccessoryOrdered, AspectOrdered, Event, Instant
from bridge.layout.findings import Finding, errors, in_order
from bridge.layout.model import ON, Layout
from bridge.light.pictures import plan_devices
from bridge.logic.asked import Asked
from bridge.logic.board import Board
from bridge.logic.clock import ClockTime
from bridge.logic.deciding import Deciding
from bridge.logic.look import look_at_logic
from bridge.logic.reasons import STOPPED, Choice, Outcome
from bridge.logic.repeats import Novelty
from bridge.logic.supposing import Present, Supposing
from bridge.stage import Stage
from bridge.trial.running import LampTest
from bridge.trial.table import Standing

SNAPSHOT_FORMAT: Final = 1


def look_at(layout: Layout) -> tuple[Finding, ...]:
    """Return what the rooms find in a layout that was read without errors, in the order of the file."""
    _plans, found = plan_devices(layout)
    return in_order((*found, *look_at_logic(layout), *look_at_timing(layout)))


class Engine:
    """Drives one layout.

    Attributes:
        layout: what is driven.

    Raises:
        LayoutError: the layout has errors that `look_at` finds.
    """

    def __init__(self, layout: Layout) -> None:
        found = errors(look_at(layout))
        if found:
            raise LayoutError("the layout has errors", found)
        self.layout = layout
        self._plans, _findings = plan_devices(layout)
        self._deciding = Deciding(layout)
        self._stage = Stage(layout, self._plans)
        self._lamp_test = LampTest(layout, self._plans)
        self._shown = [choice.aspect for choice in self._board.choices]
        # How good each aspect of a signal is, the most restrictive 0. Of lights none is better than another.
        self._ranks = [
            {row.name: rank for rank, row in enumerate(signal.aspects)} for signal in layout.signals
        ]
        self._ranks += [{}] * len(layout.lights)
        self._mastered = [device.shown.aspect for device in self._board.masters]

    @property
    def now(self) -> Instant:
        """The instant of the last event or rendering."""
        return self._deciding.now

    @property
    def events(self) -> int:
        """How many events were handled; the number of an event is this count after it."""
        return self._deciding.events

    @property
    def _board(self) -> Board:
        return self._deciding.board

    def start(self) -> list[Command]:
        """Put every device into its state of knowing nothing; return all frames and all there is to tell."""
        commands: list[Command] = []
        for index, aspect in enumerate(self._mastered):
            self._master(index, aspect, self.now, at_once=True)
        for index, choice in enumerate(self._board.choices):
            self._stage.begin(index, choice.aspect, self.now)
            commands.append(Report(self.now, self._plans[index].name, choice.aspect, choice.reason))
        commands += [Told(self.now, *word) for word in self._board.words]
        return [*self._stage.all_frames(self.now, Cause.START), *commands]

    def handle(self, event: Event) -> list[Command]:
        """Take one event and return what follows from it, the frames first; before that, what was due before it.

        Raises:
            EngineError: the event is older than what came before; nothing has changed.
        """
        if event.at < self.now:
            raise EngineError(f"an event at {event.at} came after {self.now}")
        due = self._perform_due(event.at)
        novelty, outcome = self._deciding.hear(event)
        notes = [] if novelty is Novelty.NEW else [Note(event.at, _again(event, novelty), self.events)]
        if outcome is None:
            return [*due, *self._cover([], event.at), *notes]
        # Heard first: a test that ends with this event must not lie over what the logic makes of it.
        tested = self._lamp_test.hear(event, self.events)
        followed = self._follow(outcome, event.at, Cause.EVENT)
        return [*due, *notes, *self._cover([], event.at), *followed, *tested]

    def advance(self, instant: Instant) -> list[Command]:
        """Perform what is due and render an instant; return what follows, and the frames of what moves.

        Raises:
            EngineError: the instant lies before what came last; nothing has changed.
        """
        if instant < self.now:
            raise EngineError(f"the instant {instant} lies before {self.now}")
        due = self._perform_due(instant)
        self._deciding.now = instant
        return [*due, *self._cover(self._stage.render(instant), instant)]

    def next_wake(self) -> Instant | None:
        """Return the next instant at which `advance` is wanted, or None while nothing moves and nothing is due."""
        frame, due = self._stage.next_frame(self.now), self._board.next_due()
        wake = min(frame, due) if frame is not None and due is not None else due if frame is None else frame
        if self._lamp_test.standing is Standing.OFF:
            return wake
        tests = (self._lamp_test.next_due(), self._lamp_test.next_step(self.now))
        return min(each for each in (wake, *tests) if each is not None)

    def next_timer(self) -> Instant | None:
        """Return when the next timer is due, of the logic or of a lamp test; all that moves before is light alone."""
        return self._next_due()

    def wake_at(self, now: Instant) -> Instant | None:
        """Return the instant to hand to `advance` at the instant `now`, or None while none has come.

        Of the frames that are late by then only the newest is worth rendering.
        """
        wake = self.next_wake()
        return None if wake is None or wake > now else max(wake, self._stage.newest(now))

    def all_frames(self, cause: Cause) -> list[PublishFrame]:
        """Return the present frame of every chain."""
        frames = self._stage.all_frames(self.now, cause)
        present = self._lamp_test.present(self._stage.present_frames())
        return [
            frame if frame.levels == levels else frame._replace(levels=levels, test=True)
            for frame, levels in zip(frames, present, strict=True)
        ]

    def present_frames(self) -> tuple[bytes, ...]:
        """Return what every chain was given last; nothing is rendered."""
        return self._lamp_test.present(self._stage.present_frames())

    def tested(self) -> tuple[str, ...]:
        """Return the devices whose lamps show a lamp test at present, and not what they should."""
        return self._lamp_test.concerned()

    def closing(self, at: Instant) -> list[Command]:
        """Put every device to rest, signals restrictive and lights dark; return the last frames and words.

        Nobody keeps a lock any more, and a panel must not wait for one. Gates come down as the lights stay red: nobody
        looks out for trains any more.
        """
        self._deciding.now = max(at, self.now)
        tested = self._lamp_test.stop(self.now, STOPPED)
        for index in range(len(self._plans)):
            self._stage.rest(index)
        reports = [Report(self.now, plan.name, plan.rest, STOPPED) for plan in self._plans]
        locks = [word.name for word in self._board.words if word.subject == "lock"]
        told = [Told(self.now, "lock", name, "free", STOPPED, ()) for name in locks]
        told += [Told(self.now, *word) for word in self._board.gates_at_rest(STOPPED)]
        told += [
            Told(self.now, "arm", signal.name, signal.arm[signal.rest], STOPPED, ())
            for signal in self.layout.signals
            if signal.arm
        ]
        return [*self._stage.all_frames(self.now, Cause.LAST), *reports, *told, *tested]

    def listens(self, event: Event) -> bool:
        """Return whether what an event is about means anything in the layout; the clock and links always do."""
        return self._board.listens(event)

    def listeners(self, event: Event) -> tuple[str, ...]:
        """Return the names of those devices and crossings that go by what an order, a block or a button is about."""
        return self._board.listeners(event)

    def choices(self) -> dict[str, Choice]:
        """Return what every device shows, and why."""
        return {plan.name: choice for plan, choice in zip(self._plans, self._board.choices, strict=True)}

    @property
    def asked(self) -> Asked:
        """What can be asked of each device, zone and crossing: how it stands, and what it goes by."""
        return self._board.asked

    def suppose(self, name: str, *, whole: bool = False) -> Supposing:
        """Return what can tell how a device, a zone or a crossing would stand if something else happened now.

        Args:
            name: of it.
            whole: reckon with the whole layout, and not only with what lies near it.
        """
        state = Present(self.layout, self._board.asked, self._board.snapshot(), self.now, self.events)
        return Supposing(state, name, whole=whole)

    def orders(self) -> list[tuple[str, int, str, str]]:
        """Return what was ordered of accessories, the oldest first: kind, number, value and source of each.

        Kind is `accessory` or `aspect`. Told again with authority `RESTORED`, the newest first, it brings those
        devices back that want to be.
        """
        return self._board.orders()

    def locks(self) -> list[tuple[str, str, str]]:
        """Return the locked routes, the oldest lock first: signal, route, and how that signal's gate stands.

        Told again as `RouteKept` before anything is known, each is locked again, for its full time at the least.
        """
        return self._board.locks()

    def clock(self, at: Instant) -> ClockTime | None:
        """Return what the model clock shows at an instant, or None while that is not known."""
        return self._board.clock.time(at)

    def snapshot(self) -> dict[str, Any]:
        """Return the whole state as plain data with a format number."""
        return {
            "format": SNAPSHOT_FORMAT,
            **self._deciding.snapshot(),
            "stage": self._stage.snapshot(),
            # Only while there is one: so the snapshots in session logs of before there were any are the same still.
            **({} if (lamp_test := self._lamp_test.snapshot()) is None else {"lamp-test": lamp_test}),
        }

    def restore(self, data: dict[str, Any]) -> None:
        """Take back the state that `snapshot` gave, of an engine with the same layout.

        Raises:
            EngineError: the snapshot has another format or does not fit; nothing has changed.
        """
        if data.get("format") != SNAPSHOT_FORMAT:
            raise EngineError(f"a snapshot of format {data.get('format')!r} cannot be read here")
        deciding = Deciding(self.layout)
        lamp_test = LampTest(self.layout, self._plans)
        try:
            deciding.restore(data)
            lamp_test.restore(data.get("lamp-test"))
            shown = [choice.aspect for choice in deciding.board.choices]
            known = all(self._stage.knows(index, aspect) for index, aspect in enumerate(shown))
            if not known:
                raise EngineError("the snapshot is of another layout")
            self._stage.restore(data["stage"])
        except (LookupError, TypeError, ValueError) as problem:
            raise EngineError(f"the snapshot cannot be understood: {problem!r}") from problem
        self._deciding, self._shown, self._lamp_test = deciding, shown, lamp_test
        self._mastered = [device.shown.aspect for device in deciding.board.masters]

    def _perform_due(self, until: Instant) -> list[Command]:
        """Perform every timer that is due by an instant, each at its own, and return what follows from them.

        Raises:
            EngineError: timers of no length set each other off for ever; the message names whose.
        """
        commands: list[Command] = []
        while (due := self._next_due()) is not None and due <= until:
            if due != self._board.next_due():
                self._deciding.now = max(due, self.now)
                told = self._lamp_test.perform(due)
                commands += [*self._cover([], due), *told]
                continue
            commands += self._follow(self._deciding.perform(due), due, Cause.TIMER)
        return commands

    def _next_due(self) -> Instant | None:
        """Return when the next timer is due, of the logic or, behind it, of the lamp test."""
        logic, test = self._board.next_due(), self._lamp_test.next_due()
        return logic if test is None or (logic is not None and logic <= test) else test

    def _cover(self, frames: list[PublishFrame], at: Instant) -> list[PublishFrame]:
        """Lay the lamp test, where one runs, over frames that are about to go out."""
        if not self._lamp_test.covers:
            return frames
        return self._lamp_test.cover(frames, self._stage.present_frames(), at)

    def _follow(self, outcome: Outcome, at: Instant, cause: Cause) -> list[Command]:
        """Show what devices chose anew. What becomes more restrictive is on its way before anything becomes better."""
        told: list[Command] = []
        falling: list[tuple[int, str]] = []
        rising: list[tuple[int, str]] = []
        for index, choice in outcome.choices:
            name, before = self._plans[index].name, self._shown[index]
            if before != choice.aspect:
                ranks = self._ranks[index]
                better = ranks.get(choice.aspect, 0) > ranks.get(before, 0)
                (rising if better else falling).append((index, choice.aspect))
                self._shown[index] = choice.aspect
            causes = choice.causes
            if not causes and before != choice.aspect and cause is Cause.EVENT:
                causes = (
                    self.events,
                )  # what it rests on is as at the start, as when it is put back into use
            told.append(Decision(at, name, before, choice.aspect, choice.reason, causes))
            told.append(Report(at, name, choice.aspect, choice.reason))
        told += [Told(at, *word) for word in outcome.words]
        frames: list[Command] = []
        if falling:
            frames += self._cover(self._stage.render(at, self._show(falling, at), cause), at)
        if rising or outcome.masters:
            touched = self._show(rising, at)
            for index, choice in outcome.masters:
                if choice.aspect != self._mastered[index]:
                    self._mastered[index] = choice.aspect
                    touched |= self._master(index, choice.aspect, at)
            frames += self._cover(self._stage.render(at, touched, cause), at)
        return frames + told

    def _show(self, devices: list[tuple[int, str]], at: Instant) -> set[int]:
        """Show aspects, and return the indexes of the chains that are touched."""
        return set[int]().union(*(self._stage.show(index, aspect, at) for index, aspect in devices))

    def _master(self, index: int, aspect: str, at: Instant, *, at_once: bool = False) -> frozenset[int]:
        """Dim a zone, or still all flashing; return the indexes of the chains that are touched."""
        zones = self.layout.zones
        if index == len(zones):
            return self._stage.still(on=aspect == ON, at=at)
        return self._stage.dim(index, int(aspect), at, 0 if at_once else zones[index].change)


def _again(event: Event, novelty: Novelty) -> str:
    """Return the note on an order that its source may have given by itself."""
    match event:
        case AccessoryOrdered():
            order = f"accessory {event.number} was ordered {event.position.value}"
        case AspectOrdered():
            order = f"accessory {event.number} was ordered to show aspect {event.aspect}"
        case _:
            order = type(event).__name__
    match novelty:
        case Novelty.REPEAT:
            return f"{order} again, within the repeat window of {event.source}"
        case Novelty.REFRESH:
            return f"{order} again, as {event.source} refreshes its orders"
    return f"{order}, which {event.source} may only refresh: it counts as a kept copy"
