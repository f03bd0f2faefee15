"""The answer that stands in the guide is the one that its layout gives."""

from __future__ import annotations

import re
from datetime import UTC
from pathlib import Path
from typing import Final

from adapters.contract import Raw
from bridge.events import SECOND, PowerState
from bridge.record.times import parse_moment
from bridge.record.why import answer_lines, why
from tests.bridge.record.sessions import Session
from tests.support.driving import NORMAL, REVERSE, order
from tests.support.tracks import CLEAR, block, power, proved
from tests.support.tree import ROOT

PAGE: Final = ROOT / "config/guide/session-log.md"
HEADING: Final = "## Why it showed that"

SCRIPT: Final = (
    ("14:00:00", power("yard", PowerState.ON), "layout/power/yard", "on"),
    ("14:00:00", block("platform", CLEAR), "layout/block/platform", "clear"),
    ("14:00:00", block("loop", CLEAR), "layout/block/loop", "clear"),
    ("14:00:01", proved(14, NORMAL), "layout/accessory/14/proved", "normal"),
    ("15:20:12", order(64, REVERSE), "layout/accessory/64/ordered", "reverse"),
    ("15:26:03", order(64, NORMAL), "layout/accessory/64/ordered", "normal"),
    ("15:28:40", power("yard", PowerState.SHORTED), "layout/power/yard", "shorted"),
)


def test_the_answer_in_the_guide_is_what_is_answered(tmp_path: Path) -> None:
    """The layout file there, and an afternoon: the text below it comes out, line by line."""
    section = PAGE.read_text(encoding="utf-8").partition(HEADING)[2].partition("\n## ")[0]
    [text] = re.findall(r"```yaml\n(.*?)```", section, re.DOTALL)
    [answer] = re.findall(r"```text\n(.*?)```", section, re.DOTALL)
    path = tmp_path / "a.jsonl"
    session = Session(path, text)
    for clock, event, channel, payload in SCRIPT:
        hours, minutes, seconds = map(int, clock.split(":"))
        at = ((hours - 10) * 3600 + (minutes - 20) * 60 + seconds) * SECOND  # the session begins at 10:20
        session.run_until(at)
        session.message(at, event, raw=Raw(channel, payload.encode()))
    session.end(at + 600 * SECOND)
    found = why(path, "E1", parse_moment("15:30"), zone=UTC)
    assert answer.splitlines() == answer_lines(found)
