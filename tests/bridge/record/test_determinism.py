"""The same log gives the same light: under any hash seed, and on processors that can do less."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any, Final

import numpy as np
import pytest

from bridge.events import MILLISECOND, SECOND
from bridge.record.replay import replay
from tests.bridge.record.sessions import Session, ordered
from tests.support.missing import is_missing
from tests.support.tree import ROOT

REPLAY: Final = """
import json, sys
from pathlib import Path
import numpy as np
from bridge.record.replay import replay
result = replay(Path(sys.argv[1])).to_data()
vectors = np.show_config(mode="dicts")["SIMD Extensions"]
print(json.dumps({"result": result, "vectors": vectors, "seed": sys.flags.hash_randomization}))
"""


def replayed(path: Path, **settings: str) -> dict[str, Any]:
    """Replay a log in a process of its own."""
    command = [sys.executable, "-W", "error", "-c", REPLAY, str(path)]
    environment = os.environ | settings
    done = subprocess.run(
        command, cwd=ROOT, env=environment, check=True, capture_output=True, text=True, timeout=60
    )
    made: dict[str, Any] = json.loads(done.stdout)
    return made


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Record a session in which many lamps fade at once, some turned back half way."""
    path = tmp_path_factory.mktemp("log") / "a.jsonl"
    session = Session(path)
    at = 0
    for step in range(60):
        at += 70 * MILLISECOND + step
        session.run_until(at)
        session.message(
            at, ordered((61, 62, 70, 63)[step % 4], ("reverse", "normal")[step // 4 % 2], "panel")
        )
    session.run_until(at + SECOND)
    session.end(at + SECOND)
    return path


def test_five_hash_seeds_give_the_same_frames(log: Path) -> None:
    """Frames, decisions and counts are the same whatever the hash seed."""
    here = json.loads(json.dumps(replay(log).to_data()))
    assert here["same"]
    assert () == tuple(here["notes"])
    for seed in ("0", "1", "2", "3", "4242"):
        there = replayed(log, PYTHONHASHSEED=seed)
        assert int(seed != "0") == there["seed"]
        assert here == there["result"]


def vectors_of(configuration: Any) -> list[str]:
    """Return the vector extensions that numpy uses here and can do without."""
    found: list[str] = configuration["SIMD Extensions"].get("found", [])
    return found


def test_numpy_without_vector_extensions_gives_the_same_frames(log: Path) -> None:
    """With every extension off that this numpy can do without, the frames are the same."""
    extensions = vectors_of(np.show_config(mode="dicts"))
    if not extensions:
        is_missing("on this processor numpy uses nothing beyond what it cannot do without")
    usual = replayed(log)
    plain = replayed(log, NPY_DISABLE_CPU_FEATURES=" ".join(extensions))
    assert extensions == usual["vectors"].get("found")
    assert [] == plain["vectors"].get("found", [])
    assert set(extensions) <= set(plain["vectors"]["not found"])
    assert usual["result"]["same"]
    assert usual["result"] == plain["result"]
