"""Reading a log once more, for the words of what matters: the events that were cited, and what was passed over."""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta, tzinfo
from difflib import get_close_matches
from pathlib import Path
from typing import Final

from bridge.commands import Note
from bridge.engine import Engine
from bridge.events import (
    SECOND,
    AccessoryOrdered,
    AccessoryProved,
    AccessoryReleased,
    AspectOrdered,
    Authority,
    BlockReported,
    ButtonReported,
    ClockReported,
    Event,
    Instant,
    LinkState,
    Position,
    PowerReported,
    SourceReported,
    Subject,
    UseReported,
)
from bridge.layout.controls import Ahead, AspectNumbers, LastCommand, PositionTable
from bridge.layout.findings import either
from bridge.layout.model import Layout
from bridge.logic.clock import ModelClock
from bridge.logic.known import BLOCK, BUTTON, NUMBER, ORDERED, PROVED, Key
from bridge.record.lines import Input, Refused, Snapshot, payload_data
from bridge.record.reader import read_session
from bridge.record.why.answer import Cited, Over, Passed, When
from bridge.record.words import event_text

KEPT: Final = 4
"""How many of each kind of what was passed over are kept, the last ones."""

NEAR: Final = 8
"""Accessory numbers that lie no further apart may have been mixed up: a wrong offset is mostly 1 or 4."""

ALIKE: Final = 0.75
"""How much of two names has to be the same (`difflib`) for one to be taken for a slip of the other."""

DISTRICT: Final = "power district"

BEFORE: Final = 5 * SECOND
"""What came so long before something began to show what it shows may have been meant to do more."""


LATELY: Final = 60 * SECOND
"""What meant nothing and names nothing that is waited for is told of so long after it came."""


_NUMBER: Final = re.compile(r"[0-9]{1,4}\Z")


@dataclass(frozen=True, slots=True)
class Interest:
    """What is wanted of a log.

    Attributes:
        numbers: events to be cited.
        instants: to be said by both clocks.
        rests: what mattered may go by, and the numbers of the events on which it is known.
        did: the events on which rests what it shows.
        obeys: what it does as it is told last; a kept copy of that is no order.
        since: what was passed over earlier is of no interest, for each of these.
        names: by its sort, the names of what is waited for, and since when something like it is of interest.
        sources: who tells of that, or None where it may be anyone.
        until: the moment that was asked about.
    """

    numbers: frozenset[int]
    instants: frozenset[Instant]
    rests: dict[Key, int]
    did: frozenset[int]
    obeys: frozenset[Key]
    since: dict[Key, Instant]
    names: dict[str, dict[str, Instant]]
    sources: frozenset[str] | None
    until: Instant


@dataclass(slots=True)
class Read:
    """What was found: the events by number, the instants, and what was passed over, the oldest first."""

    cited: dict[int, tuple[Event, Cited]] = field(default_factory=dict)
    whens: dict[Instant, When] = field(default_factory=dict)
    passed: list[Passed] = field(default_factory=list)


