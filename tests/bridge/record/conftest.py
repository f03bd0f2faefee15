"""What the tests of session logs share."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.bridge.record.sessions import short_session
from tests.support.log_lines import LogLines, log_lines


@pytest.fixture
def lines(tmp_path: Path) -> LogLines:
    """The lines of a short session."""
    path = tmp_path / "whole.jsonl"
    short_session(path)
    return log_lines(path)
