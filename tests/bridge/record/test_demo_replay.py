"""Ten minutes of the demo, recorded once: whatever must make no difference to its replay makes none, to the byte."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Any, Final

import pytest

from bridge.commands import Cause, Command, PublishFrame
from bridge.engine import Engine
from bridge.events import SECOND
from bridge.record.digests import FrameDigest
from bridge.record.following import open_session
from bridge.record.lines import End, Frame, Input, Rendered, Snapshot
from bridge.record.reader import read_log
from bridge.record.replay import replay
from tests.support.demo_day import MINUTE
from tests.support.demo_recording import RecordedDay
from tests.support.fixed_session import numpy_ways
from tests.support.missing import is_missing
from tests.support.old_numpy import old_numpy
from tests.support.tree import ROOT

LASTS: Final = 10 * MINUTE
SNAPSHOT_EVERY: Final = 20

HASH_SEEDS: Final = ("0", "1", "2", "1976", "4294967295")

CUTS: Final = 50
PLACES: Final = 20_261
"""The seed of the places at which the session is cut."""

REPLAY: Final = """
import json, sys
from pathlib import Path
from bridge.record.replay import replay
from tests.support.fixed_session import numpy_ways
print(json.dumps([replay(Path(sys.argv[1])).to_data(), numpy_ways()]))
"""


@dataclass(frozen=True, slots=True)
class Recorded:
    """The recording, and what went out while it was made.

    Attributes:
        path: the log.
        digest: of all frames, worked out when they went out.
        frames: how many there were.
        events: how many of what caused them.
    """

    path: Path
    digest: str
    frames: int
    events: int


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Recorded:
    """Record the demo."""
    path = tmp_path_factory.mktemp("demo") / "demo.jsonl"
    day = RecordedDay(path, seed=7, snapshot_every=f"{SNAPSHOT_EVERY} s")
    day.record(LASTS)
    return Recorded(path, day.digest(), len(day.frames), day.engine.events)


def test_the_recording_is_worth_replaying(demo: Recorded) -> None:
    """It has events by the thousand, frames of every cause, motion on every chain, and snapshots."""
    lines = [placed.line for placed in read_log(demo.path)]
    (end,) = (line for line in lines if isinstance(line, End))
    frames = [line for line in lines if isinstance(line, Frame)]
    keys = {chain.key for chain in open_session(demo.path).layout.chains}

    assert (LASTS, demo.events) == (end.at, end.events)
    assert 1_500 < demo.events
    assert 20_000 < demo.frames
    assert {Cause.START, Cause.EVENT, Cause.TIMER, Cause.LAST} <= {frame.cause for frame in frames}
    assert keys == {frame.chain for frame in frames}
    assert 2 < len(end.digests)
    assert LASTS // (SNAPSHOT_EVERY * SECOND) - 2 <= sum(isinstance(line, Snapshot) for line in lines)


def replayed(demo: Recorded, **environment: str) -> dict[str, Any]:
    """Replay it in a process of its own, hold it to what went out, and return how numpy computed."""
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", REPLAY, str(demo.path)],
        cwd=ROOT,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert (0, "") == (done.returncode, done.stderr)
    result, ways = json.loads(done.stdout)
    found = (result["same"], result["whole"], result["ended"], result["notes"], result["events"])
    assert (True, True, True, [], demo.events) == found
    assert (demo.frames, demo.digest) == (result["frames"], result["digest"])
    made: dict[str, Any] = ways
    return made


@pytest.mark.parametrize("seed", HASH_SEEDS)
def test_hash_seed_makes_no_difference(demo: Recorded, seed: str) -> None:
    """Under any hash seed every frame comes out as it went out."""
    replayed(demo, PYTHONHASHSEED=seed)


def test_vector_extensions_make_no_difference(demo: Recorded) -> None:
    """With all that numpy chooses at run time switched off every frame comes out as it went out."""
    on: list[str] = list(numpy_ways().get("on", ()))  # type: ignore[call-overload]  # a list, where it can be asked
    if not on:
        is_missing("this numpy chooses no vector extension at run time on this processor")
    assert [] == replayed(demo, NPY_DISABLE_CPU_FEATURES=" ".join(on))["on"]


def test_oldest_numpy_makes_no_difference(demo: Recorded) -> None:
    """With the oldest numpy that is allowed every frame comes out as it went out; this one here is the newest."""
    old = old_numpy()
    used = replayed(demo, PYTHONPATH=old.path)["numpy"]
    assert old.version == ".".join(used.split(".")[:2])
    assert used != numpy_ways()["numpy"]


def test_a_session_cut_at_random_places_goes_on_the_same(demo: Recorded) -> None:
    """Taken over by another engine fifty times, each from a snapshot of the last, it gives the very same frames.

    One session goes through all the engines: what one of them failed to take over would be missing to the end.
    """
    session = open_session(demo.path)
    digest = FrameDigest(tuple(chain.key for chain in session.layout.chains))
    made = 0

    def take(commands: list[Command]) -> None:
        nonlocal made
        for frame in commands:
            if isinstance(frame, PublishFrame):
                made += 1
                digest.add(frame.at, frame.chain, frame.levels)

    acts: list[Callable[[Engine], list[Command]]] = []
    for placed in session.lines:
        line = placed.line
        if isinstance(line, Input):
            acts += [lambda engine, event=event: engine.handle(event) for event in line.events]  # type: ignore[misc]
        elif isinstance(line, Rendered):
            acts += [lambda engine, at=at: engine.advance(at) for at in line.instants]  # type: ignore[misc]
        elif isinstance(line, End):
            acts.append(lambda engine, at=line.at: engine.closing(at))  # type: ignore[misc]
    places = set(Random(PLACES).sample(range(len(acts)), CUTS))  # noqa: S311 - the same places each time
    engine = Engine(session.layout)
    take(engine.start())
    for place, act in enumerate(acts):
        if place in places:
            kept = json.dumps(engine.snapshot())
            engine = Engine(session.layout)
            engine.restore(json.loads(kept))
        take(act(engine))

    assert (demo.frames, demo.digest) == (made, digest.hex())


def test_a_log_cut_at_random_bytes_is_replayed_from_its_last_snapshot(demo: Recorded, tmp_path: Path) -> None:
    """Fifty logs that end at any byte: each is replayed from the last snapshot in it, and all of it is the same."""
    data = demo.path.read_bytes()
    header = data.index(b"\n") + 1
    chance = Random(PLACES)  # noqa: S311 - the same places each time
    torn = frames = 0
    for length in chance.sample(range(header, len(data)), CUTS):
        path = tmp_path / "cut.jsonl"
        path.write_bytes(data[:length])
        result = replay(path, since=LASTS)
        assert (True, True, False) == (result.same, result.whole, result.ended)
        is_torn = b"\n" not in data[length - 1 : length + 1]
        assert is_torn == any("stops in the middle" in note for note in result.notes)
        snapshots = [line for line in data[:length].split(b"\n")[:-1] if line.startswith(b'{"snapshot"')]
        assert bool(snapshots) == any("it goes on at the snapshot in line" in note for note in result.notes)
        if snapshots:
            last = json.loads(snapshots[-1])
            assert last["engine"]["events"] <= result.events
            assert result.length - last["snapshot"] <= (SNAPSHOT_EVERY + 10) * SECOND
        torn, frames = torn + is_torn, frames + result.frames
    assert CUTS // 2 < torn
    assert 10_000 < frames
