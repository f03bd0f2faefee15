"""`check --prove` as its owner meets it, in a process of its own."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from tests.support.program import START, lamproom
from tests.support.proving import CROSSING, NO_CONFLICT, NO_FLANK, STRAIGHT

WITHOUT = f"import sys; sys.modules['oxidd'] = None; {START}"


@pytest.fixture
def written(tmp_path: Path) -> Path:
    """A directory with some layout files."""
    texts = {"sound": CROSSING, "broken": NO_CONFLICT, "plain": STRAIGHT.split("    locking:")[0]}
    for name, text in texts.items():
        (tmp_path / f"{name}.yaml").write_text(text, encoding="utf-8")
    return tmp_path


def test_what_is_proved_is_said(written: Path) -> None:
    """A sound layout is proved: one line for each group, and status 0."""
    file = str(written / "sound.yaml")
    result = lamproom("check", file, "--prove")
    assert (0, "") == (result.returncode, result.stderr)
    assert f"{file}: proved of S, W: 5 claims, whatever may happen" == result.stdout.splitlines()[-1]


def test_a_counter_example_is_told_step_by_step_and_can_be_replayed(written: Path) -> None:
    """What is not so is told with its steps, has status 1, and the log that is named replays to the last frame."""
    file = str(written / "broken.yaml")
    result = lamproom("check", file, "--prove", "--state", str(written))
    assert 1 == result.returncode
    assert re.search(r"^ +0:00:02.100  [SW] is ordered to clear$", result.stdout, re.MULTILINE)
    assert "what would help: name " in result.stdout
    told = re.search(r"the engine does the same: `lamproom replay '(.*)'` plays it", result.stdout)
    assert told is not None
    log = Path(told[1])
    assert written / "proofs" == log.parent
    assert 0 == lamproom("replay", str(log)).returncode
    # A second time, the log of the first is not written over.
    before = log.read_bytes()
    again = lamproom("check", file, "--prove", "--state", str(written))
    assert 1 == again.returncode
    assert (2, before) == (len(list(log.parent.iterdir())), log.read_bytes())


def test_what_the_engine_does_not_do_is_said(written: Path) -> None:
    """An example that the engine does not follow is no proof of anything, and that is said; no log is written."""
    text = NO_FLANK.replace(
        "buttons: {latched: {off: stop, go: clear}}",
        "sequence: [stop, clear]\n    ahead: [{turnouts: {21: normal}, blocks: [main]}]",
    )
    (written / "track.yaml").write_text(text, encoding="utf-8")
    result = lamproom("check", str(written / "track.yaml"), "--prove", "--state", str(written))
    assert 1 == result.returncode
    assert "but the engine does not do it: what tells M goes by the track" in result.stdout
    assert not (written / "proofs").exists()


def test_the_proof_stays_out_of_the_json(written: Path) -> None:
    """With --json the findings go to the output as ever, and the proof to the errors."""
    result = lamproom("check", str(written / "sound.yaml"), "--prove", "--json")
    assert 0 == result.returncode
    assert isinstance(json.loads(result.stdout), list)
    assert "proved of S, W" in result.stderr


def test_a_layout_without_routes_has_nothing_to_prove(written: Path) -> None:
    """Where no signal is interlocked, that is said, and it is no failure."""
    result = lamproom("check", str(written / "plain.yaml"), "--prove")
    assert 0 == result.returncode
    assert "no signal has routes, so there is nothing to prove" in result.stdout


def test_a_group_that_takes_too_long_is_named(written: Path) -> None:
    """What was not done in the time that was allowed is named as too large, and is not taken for proved."""
    result = lamproom("check", str(written / "sound.yaml"), "--prove", "--minutes", "0")
    assert 1 == result.returncode
    assert "too large to prove: S, W: it was not done within 0 minutes" in result.stdout


def test_a_missing_library_is_said_with_the_remedy(written: Path) -> None:
    """Without the extra, --prove says what to install, and check without it runs as ever."""
    file = str(written / "sound.yaml")
    result = lamproom("check", file, "--prove", start=WITHOUT)
    assert 2 == result.returncode
    assert "pip install 'lamproom[proof]'" in result.stderr
    assert 0 == lamproom("check", file, start=WITHOUT).returncode
