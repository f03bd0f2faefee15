"""Looking on while a session is played, and keeping what a picture of it needs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterable
from datetime import datetime, timedelta, tzinfo
from typing import Any, Final, TypeAlias

import numpy as np

from bridge.commands import Cause, Decision, Note, PublishFrame, Told
from bridge.engine import Engine
from bridge.errors import DecodeError
from bridge.events import (
    EVENT_KINDS,
    SECOND,
    Event,
    Instant,
    LinkState,
    NodeReported,
    SourceReported,
    UseReported,
)
from bridge.layout.findings import choice
from bridge.layout.model import Layout
from bridge.picture.glow import Lens, glows_of
from bridge.picture.statistics import Statistics, rounded
from bridge.picture.timeline import (
    MOST,
    Band,
    ClockPiece,
    Inputs,
    Row,
    Tick,
    Timeline,
    keep_few,
    thin_bands,
    thin_ticks,
)
from bridge.record.following import Opened, Step
from bridge.record.lines import Input, Line, Refused
from bridge.record.words import event_text, short_text

Describe: TypeAlias = Callable[[Layout], dict[str, Any]]
"""Returns what a layout looks like: the description that the page is given (`bridge.web.view`)."""

_KINDS: Final = {kind: name for name, kind in EVENT_KINDS.items()}
_MINUTE: Final = 60 * SECOND
_SLACK: Final = 2
"""Seconds of the model clock by which it may be off what it was reckoned to show: it is read in whole ones."""


class _Device:
    """A device: its lane, and what it shows at present."""

    def __init__(self, row: Row) -> None:
        self.row = row
        self.lenses: list[Lens] = []
        self.aspect = ""
        self.since: Instant = 0

    def close(self, at: Instant, first: Instant) -> None:
        """End the present band; what ended before `first` is not wanted."""
        if at > max(self.since, first) and self.aspect:
            band = Band(max(self.since, first), at, self.aspect, glows_of(self.lenses, at))
            self.row.bands.append(band)
            keep_few(self.row.bands, thin_bands, at - first)
        self.since = at

    def leave(self, at: Instant, first: Instant) -> None:
        """End the present band, and show nothing behind it: nobody knows what came then."""
        self.close(at, first)
        self.aspect = ""

    def open(self, aspect: str, at: Instant) -> None:
        """Begin a band."""
        self.aspect, self.since = aspect, at
        for lens in self.lenses:
            lens.begin(at)


class Gatherer:
    """Watches a session that is played, and makes the timeline of it.

    Args:
        describe: how a layout looks.
        since: where the picture begins, or where the log does, if that is later.
        until: where it ends; the end of the session if left out.
        devices: which have a lane; all if there are none.
        zone: of the clock on the wall; this machine's if left out.
    """

    def __init__(
        self,
        describe: Describe,
        *,
        since: Instant = 0,
        until: Instant | None = None,
        devices: Collection[str] = (),
        zone: tzinfo | None = None,
    ) -> None:
        self._describe = describe
        self._since = since
        self._until = until
        self._wanted = devices
        self._zone = zone
        self._session: Opened | None = None
        self._devices: dict[str, _Device] = {}
        self._begun = False
        self._chains: list[list[Lens | None]] = []  # for each byte of each chain, what shines by it
        self._frames: list[bytes] = []
        self._inputs: dict[str, Inputs] = {}
        self._silent: dict[str, Instant] = {}
        self._marks: list[Tick] = []
        self._clock: list[ClockPiece] = []
        self._statistics = Statistics()
        self._minute = (-1, 0)
        self._took: int | None = None
        self._last: Instant = 0

    def begin(self, session: Opened) -> None:
        """Look at what is about to be played.

        Raises:
            DecodeError: a device that is wanted is none of the layout.
        """
        self._session = session
        self._zone = self._zone or datetime.fromisoformat(session.header.started).astimezone().tzinfo
        layout = session.layout
        description = self._describe(layout)
        of_places = [device for device in description["devices"] if device["places"]]
        names = [device["name"] for device in of_places]
        for name in self._wanted:
            if name not in names:
                remedy = choice(name, names)
                raise DecodeError(
                    f"--device {name}: no signal or light of this layout has this name; {remedy}"
                )
        self._frames = [b""] * len(layout.chains)
        self._chains = [[None] * chain.length for chain in layout.chains]
        places = _lenses(description)
        keys = {chain.key: index for index, chain in enumerate(layout.chains)}
        for device in of_places:
            if self._wanted and device["name"] not in self._wanted:
                continue
            made = _Device(Row(device["name"], device.get("effect", "")))
            self._devices[device["name"]] = made
            for place in device["places"]:
                chain = keys[place["chain"]]
                for number in place["lenses"]:
                    lens = Lens(places[place["chain"], place["fixture"]][number])
                    made.lenses.append(lens)
                    for byte in lens.bytes:
                        self._chains[chain][byte] = lens
        for source in layout.sources:
            self._inputs[source.name] = Inputs(source.name)
        self._statistics.changes = dict.fromkeys(self._devices, 0)

    def line(self, line: Line) -> None:
        """Look at a line: what came in stands there, and what was refused."""
        self._took = line.took if isinstance(line, Input) else None
        if isinstance(line, Refused) and self._within(line.at):
            self._statistics.refused[line.source] += 1
            self._tick(line.source, line.at, "refused")

    def step(self, step: Step, engine: Engine) -> None:
        """Look at a step: aspects first, since the frames before them show these already."""
        if not self._begun:
            self._take_aspects(0, engine)
        self._last = max(self._last, step.at)
        if step.event is not None:
            self._event(step.event)
        for command in step.commands:
            if isinstance(command, Told) and command.subject == "lamp-test":
                self._mark(command.at, f"lamp test {command.state}")
        said = [each for each in step.commands if isinstance(each, Decision | PublishFrame)]
        said.sort(key=lambda each: (each.at, isinstance(each, PublishFrame)))
        for each in said:
            if isinstance(each, PublishFrame):
                self._frame(each)
            elif each.before != each.aspect and each.device in self._devices:
                device = self._devices[each.device]
                device.close(each.at, self._since)
                device.open(each.aspect, each.at)
                self._statistics.changes[each.device] += self._within(each.at)
        if step.event is not None:
            frames = any(
                isinstance(each, PublishFrame) and each.cause is Cause.EVENT for each in step.commands
            )
            if frames and self._took is not None and self._within(step.at):
                self._statistics.took[rounded(self._took)] += 1
                self._took = None
            repeats = sum(isinstance(each, Note) for each in step.commands)
            self._statistics.repeats[step.event.source] += repeats if self._within(step.at) else 0
            self._look_at_clock(step.at, engine)

    def stood(self, at: Instant, engine: Engine) -> None:
        """Look at an engine that was put into the state of a snapshot."""
        if not self._begun:  # a later file of a session has nothing of what came before it
            self._since = max(self._since, at)
        elif self._last < at:
            self._mark(self._last, "something is missing from here")
            self._mark(at, "the log goes on")
            for device in self._devices.values():
                device.leave(self._last, self._since)
        self._last = at
        self._take_aspects(at, engine)
        frames = engine.present_frames()
        for chain, levels in enumerate(frames):
            self._light(chain, levels, at)
        self._look_at_clock(at, engine)

    def end(self, *, goes_on: bool) -> None:
        """Know that this was all; where the log goes on, what is shown last is shown to the edge of the picture."""
        if goes_on and self._until is not None:
            self._last = self._until

    def timeline(self) -> Timeline:
        """Return all of it, when the session has been played."""
        session = self._session
        if session is None:
            raise ValueError("nothing was played yet")
        until = self._last if self._until is None else min(self._until, self._last)
        until = max(until, self._since + 1)
        for device in self._devices.values():
            device.close(until, self._since)
        for name, since in self._silent.items():
            self._inputs[name].lost.append((max(since, self._since), until))
        self._silent.clear()
        self._count_minute(-1, 0)
        self._statistics.length = until - self._since
        self._statistics.events = dict(sorted(self._statistics.events.items()))
        return Timeline(
            layout=session.layout.name,
            file=session.path.name,
            started=datetime.fromisoformat(session.header.started).astimezone(self._zone).isoformat(),
            since=self._since,
            until=until,
            inputs=list(self._inputs.values()),
            rows=[device.row for device in self._devices.values()],
            marks=self._marks,
            clock=self._clock,
            statistics=self._statistics,
        )

    def _within(self, at: Instant) -> bool:
        return at >= self._since and (self._until is None or at <= self._until)

    def _take_aspects(self, at: Instant, engine: Engine) -> None:
        self._begun = True
        for name, chosen in engine.choices().items():
            if name in self._devices:
                self._devices[name].close(at, self._since)
                self._devices[name].open(chosen.aspect, at)

    def _event(self, event: Event) -> None:
        self._look_for_marks(event)
        if not self._within(event.at):
            return
        kinds = self._statistics.events.setdefault(event.source, Counter())
        kinds[_KINDS[type(event)]] += 1
        self._count_minute(event.at // _MINUTE, 1)
        self._tick(event.source, event.at, short_text(event))

    def _count_minute(self, minute: int, events: int) -> None:
        """Count by minutes of the session; the one before is over when another begins."""
        if minute == self._minute[0]:
            self._minute = minute, self._minute[1] + events
            return
        before, number = self._minute
        most = self._statistics.busiest[1] if self._statistics.busiest else 0
        if number > most and self._session is not None:
            began = datetime.fromisoformat(self._session.header.started).astimezone(self._zone)
            when = began + timedelta(minutes=before)
            self._statistics.busiest = f"{when:%H:%M:%S}", number
        self._minute = minute, events

    def _look_for_marks(self, event: Event) -> None:
        if isinstance(event, SourceReported):
            lane = self._inputs.setdefault(event.source, Inputs(event.source))
            if event.state is LinkState.LOST:
                self._silent.setdefault(event.source, event.at)
            elif event.source in self._silent:
                since = max(self._silent.pop(event.source), self._since)
                if event.at > since:
                    lane.lost.append((since, event.at))
                    del lane.lost[:-MOST]
        shown = isinstance(event, UseReported) or (
            isinstance(event, SourceReported | NodeReported) and event.state is LinkState.LOST
        )
        if shown and self._within(event.at):
            self._mark(event.at, event_text(event).partition(" (")[0])

    def _tick(self, source: str, at: Instant, text: str) -> None:
        ticks = self._inputs.setdefault(source, Inputs(source)).ticks
        ticks.append(Tick(at, text))
        keep_few(ticks, thin_ticks, at - self._since)

    def _mark(self, at: Instant, text: str) -> None:
        if self._within(at):
            self._marks.append(Tick(at, text))
            keep_few(self._marks, thin_ticks, at - self._since)

    def _frame(self, frame: PublishFrame) -> None:
        self._statistics.frames += self._within(frame.at)
        # With the last ones the session is over, and what it showed is wanted; a picture of a lamp test is no aspect.
        if frame.cause is not Cause.LAST and not frame.test:
            self._light(frame.chain, frame.levels, frame.at)

    def _light(self, chain: int, levels: bytes, at: Instant) -> None:
        """Let the lenses shine whose bytes have changed."""
        before = self._frames[chain]
        self._frames[chain] = levels
        lenses = self._chains[chain]
        if len(before) == len(levels) == len(lenses):
            changed: Iterable[int] = np.flatnonzero(
                np.frombuffer(before, np.uint8) != np.frombuffer(levels, np.uint8)
            )
        else:
            changed = range(min(len(levels), len(lenses)))
        touched = {id(lens): lens for byte in changed if (lens := lenses[byte]) is not None}
        for lens in touched.values():
            lens.shine(levels, at)

    def _look_at_clock(self, at: Instant, engine: Engine) -> None:
        """Note where the model clock is set, stopped or let run; between these it can be reckoned."""
        time = engine.clock(at)
        quarters = 0 if time is None or not time.running else time.rate_quarters
        seconds = None if time is None else time.seconds
        if self._clock and self._clock[-1].quarters == quarters:
            last = self._clock[-1]
            if seconds is None or last.seconds is None:
                if seconds is last.seconds:
                    return
            else:
                off = (seconds - last.seconds - (at - last.at) * quarters // (4 * SECOND)) % 86_400
                if min(off, 86_400 - off) <= _SLACK:
                    return
        if self._clock or seconds is not None:
            self._clock.append(ClockPiece(at, seconds, quarters))
            del self._clock[:-MOST]


def _lenses(description: dict[str, Any]) -> dict[tuple[str, str], list[list[dict[str, Any]]]]:
    """Return the dies of each lens of each fixture, by its chain and name, down the whole mast."""
    return {
        (f"{chain['node']}/{chain['chain']}", fixture["name"]): [
            lens["dies"] for head in fixture["heads"] for lens in head["lenses"]
        ]
        for chain in description["chains"]
        for fixture in chain["fixtures"]
    }