class Clocks:
    """The clock on the wall and the model clock of a session."""

    def __init__(self, started: str, zone: tzinfo | None) -> None:
        """Begin with the time at which the session began; `zone` is that of this machine if it is None."""
        self._began = datetime.fromisoformat(started).astimezone(zone)
        self._model = ModelClock(())

    def when(self, at: Instant) -> When:
        """Return an instant by both clocks; it is not before any event that was taken."""
        wall = self._began + timedelta(microseconds=at // 1000)
        clock = self._model.time(at)
        model = ""
        if clock is not None:
            minutes, second = divmod(clock.seconds, 60)
            model = f"{minutes // 60}:{minutes % 60:02}:{second:02}"
        return When(at, wall.isoformat(timespec="milliseconds"), model)

    def take(self, event: Event, number: int) -> None:
        """Take an event that may be about the model clock."""
        if isinstance(event, ClockReported):
            self._model.report(event, number)
        elif isinstance(event, SourceReported) and event.state is LinkState.LOST:
            self._model.lose(event.source, number)
        elif isinstance(event, UseReported) and event.subject is Subject.SOURCE and event.out:
            self._model.lose(event.name, number)

    def resume(self, snapshot: Snapshot) -> None:
        """Take the model clock from a snapshot, if it has one that can be understood."""
        try:
            self._model.set_state(snapshot.engine["board"]["track"]["clock"][self._model.name])
        except (KeyError, TypeError, ValueError):
            return


class _Reader:
    def __init__(self, layout: Layout, engine: Engine, interest: Interest, clocks: Clocks) -> None:
        self._engine = engine
        self._interest = interest
        self._clocks = clocks
        self._accessories = sorted({int(key[1]) for key in interest.rests if key[0] == ORDERED})
        self._earliest = min(interest.since.values(), default=interest.until)
        self._meant = _meanings(layout)
        self._out: set[str] = set()
        self._inputs: dict[int, tuple[Event, Cited]] = {}  # the events of the last input, by number
        self._names = {
            BLOCK: {block.name for block in layout.blocks},
            DISTRICT: {district.name for district in layout.districts},
        }
        self._near: dict[tuple[str, str], str] = {}  # by a name that came in, that which may have been meant
        self._passed: dict[Over, deque[Passed]] = {}
        self.read = Read()

    def input(self, line: Input) -> None:
        self._inputs = {}
        for number, event in enumerate(line.events, start=line.number):
            self._clocks.take(event, number)
            if isinstance(event, UseReported) and event.subject is Subject.SOURCE:
                (self._out.add if event.out else self._out.discard)(event.name)
            wanted = number in self._interest.numbers
            key = _key(event)
            meant = self._meant_name(event)
            concerned = key in self._interest.rests or isinstance(event, AccessoryOrdered) or meant
            if not wanted and (not concerned or event.at < self._earliest):
                continue
            cited = self._cite(number, event, line)
            self._inputs[number] = event, cited
            if wanted:
                self.read.cited[number] = event, cited
            if key is not None:
                self._look(number, event, key, cited)
            if meant:
                self._misspelt(event, meant, cited)

    def _cite(self, number: int, event: Event, line: Input) -> Cited:
        raw = None if line.payload is None else payload_data(line.payload)
        when = self._clocks.when(event.at)
        return Cited(number, when, event_text(event), event.source, line.channel, raw, line.retained)

    def _look(self, number: int, event: Event, key: Key, cited: Cited) -> None:
        """Take note of an event if it did not do what somebody may have thought that it does."""
        name = f"{_SUBJECTS[key[0]]} {key[1]}"
        known = self._interest.rests.get(key)
        if known is None:
            if isinstance(event, AccessoryOrdered) and not self._engine.listens(event):
                self._nobody(event, name, cited)
        elif event.at < self._interest.since[key]:
            return
        elif event.source in self._out:
            self._pass(
                Over.OUT, name, f"{event.source} is out of use, and nothing that it says counts", cited
            )
        elif number not in self._interest.did:
            restored = getattr(event, "authority", None) is Authority.RESTORED
            if number != known or restored or key in self._interest.obeys:
                self._did_nothing(event, known, key, name, cited)

    def _nobody(self, event: AccessoryOrdered, name: str, cited: Cited) -> None:
        """Take note of an order that nobody listens to, if somebody waits here for a number near it."""
        near = [each for each in self._accessories if 0 < abs(each - event.number) <= NEAR]
        if near:
            nearest = min(near, key=lambda each: abs(each - event.number))
            away = abs(nearest - event.number)
            if event.at < self._interest.since[ORDERED, nearest]:
                return
            where = f"the nearest that is waited for here is {nearest}, {away} away"
            why = f"nothing listens to that number; {where}: is an offset wrong?"
            self._pass(Over.NOBODY, name, why, cited)

    def _meant_name(self, event: Event) -> str:
        """Return what is waited for under nearly the name that an event has, if the layout has nothing of that name."""
        subject, name = _name(event)
        waited = self._interest.names.get(subject)
        known = self._engine.listens(event) if subject == BUTTON else name in self._names.get(subject, ())
        if not waited or known:
            return ""
        if (subject, name) not in self._near:
            near = get_close_matches(name, waited, n=1, cutoff=ALIKE)
            self._near[subject, name] = near[0] if near else ""
        return self._near[subject, name]

    def _misspelt(self, event: Event, meant: str, cited: Cited) -> None:
        """Take note of what is told under another name than the one that is waited for."""
        subject, name = _name(event)
        if event.at >= self._interest.names[subject][meant]:
            here = f"and {meant} is waited for here"
            why = f"the layout file has no {subject} of this name, {here}: is one of them misspelt?"
            self._pass(Over.NOBODY, f"{subject} {name}", why, cited)

    def _did_nothing(self, event: Event, known: int, key: Key, name: str, cited: Cited) -> None:
        authority = getattr(event, "authority", None)
        if isinstance(event, AccessoryReleased):
            if not known:
                self._pass(Over.RELEASED, name, "that an output is let go orders nothing", cited)
        elif authority is Authority.STATE and not isinstance(event, AccessoryProved | BlockReported):
            self._pass(Over.COPY, name, "it came as a kept copy, which is no command", cited)
        elif authority is Authority.RESTORED:
            self._pass(Over.RESTORED, name, "it is from before a restart, and not taken up here", cited)
        elif isinstance(event, ButtonReported) and cited.number > known:
            self._pass(Over.BOUNCE, name, "it came while the contact still bounces, and did not count", cited)
        else:
            self._meaning(event, key, name, cited)

    def _meaning(self, event: Event, key: Key, name: str, cited: Cited) -> None:
        meant = self._meant.get(key)
        if meant is None:
            return
        value = str(getattr(event, "aspect", ""))
        if isinstance(event, AccessoryOrdered):
            value = event.position.value
        if value not in meant:
            others: list[str] = sorted(meant, key=lambda each: (len(each), each))
            why = f"the layout file says nothing of {value} there, only of {either(others)}"
            self._pass(Over.NO_MEANING, name, why, cited)

    def note(self, line: Note) -> None:
        found = self._inputs.get(line.event)
        key = None if found is None else _key(found[0])
        if found is None or key is None or found[0].at < self._interest.since.get(key, line.at + 1):
            return
        event, cited = found
        name = f"{_SUBJECTS[key[0]]} {key[1]}"
        if "within the repeat window" in line.text:
            why = f"it is a repeat within the repeat window of {event.source}, which is no command"
            self._pass(Over.REPEAT, name, why, cited)
        elif "refreshes its orders" in line.text:
            why = f"it is one of the refreshes of {event.source}, which are no commands"
            self._pass(Over.REFRESH, name, why, cited)
        elif "may only refresh" in line.text and line.event not in self._interest.did:
            why = f"{event.source} may only refresh what it said before the start: that counts as a kept copy"
            self._pass(Over.COPY, name, why, cited)

    def refused(self, line: Refused) -> None:
        interest = self._interest
        words = set(re.split(r"[\s/]+", f"{line.channel} {line.payload.decode('utf-8', 'replace')}"))
        named = [since for key, since in interest.since.items() if str(key[1]) in words]
        theirs = interest.sources is None or line.source in interest.sources
        lately = theirs and line.at >= max(interest.until - LATELY, self._earliest)
        lately = lately and not self._of_others(line.channel)
        if not lately and not any(line.at >= since for since in named):
            return
        raw = payload_data(line.payload)
        text = f"{line.channel or line.source} said {raw if isinstance(raw, str) else 'bytes that are no text'!r:.60}"
        cited = Cited(
            line.number, self._clocks.when(line.at), text, line.source, line.channel, raw, line.retained
        )
        self._pass(Over.REFUSED, line.source, f"it meant nothing: {line.why}", cited)

    def _of_others(self, channel: str) -> bool:
        """Return whether a topic names a block or an accessory that others go by, and nothing here does."""
        words = re.split(r"[\s/]+", channel)
        numbers = [int(word) for word in words if _NUMBER.match(word)]
        orders = [
            AccessoryOrdered(at=0, source="", number=number, position=Position.NORMAL) for number in numbers
        ]
        return any(map(self._engine.listeners, orders)) or not self._names[BLOCK].isdisjoint(words)

    def _pass(self, kind: Over, name: str, why: str, cited: Cited) -> None:
        kept = self._passed.setdefault(kind, deque(maxlen=KEPT))
        if any(each.event.number == cited.number for each in kept):
            return
        kept.append(Passed(kind, name, why, cited))

    def passed(self) -> list[Passed]:
        found = [each for kept in self._passed.values() for each in kept]
        again = (Over.REPEAT, Over.REFRESH)
        repeats = {each.event.number for kind in again for each in self._passed.get(kind, ())}
        found = [each for each in found if each.kind in again or each.event.number not in repeats]
        return sorted(found, key=lambda each: (each.event.when.at, each.event.number))


def read_words(
    path: Path, started: str, until: Instant | None, engine: Engine, interest: Interest, zone: tzinfo | None
) -> Read:
    """Go through the lines of a session up to an instant, and gather what is of interest.

    Args:
        path: the log.
        started: when its session began.
        until: the last instant that is wanted.
        engine: what played it.
        interest: what is wanted.
        zone: of the clock on the wall; this machine's if it is None.
    """
    clocks = Clocks(started, zone)
    reader = _Reader(engine.layout, engine, interest, clocks)
    waiting = deque(sorted(interest.instants))
    whens = reader.read.whens
    for at, line in _lines(path, until):
        while waiting and waiting[0] < at:
            instant = waiting.popleft()
            whens[instant] = clocks.when(instant)
        match line:
            case Input():
                reader.input(line)
            case Refused():
                reader.refused(line)
            case Note():
                reader.note(line)
            case Snapshot():
                clocks.resume(line)
    whens |= {instant: clocks.when(instant) for instant in waiting}
    reader.read.passed = reader.passed()
    return reader.read


def _lines(path: Path, until: Instant | None) -> Iterator[tuple[Instant, Input | Refused | Note | Snapshot]]:
    for placed in read_session(path, passing=_PASSING):
        line = placed.line
        if isinstance(line, Input | Refused | Note | Snapshot):
            if until is not None and line.at > until:
                return
            yield line.at, line


_PASSING: Final = tuple(f'{{"{kind}":'.encode() for kind in ("frame", "rendered", "decided", "told"))
"""Lines that say nothing of what came in."""

_SUBJECTS: Final = {
    ORDERED: "accessory",
    PROVED: "accessory",
    NUMBER: "extended accessory",
    BUTTON: "button",
    BLOCK: "block",
}


def _key(event: Event) -> Key | None:
    match event:
        case AccessoryOrdered() | AccessoryReleased():
            return ORDERED, event.number
        case AccessoryProved():
            return PROVED, event.number
        case AspectOrdered():
            return NUMBER, event.number
        case ButtonReported():
            return BUTTON, event.name
        case BlockReported():
            return BLOCK, event.name
    return None


def _name(event: Event) -> tuple[str, str]:
    """Return the sort and the name of a thing that its source may call otherwise than the layout file."""
    match event:
        case BlockReported():
            return BLOCK, event.name
        case PowerReported():
            return DISTRICT, event.district
        case ButtonReported():
            return BUTTON, event.name
    return "", ""


def _meanings(layout: Layout) -> dict[Key, set[str]]:
    """Return the values that mean something, of what is obeyed."""
    found: dict[Key, set[str]] = {}
    for signal in layout.signals:
        for control in signal.controls:
            if isinstance(control, LastCommand):
                for row in control.rows:
                    found.setdefault((ORDERED, row.accessory), set()).update(
                        each.value for each in row.aspects
                    )
            elif isinstance(control, AspectNumbers):
                found.setdefault((NUMBER, control.accessory), set()).update(map(str, control.aspects))
    # What something else goes by as well may stand anywhere.
    for key in _told_otherwise(layout):
        found.pop(key, None)
    return found


def _told_otherwise(layout: Layout) -> Iterator[Key]:
    for signal in layout.signals:
        for control in signal.controls:
            if isinstance(control, PositionTable):
                yield from ((ORDERED, number) for row in control.rows for number, _position in row.needs)
            elif isinstance(control, Ahead):
                yield from ((ORDERED, number) for way in control.ways for number, _position in way.turnouts)
