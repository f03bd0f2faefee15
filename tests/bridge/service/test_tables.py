"""Tables from elsewhere: rows of CSV by RFC 4180, lines of text, and every way to write when it was."""

from __future__ import annotations

import csv
import io
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from bridge.errors import LamproomError
from bridge.events import MILLISECOND, SECOND
from bridge.service.tables import Row, Table, TableOptions


@pytest.fixture
def an_hour_east() -> Iterator[None]:
    """Put this machine an hour east of Greenwich, with no summer time."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TZ", "EAST-1")
        time.tzset()
        yield
    time.tzset()


def rows(path: Path, text: str | bytes, **options: Any) -> list[Row]:
    """Write a table and read it."""
    path = path / "table.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    said = TableOptions.model_validate({"written": "seconds", **options})
    return list(Table(path, said).rows())


def told(found: list[Row]) -> list[tuple[int, Any, str, str]]:
    """Return the rows that can be used."""
    return [(row.line, row.at, row.topic, row.payload) for row in found if not row.fault]


def times(tmp_path: Path, written: str, *said: str, **options: Any) -> list[Any]:
    """Return the instants of times that are written so; None for what cannot be used."""
    text = "time;topic;payload\n" + "".join(f"{each};t;p\n" for each in said)
    return [row.at for row in rows(tmp_path, text, separator=";", written=written, **options)]


def test_quotes_hold_separators_quotes_and_line_breaks(tmp_path: Path) -> None:
    """RFC 4180, section 2, rules 5 to 7; the line that is told is the last one of a row."""
    text = 'time,topic,payload\r\n1,"a,b","say ""on"""\r\n2,c,"two\r\nlines"\r\n'
    assert [(2, SECOND, "a,b", 'say "on"'), (4, 2 * SECOND, "c", "two\r\nlines")] == told(
        rows(tmp_path, text)
    )


cells = st.text(st.characters(codec="utf-8", exclude_characters="\x00"), max_size=12)


@given(st.lists(st.tuples(cells, cells), max_size=6), st.sampled_from(",;\t|"))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_what_another_program_wrote_is_read(tmp_path: Path, pairs: list[tuple[str, str]], sign: str) -> None:
    """Whatever stands in the cells, in the order in which it was written."""
    file = io.StringIO(newline="")
    writer = csv.writer(file, delimiter=sign, quoting=csv.QUOTE_ALL)
    writer.writerow(("time", "topic", "payload"))
    writer.writerows((number, *pair) for number, pair in enumerate(pairs))
    found = rows(tmp_path, file.getvalue(), separator="tab" if sign == "\t" else sign)
    assert pairs == [(row.topic, row.payload) for row in found]


def test_columns_may_be_named_and_put_together(tmp_path: Path) -> None:
    """A table without a first row of names, with what stands in it elsewhere than a topic does."""
    found = rows(
        tmp_path,
        "# a remark\n3;points;61;T\n4;points;62\n",
        separator=";",
        skip="#",
        columns=["s", "what", "which", "to"],
        time="{s}",
        topic="{what}/{which}",
        payload="{to}",
    )
    assert [(2, 3 * SECOND, "points/61", "T")] == told(found)
    assert [(3, "it has 3 columns, and not 4")] == [(row.line, row.fault) for row in found if row.fault]


