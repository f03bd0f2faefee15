"""A replay of decisions alone finds in them what a replay of everything finds, and looks at nothing else."""

from __future__ import annotations

import json
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from typer.testing import CliRunner

from bridge.cli import app
from bridge.errors import LamproomError
from bridge.events import SECOND
from bridge.record.decisions import replay_decisions
from bridge.record.replay import replay
from bridge.record.result import report_lines
from tests.bridge.record.sessions import LAYOUT, Session, Step, play, scripts, short_session
from tests.support.demo_recording import RecordedDay
from tests.support.log_lines import LogLines


@settings(max_examples=60)
@given(scripts)
def test_it_agrees_with_a_replay_of_everything(script: list[Step]) -> None:
    """Of any session it says the same: events, decisions, the end, and that nothing differs."""
    with TemporaryDirectory() as directory:
        path = Path(directory) / "a.jsonl"
        session = Session(path)
        play(script, session)
        whole, decisions = replay(path), replay_decisions(path)
    assert (None, ()) == (decisions.difference, decisions.notes)
    assert (whole.events, whole.decisions, whole.ended) == (
        decisions.events,
        decisions.decisions,
        decisions.ended,
    )


def test_it_follows_a_busy_layout_from_any_snapshot(tmp_path: Path) -> None:
    """Routes, a crossing and the model clock of the demo: all of it, and what follows a snapshot, comes out."""
    path = tmp_path / "a.jsonl"
    RecordedDay(path, seed=3, snapshot_every="20 s").record(120 * SECOND)
    whole, decisions = replay(path), replay_decisions(path)
    assert (True, True, True, ()) == (decisions.same, decisions.whole, decisions.ended, decisions.notes)
    assert (whole.events, whole.decisions) == (decisions.events, decisions.decisions)
    assert 300 < decisions.decisions
    part = replay_decisions(path, since=70 * SECOND)
    assert (True, whole.events) == (part.same, part.events)
    assert 0 < part.decisions < decisions.decisions
    until = replay_decisions(path, until=70 * SECOND)
    assert (True, False) == (until.same, until.ended)
    assert 0 < until.events < whole.events
    assert [
        f"replayed: {decisions.events} events, {decisions.decisions} decisions",
        "same: every decision came out as recorded; no light was worked out",
    ] == report_lines(decisions)[1:]


def written(tmp_path: Path, lines: LogLines) -> Path:
    path = tmp_path / "bent.jsonl"
    path.write_text("".join(json.dumps(line, separators=(",", ":")) + "\n" for line in lines))
    return path


def test_each_decision_is_compared(tmp_path: Path, lines: LogLines) -> None:
    """One that is changed in what it says of the device, or is missing, is the difference, with its event."""
    for index in [number for number, line in enumerate(lines) if "decided" in line]:
        for key, value in (("aspect", "approach"), ("at", 5), ("causes", [7]), ("decided", "M9")):
            difference = replay_decisions(
                written(tmp_path, [*lines[:index], lines[index] | {key: value}, *lines[index + 1 :]])
            ).difference
            assert difference is not None
            assert index + 1 == difference.line
        missing = replay_decisions(written(tmp_path, lines[:index] + lines[index + 1 :])).difference
        assert missing is not None
        assert lines[index]["decided"] in missing.what


def test_an_input_that_is_gone_is_told(tmp_path: Path, lines: LogLines) -> None:
    """The number of the next event, or of all of them, tells."""
    for index in [number for number, line in enumerate(lines) if "in" in line]:
        assert replay_decisions(written(tmp_path, lines[:index] + lines[index + 1 :])).difference is not None


def test_lines_about_light_are_not_looked_at(tmp_path: Path, lines: LogLines) -> None:
    """Another level makes no difference here; a broken line of another kind does cost what follows it."""
    frame = next(number for number, line in enumerate(lines) if "frame" in line)
    lines[frame]["levels"] = "11" + lines[frame]["levels"][2:]
    path = written(tmp_path, lines)
    assert replay_decisions(path).same
    assert not replay(path).same
    first = next(number for number, line in enumerate(lines) if "in" in line)
    lines[first] = {"in": "nonsense"}
    result = replay_decisions(written(tmp_path, lines))
    assert (True, False, 1) == (result.same, result.whole, result.gaps)
    assert "it goes on at the snapshot in line" in result.notes[-1]


def test_a_torn_end_is_told_whatever_it_was(tmp_path: Path, lines: LogLines) -> None:
    """Also where the line that stops in the middle would have been about light."""
    last = max(number for number, line in enumerate(lines) if "frame" in line)
    path = written(tmp_path, lines[: last + 1])
    path.write_bytes(path.read_bytes()[:-9])
    (note,) = replay_decisions(path).notes
    assert f"line {last + 1} stops in the middle" in note


def test_another_layout_decides_otherwise(tmp_path: Path) -> None:
    """Played through another layout file, the first decision that is another is the difference."""
    path = tmp_path / "a.jsonl"
    short_session(path)
    assert replay_decisions(path, LAYOUT).same
    other = LAYOUT.replace("61: {normal: stop, reverse: clear}", "61: {normal: stop, reverse: approach}")
    difference = replay_decisions(path, other).difference
    assert difference is not None
    assert "M1 goes from stop to clear" in difference.what
    assert "M1 goes from stop to approach" in difference.what


def test_the_command_compares_decisions_alone(tmp_path: Path) -> None:
    """It says so and ends with 0, with 1 where one differs, and takes no options that ask for light."""
    path = tmp_path / "a.jsonl"
    short_session(path)
    runner = CliRunner()
    done = runner.invoke(app, ["replay", str(path), "--decisions"])
    assert (0, True) == (
        done.exit_code,
        "same: every decision came out as recorded; no light was" in done.output,
    )
    path.write_bytes(path.read_bytes().replace(b'"aspect":"clear"', b'"aspect":"approach"'))
    done = runner.invoke(app, ["replay", str(path), "--decisions"])
    assert (1, True) == (done.exit_code, "DIFFERENT: line " in done.output)
    with pytest.raises(LamproomError, match="--decisions works out no light"):
        runner.invoke(app, ["replay", str(path), "--decisions", "--statistics"], catch_exceptions=False)
