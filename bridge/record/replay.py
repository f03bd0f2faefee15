"""Replaying a session: the same inputs into a fresh engine, and everything that comes out held to the log."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TypeAlias

from bridge.commands import Cause, Command, Decision, Note, PublishFrame, Report, Told
from bridge.engine import Engine
from bridge.events import Event, Instant
from bridge.record.beside import replay_beside
from bridge.record.digests import ChainDigests, FrameDigest, tables_digest
from bridge.record.following import Follower, Opened, Step, Stood, Watcher, open_session
from bridge.record.lines import End, Frame, Input, Line, Refused, Rendered
from bridge.record.parts import Part
from bridge.record.result import Difference, ReplayResult, frame_difference, report_lines
from bridge.record.words import event_text, instant_text

__all__ = ["ReplayResult", "replay", "report_lines"]

_Made: TypeAlias = PublishFrame | Decision | Told | Note


def replay(
    path: Path,
    layout_text: str | None = None,
    *,
    since: Instant = 0,
    until: Instant | None = None,
    progress: Callable[[Instant], None] = lambda _at: None,
    watcher: Watcher | None = None,
) -> ReplayResult:
    """Replay a log and the files in which its session goes on.

    Args:
        path: the log.
        layout_text: a layout file to replay it through instead of the one in the log.
        since: what happened before need not be replayed: it begins at the last snapshot that is not later.
        until: what happened after is left out.
        progress: called at each line with how far it has come.
        watcher: is shown all that is played.

    Raises:
        DecodeError: the log cannot be read; the message names the file, the line and the reason.
        LayoutError: the layout file cannot be driven.
    """
    session = open_session(path, layout_text, since=since)
    replaying = _Replay(session, watcher)
    if session.header.tables != tables_digest():
        replaying.notes.append(
            f"it was recorded by lamproom {session.header.version} with other tables of light: levels may come out "
            "otherwise"
        )
    elif until is None and watcher is None:
        whole = replay_beside(session, _replay_part, progress)
        if whole is not None:
            return whole
    replaying.run(until, progress)
    result = replaying.result()
    if since > result.length and not result.goes_on:
        after = f"the log says nothing of later than {instant_text(result.length)}"
        return replace(result, notes=(*result.notes, f"{after}, and what is wanted begins behind that"))
    return result


def _replay_part(part: Part, progress: Callable[[Instant], None]) -> ReplayResult:
    replaying = _Replay(open_session(part.begin.file, part=part), None)
    replaying.run(None, progress)
    return replaying.result()


class _Replay:
    """A fresh engine, and what it made that the log has yet to show."""

    def __init__(self, session: Opened, watcher: Watcher | None) -> None:
        self._session = session
        self._watcher = watcher
        self._engine = Engine(session.layout)
        self._follower = Follower(session, self._engine)
        self.notes = self._follower.notes
        self._layout = session.layout
        self._keys = tuple(chain.key for chain in self._layout.chains)
        self._digests = ChainDigests(self._keys)
        self._all = FrameDigest(self._keys)
        self._made: deque[_Made] = deque()
        self._compare = (
            True  # off from a difference until the next input: what follows from it says nothing new
        )
        self._difference: Difference | None = None
        self._cause = (0, "")
        self._since: Instant = 0
        self._last: Instant = 0
        self._closed = False
        self._ended = False
        self._handled = self._refused = self._decisions = self._frames = self._instants = 0
        self._reworded: list[int] = []

    def run(self, until: Instant | None, progress: Callable[[Instant], None]) -> None:
        """Take all lines up to an instant."""
        if self._watcher is not None:
            self._watcher.begin(self._session)
        if not self._session.resumes:
            self._show(Step(0, 0, None, self._engine.start()))
        for placed, line in self._follower.lines(until):
            try:
                self._line(placed.number, line)
            except Exception as error:  # noqa: BLE001 - the follower knows which of them the log may be to blame for
                self._follower.failed(placed, error)
            progress(self._last)
        if self._watcher is not None:
            self._watcher.end(goes_on=self._follower.goes_on)

    def _stood(self, number: int, stood: Stood) -> None:
        at = stood.snapshot.at
        if stood.resumed:
            self._made.clear()
            self._digests.resume(stood.snapshot.digests)
            self._since = self._last = at
            if self._watcher is not None:
                self._watcher.stood(at, self._engine)
            return
        self._nothing_missing(number)
        if not stood.same:
            self._differs(number, at, "the state is not the one that the log has at its snapshot")

    def result(self) -> ReplayResult:
        """Return what came of it."""
        if self._reworded:
            count = len(self._reworded)
            what = "1 reason is" if count == 1 else f"{count} reasons are"
            self.notes.append(
                f"{what} worded otherwise than in the log, the first in line {self._reworded[0]}"
            )
        return ReplayResult(
            file=str(self._session.path),
            layout=self._layout.name,
            started=self._session.header.started,
            events=self._engine.events,
            skipped=self._engine.events - self._handled,
            refused=self._refused,
            decisions=self._decisions,
            frames=self._frames,
            instants=self._instants,
            length=self._last,
            ended=self._ended,
            digest=self._all.hex(),
            gaps=self._follower.gaps,
            difference=self._difference,
            notes=tuple(self.notes),
            goes_on=self._follower.goes_on,
        )

    def _line(self, number: int, line: Line | Stood) -> None:
        if self._watcher is not None and not isinstance(line, Stood):
            self._watcher.line(line)
        match line:
            case Input():
                self._nothing_missing(number)
                self._input(number, line)
            case Refused():
                self._refused += 1
                self._last = max(self._last, line.at)
            case Rendered():
                self._nothing_missing(number)
                self._rendered(number, line)
            case Frame():
                self._frame(number, line)
            case Decision() | Told() | Note():
                self._decided(number, line)
            case End():
                self._end(number, line)
            case Stood():
                self._stood(number, line)

    def _input(self, number: int, line: Input) -> None:
        first = self._engine.events + 1
        if line.number != first:
            self._differs(number, line.at, f"the log goes on with event {line.number} where {first} is next")
        for event in line.events:
            self._handle(event)
        self._last = max(self._last, line.at)

    def _handle(self, event: Event) -> None:
        commands = self._engine.handle(event)
        self._handled += 1
        self._cause = (self._engine.events, event_text(event))
        self._show(Step(event.at, self._engine.events, event, commands))

    def _show(self, step: Step) -> None:
        if self._watcher is not None:
            self._watcher.step(step, self._engine)
        self._take(step.commands)

    def _take(self, commands: list[Command]) -> None:
        self._count(commands)
        self._expect(commands)

    def _count(self, commands: list[Command]) -> None:
        """Take all frames into the digest, in the order in which they went out."""
        for command in commands:
            if isinstance(command, PublishFrame):
                self._frames += 1
                self._all.add(command.at, command.chain, command.levels)

    def _expect(self, commands: list[Command]) -> None:
        """Look for these in the lines that follow."""
        self._compare = True
        self._made += [command for command in commands if not isinstance(command, Report)]

    def _rendered(self, number: int, line: Rendered) -> None:
        for instant in line.instants:
            self._instants += 1
            self._last = max(self._last, instant)
            due: list[Command] = []
            commands = self._engine.advance(instant)
            self._count(commands)
            if self._watcher is not None:
                self._watcher.step(Step(instant, 0, None, commands), self._engine)
            for command in commands:
                if isinstance(command, PublishFrame) and command.cause is Cause.MOTION:
                    self._digests.add(command)
                else:
                    due.append(command)
            self._expect(due)
        if line.digests is None:
            return
        digests = self._digests.take()
        since, self._since = self._since, self._last
        unlike = [key for key in {**line.digests, **digests} if line.digests.get(key) != digests.get(key)]
        if unlike:
            key = unlike[0]
            if key not in line.digests:
                which = "the log has none, and the replay has some"
            elif key not in digests:
                which = "the replay has none, and the log has some"
            else:
                which = "at least one was changed, is missing or is too many"
            what = (
                f"the moving frames of {key} between {instant_text(since)} and {instant_text(self._last)} "
                f"are not those of the log: {which}"
            )
            self._differs(number, self._last, what, chain=key)

    def _frame(self, number: int, line: Frame) -> None:
        if line.cause is Cause.LAST and not self._closed:
            self._nothing_missing(number)
            self._close(line.at)
        self._last = max(self._last, line.at)
        if line.chain not in self._keys:
            self._differs(number, line.at, f"the log has a frame of {line.chain}, which this layout has not")
            return
        chain = self._keys.index(line.chain)
        wanted = PublishFrame(line.at, chain, line.levels, line.cause, line.test)
        made = self._next(number, wanted)
        if isinstance(made, PublishFrame) and made.test != line.test:
            of_test, of_none = ("the log", "the replay") if line.test else ("the replay", "the log")
            what = (
                f"the frame of {line.chain} is a picture of a lamp test in {of_test}, and none in {of_none}"
            )
            self._differs(number, line.at, what, chain=line.chain)
            return
        if isinstance(made, PublishFrame) and made.levels != line.levels:
            found = frame_difference(self._layout, chain, line.levels, made.levels, line=number, at=line.at)
            self._note_difference(found)

    def _decided(self, number: int, line: Decision | Told | Note) -> None:
        self._decisions += isinstance(line, Decision)
        made = self._next(number, line)
        if isinstance(made, Decision) and isinstance(line, Decision):
            if (made.before, made.aspect) != (line.before, line.aspect):
                what = (
                    f"{line.device} goes from {line.before} to {line.aspect} in the log, and from {made.before} "
                    f"to {made.aspect} in the replay"
                )
                self._differs(number, line.at, what)
            elif made != line:
                # A newer lamproom may say it better, and the light is the same.
                self._reworded.append(number)
        elif isinstance(made, Told) and isinstance(line, Told) and made.state != line.state:
            what = (
                f"the {line.subject} {line.name} is {line.state} in the log, and {made.state} in the replay"
            )
            self._differs(number, line.at, what)
        elif isinstance(made, Told | Note) and made != line:
            self._reworded.append(number)

    def _next(self, number: int, line: _Made) -> _Made | None:
        """Return what the replay made in the place of a line, or None where it has nothing of that kind there."""
        if not self._compare:
            return None
        if self._made and _place(self._made[0]) == _place(line):
            return self._made.popleft()
        if any(_place(made) == _place(line) for made in self._made):
            self._missing(number)
        else:
            self._differs(number, line.at, f"the log has {_words(line, self._keys)}, and the replay has not")
        return None

    def _nothing_missing(self, number: int) -> None:
        if self._made and self._compare:
            self._missing(number)
        self._made.clear()
        self._compare = True

    def _missing(self, number: int) -> None:
        made = self._made[0]
        self._differs(number, made.at, f"the log lacks {_words(made, self._keys)}, which the replay has")

    def _close(self, at: Instant) -> None:
        self._closed = True
        self._show(Step(at, 0, None, self._engine.closing(at)))

    def _end(self, number: int, line: End) -> None:
        if not self._closed:
            self._nothing_missing(number)
            self._close(line.at)
        self._nothing_missing(number)
        if line.events != self._engine.events:
            what = f"the session had {line.events} events, and the log has {self._engine.events}: some are missing"
            self._differs(number, line.at, what)
        unlike = [key for key, digest in self._digests.all().items() if line.digests.get(key) != digest]
        unlike += [key for key in line.digests if key not in self._digests.all()]
        if unlike:
            what = f"the moving frames of {unlike[0]} in the whole session are not those of the log"
            self._differs(number, line.at, what, chain=unlike[0])
        self._ended = True
        self._last = max(self._last, line.at)

    def _differs(self, line: int, at: Instant, what: str, *, chain: str = "") -> None:
        self._note_difference(Difference(line, at, what, chain=chain))

    def _note_difference(self, difference: Difference) -> None:
        self._compare = False
        self._made.clear()
        if self._difference is None:
            event, cause = self._cause
            self._difference = replace(difference, event=event, cause=cause)


def _place(made: _Made) -> tuple[object, ...]:
    """Return what a line is about: two with the same place are compared, and not taken for a missing line."""
    match made:
        case PublishFrame():
            return ("frame", made.at, made.chain, made.cause)
        case Decision():
            return ("decision", made.at, made.device, made.causes)
        case Told():
            return ("told", made.at, made.subject, made.name)
        case Note():
            return ("note", made.at, made.event)


def _words(made: _Made, keys: tuple[str, ...]) -> str:
    match made:
        case PublishFrame():
            return f"a frame of {keys[made.chain]}"
        case Decision():
            return f"the decision that {made.device} goes from {made.before} to {made.aspect} ({made.reason})"
        case Told():
            return f"that the {made.subject} {made.name} is {made.state} ({made.reason})"
        case Note():
            return f"the note {made.text!r}"
