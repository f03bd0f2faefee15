"""Whatever happens to the file of a good log: nothing but its header may refuse it, and no damage goes unseen."""

from __future__ import annotations

import gzip
import json
from collections import deque
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any, Final, TypeAlias

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.errors import DecodeError
from bridge.events import SECOND
from bridge.record.decisions import replay_decisions
from bridge.record.following import Player, open_session
from bridge.record.reader import LONGEST_LINE
from bridge.record.replay import replay
from bridge.record.result import ReplayResult
from tests.bridge.record.sessions import short_session
from tests.support.damage import DAMAGES, Damage, change_value
from tests.support.demo_recording import RecordedDay

Said: TypeAlias = tuple[Any, ...]

SHOWN: Final = {
    "frame": ("frame", "at", "cause", "levels", "test"),
    "decided": ("decided", "at", "before", "aspect"),
    "told": ("told", "at", "name", "state"),
}
"""What a line tells of the light: by its first key, what of it matters. Reasons are words, and may change."""


@cache
def good() -> bytes:
    """Return a log with something of everything in it."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "a.jsonl"
        short_session(path)
        return path.read_bytes()


@cache
def busy() -> bytes:
    """Return a log of half a minute of the demo, whose snapshots hold routes, a crossing, effects and a clock."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "a.jsonl"
        RecordedDay(path, seed=7, snapshot_every="5 s").record(30 * SECOND)
        return path.read_bytes()


def shown(data: bytes) -> list[Said]:
    """Return what a log says of the light, line by line, read by other means than a replay's."""
    found = []
    for line in data.split(b"\n"):
        try:
            said = json.loads(line.decode())
        except ValueError:
            continue
        kind = next(iter(said), None) if isinstance(said, dict) else None
        if kind in SHOWN:
            found.append((kind, *(said.get(key) for key in SHOWN[kind])))
    return found


