"""A replay gives the frames and decisions that were recorded, and names the first thing that is not so."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given, settings

import bridge
from bridge.commands import Command, Decision
from bridge.engine import Engine
from bridge.errors import LayoutError
from bridge.events import SECOND, Event
from bridge.record.replay import replay
from bridge.record.result import ReplayResult, report_lines
from tests.bridge.record.sessions import LAYOUT, Session, Step, ordered, play, scripts, short_session
from tests.support.log_lines import LogLines, log_lines


@settings(deadline=None)  # each example writes and reads a file
@given(scripts)
def test_a_session_comes_out_as_it_was(script: list[Step]) -> None:
    """Whatever came in, however late the wakes were, frames and decisions are those that were recorded."""
    with TemporaryDirectory() as directory:
        path = Path(directory) / "a.jsonl"
        session = Session(path)
        play(script, session)
        result = replay(path)
    assert (None, ()) == (result.difference, result.notes)
    assert result.ended
    decisions = sum(isinstance(command, Decision) for command in session.commands)
    made = (session.engine.events, len(session.frames), len(session.instants), decisions)
    assert made == (result.events, result.frames, result.instants, result.decisions)


def found(tmp_path: Path, lines: LogLines) -> ReplayResult:
    path = tmp_path / "bent.jsonl"
    path.write_text("".join(json.dumps(line) + "\n" for line in lines))
    return replay(path)


def index_of(lines: LogLines, wanted: Callable[[dict[str, Any]], bool]) -> int:
    return next(index for index, line in enumerate(lines) if wanted(line))


def test_a_changed_byte_is_named_down_to_the_lamp(tmp_path: Path, lines: LogLines) -> None:
    """The difference says line, instant, chain, byte, fixture and lamp, both values, and the event before it."""
    index = index_of(lines, lambda line: line.get("cause") == "event" and line["frame"] == "ferry/bank")
    levels = bytearray.fromhex(lines[index]["levels"])
    before = levels[1]
    levels[1] ^= 0x40
    lines[index]["levels"] = levels.hex()
    result = found(tmp_path, lines)
    difference = result.difference
    assert difference is not None
    assert (index + 1, lines[index]["at"], "ferry/bank", 1, 1) == (
        difference.line,
        difference.at,
        difference.chain,
        difference.offset,
        difference.position,
    )
    assert ("M1", "red", before ^ 0x40, before) == (
        difference.fixture,
        difference.lamp,
        difference.recorded,
        difference.replayed,
    )
    assert (4, "accessory 63 was ordered reverse (by bus)") == (difference.event, difference.cause)
    said = report_lines(result)
    assert (
        f"DIFFERENT: line {index + 1}, at 0:00:01.120: the frame of ferry/bank differs at byte 1 (M1 red, chip 1): "
        f"{before ^ 0x40} in the log, {before} in the replay"
    ) == said[-2]
    assert "the last event before it was number 4: accessory 63 was ordered reverse (by bus)" == said[-1]
    data = json.loads(json.dumps(result.to_data()))
    assert (False, "red") == (data["same"], data["difference"]["lamp"])


@pytest.mark.parametrize("cause", ["start", "event", "last"])
def test_a_missing_frame_is_named(tmp_path: Path, lines: LogLines, cause: str) -> None:
    """A frame that the log lacks is told with its chain."""
    index = index_of(lines, lambda line: line.get("cause") == cause)
    gone = lines.pop(index)
    difference = found(tmp_path, lines).difference
    assert difference is not None
    assert f"the log lacks a frame of {gone['frame']}, which the replay has" == difference.what


def test_a_frame_too_many_is_named(tmp_path: Path, lines: LogLines) -> None:
    """A frame that only the log has is told with its chain."""
    index = index_of(lines, lambda line: line.get("cause") == "last")
    lines.insert(index, lines[index] | {"cause": "event"})
    difference = found(tmp_path, lines).difference
    assert difference is not None
    assert (index + 1, f"the log has a frame of {lines[index]['frame']}, and the replay has not") == (
        difference.line,
        difference.what,
    )


@pytest.mark.parametrize("device", ["M1", "M2", "Boat shed"])
def test_a_missing_decision_is_named(tmp_path: Path, lines: LogLines, device: str) -> None:
    """A decision that the log lacks is told with its device and its reason, wherever it stood among others."""
    index = max(number for number, line in enumerate(lines) if line.get("decided") == device)
    gone = lines.pop(index)
    difference = found(tmp_path, lines).difference
    assert difference is not None
    assert (
        f"the log lacks the decision that {device} goes from {gone['before']} to {gone['aspect']} "
        f"({gone['reason']}), which the replay has"
    ) == difference.what
    assert "the source bus cannot be heard any more" == difference.cause


def test_a_changed_decision_is_named(tmp_path: Path, lines: LogLines) -> None:
    """Another aspect in the log than in the replay is told with both."""
    index = index_of(lines, lambda line: "decided" in line)
    lines[index]["aspect"] = "approach"
    difference = found(tmp_path, lines).difference
    assert difference is not None
    assert (index + 1, "M1 goes from stop to approach in the log, and from stop to clear in the replay") == (
        difference.line,
        difference.what,
    )


def test_other_words_for_a_reason_are_no_difference(tmp_path: Path, lines: LogLines) -> None:
    """A reason that is worded otherwise is told as a note: the light is the same."""
    index = index_of(lines, lambda line: "decided" in line)
    lines[index]["reason"] = "in the words of an older lamproom"
    result = found(tmp_path, lines)
    assert result.same
    assert (f"1 reason is worded otherwise than in the log, the first in line {index + 1}",) == result.notes


def test_a_dropped_instant_is_named_by_its_chain_and_time(tmp_path: Path, lines: LogLines) -> None:
    """An instant that was rendered and is not in the log shows in the digests: chain, and between when and when."""
    index = index_of(lines, lambda line: len(line.get("rendered", [])) > 10)
    del lines[index]["rendered"][5]
    difference = found(tmp_path, lines).difference
    assert difference is not None
    assert (index + 1, "ferry/bank", 4) == (difference.line, difference.chain, difference.event)
    assert (
        "the moving frames of ferry/bank between 0:00:01.080 and 0:00:01.880 are not those of the log: "
        "at least one was changed, is missing or is too many"
    ) == difference.what


def test_a_dropped_line_of_instants_is_found(tmp_path: Path, lines: LogLines) -> None:
    """Where instants and digests are gone together the next digest, or the end, tells."""
    for index in [number for number, line in enumerate(lines) if line.get("rendered")]:
        difference = found(tmp_path, lines[:index] + lines[index + 1 :]).difference
        assert difference is not None
        assert "moving frames of ferry/" in difference.what
        assert difference.line > index


def test_a_dropped_input_is_found(tmp_path: Path, lines: LogLines) -> None:
    """The number of the next event, or of all of them, tells that an input is gone."""
    indexes = [number for number, line in enumerate(lines) if "in" in line]
    for index in indexes:
        after = index_of(lines[index:], lambda line: "rendered" in line or "refused" in line or "end" in line)
        result = found(tmp_path, lines[:index] + lines[index + after :])
        assert result.difference is not None
    first = indexes[0]
    difference = found(tmp_path, lines[:first] + lines[first + 2 :]).difference
    assert difference is not None
    assert (
        "moving frames" in difference.what
        or "the log goes on with event 2 where 1 is next" == difference.what
    )


def test_a_change_of_the_past_is_told(tmp_path: Path, lines: LogLines) -> None:
    """Instants that run backwards are no session: the line is named, and nothing that follows is believed."""
    index = index_of(lines, lambda line: line.get("in") == 5)
    lines[index]["events"][0]["at"] = 5
    result = found(tmp_path, lines)
    assert (True, False) == (result.same, result.whole)
    backwards, end = result.notes
    assert f"line {index + 1}: out of order: an event at 5 came after" in backwards
    assert "no snapshot follows: what comes after that cannot be replayed" == end


@pytest.mark.parametrize("why", ["broken", "gone", "lost", "backwards"])
def test_what_is_missing_costs_no_more_than_up_to_the_next_snapshot(
    tmp_path: Path, lines: LogLines, why: str
) -> None:
    """Behind it everything is compared again: a byte that is changed there is found, and nothing else."""
    broken = index_of(lines, lambda line: line.get("in") == 2)
    place = index_of(lines, lambda line: "snapshot" in line)
    assert broken < place
    if why == "broken":
        lines[broken] = {"in": "nonsense"}
    elif why == "gone":
        lines[broken] = {"lost": 3, "at": lines[broken]["at"]}
    elif why == "lost":
        lines[broken + 1] = {"lost": 1, "at": lines[broken]["at"]}
    else:
        lines[broken]["events"][0]["at"] = 5
    result = found(tmp_path, lines)
    assert (True, False, 1, 5) == (result.same, result.whole, result.gaps, result.events)
    assert f"it goes on at the snapshot in line {place + 1}, " in result.notes[-1]
    changed = index_of(lines, lambda line: "frame" in line and line["at"] == 1_930_000_000)
    lines[changed]["levels"] = "00" + lines[changed]["levels"][2:]
    difference = found(tmp_path, lines).difference
    assert difference is not None
    assert (changed + 1, 0, 255) == (difference.line, difference.recorded, difference.replayed)


def test_a_state_that_is_not_the_one_of_the_log_is_a_difference(tmp_path: Path, lines: LogLines) -> None:
    """A snapshot is compared with how things stand in the replay."""
    place = index_of(lines, lambda line: "snapshot" in line)
    assert lines[place]["engine"]["stage"]["aspects"][1] == "restricting"
    lines[place]["engine"]["stage"]["aspects"][1] = "stop"
    difference = found(tmp_path, lines).difference
    assert difference is not None
    assert (place + 1, "the state is not the one that the log has at its snapshot") == (
        difference.line,
        difference.what,
    )


def test_another_layout_shows_another_light(tmp_path: Path) -> None:
    """Replayed through a changed layout file, the first lamp that differs is named."""
    path = tmp_path / "a.jsonl"
    short_session(path)
    assert replay(path, LAYOUT).same
    difference = replay(
        path, LAYOUT.replace("supply: 12 V, leds: 2}", "supply: 12 V}").replace(", inverted: true", "")
    ).difference
    assert difference is not None
    assert (2, "ferry/bank", "M1", "red", 0, 255) == (
        difference.line,
        difference.chain,
        difference.fixture,
        difference.lamp,
        difference.recorded,
        difference.replayed,
    )


def test_a_chain_that_is_no_more_is_named(tmp_path: Path) -> None:
    """Replayed through a layout that has no such chain, the log's frame of it is the difference."""
    path = tmp_path / "a.jsonl"
    short_session(path)
    difference = replay(path, LAYOUT.replace("name: bank", "name: slope")).difference
    assert difference is not None
    assert "the log has a frame of ferry/bank, which this layout has not" == difference.what


