"""Following a session with an engine: which lines count, and what to go by where some are missing."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache, partial
from pathlib import Path
from typing import Any, Final, NamedTuple, Protocol

import bridge
from bridge.commands import Cause, Command, Decision, Note, Told
from bridge.engine import Engine, look_at
from bridge.errors import DecodeError, EngineError, LayoutError
from bridge.events import Event, Instant
from bridge.layout import Layout, read_layout
from bridge.layout.findings import errors
from bridge.record.lines import End, Frame, Header, Input, Line, Lost, Refused, Rendered, Snapshot
from bridge.record.parts import Part, find_snapshot
from bridge.record.reader import Broken, Log, Place, Placed, Torn, read_session
from bridge.record.store import first_name
from bridge.record.words import instant_text

MOST_GAPS: Final = 100
"""Broken lines that are told of one by one: a small file can unfold into millions of them."""


@dataclass(frozen=True, slots=True)
class Opened:
    """A session that is about to be followed.

    Attributes:
        path: its log.
        header: of that log.
        layout: through which it is played.
        lines: what stands behind the header.
        own: whether the layout is the one that was driven when it was recorded.
        resumes: whether it begins in the middle, at a snapshot.
        cut: whether it is one of several parts that are followed side by side: who looks at it asked for no part.
    """

    path: Path
    header: Header
    layout: Layout
    lines: Log
    own: bool
    resumes: bool
    cut: bool = False

    @property
    def tells_states(self) -> bool:
        """Whether its snapshots are of this layout, and of states as this version of lamproom keeps them."""
        return self.own and self.header.version == bridge.__version__


def open_session(
    path: Path,
    layout_text: str | None = None,
    *,
    whose: str = "the layout file",
    since: Instant = 0,
    passing: tuple[bytes, ...] = (),
    part: Part | None = None,
) -> Opened:
    """Open a log and the files in which its session goes on.

    Args:
        path: the log; the file in which the part begins, where it is about a part.
        layout_text: a layout file to play it through instead of the one in the log.
        whose: what to call that one.
        since: what happened before is not wanted: it begins at the last snapshot that is not later, if it can.
        passing: how lines begin that are not wanted.
        part: nothing but this is wanted.

    Raises:
        DecodeError: the log cannot be read; the message names the file, the line and the reason.
        LayoutError: the layout file cannot be driven.
    """
    own, cut = layout_text is None, part is not None
    if part is None:
        part = Part((find_snapshot(path, since) if own and since else None) or Place(path, 0), None)
    begin = part.begin
    lines = read_session(begin.file, begin=begin.line or 2, end=part.end, passing=passing)
    header = next(lines).line
    if not isinstance(header, Header):  # the reader gives the header first, or raises
        raise DecodeError(f"{path}:1: the log does not begin with its header")
    if layout_text is None:
        layout = driven(header.text, f"the layout file within {path}")
    elif header.piece > 1:
        first = first_name(header.before, header.piece)
        raise DecodeError(f"{path}: this session began in {first}: for another layout file begin there")
    else:
        layout = driven(layout_text, whose)
    resumes = bool(begin.line) or header.piece > 1
    return Opened(path, header, layout, lines, own, resumes=resumes, cut=cut)


@lru_cache(maxsize=1)  # a session is opened more than once: to be looked at in two ways, or in parts
def driven(text: str, whose: str) -> Layout:
    """Return the layout that a layout file describes.

    Raises:
        LayoutError: it cannot be driven; the message begins with `whose` and names the first line that is wrong.
    """
    layout, findings = read_layout(text)
    found = errors(findings) if layout is None else errors(look_at(layout))
    if layout is None or found:
        raise LayoutError(f"{whose} cannot be driven: line {found[0].mark.line}: {found[0].message}", found)
    return layout


class Stood(NamedTuple):
    """A snapshot was passed.

    Attributes:
        snapshot: it.
        resumed: the engine was put into that state, since nobody knows what came before.
        same: whether the engine is in that state.
    """

    snapshot: Snapshot
    resumed: bool
    same: bool


class Core(Protocol):
    """What follows a session, as far as its state goes."""

    def snapshot(self) -> dict[str, Any]:
        """Return the state, or that part of it which is followed."""
        ...

    def restore(self, data: dict[str, Any]) -> None:
        """Take up a whole state."""
        ...


NEVER: Final = Place(Path(), 0)
"""A place that no session comes to."""

_OF_LOGIC: Final = ("board", "repeats", "events")
"""What a state tells of all but light."""

_APART: Final = (Torn, Broken, Lost, Snapshot)
"""Lines that say something of the log itself, or of how far what follows can be relied upon."""


class Follower:
    """Goes through a session's lines and keeps to what can be relied upon.

    Attributes:
        notes: what an owner should know of the log.
        gaps: how often something is missing or broken.
        goes_on: whether there is more in the log than was wanted.
        unlike: at the snapshot that was to be taken up the logic stood otherwise.

    Args:
        session: what is followed.
        core: what follows it; whoever goes through `lines` hands it what they say.
        reach: where only a part of the state is followed, and not every step: lets time pass up to an instant.
        take_up: a snapshot of which the state is taken up, although nothing is missing before it.
    """

    def __init__(
        self,
        session: Opened,
        core: Core,
        reach: Callable[[Instant], None] | None = None,
        *,
        take_up: Place | None = None,
    ) -> None:
        self._core = core
        self._reach = reach
        self._take_up = take_up
        self.unlike = False
        self.notes: list[str] = []
        self._told = 0
        self.gaps = 0
        self.goes_on = False
        self.seeking = session.resumes
        self._resumed = False
        self._session = session

    def lines(self, until: Instant | None = None) -> Iterator[tuple[Placed, Line | Stood]]:
        """Yield each line that follows from those before it, up to an instant, and what became of snapshots."""
        for placed in self._session.lines:
            line = placed.line
            if until is not None and _begins(line) > until:
                self.goes_on = True
                break
            if not isinstance(line, _APART):
                if not self.seeking:
                    yield placed, line if until is None else _cut(line, until)
            elif isinstance(line, Torn):
                self.notes.append(f"{self.place(placed)} stops in the middle: the log was cut off there")
            elif isinstance(line, Broken):
                self.gap(placed, line.why)
            elif isinstance(line, Lost):
                why = "entries were lost because the disk could not keep up"
                self.gap(placed, f"at {instant_text(line.at)}: {line.count} {why}")
            else:
                stood = self._stand(placed, line)
                if stood is not None:
                    yield placed, stood
        if self.seeking:
            self.gaps = max(
                self.gaps, 1
            )  # where not even its first snapshot could be taken up nothing was played
            why = (
                "no snapshot follows" if self._session.own else "under another layout file no snapshot helps"
            )
            self.notes.append(f"{why}: what comes after that cannot be replayed")

    def gap(self, placed: Placed, why: str) -> None:
        """Say that what follows does not follow from what came before: only a snapshot says how things stand."""
        self.gaps += not self.seeking
        self.seeking = True
        self._told += 1
        if self._told <= MOST_GAPS:
            self.notes.append(f"{self.place(placed)}: {why}")
        if self._told == MOST_GAPS:
            self.notes.append("of what is broken behind that nothing more is told: it is a great deal")

    def failed(self, placed: Placed, error: Exception) -> None:
        """Go on behind a line that the engine could not take.

        Raises:
            Exception: that same error, where it cannot come from what stands in the log: it is a fault of lamproom.
        """
        if isinstance(error, EngineError):
            self.gap(placed, f"out of order: {error}")
        elif self._resumed:
            # A state from a file may hold anything, and not all of it is looked at before it is needed.
            self.gap(placed, f"it cannot follow from the snapshot before it, which is damaged: {error!r}")
        else:
            raise error

    def place(self, placed: Placed) -> str:
        """Return where a line stands, in words."""
        where = "" if placed.file == self._session.path else f" of {placed.file.name}"
        return f"line {placed.number}{where}"

    def _stand(self, placed: Placed, line: Snapshot) -> Stood | None:
        if not self._session.own:
            return None  # it is of another layout file
        sought = self.seeking
        if not sought and self._take_up == (placed.file, placed.number):
            present = json.loads(json.dumps(self._core.snapshot()))
            self.unlike = any(present.get(key) != line.engine.get(key) for key in _OF_LOGIC)
        elif not sought:
            if self._reach is not None:
                self._reach(line.at)
            present = json.loads(json.dumps(self._core.snapshot()))
            kept = line.engine if self._reach is None else {key: line.engine.get(key) for key in present}
            return Stood(line, resumed=False, same=present == kept or not self._session.tells_states)
        try:
            self._core.restore(line.engine)
        except EngineError as error:
            self.gap(placed, str(error))
            return None
        except Exception as error:  # noqa: BLE001 - a state from a file may hold anything
            self.gap(placed, f"the snapshot is damaged: {error!r}")
            return None
        self.seeking = False
        self._resumed = True
        if sought and (self.gaps or (placed.number > 2 and not self._session.cut)):
            self.notes.append(f"it goes on at the snapshot in {self.place(placed)}, {instant_text(line.at)}")
        return Stood(line, resumed=True, same=True)


def _begins(line: object) -> Instant:
    """Return the first instant that a line is about; -1 where it is about none."""
    match line:
        case Rendered():
            return line.instants[0] if line.instants else -1
        case Input() | Refused() | Decision() | Told() | Note() | Frame() | Lost() | Snapshot() | End():
            return line.at
    return -1


def _cut(line: Line, until: Instant) -> Line:
    """Leave out what a line says of later."""
    if not isinstance(line, Rendered) or line.instants[-1:] <= (until,):
        return line
    return Rendered(tuple(instant for instant in line.instants if instant <= until))


class Step(NamedTuple):
    """What an engine made of one thing that happened.

    Attributes:
        at: when.
        number: of the event, or 0 where time alone did it.
        event: what happened, or None.
        commands: what follows.
    """

    at: Instant
    number: int
    event: Event | None
    commands: list[Command]


class Ahead(NamedTuple):
    """A step that is due.

    Attributes:
        at: when.
        take: takes it; gives None where it does not fit what came before, which is among the notes then.
    """

    at: Instant
    take: Callable[[], Step | None]


class Watcher(Protocol):
    """Who looks on while a session is played, and never changes anything."""

    def begin(self, session: Opened) -> None:
        """Look at what is about to be played."""
        ...

    def line(self, line: Line) -> None:
        """Look at a line, before the steps that follow from it."""
        ...

    def step(self, step: Step, engine: Engine) -> None:
        """Look at a step that an engine has taken."""
        ...

    def stood(self, at: Instant, engine: Engine) -> None:
        """Look at an engine that was put into the state of a snapshot: what comes does not follow from what came."""
        ...

    def end(self, *, goes_on: bool) -> None:
        """Know that this was all, and whether there is more in the log than was wanted."""
        ...


class Player:
    """Plays a session through an engine, and compares nothing.

    Attributes:
        engine: which has come so far.
        notes: what an owner should know of the log.
        length: the last instant that the log is about, as far as it was played.
        resumed: how often it went on at a snapshot, without what came before.
        next_timer: says where no light is worked out when the next timer is due; by itself that of this engine.

    Args:
        session: what is played.
        light_from: a snapshot before which no light is worked out, which is most of the work; the light in it is
            taken up. All that is decided comes out at the same instants. With `NEVER` there is none at all.
    """

    def __init__(self, session: Opened, *, light_from: Place | None = None) -> None:
        self.engine = Engine(session.layout)
        self._follower = Follower(session, self.engine, take_up=light_from)
        self._resumes = session.resumes
        self._lit = light_from is None
        self.next_timer = self.engine.next_timer
        self.notes = self._follower.notes
        self.length: Instant = 0
        self.resumed = 0

    @property
    def sound(self) -> bool:
        """Whether all that was played follows from the beginning of the session, and its light is worked out."""
        return self._lit and not self._follower.gaps and not self._follower.unlike

    @property
    def goes_on(self) -> bool:
        """Whether there is more in the log than was wanted."""
        return self._follower.goes_on

    @property
    def lost(self) -> bool:
        """Whether nobody knows how things stand where it has come to: something is missing before that."""
        return self._follower.seeking

    def steps(self, until: Instant | None = None, *, closing: bool = True) -> Iterator[Step]:
        """Yield each step up to an instant; after a snapshot that was taken up one with its whole picture.

        Args:
            until: the last instant that is wanted.
            closing: put everything to rest where the session ended cleanly.
        """
        for each in self.ahead(until, closing=closing):
            step = each.take()
            if step is not None:
                yield step

    def ahead(self, until: Instant | None = None, *, closing: bool = True) -> Iterator[Ahead]:
        """Yield each step before it is taken, for who has to wait for its instant: it is taken before the next.

        Args:
            until: the last instant that is wanted.
            closing: put everything to rest where the session ended cleanly.
        """
        if not self._resumes:
            yield Ahead(0, lambda: Step(0, 0, None, self.engine.start()))
        for placed, line in self._follower.lines(until):
            if isinstance(line, End) and not closing:
                self.length = max(self.length, line.at)
                continue
            for at, make in self._line(line):
                yield Ahead(at, partial(self._take, placed, make))
                if self._follower.seeking:
                    break

    def _take(self, placed: Placed, make: Callable[[], Step]) -> Step | None:
        try:
            step = make()
        except Exception as error:  # noqa: BLE001 - the follower knows which of them the log may be to blame for
            self._follower.failed(placed, error)
            return None
        self.length = max(self.length, step.at)
        return step

    def _line(self, line: Line | Stood) -> Iterator[tuple[Instant, Callable[[], Step]]]:
        match line:
            case Input():
                for event in line.events:
                    yield event.at, partial(self._handle, event)
            case Rendered():
                for instant in line.instants if self._lit else self._with_timers(line.instants):
                    yield instant, partial(self._advance, instant)
            case End():
                yield line.at, lambda: Step(line.at, 0, None, self.engine.closing(line.at))
            case Stood(resumed=True):
                yield line.snapshot.at, partial(self._resume, line.snapshot.at)

    def _handle(self, event: Event) -> Step:
        commands = self.engine.handle(event)
        return Step(event.at, self.engine.events, event, commands)

    def _with_timers(self, instants: tuple[Instant, ...]) -> Iterator[Instant]:
        """Yield the instants at which more than light changes; each is played before the next is looked for."""
        self.length = max((self.length, *instants))
        for instant in instants:
            due = self.next_timer()
            if due is not None and due <= instant:
                yield instant

    def _resume(self, at: Instant) -> Step:
        self.resumed += 1
        self._lit = True
        return Step(at, 0, None, [*self.engine.all_frames(Cause.START)])

    def _advance(self, instant: Instant) -> Step:
        return Step(instant, 0, None, self.engine.advance(instant))
