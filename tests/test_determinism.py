"""The same session gives the same light, whatever differs between two processes that must make no difference."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from functools import cache
from typing import Any, Final

import pytest

from bridge.commands import Cause
from tests.support.driving import DEVICES, decisions, frames
from tests.support.fixed_session import EVENTS, digest, fixed_events, play
from tests.support.missing import is_missing
from tests.support.old_numpy import old_numpy
from tests.support.tree import ROOT

HASH_SEEDS: Final = ("0", "1", "2", "1976", "4294967295")


def run(**environment: str) -> tuple[str, dict[str, Any]]:
    """Play the fixed session in a process of its own; return the digest of its frames, and how numpy computed."""
    done = subprocess.run(
        [sys.executable, "-W", "error", "-m", "tests.support.fixed_session"],
        cwd=ROOT,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert (0, "") == (done.returncode, done.stderr)
    found, ways = done.stdout.splitlines()
    return found, json.loads(ways)


@cache
def usual() -> tuple[str, dict[str, Any]]:
    """Play it as it comes, once for all tests."""
    return run(PYTHONHASHSEED="0")


def test_session_is_worth_comparing() -> None:
    """The session has thousands of frames of all chains, of events and of motion, and changes every device."""
    events = fixed_events()
    commands = play(events)
    causes = [frame.cause for frame in frames(commands)]

    assert EVENTS == len(events)
    assert 500 < causes.count(Cause.EVENT)
    assert 2_000 < causes.count(Cause.MOTION)
    assert {0, 1, 2} == {frame.chain for frame in frames(commands)}
    assert set(DEVICES) == {each.device for each in decisions(commands) if each.before != each.aspect}


def test_digest_tells_frames_apart() -> None:
    """Some events less, or one bit of one frame, makes another digest."""
    events = fixed_events()
    commands = play(events)
    whole = digest(commands)
    place = commands.index(frames(commands)[-1])
    frame = frames(commands)[-1]
    commands[place] = frame._replace(levels=bytes([frame.levels[0] ^ 1, *frame.levels[1:]]))

    assert whole != digest(commands)
    assert whole != digest(play(events[:-100]))
    assert whole == digest(play(events))


@pytest.mark.parametrize("seed", HASH_SEEDS)
def test_hash_seed_makes_no_difference(seed: str) -> None:
    """Under any hash seed the session gives the same frames, byte for byte."""
    assert digest(play(fixed_events())) == run(PYTHONHASHSEED=seed)[0]


def test_vector_extensions_make_no_difference() -> None:
    """With numpy's vector extensions switched off the session gives the same frames, byte for byte.

    What can be switched off is what numpy chooses at run time; which those are depends on how it was built and on
    this processor. That they are off is asked of numpy itself, in that process.
    """
    expected, ways = usual()
    if not ways["on"]:
        is_missing("this numpy chooses no vector extension at run time on this processor")

    found, without = run(PYTHONHASHSEED="0", NPY_DISABLE_CPU_FEATURES=" ".join(ways["on"]))

    assert [] == without["on"]
    assert all(way.startswith("baseline") for way in without["runs"])
    assert not all(way.startswith("baseline") for way in ways["runs"])
    assert expected == found


def test_oldest_numpy_makes_no_difference() -> None:
    """With the oldest numpy that is allowed the session gives the same frames as with the newest, byte for byte."""
    old = old_numpy()
    expected, newest = usual()
    found, oldest = run(PYTHONHASHSEED="0", PYTHONPATH=old.path)

    assert old.version == ".".join(oldest["numpy"].split(".")[:2])
    assert oldest["numpy"] != newest["numpy"]
    assert expected == found