def test_lines_of_text_have_named_parts(tmp_path: Path) -> None:
    """A part ends where what follows it comes first, and the last one goes to the end."""
    text = "[0.5] points   61: thrown by hand\n\n[1] nothing\n[2] track w: 1\n"
    found = rows(tmp_path, text, line="[{time}] {topic} {which}: {payload}", topic="{topic}/{which}")
    assert [(1, SECOND // 2, "points/61", "thrown by hand"), (4, 2 * SECOND, "track/w", "1")] == told(found)
    assert [(3, "it is not written as '[{time}] {topic} {which}: {payload}'")] == [
        (row.line, row.fault) for row in found if row.fault
    ]


def test_times_since_the_beginning(tmp_path: Path) -> None:
    """In seconds, in milliseconds, and as hours, minutes and seconds; whole nanoseconds, never a float's."""
    assert [100_000_001, 90 * SECOND] == times(tmp_path, "seconds", "0.100000001", "90")
    assert [1_500_000, 90 * MILLISECOND] == times(tmp_path, "milliseconds", "1.5", "90")
    assert [90_500 * MILLISECOND, 4350 * SECOND] == times(tmp_path, "h:mm:ss", "1:30.5", "1:12:30")
    assert [None, None, None] == times(tmp_path, "seconds", "-1", "1e3", "9999999999")


def test_times_by_the_wall_begin_with_the_first(tmp_path: Path) -> None:
    """With a date, over a change of zones, and past midnight where there is none."""
    dated = times(tmp_path, "%d.%m.%Y %H:%M:%S,%f", "28.11.2026 19:30:00,25", "28.11.2026 19:30:02,5")
    assert [0, 2250 * MILLISECOND] == dated
    zoned = times(tmp_path, "%Y-%m-%dT%H:%M:%S%z", "2026-11-28T19:30:00+0100", "2026-11-28T18:30:05+0000")
    assert [0, 5 * SECOND] == zoned
    assert [0, 2 * SECOND] == times(tmp_path, "%H:%M:%S", "23:59:59", "00:00:01")
    assert [0, None, 2 * SECOND] == times(tmp_path, "%H:%M:%S", "10:00:00", "09:00:00", "10:00:02")
    next_day = times(tmp_path, "%H:%M:%S", "10:00:00", "20:00:00", "05:00:00", "10:00:02")
    assert 86_402 * SECOND == next_day[-1]


@pytest.mark.usefixtures("an_hour_east")
def test_the_wall_time_of_the_beginning_is_known(tmp_path: Path) -> None:
    """So the log says when it was; a time without a zone is by that of this machine."""
    path = tmp_path / "t.csv"
    path.write_text("time,topic,payload\n2026-11-28 19:30:00,t,p\n", encoding="utf-8")
    table = Table(path, TableOptions(written="%Y-%m-%d %H:%M:%S"))
    list(table.rows())
    assert datetime(2026, 11, 28, 18, 30, tzinfo=UTC) == table.began


def test_times_by_the_model_clock_pass_at_its_rate(tmp_path: Path) -> None:
    """At six times ours, past its midnight; a little earlier is a slip, and not almost a day later."""
    found = times(tmp_path, "model h:mm:ss", "23:59:00", "0:05:00", "0:04:00", "0:11:00", rate=6)
    assert [0, 60 * SECOND, None, 120 * SECOND] == found


@pytest.mark.parametrize(
    ("text", "options", "fault"),
    [
        ("time,topic,payload\n5,t,p\n4,t,p\n", {}, "it was before the row above: sort the table by its time"),
        (
            b"time,topic,payload\n1,t,gr\xfc\xdf\n",
            {},
            "this is not utf-8 text: give the `encoding` of the table",
        ),
        ("time,topic,payload\nsoon,t,p\n", {}, "'soon' is no number of seconds"),
        ("time,topic,payload\n1,t,p\n", {"written": "%H:%M"}, "'1' is not written as '%H:%M'"),
        ("time,topic,payload\n1,t," + "x" * 140_000 + "\n", {}, "this is no row of CSV: field larger than"),
    ],
)
def test_a_row_that_cannot_be_used_is_told_with_its_reason(
    tmp_path: Path, text: str | bytes, options: dict[str, Any], fault: str
) -> None:
    """And the others are used."""
    assert rows(tmp_path, text, **options)[-1].fault.startswith(fault)


def test_another_encoding_is_read(tmp_path: Path) -> None:
    """As the description says."""
    found = rows(tmp_path, b"time,topic,payload\n1,t,gr\xfc\xdf\n", encoding="latin-1")
    assert "grüß" == found[0].payload


def test_a_table_that_is_not_of_its_encoding_is_refused_with_the_remedy(tmp_path: Path) -> None:
    """Some encodings cannot be read on behind what does not fit them."""
    with pytest.raises(LamproomError, match="this is not utf-16 text: give the `encoding` of the table"):
        rows(tmp_path, "time,topic,payload\n1,t,p\n".encode("utf-16") + b"\x00\xd8", encoding="utf-16")


@pytest.mark.parametrize(
    ("text", "options"),
    [
        ("# of the east yard\ntime,topic,payload\n1,t,p\n", {"skip": "#"}),
        ("1,t,p\n", {"columns": ["time", "topic", "payload"]}),
        ("1 t p\n", {"line": "{time} {topic} {payload}"}),
    ],
)
def test_a_byte_order_mark_is_none_of_the_text(tmp_path: Path, text: str, options: dict[str, Any]) -> None:
    """A table with one before it is read like one without, whatever its first line is."""
    plain, marked = rows(tmp_path, text, **options), rows(tmp_path, "\ufeff" + text, **options)
    assert plain == marked
    assert ["p"] == [row.payload for row in plain if not row.fault]


def test_a_column_that_is_not_there_is_told_at_once(tmp_path: Path) -> None:
    """With those that are."""
    with pytest.raises(LamproomError, match=r"`topic` wants \{topic\}, and a row has when, what"):
        rows(tmp_path, "when,what\n", time="{when}")


@pytest.mark.parametrize(
    "wrong",
    [
        {"separator": "::"},
        {"separator": '"'},
        {"encoding": "utf-9"},
        {"written": "minutes"},
        {"written": "%Q"},
        {"topic": "{a"},
        {"line": "no part"},
        {"line": "{a}{b}"},
        {"line": "{a} {a}"},
        {"rate": 0},
        {"colums": ["a"]},
    ],
)
def test_a_description_that_makes_no_sense_is_refused(wrong: dict[str, Any]) -> None:
    """Before the table is read."""
    with pytest.raises(ValidationError):
        TableOptions.model_validate({"written": "seconds", **wrong})
