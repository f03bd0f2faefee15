"""A table of events that were recorded elsewhere, played through an engine into a session log like any other."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import chain
from pathlib import Path
from typing import Any, Final

from adapters.contract import EventSource, Raw, Triable
from bridge.engine import Engine
from bridge.errors import DecodeError, LamproomError, LayoutError
from bridge.events import SECOND, ClockReported, Event, Instant, LinkState, SourceReported
from bridge.layout import Layout
from bridge.layout.entries import Desk
from bridge.layout.findings import choice, count, errors, in_order
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
        used = f"{count(self.events, 'event')} from {count(self.used, 'row')}"
        lines = [f"{log}: {used}, in {instant_text(self.length)}; {count(self.refused, 'row')} refused"]
        if self.passed:
            lines.append(
                f"{count(self.passed, 'row')} passed over, because no entry of `messages` is about them; the first "
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

    Returns:
        What came of it; where no row told anything there is no log.
    """
    if log.exists():
        raise LamproomError(f"{log}: a file stands there already, and no log is ever written over")
    reading = _Reading(Table(table, described.options), table, described, adapters)
    rows = reading.rows()
    first = next(rows, None)
    if first is None:
        return reading.found
    session = _Session(log, reading.began(), looked, layout, described.source, progress)
    try:
        reading.set_clock(session)
        for row in chain((first,), rows):
            session.wait_until(row.at or 0)
            reading.take(row, session)
        if reading.found.used:
            reading.found.length = session.end()
    except BaseException:
        session.log.close()  # whatever becomes of the log, this is what went wrong
        raise
    failure = session.log.close()
    if failure is not None:
        raise LamproomError(failure)
    if not reading.found.used:
        log.unlink()  # it has no event, and would stand in the way when the description has been mended
    return reading.found


class _Session:
    """An engine, and the log that is made of what it is told.

    Attributes:
        log: what is written.
    """

    def __init__(
        self,
        path: Path,
        began: datetime,
        looked: LayoutFile,
        layout: Layout,
        source: str,
        progress: Callable[[Instant], None],
    ) -> None:
        """Begin it: the source can be heard from its first instant on."""
        self._engine = Engine(layout)
        self._source = source
        self._progress = progress
        self._steps = 0
        header = make_header(layout, looked.text, file=looked.name, started=began.isoformat())
        # A day that is over is one piece, however many days it had.
        self.log = SessionLog(path, header, layout, today=lambda: "")
        self.log.commands(self._engine.start())
        self.tell(None, (SourceReported(at=0, source=source, state=LinkState.UP, why="a table"),), 0)

    def tell(self, raw: Raw | None, events: tuple[Event, ...], at: Instant) -> None:
        """Tell the engine of events that came at an instant."""
        first = self._engine.events + 1
        commands = [command for event in events for command in self._engine.handle(event)]
        self.log.input(first, at, self._source, raw, events)
        self.log.commands(commands)
        self._written()

    def wait_until(self, at: Instant) -> None:
        """Let time pass: perform and render what is due before an instant."""
        while (wake := self._engine.next_wake()) is not None and wake < at:
            self.log.rendered(wake, self._engine.advance(wake))
            self._written()
        self._progress(at)

    def end(self) -> Instant:
        """End it a little after the last event, and return when that is."""
        end = self._engine.now + AFTERWARDS
        self.wait_until(end)
        self.log.commands(self._engine.closing(end))
        self.log.end(end)
        return end

    def _written(self) -> None:
        self._steps += 1
        if self._steps % OFTEN:
            return
        if self.log.wants_snapshot(self._engine.now):
            self.log.snapshot(self._engine.now, self._engine.snapshot())
        failure = self.log.flush()
        if failure is not None:
            raise LamproomError(failure)
        self._progress(self._engine.now)


class _Reading:
    """A table, and the source that says what its rows mean.

    Attributes:
        found: what has come of it so far.
    """

    def __init__(self, table: Table, file: Path, described: Described, adapters: Adapters) -> None:
        self._table = table
        self._file = file
        self._described = described
        kind = adapters.source(described.kind)
        self._source: EventSource = kind(described.source, adapters.options(kind, described.said), Nowhere())
        self.found = Imported()

    def rows(self) -> Iterator[Row]:
        """Yield the rows whose time is known; what is wrong with the others is told."""
        for row in self._table.rows():
            if row.fault:
                self._refuse(row, row.fault)
            else:
                yield row

    def began(self) -> datetime:
        """Return when the session began, once the first row was read: only that says it."""
        return self._table.began or datetime.now(UTC)

    def set_clock(self, session: _Session) -> None:
        """Set the model clock to the time of the first row, where the table goes by it."""
        if self._table.model is not None:
            rate = round(self._described.options.rate * 4)
            clock = ClockReported(
                at=0,
                source=self._described.source,
                seconds=self._table.model,
                rate_quarters=rate,
                running=True,
            )
            session.tell(None, (clock,), 0)

    def take(self, row: Row, session: _Session) -> None:
        """Tell a session what a row means, or why it means nothing."""
        at = row.at or 0
        name = self._described.source
        try:
            raw = self._raw(row)
            if raw is None:
                self.found.passed += 1
                self.found.first_passed = self.found.first_passed or f"line {row.line}, {row.topic}"
                return
            events = self._source.decode(raw, at)
            look_at_events(events, at, name)
        except DecodeError as problem:
            expected = f"; understood would be: {problem.expected}" if problem.expected else ""
            self._refuse(row, f"{problem}{expected}")
            raw = Raw(row.topic, row.payload.encode("utf-8", "surrogateescape"))
            session.log.refused(at, name, raw, str(problem))
            return
        self.found.used += 1
        self.found.events += len(events)
        session.tell(raw, events, at)

    def _raw(self, row: Row) -> Raw | None:
        """Return a row as it would have come, or None where the source would not hear it."""
        if not isinstance(self._source, Triable):
            return Raw(row.topic, row.payload.encode())
        ways = self._source.attempt(row.topic, row.payload)
        return next((raw for raw in ways if not raw.retained), None)

    def _refuse(self, row: Row, why: str) -> None:
        self.found.refused += 1
        if len(self.found.told) < TOLD:
            self.found.told.append(f"{self._file}:{row.line}: {why}")
