"""The whole pure core behind one door: events and instants in, commands out.

The engine reads no clock and touches nothing. Whoever drives it hands in events with non-decreasing
instants, calls `advance` at the instants that `next_wake` names, and carries out the commands it returns.
Rendering an instant changes no state, so frames that are left out change nothing that comes after.
"""

from __future__ import annotations

from enum import StrEnum
from itertools import compress
from typing import Any, Final, NamedTuple, TypeAlias

import numpy as np

from bridge.chain.frames import Frames
from bridge.chain.timing import look_at_timing
from bridge.errors import EngineError, LayoutError
from bridge.events import SECOND, AccessoryOrdered, Event, Instant
from bridge.layout.findings import Finding, errors, in_order
from bridge.layout.model import Layout
from bridge.light.motion import Motion
from bridge.light.pictures import DevicePlan, plan_devices
from bridge.logic.board import Board, claims
from bridge.logic.reasons import STOPPED, Choice
from bridge.logic.repeats import Repeats

SNAPSHOT_FORMAT: Final = 1


class Cause(StrEnum):
    """Why a frame is published."""

    START = "start"
    EVENT = "event"
    MOTION = "motion"
    LAST = "last"


class PublishFrame(NamedTuple):
    """Send a whole frame: `levels` are the bytes in the order in which they leave on the data line."""

    at: Instant
    chain: int
    levels: bytes
    cause: Cause


class Decision(NamedTuple):
    """A device was given an aspect, or a new reason for the one it has."""

    at: Instant
    device: str
    before: str
    aspect: str
    reason: str
    event: int


class Report(NamedTuple):
    """Tell the world what a device shows and why; kept for those who come later."""

    at: Instant
    device: str
    aspect: str
    reason: str


class Note(NamedTuple):
    """Something worth writing down that changes no light."""

    at: Instant
    text: str
    event: int


Command: TypeAlias = PublishFrame | Decision | Report | Note


