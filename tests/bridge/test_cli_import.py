"""Sessions made of tables: they replay, compare and draw like any other, and bad rows cost themselves alone."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from bridge.events import SECOND, AccessoryOrdered, ClockReported
from bridge.record.lines import Header, Input, Refused
from bridge.record.reader import read_log
from bridge.record.replay import replay
from bridge.service.tables import TableOptions
from tests.support.pages import fenced_blocks
from tests.support.program import lamproom
from tests.support.tree import ROOT

LAYOUT = """\
layout: Tablewick
sources:
  yard:
    kind: topics
    messages:
      - {topic: 'turnout/{number}', tells: ordered, means: {T: reverse, C: normal}}
      - {topic: 'track/{name}', tells: block, means: {1: occupied, 0: clear}}
builds:
  searchlight: {chips: [ws2812b], lamps: {head: {full-colour: 1}}}
nodes:
  bench: {chains: [{name: one, fixtures: [{name: S1, build: searchlight}, {name: L1, build: searchlight}]}]}
blocks: {west: }
signals:
  S1: {commands: {61: {normal: stop, reverse: clear}}, change: fade 300 ms}
lights:
  L1: {when: {block: west, is: occupied}, shows: warm-white}
"""

TABLE = """\
Day;Time;What;Which;Value
28.11.2026;19:30:00;turnout;61;T
28.11.2026;19:30:05;turnout;61;X
28.11.2026;19:30:06;lamp;9;on
28.11.2026;19:30:04;turnout;61;C
28.11.2026;19:30:10;track;west;1
28.11.2026;never;track;west;0
28.11.2026;19:30:20;turnout;61;C
"""

BY = """\
separator: ;
time: '{Day} {Time}'
written: '%d.%m.%Y %H:%M:%S'
topic: '{What}/{Which}'
payload: '{Value}'
source: yard
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a folder with a layout file, a table and its description."""
    for name, text in (("yard.yaml", LAYOUT), ("club.csv", TABLE), ("club.yaml", BY)):
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path


def imported(folder: Path, table: str = "club.csv", by: str = "club.yaml") -> tuple[int, str, str]:
    """Import a table; return status, output and errors."""
    done = lamproom(
        "import",
        str(folder / table),
        "--layout",
        str(folder / "yard.yaml"),
        "--by",
        str(folder / by),
        "--to",
        str(folder / "club.jsonl"),
    )
    assert "Traceback" not in done.stderr
    return done.returncode, done.stdout, done.stderr


def test_bad_rows_are_told_and_the_rest_is_a_session(folder: Path) -> None:
    """Each with its line and why; the log has what could be understood, and what was refused as it came."""
    status, output, errors = imported(folder)
    assert 1 == status
    assert [
        "club.csv:3: `X` has no meaning here; understood would be: `T` or `C`",
        "club.csv:5: it was before the row above: sort the table by its time",
        "club.csv:7: '28.11.2026 never' is not written as '%d.%m.%Y %H:%M:%S'",
    ] == [line.removeprefix(f"{folder}/") for line in errors.splitlines()]
    assert "3 events from 3 rows, in 0:00:25.000; 3 rows refused" in output
    assert (
        "1 row passed over, because no entry of `messages` is about them; the first was line 4, lamp/9"
        in output
    )
    lines = [placed.line for placed in read_log(folder / "club.jsonl")]
    assert isinstance(lines[0], Header)
    assert lines[0].started.startswith("2026-11-28T19:30:00")
    came = [line for line in lines if isinstance(line, Input) and line.channel]
    assert [(0, "turnout/61", b"T"), (10, "track/west", b"1"), (20, "turnout/61", b"C")] == [
        (line.at // SECOND, line.channel, line.payload) for line in came
    ]
    assert [("turnout/61", b"X")] == [
        (line.channel, line.payload) for line in lines if isinstance(line, Refused)
    ]


def test_it_replays_compares_and_draws_like_any_other(folder: Path) -> None:
    """Every frame comes out as it is in the log, the fades among them."""
    imported(folder)
    result = replay(folder / "club.jsonl")
    assert result.same
    assert result.whole
    assert result.ended
    assert result.frames > 20
    other = folder / "other.yaml"
    other.write_text(LAYOUT.replace("reverse: clear", "reverse: approach"), encoding="utf-8")
    compared = lamproom(
        "compare", str(folder / "club.jsonl"), str(folder / "yard.yaml"), str(other), "--json"
    )
    assert [("S1", "clear", "approach")] == [
        (each["device"], each["old"], each["new"]) for each in json.loads(compared.stdout)["apart"]
    ]
    drawn = lamproom("replay", str(folder / "club.jsonl"), "--picture", str(folder / "club.svg"))
    assert 0 == drawn.returncode
    assert "from yard" in (folder / "club.svg").read_text(encoding="utf-8")


def test_a_description_may_say_what_messages_mean(folder: Path) -> None:
    """Where no source of the layout file does; lines of text, by the model clock."""
    (folder / "shed.txt").write_text(
        "16:45:00 points 61 -> div\n16:46:00 points 61 -> main\n", encoding="utf-8"
    )
    (folder / "shed.yaml").write_text(
        "line: '{time} {what} {number} -> {to}'\n"
        "written: model h:mm:ss\nrate: 6\ntopic: '{what}/{number}'\npayload: '{to}'\n"
        "messages:\n  - {topic: 'points/{number}', tells: ordered, means: {div: reverse, main: normal}}\n",
        encoding="utf-8",
    )
    assert 0 == imported(folder, "shed.txt", "shed.yaml")[0]
    came = [
        event
        for placed in read_log(folder / "club.jsonl")
        if isinstance(placed.line, Input)
        for event in placed.line.events
    ]
    orders = [event for event in came if isinstance(event, AccessoryOrdered)]
    assert [(0, "reverse"), (10 * SECOND, "normal")] == [(event.at, event.position.value) for event in orders]
    [clock] = [event for event in came if isinstance(event, ClockReported)]
    assert (60_300, 24, True) == (clock.seconds, clock.rate_quarters, clock.running)
    assert replay(folder / "club.jsonl").same


@pytest.mark.parametrize(
    ("by", "said"),
    [
        (
            "written: sec\nwriten: seconds\nsource: yard\n",
            "club.yaml:2:1: error: no key 'writen' belongs here",
        ),
        (
            "written: sec\nwriten: seconds\nsource: yard\n",
            "club.yaml:1:10: error: 'sec' says no way to write a time",
        ),
        ("written: seconds\n", "nothing says what a row means: name a `source` of the layout file"),
        ("written: seconds\nsource: yart\n", "the layout has no source 'yart'"),
        ("written: seconds\nmessages: [{topic: a, tells: blok}]\n", "club.yaml:2:30: error: "),
        ("written: [\n", "club.yaml:"),
    ],
)
def test_a_slip_in_the_description_is_told_with_its_line(folder: Path, by: str, said: str) -> None:
    """And nothing is made."""
    (folder / "club.yaml").write_text(by, encoding="utf-8")
    status, _output, errors = imported(folder)
    assert 2 == status
    assert said in errors
    assert not (folder / "club.jsonl").exists()


def test_a_table_that_tells_nothing_makes_no_session(folder: Path) -> None:
    """A wrong source, say: that is an error, and its rows say why."""
    (folder / "club.csv").write_text(TABLE.splitlines()[0] + "\n28.11.2026;19:30:00;turnout;61;X\n", "utf-8")
    status, _output, errors = imported(folder)
    assert 2 == status
    assert "no row tells anything, so there is nothing to replay" in errors
    assert not (folder / "club.jsonl").exists()  # it would stand in the way of the next attempt


def test_what_is_no_table_is_told_with_its_first_columns(folder: Path) -> None:
    """Of a file that is something else a line may have thousands of them, each very long."""
    (folder / "club.csv").write_text(
        ";".join(f"column {number}" * 20 for number in range(5000)) + "\n", "utf-8"
    )
    status, _output, errors = imported(folder)
    assert 2 == status
    assert "`time` wants {Day}, and a row has column 0" in errors
    assert len(errors) < 1000


def test_no_log_is_written_over(folder: Path) -> None:
    """What stands there stays."""
    imported(folder)
    before = (folder / "club.jsonl").read_bytes()
    status, _output, errors = imported(folder)
    assert 2 == status
    assert "a file stands there already" in errors
    assert before == (folder / "club.jsonl").read_bytes()


def test_the_descriptions_in_the_guide_are_sound(folder: Path) -> None:
    """Each reads the row that stands with it, and every key is named there."""
    text = (ROOT / "config/guide/session-log.md").read_text(encoding="utf-8")
    columns, lines = (
        block.text
        for block in fenced_blocks(text, "yaml")
        if re.search(r"^written:", block.text, re.MULTILINE)
    )
    for table, by in (
        (TABLE.splitlines()[:2], columns),
        (["# of the shed", "[0:01:00] points 61 -> div"], lines),
    ):
        (folder / "club.csv").write_text("\n".join(table) + "\n", encoding="utf-8")
        (folder / "club.yaml").write_text(by, encoding="utf-8")
        status, output, errors = imported(folder)
        assert (0, "") == (status, errors)
        assert "1 event from 1 row" in output
        (folder / "club.jsonl").unlink()
    keys = [key.replace("_", "-") for key in TableOptions.model_fields]
    assert [] == [key for key in keys if f"`{key}`" not in text]
