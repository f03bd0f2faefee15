"""Pictures of recorded sessions: what is in them, that they are well-formed, and that they stay small."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from bridge.errors import DecodeError
from bridge.events import (
    MILLISECOND,
    SECOND,
    ButtonReported,
    ButtonState,
    LinkState,
    SourceReported,
    Subject,
    UseReported,
)
from bridge.picture.gather import Gatherer
from bridge.picture.page import page, statistics_lines
from bridge.picture.statistics import latency_text
from bridge.picture.svg import MOST_BANDS, draw, safe
from bridge.picture.timeline import Timeline
from bridge.record.replay import replay as replay_log
from bridge.record.store import piece_path
from bridge.service.screen import describe
from tests.bridge.record.sessions import LAYOUT, Session, ordered, short_session
from tests.bridge.record.test_store import pieces_of
from tests.support.lamp_testing import ask, confirm

SVG = "{http://www.w3.org/2000/svg}"
NASTY = 'M<1> & "co"'


def gathered(path: Path, **wanted: Any) -> Timeline:
    """Play a log and return what a picture of it shows."""
    gatherer = Gatherer(lambda layout: describe(layout, ""), zone=UTC, **wanted)
    result = replay_log(path, since=wanted.get("since", 0), until=wanted.get("until"), watcher=gatherer)
    assert result.same, result.difference
    return gatherer.timeline()


def test_a_later_file_of_a_session_fills_its_picture(tmp_path: Path) -> None:
    """It begins where that file does, and not hours before, with the session."""
    first = tmp_path / "a.jsonl"
    pieces_of(first)
    assert 0 == gathered(first).since
    drawn = gathered(piece_path(first, 3))
    assert 8 * SECOND == drawn.since
    assert {8 * SECOND} == {row.bands[0].since for row in drawn.rows}
    assert drawn.statistics.length == drawn.until - 8 * SECOND


def test_of_what_is_missing_nothing_is_drawn(tmp_path: Path) -> None:
    """From a damaged line to the next snapshot every lane is empty: what was shown then nobody knows."""
    path = tmp_path / "a.jsonl"
    session = Session(path)
    session.message(2 * SECOND, ordered(61))
    session.message(3 * SECOND, ordered(63))
    session.message(4 * SECOND, ordered(61, "normal"))
    session.message(8 * SECOND, ordered(63))
    session.stand()
    session.message(9 * SECOND, ordered(61))
    session.end(10 * SECOND)
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join(b"?\n" if b'"in":3' in line else line for line in lines))
    drawn = gathered(path)
    [row] = [row for row in drawn.rows if row.name == "M1"]
    assert [("stop", 0, 2), ("clear", 2, 3), ("stop", 8, 9), ("clear", 9, 10)] == [
        (band.aspect, band.since // SECOND, band.until // SECOND) for band in row.bands
    ]
    said = [(mark.text, mark.at // SECOND) for mark in drawn.marks]
    assert [("something is missing from here", 3), ("the log goes on", 8)] == said


def words(picture: str) -> list[str]:
    """Return all texts of a picture."""
    root = ET.fromstring(picture)  # noqa: S314 - our own text
    return ["".join(each.itertext()) for each in root.iter(f"{SVG}text")]


def test_a_session_has_a_lane_for_each_device_with_what_it_showed(tmp_path: Path) -> None:
    """Aspects by name, with the instants of the log, and the colours of its frames."""
    short_session(tmp_path / "short.jsonl")
    timeline = gathered(tmp_path / "short.jsonl")
    rows = {row.name: row for row in timeline.rows}
    assert ["M1", "M2", "H1", "Boat shed", "Lookout"] == list(rows)
    times = [(band.since // MILLISECOND, band.until // MILLISECOND, band.aspect) for band in rows["M1"].bands]
    assert [(0, 1000, "stop"), (1000, 1930, "clear"), (1930, 2600, "stop")] == times
    red, green, again = (band.glows for band in rows["M1"].bands)
    assert red == again
    assert red[0].rgb[0] > 200 > red[0].rgb[1]
    assert green[0].rgb[1] > 200 > green[0].rgb[0]
    assert [()] == [band.glows for band in rows["Lookout"].bands]
    said = words(draw(timeline))
    assert {"M1", "stop", "clear", "restricting", "from bus", "61 reverse", "refused"} <= set(said)


def test_what_is_of_note_is_marked(tmp_path: Path) -> None:
    """A lost source, a lamp test and what is taken out of use stand above the lanes."""
    session = Session(tmp_path / "s.jsonl")
    session.message(SECOND, ask("chips", "ferry/bank", 0, 4))
    session.message(SECOND, confirm("ferry/bank", 0))
    session.run_until(9 * SECOND)
    session.message(9 * SECOND, SourceReported(at=0, source="bus", state=LinkState.LOST))
    session.message(12 * SECOND, SourceReported(at=0, source="bus", state=LinkState.UP))
    session.message(
        13 * SECOND, UseReported(at=0, source="panel", subject=Subject.SIGNAL, name="H1", out=True)
    )
    session.run_until(20 * SECOND)
    session.end(20 * SECOND)
    timeline = gathered(tmp_path / "s.jsonl")
    marks = [mark.text for mark in timeline.marks]
    assert "lamp test running" in marks
    assert "the source bus cannot be heard any more" in marks
    assert "signal H1 was taken out of use" in marks
    assert [(9 * SECOND, 12 * SECOND)] == next(each.lost for each in timeline.inputs if each.name == "bus")
    # All chips were lit by the test, and no aspect was.
    assert {"stop"} == {band.aspect for band in timeline.rows[0].bands}
    assert 1 == len(timeline.rows[0].bands[0].glows)


def test_a_part_of_a_session_has_only_what_was_in_it(tmp_path: Path) -> None:
    """The edges are those that were asked for, and what was counted lies between them."""
    short_session(tmp_path / "short.jsonl")
    timeline = gathered(tmp_path / "short.jsonl", since=1050 * MILLISECOND, until=1500 * MILLISECOND)
    assert (1050 * MILLISECOND, 1500 * MILLISECOND) == (timeline.since, timeline.until)
    assert [["clear"], ["stop", "restricting"]] == [
        [band.aspect for band in row.bands] for row in timeline.rows[:2]
    ]
    assert {"bus": {"accessory-ordered": 3}} == timeline.statistics.events
    assert {"bus": 1} == timeline.statistics.refused
    assert 1050 * MILLISECOND == timeline.rows[0].bands[0].since


def test_only_the_devices_that_are_wanted_have_a_lane(tmp_path: Path) -> None:
    """And a name that is none is refused with the one that is nearest."""
    short_session(tmp_path / "short.jsonl")
    assert ["M2", "Boat shed"] == [
        row.name for row in gathered(tmp_path / "short.jsonl", devices=("Boat shed", "M2")).rows
    ]
    with pytest.raises(DecodeError, match=r"--device Boatshed: .* did you mean Boat shed"):
        gathered(tmp_path / "short.jsonl", devices=("Boatshed",))


def test_statistics_are_those_of_the_session(tmp_path: Path) -> None:
    """What the session did is known, so the counts are."""
    session = short_session(tmp_path / "short.jsonl")
    found = gathered(tmp_path / "short.jsonl").statistics
    assert {"bus": {"accessory-ordered": 4, "source": 1}} == found.events
    assert {"bus": 1, "panel": 1} == found.refused
    assert 1 == found.repeats["bus"]
    assert {"M1": 2, "M2": 2, "H1": 0, "Boat shed": 2, "Lookout": 0} == found.changes
    assert ("10:20:00", 5) == found.busiest
    assert len(session.frames) == found.frames
    lines = statistics_lines(found)
    assert "events from bus: 4 accessory ordered, 1 source" in lines
    assert "never changed: H1, Lookout" in lines


def test_latency_is_of_the_inputs_that_changed_light(tmp_path: Path) -> None:
    """Only steps that somebody timed count, and only where frames followed at once."""
    session = Session(tmp_path / "s.jsonl")
    for number, (accessory, took) in enumerate(((63, 200_000), (5, 900_000_000), (64, 1_234_567)), start=1):
        at = number * SECOND
        session.run_until(at)
        event = replace(ordered(accessory), at=at)
        commands = session.engine.handle(event)
        session.log.input(number, at, "bus", None, (event,), took)
        session.log.commands(commands)
    session.run_until(5 * SECOND)
    session.end(5 * SECOND)
    found = gathered(tmp_path / "s.jsonl").statistics
    assert {200_000: 1, 1_240_000: 1} == found.took
    assert "at most 1.24 ms (2 inputs)" in latency_text(found)


def test_names_are_written_so_that_they_stay_names(tmp_path: Path) -> None:
    """Whatever an owner calls a thing, the picture is well-formed, has the name, and nothing else of it."""
    text = LAYOUT.replace("layout: Mossbank & Ferry Hill\n", f"layout: '{NASTY}'\n")
    session = Session(tmp_path / "s.jsonl", text)
    session.message(SECOND, ButtonReported(at=0, source="bus", name=NASTY, state=ButtonState.PRESSED))
    session.run_until(2 * SECOND)
    session.end(2 * SECOND)
    timeline = gathered(tmp_path / "s.jsonl")
    assert {f"{NASTY}: a session", f"{NASTY} pressed"} <= set(words(draw(timeline)))
    html = page(timeline, ["a note with <b>"])
    assert "&lt;1&gt;" in html
    assert "<b>" not in html
    assert "a�b" == safe("a\x00b")
    assert "a�b" == safe("a\udc80b")


def test_a_picture_needs_nothing_else(tmp_path: Path) -> None:
    """No script, no address but the name of the language, nothing to load."""
    short_session(tmp_path / "short.jsonl")
    text = page(gathered(tmp_path / "short.jsonl"))
    for word in ("<script", "href", "src=", "@import", "http:", "https:", "onload"):
        assert word not in text.replace('xmlns="http://www.w3.org/2000/svg"', ""), word
    for word in ("prefers-color-scheme:dark", "@media print", "Events by source", "Changes by device"):
        assert word in text


def test_a_picture_of_a_long_session_stays_small(tmp_path: Path) -> None:
    """Twenty thousand changes are drawn as no more than there is room for, and each of them is counted."""
    session = Session(tmp_path / "s.jsonl")
    for number in range(20_000):
        session.message((number + 1) * 700 * MILLISECOND, ordered(63, "reverse" if number % 2 else "normal"))
        if number % 1000 == 0:
            session.log.flush()
    session.end(20_001 * 700 * MILLISECOND)
    timeline = gathered(tmp_path / "s.jsonl")
    assert 19_999 == timeline.statistics.changes["M2"]
    picture = draw(timeline)
    assert len(picture) < 400_000
    assert sum(len(row.bands) for row in timeline.rows) < MOST_BANDS
    assert 'fill="url(#many)"' in picture