def test_a_longer_chain_is_named(tmp_path: Path) -> None:
    """Replayed through a layout with one more chip at the end of a chain, the lengths are the difference."""
    path = tmp_path / "a.jsonl"
    short_session(path)
    longer = LAYOUT.replace(
        "          - {name: M2, build: searchlight}\n",
        "          - {name: M2, build: searchlight}\n          - {name: M3, build: searchlight}\n",
    )
    difference = replay(path, longer).difference
    assert difference is not None
    assert "the frame of ferry/bank has 6 bytes in the log and 9 in the replay" == difference.what


def test_a_layout_with_errors_is_refused(tmp_path: Path) -> None:
    """A layout file that cannot be driven is refused with its first error."""
    path = tmp_path / "a.jsonl"
    short_session(path)
    with pytest.raises(LayoutError, match=r"the layout file cannot be driven: line 1: ") as caught:
        replay(path, "nonsense: 1\n")
    assert caught.value.findings


@pytest.fixture
def behind_greenwich(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Set the clock on the wall to five hours behind that of Greenwich (POSIX counts such zones as positive)."""
    monkeypatch.setenv("TZ", "XYZ5")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.usefixtures("behind_greenwich")
def test_a_good_replay_is_reported(tmp_path: Path) -> None:
    """The report says when it began by the clock on the wall, what was replayed, how it ended, and that all is same."""
    path = tmp_path / "a.jsonl"
    session = Session(path)
    session.message(3723 * SECOND, ordered(63))
    session.end(3724 * SECOND)
    result = replay(path)
    assert [
        f"{path}: a session of Mossbank & Ferry Hill, begun 2026-11-25 05:20:00; it ended cleanly after 1:02:04.000",
        "replayed: 1 event, 0 refused inputs, 1 decision, 7 frames, 0 rendered instants",
        f"same: every frame and decision came out as recorded (digest {result.digest})",
    ] == report_lines(result)


def test_a_part_is_not_told_to_have_broken_off(tmp_path: Path) -> None:
    """What comes after the part was not looked at, so the report says only that the session goes on."""
    path = tmp_path / "a.jsonl"
    session = Session(path)
    session.message(60 * SECOND, ordered(63))
    session.message(90 * SECOND, ordered(64))
    session.end(120 * SECOND)
    result = replay(path, until=60 * SECOND)
    assert (False, True, True) == (result.ended, result.goes_on, result.same)
    assert report_lines(result)[0].endswith("; it goes on after 0:01:00.000")


def test_a_part_that_begins_behind_the_end_is_told(tmp_path: Path) -> None:
    """Such as 3:00 of a session of the evening, which would be that of the next morning."""
    path = tmp_path / "a.jsonl"
    session = Session(path)
    session.message(60 * SECOND, ordered(63))
    session.end(120 * SECOND)
    assert not replay(path, since=120 * SECOND).notes
    said = "the log says nothing of later than 0:02:00.000, and what is wanted begins behind that"
    assert (said,) == replay(path, since=121 * SECOND).notes


def test_motion_that_only_one_side_has_is_named(tmp_path: Path) -> None:
    """Replayed through a layout that fades where the log does not, or the other way round, motion is the difference."""
    path = tmp_path / "a.jsonl"
    session = Session(path)
    session.message(SECOND, ordered(61), ordered(64))
    session.run_until(2 * SECOND)
    session.end(2 * SECOND)
    cut = replay(path, LAYOUT.replace("change: fade 300 ms", "change: cut"))
    assert cut.difference is not None
    assert "the log lacks a frame of ferry/bank" in cut.difference.what
    assert replay(path).same
    frames = log_lines(path)
    for line in frames:
        line.get("digests", {}).pop("ferry/bank", None)
    difference = found(tmp_path, frames).difference
    assert difference is not None
    assert difference.what.endswith("are not those of the log: the log has none, and the replay has some")
    for line in frames:
        if "digests" in line:
            line["digests"] = {"ferry/bank": "00" * 16, "hill/top": "00" * 16}
    frames = [line for line in frames if "rendered" not in line]
    difference = found(tmp_path, frames).difference
    assert difference is not None
    assert "the moving frames of ferry/bank in the whole session are not those of the log" == difference.what


def test_other_tables_are_told(tmp_path: Path, lines: LogLines) -> None:
    """A log that was made with other tables of light says so, before anybody looks for another reason."""
    lines[0]["tables"] = "00" * 16
    (note,) = found(tmp_path, lines).notes
    assert (
        f"it was recorded by lamproom {bridge.__version__} with other tables of light: levels may come out otherwise"
        == note
    )


def test_a_spare_channel_is_no_lamp(tmp_path: Path) -> None:
    """A byte that belongs to no lamp is told by its chip alone."""
    text = LAYOUT.replace("      yellow: {channel: 3}\n", "").replace("      62: {reverse: approach}\n", "")
    path = tmp_path / "a.jsonl"
    session = Session(path, text)
    session.end(SECOND)
    frames = log_lines(path)
    frames[1]["levels"] = "000001" + frames[1]["levels"][6:]
    difference = found(tmp_path, frames).difference
    assert difference is not None
    assert (
        "the frame of ferry/bank differs at byte 2 (no lamp, chip 1): 1 in the log, 0 in the replay"
        == difference.what
    )


def test_a_fault_of_lamproom_is_no_fault_of_the_log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What fails while a whole log is replayed from its beginning is raised, and not told as damage."""
    path = tmp_path / "a.jsonl"
    short_session(path)

    def fails(_engine: Engine, _event: Event) -> list[Command]:
        raise KeyError("ours")

    monkeypatch.setattr(Engine, "handle", fails)
    with pytest.raises(KeyError, match="ours"):
        replay(path)
