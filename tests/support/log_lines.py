"""The lines of a session log, as anybody reads them who knows JSON and nothing of lamproom."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, TypeAlias

LogLines: TypeAlias = list[dict[str, Any]]


def log_lines(path: Path) -> LogLines:
    """Return them in order; of a log that is not packed."""
    return [json.loads(line) for line in path.read_bytes().splitlines()]
