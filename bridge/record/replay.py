"""Replaying a session: the same inputs into a fresh engine, and everything that comes out held to the log."""

from __future__ import annotations

import json
from collections import deque
from dataclasses import replace
from pathlib import Path
from typing import TypeAlias

import bridge
from bridge.commands import Cause, Command, Decision, Note, PublishFrame, Report, Told
from bridge.engine import Engine, look_at
from bridge.errors import DecodeError, EngineError, LayoutError
from bridge.events import Event, Instant
from bridge.layout import Layout, read_layout
from bridge.layout.findings import errors
from bridge.record.digests import ChainDigests, FrameDigest, tables_digest
from bridge.record.lines import End, Frame, Header, Input, Lost, Refused, Rendered, Snapshot
from bridge.record.reader import Broken, Log, Placed, Torn, find_snapshot, read_session
from bridge.record.result import Difference, ReplayResult, frame_difference, report_lines
from bridge.record.words import event_text, instant_text

__all__ = ["ReplayResult", "replay", "report_lines"]

_Made: TypeAlias = PublishFrame | Decision | Told | Note


def replay(
    path: Path, layout_text: str | None = None, *, since: Instant = 0, until: Instant | None = None
) -> ReplayResult:
    """Replay a log and the files in which its session goes on.

    Args:
        path: the log.
        layout_text: a layout file to replay it through instead of the one in the log.
        since: what happened before need not be replayed: it begins at the last snapshot that is not later.
        until: what happened after is left out.

    Raises:
        DecodeError: the log cannot be read; the message names the file, the line and the reason.
        LayoutError: the layout file cannot be driven.
    """
    own = layout_text is None
    begin = find_snapshot(path, since) if own and since else 0
    log = read_session(path, begin=begin or 2)
    header = next(log).line
    if not isinstance(header, Header):  # the reader gives the header first, or raises
        raise DecodeError(f"{path}:1: the log does not begin with its header")
    if not own and header.piece > 1:
        raise DecodeError(
            f"{path}: this session began in {header.before}, under its own layout file: for another one begin there"
        )
    text = header.text if layout_text is None else layout_text
    whose = f"the layout file within {path}" if layout_text is None else "the layout file"
    replaying = _Replay(
        path,
        _layout(text, whose),
        own=own,
        same_program=header.version == bridge.__version__,
        resumes=bool(begin) or header.piece > 1,
    )
    if header.tables != tables_digest():
        replaying.notes.append(
            f"it was recorded by lamproom {header.version} with other tables of light: levels may come out otherwise"
        )
    replaying.run(log, until)
    return replaying.result(header)


def _layout(text: str, whose: str) -> Layout:
    layout, findings = read_layout(text)
    found = errors(findings) if layout is None else errors(look_at(layout))
    if layout is None or found:
        raise LayoutError(f"{whose} cannot be driven: line {found[0].mark.line}: {found[0].message}", found)
    return layout


