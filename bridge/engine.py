"""The whole pure core behind one door: events and instants in, commands out.

The engine reads no clock and touches nothing. Whoever drives it hands in events with non-decreasing
instants, calls `advance` at the instants that `next_wake` names, and carries out the commands it returns.
Rendering an instant changes no state, so frames that are left out change nothing that comes after.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final, TypeAlias

from bridge.chain.frames import Frames
from bridge.chain.timing import look_at_timing
from bridge.errors import EngineError, LayoutError
from bridge.events import SECOND, AccessoryOrdered, Event, Instant
from bridge.layout.findings import Finding, errors, in_order
from bridge.layout.model import Layout
from bridge.light.motion import Motion
from bridge.light.pictures import DevicePlan, plan_devices
from bridge.logic.board import Board, claims
from bridge.logic.reasons import Choice
from bridge.logic.repeats import Repeats

SNAPSHOT_FORMAT: Final = 1


class Cause(StrEnum):
    """Why a frame is published."""

    START = "start"
    EVENT = "event"
    MOTION = "motion"
    LAST = "last"


@dataclass(frozen=True, slots=True)
class PublishFrame:
    """Send a whole frame: `levels` are the bytes in the order in which they leave on the data line."""

    at: Instant
    chain: int
    levels: bytes
    cause: Cause


@dataclass(frozen=True, slots=True)
class Decision:
    """A device was given an aspect, or a new reason for the one it has."""

    at: Instant
    device: str
    before: str
    aspect: str
    reason: str
    event: int


@dataclass(frozen=True, slots=True)
class Report:
    """Tell the world what a device shows and why; kept for those who come later."""

    at: Instant
    device: str
    aspect: str
    reason: str


@dataclass(frozen=True, slots=True)
class Note:
    """Something worth writing down that changes no light."""

    at: Instant
    text: str
    event: int


Command: TypeAlias = PublishFrame | Decision | Report | Note


def look_at(layout: Layout) -> tuple[Finding, ...]:
    """Return what the rooms find in a layout that was read without errors, in the order of the file."""
    _plans, found = plan_devices(layout)
    return in_order((*found, *claims(layout), *look_at_timing(layout)))


class Engine:
    """Drives one layout.

    Attributes:
        layout: what is driven.
        now: the instant of the last event or rendering.
        events: how many events were handled; the number of an event is this count after it.

    Raises:
        LayoutError: the layout has errors that `look_at` finds.
    """

    def __init__(self, layout: Layout) -> None:
        found = errors(look_at(layout))
        if found:
            raise LayoutError("the layout has errors", found)
        self.layout = layout
        self.now: Instant = 0
        self.events = 0
        self._plans, _findings = plan_devices(layout)
        self._board = Board(layout)
        self._repeats = Repeats(layout.sources)
        self._frames = Frames(layout)
        self._motion = Motion(self._frames.length)
        self._rate = layout.frames_per_second
        self._shown = [selector.choice.aspect for selector in self._board.selectors]
        self._sent = list(self._frames.frames())

    def start(self) -> list[Command]:
        """Put every device into its state of knowing nothing; return all frames and reports."""
        commands: list[Command] = []
        for plan, selector in zip(self._plans, self._board.selectors, strict=True):
            self._show(plan, selector.choice.aspect, self.now, cut=True)
            commands.append(Report(self.now, plan.name, selector.choice.aspect, selector.choice.reason))
        return [*self.all_frames(Cause.START), *commands]

    def handle(self, event: Event) -> list[Command]:
        """Take one event and return what follows from it, the frames first.

        Raises:
            EngineError: the event is older than what came before; nothing has changed.
        """
        if event.at < self.now:
            raise EngineError(f"an event at {event.at} came after {self.now}")
        self.now = event.at
        self.events += 1
        if self._repeats.is_repeat(event):
            return [
                Note(
                    event.at,
                    f"{_short(event)} again, within the repeat window of {event.source}",
                    self.events,
                )
            ]
        made = self._board.hear(event, self.events)
        touched: set[int] = set()
        after: list[Command] = []
        for index, choice in made:
            plan = self._plans[index]
            before = self._shown[index]
            if before != choice.aspect:
                self._shown[index] = choice.aspect
                self._show(plan, choice.aspect, event.at)
                touched.add(plan.chain)
            after.append(Decision(event.at, plan.name, before, choice.aspect, choice.reason, self.events))
            after.append(Report(event.at, plan.name, choice.aspect, choice.reason))
        return [*self._render(event.at, touched, Cause.EVENT), *after] if made else after

    def advance(self, instant: Instant) -> list[Command]:
        """Render an instant; return the frames of chains on which something moves.

        Raises:
            EngineError: the instant lies before what came last; nothing has changed.
        """
        if instant < self.now:
            raise EngineError(f"the instant {instant} lies before {self.now}")
        self.now = instant
        return [*self._render(instant, set(), Cause.MOTION)]

    def next_wake(self) -> Instant | None:
        """Return the next instant of the frame grid that has to be rendered, or None while nothing moves."""
        return self.grid(self.now + 1) if self._motion.moving else None

    def grid(self, instant: Instant) -> Instant:
        """Return the first instant of the frame grid that is not before `instant`.

        Frame k of the grid is due at k / frames per second since the session began, rounded down to a
        nanosecond: never "now and one period".
        """
        frame = -(-instant * self._rate // SECOND)
        return frame * SECOND // self._rate

    def all_frames(self, cause: Cause) -> list[PublishFrame]:
        """Return the present frame of every chain."""
        self._sent = list(self._frames.frames())
        return [PublishFrame(self.now, index, frame, cause) for index, frame in enumerate(self._sent)]

    def closing(self, at: Instant) -> list[PublishFrame]:
        """Put every device to rest and return the last frames: signals restrictive, lights dark."""
        self.now = max(at, self.now)
        for plan in self._plans:
            self._show(plan, plan.rest, self.now, cut=True)
        return self.all_frames(Cause.LAST)

    def choices(self) -> dict[str, Choice]:
        """Return what every device shows, and why."""
        return {selector.device: selector.choice for selector in self._board.selectors}

    def snapshot(self) -> dict[str, Any]:
        """Return the whole state as plain data with a format number."""
        return {
            "format": SNAPSHOT_FORMAT,
            "now": self.now,
            "events": self.events,
            "board": self._board.snapshot(),
            "repeats": self._repeats.snapshot(),
            "motion": self._motion.snapshot(),
        }

    def restore(self, data: dict[str, Any]) -> None:
        """Take back the state that `snapshot` gave, of an engine with the same layout.

        Raises:
            EngineError: the snapshot has another format or does not fit; nothing has changed.
        """
        if data.get("format") != SNAPSHOT_FORMAT:
            raise EngineError(f"a snapshot of format {data.get('format')!r} cannot be read here")
        if len(data["motion"]["levels"]) != self._frames.length:
            raise EngineError("the snapshot is of another layout")
        self.now = data["now"]
        self.events = data["events"]
        self._board.restore(data["board"])
        self._repeats.restore(data["repeats"])
        self._motion.restore(data["motion"])
        self._shown = [selector.choice.aspect for selector in self._board.selectors]
        for slot in range(self._frames.length):
            self._frames.patch(slot, self._motion.level(slot))
        self._render(self.now, set(), Cause.MOTION)
        self._sent = list(self._frames.frames())

    def _show(self, plan: DevicePlan, aspect: str, at: Instant, *, cut: bool = False) -> None:
        base = self._frames.bases[plan.chain]
        for offset, level, dimmable in zip(plan.offsets, plan.looks[aspect], plan.dimmable, strict=True):
            slot = base + offset
            if plan.fade and dimmable and not cut:
                self._motion.fade(slot, level, at, plan.fade)
            else:
                self._motion.cut(slot, level)
                self._frames.patch(slot, level)

    def _render(self, at: Instant, touched: set[int], cause: Cause) -> list[PublishFrame]:
        """Return the frames of the touched chains, and of those with something on its way, that differ from before."""
        if self._motion.moving:
            slots, levels = self._motion.render(at)
            self._frames.patch_many(slots, levels)
            touched = touched.union(self._frames.chains_of(slots))
        published = []
        for chain in sorted(touched):
            frame = self._frames.frame(chain)
            if frame != self._sent[chain]:
                self._sent[chain] = frame
                published.append(PublishFrame(at, chain, frame, cause))
        return published


def _short(event: Event) -> str:
    if isinstance(event, AccessoryOrdered):
        return f"accessory {event.number} was ordered {event.position.value}"
    return type(event).__name__
