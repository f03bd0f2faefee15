"""Tables of events that were recorded elsewhere: rows of CSV or lines of text, as their owner describes them."""

from __future__ import annotations

import codecs
import csv
import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Annotated, Any, Final, NamedTuple, TextIO

from pydantic import AfterValidator, Field

from adapters.contract import Options
from bridge.errors import LamproomError
from bridge.events import SECOND, Instant
from bridge.layout.conditions import MODEL_DAY
from bridge.layout.findings import count

SECONDS: Final = "seconds"
MILLISECONDS: Final = "milliseconds"
ELAPSED: Final = "h:mm:ss"
MODEL: Final = "model h:mm:ss"
PLAIN: Final = (SECONDS, MILLISECONDS, ELAPSED, MODEL)
"""How a time may be written; else it is a time by the clock on the wall, in the codes of `strftime`."""

LONGEST: Final = 366 * 86_400 * SECOND
"""A session is no longer than a year: a row beyond that has a slip in its time."""

SHOWN: Final = 12
"""Columns of a table that are named where another is wanted: what is no table may have thousands."""

_PART: Final = re.compile(r"\{([^{}]+)\}")
_BRACE: Final = re.compile(r"[{}]")
_FIGURE: Final = re.compile(r"[0-9]{1,15}(?:\.[0-9]{1,12})?\Z")
_CLOCK: Final = re.compile(r"(?:([0-9]{1,5}):)?([0-9]{1,2}):([0-9]{1,2})(\.[0-9]{1,9})?\Z", re.ASCII)
_HALF_A_DAY: Final = timedelta(hours=12)


def _filled(text: str) -> str:
    """Refuse a text whose braces do not go together."""
    if _BRACE.search(_PART.sub("", text)):
        raise ValueError(f"{text!r} has a brace alone: a part is written {{name}}")
    return text


def _lined(text: str) -> str:
    names = _PART.findall(_filled(text))
    if not names:
        raise ValueError(
            f"{text!r} has no part: write the names of what stands in a line in braces, {{time}}"
        )
    if len(set(names)) < len(names):
        raise ValueError(f"{text!r} has a part twice")
    if "}{" in text:
        raise ValueError(f"{text!r} has nothing between two parts, so nobody can tell where one ends")
    return text


def _separator(text: str) -> str:
    sign = "\t" if text == "tab" else text
    if len(sign) != 1 or sign in '\r\n"':
        raise ValueError(f"{text!r} is no separator: write one sign, such as ',' or ';', or tab")
    return sign


def _encoding(text: str) -> str:
    try:
        "".encode(text)
    except LookupError:
        raise ValueError(f"{text!r} is no encoding: write utf-8, latin-1 or cp1252, say") from None
    return text


def _written(text: str) -> str:
    if text in PLAIN:
        return text
    if "%" not in text:
        raise ValueError(
            f"{text!r} says no way to write a time: {', '.join(PLAIN)}, or codes such as '%Y-%m-%d %H:%M:%S'"
        )
    try:
        datetime.strptime(datetime(2026, 11, 28, 12, 30, tzinfo=UTC).strftime(text), text)  # noqa: DTZ007
    except ValueError as problem:
        raise ValueError(f"{text!r} cannot be read as a time: {problem}") from None
    return text


class TableOptions(Options):
    """The keys of the file that describes a table.

    Attributes:
        separator: what stands between the columns of CSV.
        columns: their names, where the first row does not have them.
        line: how a line of text is written, for a table that is no CSV.
        encoding: of the table.
        skip: rows that begin with this are no events.
        time: when it was, of the parts of a row.
        written: how that is written.
        rate: how many seconds of the model clock pass in one, where the time is by that.
        topic: where it came, of the parts of a row.
        payload: what was said there.
        source: the source of the layout file that it came by.
        messages: what it means, where no source of the layout file says so.
    """

    separator: Annotated[str, AfterValidator(_separator)] = ","
    columns: Annotated[tuple[str, ...], Field(min_length=1)] | None = None
    line: Annotated[str, AfterValidator(_lined)] | None = None
    encoding: Annotated[str, AfterValidator(_encoding)] = "utf-8"
    skip: Annotated[str, Field(min_length=1)] | None = None
    time: Annotated[str, AfterValidator(_filled)] = "{time}"
    written: Annotated[str, AfterValidator(_written)]
    rate: Annotated[float, Field(gt=0, le=1000, multiple_of=0.25)] = 1
    topic: Annotated[str, AfterValidator(_filled)] = "{topic}"
    payload: Annotated[str, AfterValidator(_filled)] = "{payload}"
    source: str | None = None
    messages: Any = None