class _Look(NamedTuple):
    """What an aspect is for the channels of its device, worked out down to the bytes: (slot, level, byte) for each."""

    cut: tuple[tuple[int, int, int], ...]
    fade: tuple[tuple[int, int, int], ...]


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
        self._looks = [self._looks_of(plan) for plan in self._plans]
        self._shown = [selector.choice.aspect for selector in self._board.selectors]
        self._sent = list(self._frames.frames())
        self._rendered: Instant = 0

    def start(self) -> list[Command]:
        """Put every device into its state of knowing nothing; return all frames and reports."""
        commands: list[Command] = []
        for index, selector in enumerate(self._board.selectors):
            choice = selector.choice
            self._cut(self._looks[index][choice.aspect])
            commands.append(Report(self.now, selector.device, choice.aspect, choice.reason))
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
        if not made:
            return []
        touched: set[int] = set()
        after: list[Command] = []
        for index, choice in made:
            plan = self._plans[index]
            aspect, reason = choice.aspect, choice.reason
            before = self._shown[index]
            if before != aspect:
                self._shown[index] = aspect
                self._show(self._looks[index][aspect], event.at, plan.fade)
                touched.add(plan.chain)
            after.append(Decision(event.at, plan.name, before, aspect, reason, self.events))
            after.append(Report(event.at, plan.name, aspect, reason))
        return [*self._render(event.at, touched), *after]

    def advance(self, instant: Instant) -> list[Command]:
        """Render an instant; return the frames of chains on which something moves.

        Raises:
            EngineError: the instant lies before what came last; nothing has changed.
        """
        if instant < self.now:
            raise EngineError(f"the instant {instant} lies before {self.now}")
        self.now = instant
        return [*self._render(instant, set())]

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

    def present_frames(self) -> tuple[bytes, ...]:
        """Return what every chain was given last; nothing is rendered."""
        return tuple(self._sent)

    def closing(self, at: Instant) -> list[Command]:
        """Put every device to rest, signals restrictive and lights dark; return the last frames and reports."""
        self.now = max(at, self.now)
        for plan, looks in zip(self._plans, self._looks, strict=True):
            self._cut(looks[plan.rest])
        reports = [Report(self.now, plan.name, plan.rest, STOPPED) for plan in self._plans]
        return [*self.all_frames(Cause.LAST), *reports]

    def listens(self, event: Event) -> bool:
        """Return whether anything in the layout listens to an order or a button; others need no listener."""
        return self._board.listens(event)

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
            "rendered": self._rendered,
        }

    def restore(self, data: dict[str, Any]) -> None:
        """Take back the state that `snapshot` gave, of an engine with the same layout.

        Raises:
            EngineError: the snapshot has another format or does not fit; nothing has changed.
        """
        if data.get("format") != SNAPSHOT_FORMAT:
            raise EngineError(f"a snapshot of format {data.get('format')!r} cannot be read here")
        board, repeats = Board(self.layout), Repeats(self.layout.sources)
        motion = Motion(self._frames.length)
        try:
            board.restore(data["board"])
            repeats.restore(data["repeats"])
            motion.restore(data["motion"])
            now, events, rendered = int(data["now"]), int(data["events"]), int(data["rendered"])
            devices = set(data["board"])
        except (KeyError, TypeError, ValueError) as problem:
            raise EngineError(f"the snapshot cannot be understood: {problem!r}") from problem
        shown = [selector.choice.aspect for selector in board.selectors]
        known = all(aspect in looks for aspect, looks in zip(shown, self._looks, strict=True))
        if not known or devices != {selector.device for selector in board.selectors}:
            raise EngineError("the snapshot is of another layout")
        self.now, self.events, self._rendered = now, events, rendered
        self._board, self._repeats, self._motion, self._shown = board, repeats, motion, shown
        levels = [motion.level(slot) for slot in range(self._frames.length)]
        self._frames.patch_many(np.arange(len(levels), dtype=np.intp), np.array(levels, dtype=np.uint16))
        # What moves stands where it was rendered last, not where it would be now: else a frame of the way would
        # be taken for sent.
        self._render(rendered, set())
        self._sent = list(self._frames.frames())

    def _looks_of(self, plan: DevicePlan) -> dict[str, _Look]:
        """Work out every aspect of a device down to the bytes; what may not be lit in part does not fade."""
        slots = [self._frames.bases[plan.chain] + offset for offset in plan.offsets]
        looks = {}
        for aspect, levels in plan.looks.items():
            channels = [
                (slot, level, self._frames.byte(slot, level))
                for slot, level in zip(slots, levels, strict=True)
            ]
            fades = [bool(plan.fade) and dimmable for dimmable in plan.dimmable]
            looks[aspect] = _Look(
                cut=tuple(compress(channels, [not fade for fade in fades])),
                fade=tuple(compress(channels, fades)),
            )
        return looks

    def _show(self, look: _Look, at: Instant, time: int) -> None:
        """Show a look in its own way: at once, or over `time` where it fades."""
        for slot, level, byte in look.cut:
            self._motion.cut(slot, level)
            self._frames.put(slot, byte)
        for slot, level, _byte in look.fade:
            self._motion.fade(slot, level, at, time)

    def _cut(self, look: _Look) -> None:
        """Show a look at once, whatever its way."""
        for slot, level, byte in (*look.cut, *look.fade):
            self._motion.cut(slot, level)
            self._frames.put(slot, byte)

    def _render(self, at: Instant, touched: set[int]) -> list[PublishFrame]:
        """Return the frames that differ from before: of the chains an event touched, and of those in motion."""
        chains = touched
        if self._motion.moving:
            self._rendered = at
            slots, levels = self._motion.render(at)
            self._frames.patch_many(slots, levels)
            chains = touched.union(self._frames.chains_of(slots))
        published = []
        for chain in sorted(chains):
            frame = self._frames.frame(chain)
            if frame != self._sent[chain]:
                self._sent[chain] = frame
                published.append(
                    PublishFrame(at, chain, frame, Cause.EVENT if chain in touched else Cause.MOTION)
                )
        return published


def _short(event: Event) -> str:
    if isinstance(event, AccessoryOrdered):
        return f"accessory {event.number} was ordered {event.position.value}"
    return type(event).__name__
