"""What the same session would have shown under two layout files."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from itertools import groupby
from operator import attrgetter, itemgetter
from pathlib import Path
from typing import Any

from bridge.commands import Decision, Report
from bridge.events import Instant
from bridge.layout.findings import count
from bridge.record.following import NEVER, Player, Step, open_session
from bridge.record.words import event_text, instant_text


@dataclass(frozen=True, slots=True)
class Apart:
    """A stretch of time for which a device showed something else under each of two layout files.

    Attributes:
        device: its name.
        since: when it began.
        until: when it ended; the end of the session where it never did.
        old: what it showed under the first.
        new: what it showed under the second.
        reason: why it came to that, in the words of the layout under which it changed.
        changed: `old` or `new`: under which it changed.
        event: number of the event that came last before it, 0 if none did.
        cause: that event in words, or empty.
    """

    device: str
    since: Instant
    until: Instant
    old: str
    new: str
    reason: str
    changed: str
    event: int
    cause: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """How a session differs under two layout files.

    Attributes:
        file: the log.
        length: of the session, nanoseconds.
        events: how many there were.
        devices: how many are in both.
        only_old: devices that are in the first only.
        only_new: devices that are in the second only.
        apart: where they differ, in the order in which that began.
        notes: what an owner should know of the log.
        whole: whether all that was recorded could be played; what comes behind damage cannot, since the snapshots are
            of the layout file that was driven.
    """

    file: str
    length: Instant
    events: int
    devices: int
    only_old: tuple[str, ...]
    only_new: tuple[str, ...]
    apart: tuple[Apart, ...]
    notes: tuple[str, ...]
    whole: bool = True

    @property
    def same(self) -> bool:
        """Whether every device that is in both showed the same all the time."""
        return not self.apart

    def to_data(self) -> dict[str, Any]:
        """Return everything as plain data for JSON."""
        return {"same": self.same, **asdict(self)}


def compare(
    path: Path, old: str, new: str, progress: Callable[[Instant], None] = lambda _at: None
) -> Comparison:
    """Play a session through two layout files and say where they differ.

    Args:
        path: the log.
        old: text of the first layout file.
        new: text of the second.
        progress: called at each step with how far it has come.

    Raises:
        DecodeError: the log cannot be read.
        LayoutError: one of the layout files cannot be driven; the message says which.
    """
    first = Player(open_session(path, old, whose="the old layout file"), light_from=NEVER)
    second = Player(open_session(path, new, whose="the new layout file"), light_from=NEVER)

    def next_timer() -> Instant | None:
        dues = [due for each in (first, second) if (due := each.engine.next_timer()) is not None]
        return min(dues, default=None)

    first.next_timer = second.next_timer = next_timer
    comparing = _Comparing()
    # Both go through the same lines and stop wherever one has a timer, so each step of the one is one of the other too.
    # And neither takes it before both have come to it, since the next timer may be that of either.
    for one, other in zip(first.ahead(), second.ahead(), strict=False):
        old_step, new_step = one.take(), other.take()
        if old_step is not None and new_step is not None:
            comparing.take(old_step, new_step)
        progress(one.at)
    names = comparing.names
    return Comparison(
        file=str(path),
        length=first.length,
        events=first.engine.events,
        devices=sum(name in names[1] for name in names[0]),
        only_old=tuple(name for name in names[0] if name not in names[1]),
        only_new=tuple(name for name in names[1] if name not in names[0]),
        apart=comparing.end(first.length),
        notes=tuple(first.notes),
        whole=not first.lost,
    )


class _Comparing:
    """What every device shows on both sides, and since when it is not the same."""

    def __init__(self) -> None:
        self._shown: tuple[dict[str, str], dict[str, str]] = ({}, {})
        self._open: dict[str, Apart] = {}
        self._apart: list[Apart] = []
        self._event = (0, "")

    @property
    def names(self) -> tuple[dict[str, str], dict[str, str]]:
        """The devices of both sides, in the order of their files."""
        return self._shown

    def take(self, old: Step, new: Step) -> None:
        """Take what one step came to on both sides: timers within it in the order of their instants."""
        said = [
            (command.at, side, command)
            for side, step in enumerate((old, new))
            for command in step.commands
            if isinstance(command, Decision | Report)
        ]
        for at, group in groupby(sorted(said, key=itemgetter(0)), key=itemgetter(0)):
            if old.event is not None and at == old.at:
                self._event = old.number, event_text(old.event)
            changed: dict[str, tuple[int, str]] = {}
            for _at, side, command in group:
                if self._shown[side].get(command.device) != command.aspect:
                    self._shown[side][command.device] = command.aspect
                    changed[command.device] = side, command.reason
            for device, (side, reason) in changed.items():
                self._look(device, at, side, reason)
        if old.event is not None:
            self._event = old.number, event_text(old.event)

    def _look(self, device: str, at: Instant, side: int, reason: str) -> None:
        old, new = (shown.get(device) for shown in self._shown)
        if old is None or new is None:
            return
        open_ = self._open.pop(device, None)
        if open_ is not None and at > open_.since:
            self._apart.append(replace(open_, until=at))
        if old != new:
            event, cause = self._event
            self._open[device] = Apart(device, at, at, old, new, reason, ("old", "new")[side], event, cause)

    def end(self, at: Instant) -> tuple[Apart, ...]:
        """Return where they differ, up to the end of the session."""
        left = [replace(each, until=max(at, each.since)) for each in self._open.values()]
        return tuple(sorted([*self._apart, *left], key=attrgetter("since")))


def comparison_lines(found: Comparison) -> list[str]:
    """Return what an owner wants to know, a sentence or two a line."""
    devices_in_both = f"{count(found.devices, 'device')} in both layout files"
    lines = [
        f"{found.file}: {count(found.events, 'event')} in {instant_text(found.length)}, {devices_in_both}"
    ]
    lines += [f"note: {note}" for note in found.notes]
    for names, which in ((found.only_old, "old"), (found.only_new, "new")):
        if names:
            lines.append(f"only in the {which} file: {', '.join(names)}")
    for each in found.apart:
        lines.append(
            f"{each.device}, {instant_text(each.since)} to {instant_text(each.until)}: {each.old} by the old "
            f"file, {each.new} by the new one; changed by the {each.changed} one: {each.reason}"
        )
        if each.cause:
            lines.append(f"    the last event before it was number {each.event}: {each.cause}")
    so_far = "" if found.whole else "NOT WHOLE: as far as it could be played, "
    if found.same:
        return [*lines, f"{so_far or 'same: '}no device would have shown anything else"]
    devices: dict[str, int] = {}
    for each in found.apart:
        devices[each.device] = devices.get(each.device, 0) + each.until - each.since
    apart = ", ".join(f"{name} for {instant_text(time)}" for name, time in devices.items())
    return [*lines, f"{so_far}DIFFERENT: {apart}"]