class _Replay:
    """A fresh engine, and what it made that the log has yet to show."""

    def __init__(self, path: Path, layout: Layout, *, own: bool, same_program: bool, resumes: bool) -> None:
        self.notes: list[str] = []
        self._path = path
        self._own = own
        # Another version may keep the same state in another shape; its frames tell whether it is the same.
        self._same_program = same_program
        self._seeking = resumes  # nothing counts until the next snapshot
        self._gaps = 0
        self._layout = layout
        self._keys = tuple(chain.key for chain in layout.chains)
        self._engine = Engine(layout)
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
        self._refused = self._decisions = self._frames = self._instants = 0
        self._reworded: list[int] = []

    def run(self, log: Log, until: Instant | None) -> None:
        """Take all lines up to an instant."""
        if not self._seeking:
            self._take(self._engine.start())
        for placed in log:
            if until is not None and _begins(placed.line) > until:
                break
            if (
                until is not None
                and isinstance(placed.line, Rendered)
                and placed.line.instants[-1:] > (until,)
            ):
                before = tuple(instant for instant in placed.line.instants if instant <= until)
                self._rendered(placed.number, Rendered(before))
                break
            if isinstance(placed.line, Torn):
                self.notes.append(f"{self._place(placed)} stops in the middle: the log was cut off there")
                continue
            try:
                self._whole(placed)
            except EngineError as error:
                self._gap(placed, f"out of order: {error}")
        if self._seeking:
            self.notes.append("no snapshot follows: what comes after that cannot be replayed")

    def _whole(self, placed: Placed) -> None:
        line = placed.line
        if isinstance(line, Broken):
            self._gap(placed, line.why)
        elif isinstance(line, Lost):
            what = f"at {instant_text(line.at)}: {line.count} entries were lost because the disk could not keep up"
            self._gap(placed, what)
        elif isinstance(line, Snapshot):
            self._snapshot(placed, line)
        elif not self._seeking:
            self._line(placed.number, line)

    def _place(self, placed: Placed) -> str:
        where = "" if placed.file == self._path else f" of {placed.file.name}"
        return f"line {placed.number}{where}"

    def _gap(self, placed: Placed, why: str) -> None:
        """What follows does not follow from what came before: only a snapshot says how things stand."""
        if not self._seeking:
            self._gaps += 1
        self._seeking = True
        self.notes.append(f"{self._place(placed)}: {why}")

    def _snapshot(self, placed: Placed, line: Snapshot) -> None:
        if not self._own:
            return  # it is of another layout file
        if not self._seeking:
            self._nothing_missing(placed.number)
            present = json.loads(json.dumps(self._engine.snapshot()))
            if self._same_program and present != line.engine:
                self._differs(
                    placed.number, line.at, "the state is not the one that the log has at its snapshot"
                )
            return
        try:
            self._engine.restore(line.engine)
        except EngineError as error:
            self._gap(placed, str(error))
            return
        self._seeking = False
        self._made.clear()
        self._digests.resume(line.digests)
        self._since = self._last = line.at
        if self._gaps or placed.number > 2:
            self.notes.append(f"it goes on at the snapshot in {self._place(placed)}, {instant_text(line.at)}")

    def result(self, header: Header) -> ReplayResult:
        """Return what came of it."""
        if self._reworded:
            count = len(self._reworded)
            what = "1 reason is" if count == 1 else f"{count} reasons are"
            self.notes.append(
                f"{what} worded otherwise than in the log, the first in line {self._reworded[0]}"
            )
        return ReplayResult(
            file=str(self._path),
            layout=self._layout.name,
            started=header.started,
            events=self._engine.events,
            refused=self._refused,
            decisions=self._decisions,
            frames=self._frames,
            instants=self._instants,
            length=self._last,
            ended=self._ended,
            digest=self._all.hex(),
            gaps=self._gaps,
            difference=self._difference,
            notes=tuple(self.notes),
        )

    def _line(self, number: int, line: object) -> None:
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

    def _input(self, number: int, line: Input) -> None:
        first = self._engine.events + 1
        if line.number != first:
            self._differs(number, line.at, f"the log goes on with event {line.number} where {first} is next")
        for event in line.events:
            self._handle(event)
        self._last = max(self._last, line.at)

    def _handle(self, event: Event) -> None:
        commands = self._engine.handle(event)
        self._cause = (self._engine.events, event_text(event))
        self._take(commands)

    def _take(self, commands: list[Command]) -> None:
        self._compare = True
        for command in commands:
            if isinstance(command, PublishFrame):
                self._count(command)
            if not isinstance(command, Report):
                self._made.append(command)

    def _count(self, frame: PublishFrame) -> None:
        self._frames += 1
        self._all.add(frame.at, frame.chain, frame.levels)

    def _rendered(self, number: int, line: Rendered) -> None:
        for instant in line.instants:
            self._instants += 1
            self._last = max(self._last, instant)
            due: list[Command] = []
            for command in self._engine.advance(instant):
                if isinstance(command, PublishFrame) and command.cause is Cause.MOTION:
                    self._count(command)
                    self._digests.add(command)
                else:
                    due.append(command)
            self._take(due)
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
        wanted = PublishFrame(line.at, chain, line.levels, line.cause)
        made = self._next(number, wanted)
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
        self._take([*self._engine.closing(at)])

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


def _begins(line: object) -> Instant:
    """Return the first instant that a line is about; -1 where it is about none."""
    if isinstance(line, Rendered):
        return line.instants[0] if line.instants else -1
    return (
        line.at
        if isinstance(line, Input | Refused | Decision | Told | Note | Frame | Lost | Snapshot | End)
        else -1
    )


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