def read(data: bytes, name: str = "a.jsonl", since: int = 0) -> ReplayResult | None:
    """Replay a file and play it, or return None where it is refused with a reason that names it."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(data)
        try:
            result = replay(path, since=since)
            deque(Player(open_session(path)).steps(), maxlen=0)
            replay_decisions(path, since=since)
        except DecodeError as refused:
            why = str(refused)
        else:
            return result
    assert why.startswith(f"{path}:")
    return None


def hold(result: ReplayResult | None, data: bytes, whole: bytes) -> None:
    """See to it that a log which is said to be the same and whole says of the light what it said when it was good."""
    if result is None or not result.same or not result.whole:
        return
    before, after = shown(whole), shown(data)
    assert after == before[: len(after)]
    if result.ended:
        assert after == before
        assert expected(whole) == (result.digest, result.frames)


@cache
def expected(whole: bytes) -> tuple[str, int]:
    result = read(whole)
    assert result is not None
    assert (True, True, True) == (result.same, result.whole, result.ended)
    return result.digest, result.frames


damages: Final = st.lists(st.sampled_from(DAMAGES), min_size=1, max_size=3)
chances: Final = st.randoms(use_true_random=False)


@settings(max_examples=250)
@given(damages, chances)
def test_no_damage_goes_unseen(done: list[Damage], chance: Random) -> None:
    """Damaged in up to three ways a log comes out the same, or with a difference, or with gaps that are told."""
    data = good()
    for damage in done:
        data = damage(data, chance) if data else data
    hold(read(data), data, good())


@settings(max_examples=100)
@given(damages, chances)
def test_no_damage_to_a_packed_log_goes_unseen(done: list[Damage], chance: Random) -> None:
    """The same holds of a compressed file: what came out of it before the damage is used."""
    data = gzip.compress(good(), mtime=0)
    for damage in done:
        data = damage(data, chance) if data else data
    result = read(data, "a.jsonl.gz")
    if result is not None and result.same and result.whole:
        assert expected(good()) == (result.digest, result.frames)


def snapshots(lines: list[bytes]) -> Iterator[int]:
    return (place for place, line in enumerate(lines) if line.startswith(b'{"snapshot"'))


@settings(max_examples=40)
@given(chances, st.booleans())
def test_a_damaged_snapshot_is_believed_no_further_than_it_goes(chance: Random, demo: bool) -> None:
    """Taken up behind a gap, a state that holds anything at all stops nothing but what follows from it."""
    lines = (busy() if demo else good()).splitlines(keepends=True)
    places = [*snapshots(lines), len(lines)]
    which = chance.randrange(len(places) - 1)
    place, after = places[which : which + 2]
    lines[place] = change_value(lines[place], chance)
    data = b"".join([lines[0], b"damaged\n", *lines[place : after + 3]])
    since = chance.choice((0, 25 * SECOND))
    result = read(data, since=since)
    assert result is not None
    assert since or not result.whole  # what lies before it is not looked at


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("digests", "ferry/bank"), "zz"),
        (("digests", "ferry/bank"), "00"),
        (("engine", "stage", "motion"), {"began": 10**40}),
        (("engine", "board"), "nothing"),
        (("engine", "now"), None),
        (("engine",), {}),
    ],
)
def test_a_snapshot_of_nonsense_is_told(path: tuple[str, ...], value: object) -> None:
    """Each is told with its line and a reason, and what would follow from it is left out."""
    lines = good().splitlines(keepends=True)
    (place,) = snapshots(lines)
    said = json.loads(lines[place])
    holder = said
    for key in path[:-1]:
        holder = holder[key]
    holder[path[-1]] = value
    data = b"".join([lines[0], b"damaged\n", json.dumps(said).encode() + b"\n", *lines[place + 1 :]])
    result = read(data)
    assert result is not None
    assert (True, False) == (result.same, result.whole)
    assert 0 == result.events
    assert any(note.startswith("line 3: ") for note in result.notes), result.notes


def test_what_is_unharmed_around_the_damage_is_used() -> None:
    """A block of zeros in the middle costs what lies between it and the next snapshot, and is told with its line."""
    lines = busy().splitlines(keepends=True)
    first, second, *_others = snapshots(lines)
    place = (first + second) // 2
    whole = read(busy())
    lines[place] = bytes(len(lines[place]) - 1) + b"\n"
    result = read(b"".join(lines))
    assert whole is not None
    assert result is not None
    assert (True, False, 1, True) == (result.same, result.whole, result.gaps, result.ended)
    assert result.notes[0].startswith(f"line {place + 1}: this is not JSON")
    assert result.notes[1].startswith(f"it goes on at the snapshot in line {second + 1}, ")
    assert whole.frames // 2 < result.frames < whole.frames
    assert whole.events == result.events


@pytest.mark.parametrize("coding", ["utf-16", "utf-16-be", "utf-32", "latin-1", "utf-8-sig", "cp500"])
def test_a_line_in_another_encoding_is_told(coding: str) -> None:
    """It is broken unless it reads the same; the header in it refuses the file with the reason."""
    lines = good().splitlines(keepends=True)
    place = next(number for number, line in enumerate(lines) if "größe".encode() in line)
    lines[place] = lines[place].decode().encode(coding)
    result = read(b"".join(lines))
    assert result is not None
    assert not result.whole
    assert any(note.startswith(f"line {place + 1}: this is not JSON") for note in result.notes)
    if coding != "latin-1":  # of which ASCII is a part
        assert read(lines[0].decode().encode(coding) + b"".join(lines[1:])) is None


def test_a_log_with_other_ends_of_lines_is_read(tmp_path: Path) -> None:
    """An editor or a mail programme that put carriage returns before the line feeds has changed nothing."""
    path = tmp_path / "a.jsonl"
    path.write_bytes(good().replace(b"\n", b"\r\n"))
    result = replay(path)
    assert (*expected(good()), True, True) == (result.digest, result.frames, result.same, result.whole)


def test_an_endless_line_costs_no_more_than_up_to_the_next_snapshot() -> None:
    """A line of more than 10 MB is told with its number, and the session goes on behind it."""
    lines = good().splitlines(keepends=True)
    (place,) = snapshots(lines)
    lines.insert(3, b'{"note":"' + b"x" * LONGEST_LINE + b'","at":0,"event":0}\n')
    result = read(b"".join(lines))
    assert result is not None
    assert (True, False, True) == (result.same, result.whole, result.ended)
    assert f"line 4: a line of more than {LONGEST_LINE} bytes is no line of a session log" == result.notes[0]
    assert f"it goes on at the snapshot in line {place + 2}, " in result.notes[1]


def test_the_damages_do_damage() -> None:
    """Each of them is seen in most logs that it is done to: what holds above is not held of good logs."""
    for damage in DAMAGES:
        chance, seen = Random(1), 0  # noqa: S311 - the same each time
        for _ in range(8):
            result = read(damage(good(), chance))
            seen += result is None or not (result.same and result.whole and result.ended)
        assert 3 <= seen, damage.__name__