class Row(NamedTuple):
    """One row that may be an event.

    Attributes:
        line: of the table.
        at: when it was, nanoseconds since the session began; None where that is not known.
        topic: where it came.
        payload: what was said.
        fault: why it cannot be used, or empty.
    """

    line: int
    at: Instant | None
    topic: str = ""
    payload: str = ""
    fault: str = ""


class Table:
    """A table that is read row by row.

    Attributes:
        began: wall time at which its first event was, where its times are by the wall.
        model: seconds of the model day at its beginning, where its times are by the model clock.

    Args:
        path: where it lies.
        options: its shape. A time by the wall that says no zone is by that of this machine.
    """

    def __init__(self, path: Path, options: TableOptions) -> None:
        self.began: datetime | None = None
        self.model: int | None = None
        self._path = path
        self._options = options
        self._last: Instant = 0
        self._wall: datetime | None = None
        self._passed = Decimal(0)
        self._shown: Decimal | None = None

    def rows(self) -> Iterator[Row]:
        """Yield every row in order, also those that cannot be used.

        Raises:
            LamproomError: the table cannot be read, or has not the columns that are named.
        """
        said = self._options
        try:
            with self._path.open(
                encoding=_with_mark(said.encoding), errors="surrogateescape", newline=""
            ) as file:
                for line, values in self._lines(file) if said.line else self._columns(file):
                    yield self._row(line, values)
        except OSError as problem:
            raise LamproomError(f"{self._path}: cannot be read: {problem.strerror}") from None
        except UnicodeError as problem:  # not every encoding can be read on behind what does not fit it
            raise LamproomError(
                f"{self._path}: this is not {said.encoding} text: give the `encoding` of the table ({problem})"
            ) from None

    def _row(self, line: int, values: Mapping[str, str] | str) -> Row:
        if isinstance(values, str):
            return Row(line, None, fault=values)
        said = self._options
        topic, payload = _fill(said.topic, values), _fill(said.payload, values)
        if not f"{topic}{payload}".isprintable() and not _is_text(f"{topic}{payload}"):
            return Row(
                line, None, fault=f"this is not {said.encoding} text: give the `encoding` of the table"
            )
        try:
            at = self._instant(_fill(said.time, values).strip())
        except ValueError as problem:
            return Row(line, None, topic, payload, fault=str(problem))
        if at < self._last:
            return Row(
                line, None, topic, payload, fault="it was before the row above: sort the table by its time"
            )
        self._last = at
        return Row(line, at, topic, payload)

    # ---- the shape of a row --------------------------------------------------------------------------------

    def _columns(self, file: TextIO) -> Iterator[tuple[int, Mapping[str, str] | str]]:
        said = self._options
        reader = csv.reader(file, delimiter=said.separator)
        names: Sequence[str] | None = said.columns
        if names is not None:
            self._look_at(names)
        while True:
            try:
                cells = next(reader)
            except StopIteration:
                return
            except csv.Error as problem:
                yield reader.line_num, f"this is no row of CSV: {problem}"
                continue
            if not cells or (said.skip is not None and cells[0].startswith(said.skip)):
                continue
            if names is None:
                names = [cell.strip() for cell in cells]
                self._look_at(names)
            elif len(cells) < len(names):
                yield reader.line_num, f"it has {count(len(cells), 'column')}, and not {len(names)}"
            else:
                yield reader.line_num, dict(zip(names, cells, strict=False))

    def _lines(self, file: TextIO) -> Iterator[tuple[int, Mapping[str, str] | str]]:
        said = self._options
        form, names = _form(said.line or "")
        self._look_at(names)
        for number, line in enumerate(file, start=1):
            text = line.rstrip("\r\n")
            if not text.strip() or (said.skip is not None and text.startswith(said.skip)):
                continue
            found = form.fullmatch(text)
            if found is None:
                yield number, f"it is not written as {said.line!r}"
            else:
                yield number, dict(zip(names, found.groups(), strict=True))

    def _look_at(self, names: Sequence[str]) -> None:
        """Refuse a description that takes something from a column that is not there."""
        said = self._options
        for key, text in (("time", said.time), ("topic", said.topic), ("payload", said.payload)):
            for name in _PART.findall(text):
                if name not in names:
                    there = ", ".join(f"{name:.30}" for name in names[:SHOWN])
                    there += " ..." if len(names) > SHOWN else ""
                    raise LamproomError(f"{self._path}: `{key}` wants {{{name}}}, and a row has {there}")

    # ---- its time ------------------------------------------------------------------------------------------

    def _instant(self, text: str) -> Instant:
        written = self._options.written
        if written in (SECONDS, MILLISECONDS):
            if not _FIGURE.match(text):
                raise ValueError(f"{text[:40]!r} is no number of {written}")
            at = int(Decimal(text) * (SECOND if written == SECONDS else SECOND // 1000))
        elif written in (ELAPSED, MODEL):
            at = int(self._by_model(_of_clock(text)) if written == MODEL else _of_clock(text) * SECOND)
        else:
            at = self._by_wall(text)
        if at > LONGEST:
            raise ValueError(f"{text[:40]!r} is more than a year after the session began")
        return at

    def _by_model(self, shown: Decimal) -> Decimal:
        """Return nanoseconds since the first time, where what is earlier in its day is of the next one."""
        if shown >= MODEL_DAY:
            raise ValueError("no day of the model clock is so long")
        if self._shown is None:
            self.model = int(shown)
            self._shown = shown
        gone = shown - self._shown + (MODEL_DAY if shown < self._shown else 0)
        if gone > MODEL_DAY // 2:
            return Decimal(-1)  # a little earlier, and not most of a day later
        self._passed += gone
        self._shown = shown
        return self._passed * SECOND / Decimal(str(self._options.rate))

    def _by_wall(self, text: str) -> Instant:
        written = self._options.written
        try:
            read = datetime.strptime(text, written)  # noqa: DTZ007 - most tables say no zone
        except ValueError:
            raise ValueError(f"{text[:40]!r} is not written as {written!r}") from None
        wall = read.astimezone()
        if self._wall is not None and not _has_date(written):
            wall = wall.replace(year=self._wall.year, month=self._wall.month, day=self._wall.day)
            if self._wall - wall > _HALF_A_DAY:
                wall += timedelta(days=1)  # past midnight
        if self.began is None:
            self.began = wall
        if self._wall is None or wall > self._wall:
            self._wall = wall
        return (wall - self.began) // timedelta(microseconds=1) * 1000


def _with_mark(encoding: str) -> str:
    """Return how to read text of an encoding that may have a byte order mark before it, which is none of the text."""
    return "utf-8-sig" if codecs.lookup(encoding).name == "utf-8" else encoding


def _has_date(written: str) -> bool:
    return any(code in written for code in ("%d", "%j", "%c", "%x", "%D", "%F"))


def _of_clock(text: str) -> Decimal:
    """Return the seconds that are written as `1:12:30.5` or `12:30`: hours may be left out."""
    found = _CLOCK.match(text)
    if found is None:
        raise ValueError(f"{text[:40]!r} is not written as hours, minutes and seconds, 1:12:30")
    hours, minutes, seconds, part = found.groups()
    return Decimal(int(hours or 0) * 3600 + int(minutes) * 60 + int(seconds)) + Decimal(part or 0)


def _fill(text: str, values: Mapping[str, str]) -> str:
    return _PART.sub(lambda part: values[part[1]], text)


def _is_text(text: str) -> bool:
    return not any("\ud800" <= sign <= "\udfff" for sign in text)


def _form(text: str) -> tuple[re.Pattern[str], list[str]]:
    """Return how a line is written as a regular expression: a part ends where what follows comes first."""
    pieces = _PART.split(text)
    names = pieces[1::2]
    form = ""
    for number, piece in enumerate(pieces):
        if number % 2:
            form += "(.*)" if number == len(pieces) - 2 and not pieces[-1] else "(.*?)"
        else:
            form += r"[ \t]+".join(re.escape(word) for word in re.split(r"[ \t]+", piece))
    return re.compile(form), names
