"""A session with a level crossing: its log has the gates, and its replay is the same to the byte."""

from __future__ import annotations

from pathlib import Path

from bridge.events import SECOND, BlockReported, BlockState
from bridge.record.replay import replay
from tests.bridge.record.sessions import Session
from tests.bridge.test_engine_crossing import BLOCKS, FILE


def test_a_session_with_a_crossing_replays_the_same(tmp_path: Path) -> None:
    """Flashing lamps, and gates that are told of at the start and by timers, come out of the log as they went in."""
    path = tmp_path / "session.log"
    session = Session(path, FILE.replace("RULES", "great-britain"))
    for at, block, state in (
        *((1, each, "clear") for each in BLOCKS),
        (20, "west", "occupied"),
        (45, "lane", "occupied"),
        (46, "west", "clear"),
        (47, "east", "occupied"),
        (49, "lane", "clear"),
    ):
        session.run_until(at * SECOND)
        event = BlockReported(at=at * SECOND, source="mqtt", name=block, state=BlockState(state))
        session.message(at * SECOND, event)
    session.run_until(70 * SECOND)
    session.end(70 * SECOND)
    text = path.read_text(encoding="utf-8")
    assert all(f'"{state}"' in text for state in ("up", "lowering", "down", "rising"))
    result = replay(path)
    assert result.same, result.difference
    assert [] == list(result.notes)
