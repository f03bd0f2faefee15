"""The answer to `why` of a long session is found without the light of what came before, and it is the same answer."""

from __future__ import annotations

import json
from pathlib import Path
from random import Random
from typing import Any, Final

import pytest

from bridge.events import SECOND, Instant
from bridge.record import following
from bridge.record.following import NEVER, Player, open_session
from bridge.record.parts import find_snapshot
from bridge.record.reader import Place
from bridge.record.times import parse_moment
from bridge.record.why import Answer, asking, why
from tests.bridge.record.sessions import Session
from tests.support.demo_day import MINUTE
from tests.support.demo_recording import RecordedDay

LASTS: Final = 4 * MINUTE
ASKED: Final = 40
QUESTIONS: Final = 20_262
"""The seed of what is asked, and of when."""


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Record four minutes of the demo."""
    path = tmp_path_factory.mktemp("why") / "demo.jsonl"
    RecordedDay(path, seed=5, snapshot_every="30 s").record(LASTS)
    return path


def in_full(path: Path, name: str, at: str) -> Answer:
    """Ask with all the light from the beginning on."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(asking, "find_snapshot", lambda _path, _until: None)
        return why(path, name, parse_moment(at))


def test_the_answer_is_the_one_that_all_the_light_gives(demo: Path) -> None:
    """Whatever is asked, and of whenever: since when, why, what was missing, which lamps were lit and how far."""
    layout = open_session(demo).layout
    names = [each.name for each in layout.signals] + [each.name for each in layout.lights]
    names += [each.name for each in layout.zones] + [each.name for each in layout.crossings]
    names += [f"lock {turnout.accessory}" for turnout in layout.turnouts if turnout.feedback]
    chance = Random(QUESTIONS)  # noqa: S311 - the same questions each time
    differing = set()
    for name in chance.sample(names, min(ASKED, len(names))):
        at = f"+{chance.randrange(LASTS // MINUTE)}:{chance.randrange(60):02}"
        answer = why(demo, name, parse_moment(at))
        assert in_full(demo, name, at) == answer, (name, at)
        differing.add(answer.aspect)
    assert 5 < len(differing)


def test_little_light_is_worked_out(demo: Path) -> None:
    """What is rendered before the snapshot is what a timer ends in, and behind it all."""
    until = LASTS - SECOND
    begin = find_snapshot(demo, until)
    assert begin is not None
    whole, quick, dark = (
        [step.at for step in Player(open_session(demo), light_from=place).steps(until)]
        for place in (None, begin, NEVER)
    )
    lit = LASTS - 30 * SECOND
    assert [at for at in whole if at > lit] == [at for at in quick if at > lit]
    assert len(dark) < len(quick) < len(whole) / 3
    assert set(dark) <= set(whole)
    assert set(quick) <= set(whole)


@pytest.mark.parametrize("place", ["1:30", "3:40"])
def test_a_log_with_a_gap_is_played_in_full(demo: Path, tmp_path: Path, place: str) -> None:
    """What is missing is told, and the answer rests on the snapshot behind it as it always did."""
    lines = demo.read_bytes().splitlines(keepends=True)
    at = 100 * SECOND
    broken = next(
        number
        for number, line in enumerate(lines)
        if line.startswith(b'{"in"') and json.loads(line)["at"] > at
    )
    path = tmp_path / "a.jsonl"
    path.write_bytes(b"".join([*lines[:broken], b'{"in":\n', *lines[broken + 1 :]]))
    answer = why(path, "V1", parse_moment(f"+{place}"))
    assert in_full(path, "V1", f"+{place}") == answer
    assert (place == "3:40") is any(f"line {broken + 1}" in note for note in answer.notes)


def test_a_snapshot_of_another_state_is_not_taken_up(demo: Path, tmp_path: Path) -> None:
    """Where the session came to something else, what it came to counts, and not what the snapshot says."""
    begin = find_snapshot(demo, LASTS)
    assert begin is not None
    lines = demo.read_bytes().splitlines(keepends=True)
    said = json.loads(lines[begin.line - 1])
    said["engine"]["board"]["track"]["blocks"] = _emptied(said["engine"]["board"]["track"]["blocks"])
    lines[begin.line - 1] = json.dumps(said, separators=(",", ":"), ensure_ascii=False).encode() + b"\n"
    path = tmp_path / "a.jsonl"
    path.write_bytes(b"".join(lines))
    player = Player(open_session(path), light_from=Place(path, begin.line))
    assert [*player.steps()]
    assert not player.sound
    assert in_full(path, "V1", "+3:59") == why(path, "V1", parse_moment("+3:59"))


def _emptied(blocks: dict[str, list[Any]]) -> dict[str, list[Any]]:
    """Return blocks of which each stands as another one did."""
    return dict(zip(blocks, [*blocks.values()][1:] + [*blocks.values()][:1], strict=True))


def test_without_snapshots_it_is_played_in_full(tmp_path: Path) -> None:
    """A short session has none."""
    path = tmp_path / "a.jsonl"
    session = Session(path)
    session.end(SECOND)
    assert find_snapshot(path, SECOND) is None
    assert Player(open_session(path)).sound
    dark = Player(open_session(path), light_from=following.NEVER)
    assert [*dark.steps()]
    assert not dark.sound
    last: Instant = dark.length
    assert SECOND == last
