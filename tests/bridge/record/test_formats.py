"""Every format that a log was ever written in stays readable: one file each, recorded when the format was new.

Their layout says its colours as shares of dies, and leaves its signals unmatched: so what they recorded stays what it
means, however colours by name are worked out.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

import pytest

from bridge.record.lines import FORMAT, End, Header
from bridge.record.parse import parse_line
from bridge.record.reader import read_log
from bridge.record.replay import replay

HERE: Final = Path(__file__).parent

FORMATS: Final = (1, 2, 3)
BEFORE_THE_FIRST_RELEASE: Final = (1, 2)
"""Since then light is worked out otherwise."""


@pytest.mark.parametrize("number", FORMATS)
def test_an_old_log_stays_readable(number: int) -> None:
    """The file of a format is read from its header to its end."""
    first, *_others, last = [placed.line for placed in read_log(HERE / f"format-{number}.jsonl")]
    assert isinstance(first, Header)
    assert (number, "Mossbank & Ferry Hill") == (first.format, first.layout)
    assert isinstance(last, End)


def test_the_present_format_gives_the_same_light() -> None:
    """Its file replays byte for byte, as a whole and from its snapshot on."""
    path = HERE / f"format-{FORMAT}.jsonl"
    whole, rest = replay(path), replay(path, since=1_200_000_000)
    assert (True, True, 5, ()) == (whole.same, whole.whole, whole.events, whole.notes)
    assert rest.same
    assert 0 < rest.frames < whole.frames


@pytest.mark.parametrize("number", BEFORE_THE_FIRST_RELEASE)
def test_an_old_log_gives_the_same_aspects(number: int) -> None:
    """The file of a format replays to the very aspects; that its light was another is said, and where it shows."""
    result = replay(HERE / f"format-{number}.jsonl")
    assert (5, 6, 2, True) == (result.events, result.decisions, result.refused, result.ended)
    assert any("with other tables of light" in note for note in result.notes)
    assert result.difference is not None
    assert "frames of ferry/bank" in result.difference.what


def test_the_present_format_has_its_file() -> None:
    """A new format is not written before a log of it stands here, and no earlier one is dropped."""
    assert tuple(range(1, FORMAT + 1)) == FORMATS
    with (HERE / f"format-{FORMAT}.jsonl").open("rb") as file:
        header = parse_line(file.readline())
    assert isinstance(header, Header)
    assert FORMAT == header.format
