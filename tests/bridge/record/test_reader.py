"""A log is read line by line; a cut one is read up to the cut, and a broken one is refused at its line."""

from __future__ import annotations

import gzip
import json
import os
import tracemalloc
from pathlib import Path

import pytest

import bridge
from bridge.errors import DecodeError
from bridge.record.following import MOST_GAPS
from bridge.record.lines import End
from bridge.record.reader import LONGEST_LINE, Broken, Placed, Torn, _lines, read_log
from bridge.record.replay import replay
from bridge.record.store import open_log
from tests.bridge.record.sessions import Session, ordered, short_session


def recorded(tmp_path: Path) -> bytes:
    path = tmp_path / "whole.jsonl"
    if not path.exists():
        short_session(path)
    return path.read_bytes()


def read_log_of(tmp_path: Path) -> list[Placed]:
    recorded(tmp_path)
    return list(read_log(tmp_path / "whole.jsonl"))


def test_a_log_cut_at_any_byte_is_read(tmp_path: Path) -> None:
    """Whatever byte a log ends at, its whole lines are read, and the torn one is told and is no error."""
    data = recorded(tmp_path)
    path = tmp_path / "cut.jsonl"
    lines = data.splitlines(keepends=True)
    whole = [placed.line for placed in read_log(tmp_path / "whole.jsonl")]
    path.write_bytes(data)
    for length in reversed(range(len(lines[0]) - 1, len(data))):
        os.truncate(path, length)
        found = [placed.line for placed in read_log(path)]
        ends = data[:length].count(b"\n")
        rest = length - (data[:length].rfind(b"\n") + 1)
        # A line that lacks nothing but its end says everything.
        missing_end_only = data[length : length + 1] == b"\n"
        if missing_end_only:
            assert whole[: ends + 1] == found
        elif rest:
            assert [*whole[:ends], Torn(rest)] == found
        else:
            assert whole[:ends] == found


def test_a_log_cut_within_its_header_is_refused(tmp_path: Path) -> None:
    """Where not even the header is whole nothing can be read, and that is said."""
    data = recorded(tmp_path)
    path = tmp_path / "cut.jsonl"
    path.write_bytes(data)
    for length in reversed(range(data.index(b"\n"))):
        os.truncate(path, length)
        with pytest.raises(DecodeError) as caught:
            list(read_log(path))
        empty, torn = f"{path}: the file is empty", f"{path}:1: the log was cut off within its first line"
        assert str(caught.value).startswith(torn if length else empty)


