"""Pictures and statistics of a session, as their owner asks for them."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from tests.bridge.record.sessions import short_session
from tests.support.program import lamproom


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the log of a short session."""
    path = tmp_path_factory.mktemp("log") / "short.jsonl"
    short_session(path)
    return path


def test_a_replay_draws_what_was_shown(log: Path, tmp_path: Path) -> None:
    """The picture is written beside the usual report; its status is that of the replay."""
    for name in ("out.svg", "out.html"):
        done = lamproom("replay", str(log), "--picture", str(tmp_path / name), "--device", "M1")
        assert (0, f"drawn: {tmp_path / name}\n") == (done.returncode, done.stderr)
        assert "same: every frame" in done.stdout
        text = (tmp_path / name).read_text(encoding="utf-8")
        assert ">M1<" in text
        assert ">M2<" not in text
    assert ET.parse(tmp_path / "out.svg").getroot().tag.endswith("svg")  # noqa: S314 - our own text
    assert text.startswith("<!DOCTYPE html>")
    assert "Events by source" in text


def test_statistics_are_printed_and_given_as_json(log: Path) -> None:
    """As sentences for people, and as plain data beside what the replay says."""
    said = lamproom("replay", str(log), "--statistics").stdout
    assert "The busiest minute was that from " in said
    assert "M1: 2 changes of aspect\n" in said
    data = json.loads(lamproom("replay", str(log), "--statistics", "--json").stdout)
    assert data["same"]
    assert {"bus": 1, "panel": 1} == data["statistics"]["refused"]
    assert "statistics" not in json.loads(lamproom("replay", str(log), "--json").stdout)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--picture", "out.png"), "--picture out.png: let its name end in .svg or .html"),
        (("--picture", "nowhere/out.svg"), "there is no directory nowhere"),
        (("--from", "+2", "--to", "+1"), "--to +1 is no later than --from +2: nothing lies between them"),
        (("--device", "M1"), "--device goes with --picture or --statistics"),
        (
            ("--picture", "out.svg", "--from", "+1:00:00"),
            "--from +1:00:00 is behind the end of this session, 0:00:",
        ),
        (("--statistics", "--device", "M9"), "--device M9: no signal or light of this layout has this name"),
    ],
)
def test_what_cannot_be_drawn_is_said_with_its_remedy(log: Path, options: tuple[str, ...], said: str) -> None:
    """Before a long session is played for nothing."""
    done = lamproom("replay", str(log), *options)
    assert 2 == done.returncode
    assert said in done.stderr
    assert "Traceback" not in done.stderr
