"""A table of events that were recorded elsewhere, played through an engine into a session log like any other."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from adapters.contract import EventSource, Raw, Triable
from bridge.engine import Engine
from bridge.errors import DecodeError, LamproomError, LayoutError
from bridge.events import SECOND, ClockReported, Event, Instant, LinkState, SourceReported
from bridge.layout import Layout
from bridge.layout.entries import Desk
from bridge.layout.findings import choice, errors, in_order
from bridge.layout.text import parse
from bridge.record.words import instant_text
from bridge.record.writer import SessionLog, make_header
from bridge.service.files import LayoutFile
from bridge.service.hosts import look_at_events
from bridge.service.plugins import Adapters
from bridge.service.tables import Row, Table, TableOptions
from bridge.service.trying import Nowhere

KIND: Final = "topics"
"""The kind of source whose `messages` a description may have."""

NAME: Final = "table"
"""What a source is called that is described beside the table."""

AFTERWARDS: Final = 5 * SECOND
"""The session goes on for so long after the last row, so that what that began is seen."""

TOLD: Final = 20
"""Rows that are told with what is wrong; of more it is told how many."""

OFTEN: Final = 500
"""Steps between two writes of the log."""


@dataclass(slots=True)
class Imported:
    """What came of a table.

    Attributes:
        used: rows that told something, or that there is nothing to tell.
        refused: rows that mean nothing, or whose time is not known.
        passed: rows that nothing in the description is about.
        events: how many were told.
        length: of the session.
        told: what is wrong with the first rows that were refused.
        first_passed: the first row that was passed over, in words.
    """

    used: int = 0
    refused: int = 0
    passed: int = 0
    events: int = 0
    length: Instant = 0
    told: list[str] = field(default_factory=list)
    first_passed: str = ""

    def lines(self, log: Path) -> list[str]:
        """Return what an owner wants to know of it."""
        used = f"{_count(self.events, 'event')} from {_count(self.used, 'row')}"
        lines = [f"{log}: {used}, in {instant_text(self.length)}; {_count(self.refused, 'row')} refused"]
        if self.passed:
            lines.append(
                f"{_count(self.passed, 'row')} passed over, because no entry of `messages` is about them; the first "
                f"was {self.first_passed}"
            )
        return lines


@dataclass(frozen=True, slots=True)
class Described:
    """A description of a table that has no errors.

    Attributes:
        options: the shape of the table.
        source: the name of the source that its events come by.
        kind: the kind of that source.
        said: its keys.
    """

    options: TableOptions
    source: str
    kind: str
    said: dict[str, Any]


def read_description(file: str, layout: Layout, adapters: Adapters) -> Described:
    """Read the file that describes a table.

    Raises:
        LayoutError: it has errors; the message has each with its line.
        LamproomError: it cannot be read.
    """
    try:
        text = Path(file).read_text(encoding="utf-8-sig")
    except OSError as problem:
        raise LamproomError(f"{file}: cannot be read: {problem.strerror}") from None
    except UnicodeDecodeError:
        raise LamproomError(f"{file}: this is not UTF-8 text: save the file as UTF-8") from None
    document = parse(text)
    desk = Desk(document)
    found = [*document.findings]
    if not found:
        data = document.data if isinstance(document.data, dict) else {}
        options = desk.entry(TableOptions, data, ())
        if data.get("messages") is not None:
            adapters.look_at_source(KIND, {"messages": data["messages"]}, (), desk)
        described = None if options is None else _described(options, data, layout, desk)
        found = [*errors(in_order(desk.findings))]
        if described is not None and not found:
            return described
    raise LayoutError("\n".join(finding.line(file) for finding in found), tuple(found))


def _described(options: TableOptions, data: dict[str, Any], layout: Layout, desk: Desk) -> Described | None:
    said = {source.name: source for source in layout.sources}
    if options.messages is not None:
        return Described(options, options.source or NAME, KIND, {"messages": data["messages"]})
    if options.source is None:
        desk.error(
            (), "nothing says what a row means: name a `source` of the layout file, or write `messages`"
        )
        return None
    if options.source not in said:
        text = f"the layout has no source {options.source!r}; {choice(options.source, said)}"
        desk.error(("source",), text)
        return None
    source = said[options.source]
    return Described(options, source.name, source.kind, dict(source.options))


def import_table(
    table: Path,
    described: Described,
    looked: LayoutFile,
    layout: Layout,
    adapters: Adapters,
    log: Path,
    progress: Callable[[Instant], None] = lambda _at: None,
) -> Imported:
    """Play a table through an engine, and write down what came of it.

    Raises:
        LamproomError: the table cannot be read, or the log cannot be written.
    """
    if log.exists():
        raise LamproomError(f"{log}: a file stands there already, and no log is ever written over")
    importing = _Importing(table, described, looked, layout, adapters, log, progress)
    try:
        found = importing.run()
    except BaseException:
        importing.close()  # whatever becomes of the log, this is what went wrong
        raise
    failure = importing.close()
    if failure is not None:
        raise LamproomError(failure)
    return found


class _Importing:
    """An engine, and the log that is made of what it is told."""

    def __init__(
        self,
        table: Path,
        described: Described,
        looked: LayoutFile,
        layout: Layout,
        adapters: Adapters,
        log: Path,
        progress: Callable[[Instant], None],
    ) -> None:
        self._table = Table(table, described.options)
        self._described = described
        self._looked = looked
        self._layout = layout
        self._log_path = log
        self._progress = progress
        self._file = table
        self._name = described.source
        kind = adapters.source(described.kind)
        self._source: EventSource = kind(self._name, adapters.options(kind, described.said), Nowhere())
        self._engine = Engine(layout)
        self._log: SessionLog | None = None
        self._steps = 0
        self._found = Imported()

    def run(self) -> Imported:
        """Take the whole table."""
        for row in self._table.rows():
            if row.fault:
                self._refuse(row, row.fault)
                continue
            self._begin()
            self._wait_until(row.at or 0)
            self._take(row)
        if not self._found.used:
            return self._found
        end = self._engine.now + AFTERWARDS
        self._wait_until(end)
        if self._log is not None:
            self._log.commands(self._engine.closing(end))
            self._log.end(end)
        self._found.length = end
        return self._found

    def close(self) -> str | None:
        """Write what is left; return why that cannot be done, or None."""
        return None if self._log is None else self._log.close()

    def _begin(self) -> None:
        """Begin the session with the first row whose time is known: only that says when it was."""
        if self._log is not None:
            return
        began = self._table.began or datetime.now(UTC)
        header = make_header(
            self._layout, self._looked.text, file=self._looked.name, started=began.isoformat()
        )
        # A day that is over is one piece, however many days it had.
        self._log = SessionLog(self._log_path, header, self._layout, today=lambda: "")
        self._log.commands(self._engine.start())
        self._tell(None, (SourceReported(at=0, source=self._name, state=LinkState.UP, why="a table"),), 0)
        if self._table.model is not None:
            rate = round(self._described.options.rate * 4)
            clock = ClockReported(
                at=0, source=self._name, seconds=self._table.model, rate_quarters=rate, running=True
            )
            self._tell(None, (clock,), 0)

    def _take(self, row: Row) -> None:
        at = self._engine.now if row.at is None else row.at
        try:
            raw = self._raw(row)
            if raw is None:
                self._found.passed += 1
                self._found.first_passed = self._found.first_passed or f"line {row.line}, {row.topic}"
                return
            events = self._source.decode(raw, at)
            look_at_events(events, at, self._name)
        except DecodeError as problem:
            expected = f"; understood would be: {problem.expected}" if problem.expected else ""
            self._refuse(row, f"{problem}{expected}")
            if self._log is not None:
                raw = Raw(row.topic, row.payload.encode("utf-8", "surrogateescape"))
                self._log.refused(at, self._name, raw, str(problem))
            return
        self._found.used += 1
        self._found.events += len(events)
        self._tell(raw, events, at)

    def _raw(self, row: Row) -> Raw | None:
        """Return a row as it would have come, or None where the source would not hear it."""
        if not isinstance(self._source, Triable):
            return Raw(row.topic, row.payload.encode())
        ways = self._source.attempt(row.topic, row.payload)
        return next((raw for raw in ways if not raw.retained), None)

    def _tell(self, raw: Raw | None, events: tuple[Event, ...], at: Instant) -> None:
        first = self._engine.events + 1
        commands = [command for event in events for command in self._engine.handle(event)]
        if self._log is not None:
            self._log.input(first, at, self._name, raw, events)
            self._log.commands(commands)
        self._written()

    def _wait_until(self, at: Instant) -> None:
        """Let time pass: perform and render what is due before an instant."""
        while (wake := self._engine.next_wake()) is not None and wake < at:
            commands = self._engine.advance(wake)
            if self._log is not None:
                self._log.rendered(wake, commands)
            self._written()
        self._progress(at)

    def _written(self) -> None:
        self._steps += 1
        if self._log is None or self._steps % OFTEN:
            return
        if self._log.wants_snapshot(self._engine.now):
            self._log.snapshot(self._engine.now, self._engine.snapshot())
        failure = self._log.flush()
        if failure is not None:
            self._log = None
            raise LamproomError(failure)
        self._progress(self._engine.now)

    def _refuse(self, row: Row, why: str) -> None:
        self._found.refused += 1
        if len(self._found.told) < TOLD:
            self._found.told.append(f"{self._file}:{row.line}: {why}")


def _count(number: int, name: str) -> str:
    return f"{number} {name}{'' if number == 1 else 's'}"