def test_a_log_cut_after_any_line_replays(tmp_path: Path) -> None:
    """The frames and decisions of every prefix come out as recorded, with and without a torn line after it."""
    data = recorded(tmp_path)
    path = tmp_path / "cut.jsonl"
    length = len(data.splitlines(keepends=True)[0])
    for line in data.splitlines(keepends=True)[1:]:
        for torn in (0, len(line) // 2):
            path.write_bytes(data[: length + torn])
            result = replay(path)
            assert result.difference is None
            assert bool(torn) == any("stops in the middle" in note for note in result.notes)
            assert not result.ended
        length += len(line)
    path.write_bytes(data)
    assert replay(path).ended


def test_zeros_after_a_power_cut_are_a_torn_line(tmp_path: Path) -> None:
    """A file system that was cut off may leave zeros at the end of a file; they are told, and harm nothing."""
    data = recorded(tmp_path)
    path = tmp_path / "cut.jsonl"
    lines = data.splitlines(keepends=True)
    path.write_bytes(b"".join(lines[:-1]) + bytes(4096))
    assert replay(path).same
    (*_others, last) = read_log(path)
    assert (len(lines), Torn(4096)) == (last.number, last.line)


@pytest.mark.parametrize(
    ("number", "bent", "why"),
    [
        (3, b"{\n", "this is not JSON"),
        (4, b"\x00\xff\n", "this is not JSON"),
        (5, b'{"note":"x","at":1}\n', "'event' is missing"),
        (2, b"\n", "this is not JSON"),
    ],
)
def test_a_broken_line_in_the_middle_is_told(tmp_path: Path, number: int, bent: bytes, why: str) -> None:
    """It is told with its number and the reason, and all others are read as they are."""
    whole = {placed.number: placed.line for placed in read_log_of(tmp_path)}
    lines = recorded(tmp_path).splitlines(keepends=True)
    lines[number - 1] = bent
    path = tmp_path / "bent.jsonl"
    path.write_bytes(b"".join(lines))
    found = {placed.number: placed.line for placed in read_log(path)}
    broken = found.pop(number)
    assert isinstance(broken, Broken)
    assert broken.why.startswith(why)
    del whole[number]
    assert whole == found


def test_a_newer_format_is_refused_by_its_number(tmp_path: Path) -> None:
    """A log of a format to come is not guessed at, and who can read it is named, whatever else its header says."""
    lines = recorded(tmp_path).splitlines(keepends=True)
    header = json.loads(lines[0]) | {"format": 4, "version": "7.1.0", "novelty": {}}
    path = tmp_path / "newer.jsonl"
    path.write_bytes(b"".join([json.dumps(header).encode() + b"\n", *lines[1:]]))
    with pytest.raises(DecodeError) as caught:
        replay(path)
    assert (
        f"{path}:1: this log has format 4, and lamproom {bridge.__version__} reads formats up to 3: "
        "read it with lamproom 7.1.0, which wrote it, or a newer one"
    ) == str(caught.value)


def test_headers_and_ends_have_their_places(tmp_path: Path) -> None:
    """A log without its header is refused; a second one, and what comes after the end, is told."""
    lines = recorded(tmp_path).splitlines(keepends=True)
    path = tmp_path / "bent.jsonl"
    path.write_bytes(b"".join(lines[1:]))
    with pytest.raises(DecodeError, match=":1: the log does not begin with its header"):
        list(read_log(path))
    for bent, number, why in (
        ([*lines[:2], lines[0], *lines[2:]], 3, "a header in the middle"),
        ([*lines, lines[1]], len(lines) + 1, "the session ended before this line"),
    ):
        path.write_bytes(b"".join(bent))
        broken = [placed for placed in read_log(path) if isinstance(placed.line, Broken)]
        assert [(number, Broken(why))] == [(each.number, each.line) for each in broken]


def test_what_cannot_be_opened_is_refused(tmp_path: Path) -> None:
    """A file that is not there, or is a directory, is named with the reason."""
    with pytest.raises(DecodeError, match=r"none.jsonl: cannot be read: No such file or directory"):
        list(read_log(tmp_path / "none.jsonl"))
    with pytest.raises(DecodeError, match="cannot be read: Is a directory"):
        replay(tmp_path)


def test_a_folder_and_a_file_of_something_else_are_told_with_what_to_name(tmp_path: Path) -> None:
    """The newest log of the folder is named; in a state directory that of its sessions."""
    with pytest.raises(
        DecodeError, match="name a session log: they lie under `sessions` in the state directory"
    ):
        list(read_log(tmp_path))
    logs = tmp_path / "sessions"
    logs.mkdir()
    for day in (27, 28):
        (logs / f"2026-11-{day}T10-00-00-000000Z.jsonl").touch()
    for place in (tmp_path, logs, logs / "none.jsonl"):
        with pytest.raises(DecodeError, match=r"of which the newest is .*/sessions/2026-11-28T10"):
            list(read_log(place))
    other = tmp_path / "layout.yaml"
    for text in ("layout: Elsewhere\n", '{"hello": 1}\n', "x"):
        other.write_text(text)
        with pytest.raises(
            DecodeError, match=r"layout.yaml:1: this is no session log of lamproom, which begins"
        ):
            list(read_log(other))


def test_an_endless_line_is_told_and_passed_over(tmp_path: Path) -> None:
    """A line far too long for a log is kept in no memory, and the next is read as if it were not there."""
    path = tmp_path / "long.jsonl"
    first, *others = recorded(tmp_path).splitlines(keepends=True)
    path.write_bytes(first + b'"' * (3 * LONGEST_LINE) + b"\n" + b"".join(others))
    tracemalloc.start()
    try:
        found = list(read_log(path))
        assert tracemalloc.get_traced_memory()[1] < 2.5 * LONGEST_LINE
    finally:
        tracemalloc.stop()
    assert Broken(f"a line of more than {LONGEST_LINE} bytes is no line of a session log") == found[1].line
    assert [placed.line for placed in read_log_of(tmp_path)][1:] == [placed.line for placed in found[2:]]


def test_a_damaged_packed_log_is_read_as_far_as_it_goes(tmp_path: Path) -> None:
    """A compressed file that was cut or changed gives its lines up to the damage, which is told."""
    whole = [placed.line for placed in read_log_of(tmp_path)]
    packed = gzip.compress(recorded(tmp_path), mtime=0)
    path = tmp_path / "packed.jsonl.gz"
    for data in (packed[: len(packed) // 2], packed[:-4], packed[:-6] + b"....xx"):
        path.write_bytes(data)
        *lines, broken = [placed.line for placed in read_log(path)]
        assert isinstance(broken, Broken)
        assert "the compressed file is damaged" in broken.why
        lines = [line for line in lines if not isinstance(line, Torn)]
        assert lines == whole[: len(lines)]
    path.write_bytes(packed)
    assert whole == [placed.line for placed in read_log(path)]


def test_a_long_log_takes_no_more_memory(tmp_path: Path) -> None:
    """Reading ten times as much takes the same memory."""
    peaks = []
    for name, inputs in (("short", 500), ("long", 5000)):
        path = tmp_path / name
        session = Session(path)
        for at in range(1, inputs):
            session.message(at, ordered(63, ("normal", "reverse")[at % 2], "panel"))
        session.end(inputs)
        tracemalloc.start()
        try:
            assert 1 == sum(isinstance(placed.line, End) for placed in read_log(path))
            peaks.append(tracemalloc.get_traced_memory()[1])
        finally:
            tracemalloc.stop()
    assert peaks[1] < peaks[0] * 1.5


def test_a_file_that_unfolds_without_end_is_refused_at_its_head(tmp_path: Path) -> None:
    """A few kilobytes can unfold into a hundred gigabytes (RFC 1952, section 2.2): they are not looked through."""
    path = tmp_path / "2026-11-28T10-00-00-000000Z.jsonl.gz"
    path.write_bytes(gzip.compress(bytes(16 * LONGEST_LINE), 1))
    taken = 0
    with open_log(path) as file:
        assert LONGEST_LINE < len(next(_lines(file)))
        taken = file.tell()
    assert taken < 2 * LONGEST_LINE
    with pytest.raises(DecodeError, match="is no line of a session log"):
        next(read_log(path))


def test_of_millions_of_broken_lines_the_first_are_told(tmp_path: Path) -> None:
    """What a small file can unfold into takes no room among the notes."""
    path = tmp_path / "log.jsonl.gz"
    path.write_bytes(gzip.compress(recorded(tmp_path).splitlines(keepends=True)[0] + b"x\n" * 20_000))
    notes = replay(path).notes
    assert MOST_GAPS < len(notes) < MOST_GAPS + 5
    assert any("nothing more is told" in note for note in notes)
