"""When something was, in every way in which people say it."""

from __future__ import annotations

from datetime import timedelta, timezone
from fractions import Fraction
from pathlib import Path
from typing import Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.errors import DecodeError
from bridge.events import SECOND, ClockReported
from bridge.record.times import HOW_TO_SAY, By, instants, parse_moment
from tests.bridge.record.sessions import STARTED, Session, ordered

ZONE: Final = timezone(timedelta(hours=2))
"""East of Greenwich: there the session began at 12:20:00."""


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """A session of four hours: events at one, two and three of them, and a model clock that runs twelve to one."""
    path = tmp_path / "a.jsonl"
    session = Session(path)
    clock = ClockReported(at=0, source="bus", seconds=6 * 3600, rate_quarters=48, running=True)
    session.message(600 * SECOND, clock)
    for hour in (1, 2, 3):
        session.message(hour * 3600 * SECOND, ordered(61), ordered(62))
    session.end(4 * 3600 * SECOND)
    return path


@pytest.mark.parametrize(
    ("said", "seconds"),
    [
        ("+90", 90),
        ("+0.25", 0.25),
        ("+12:30", 750),
        ("+1:02:03", 3723),
        ("+100:00:00", 360_000),
        ("12:20", 0),
        ("13:20", 3600),
        ("12:20:07.5", 7.5),
        ("9:00", (24 - 12) * 3600 + 9 * 3600 - 20 * 60),
        ("2026-11-25 15:00", 2 * 3600 + 40 * 60),
        ("2026-11-26T12:20", 24 * 3600),
        ("#1", 600),
        ("#2", 3600),
        ("#7", 3 * 3600),
        ("model 6:00", 600),
        ("model 18:00", 600 + 3600),
        ("model 18:00:12", 600 + 3600 + 1),
        ("model 6:00 day 2", 600 + 2 * 3600),
        ("  model   5:59  ", 600 + 2 * 3600 - 5),
        ("model 19:00 day 2", 600 + 2 * 3600 + 13 * 300),
    ],
)
def test_each_way_to_say_it_is_understood(log: Path, said: str, seconds: float) -> None:
    """By the wall, since the start, by an event, and by the model clock."""
    (found,) = instants(log, parse_moment(said), zone=ZONE)
    assert round(seconds * SECOND) == found


@pytest.mark.parametrize(
    "said",
    [
        "",
        "noon",
        "25:00",
        "12:60",
        "+",
        "-5",
        "#",
        "#x",
        "model",
        "model 24:00",
        "model 6:00 day 0",
        "2026-02-30 10:00",
        "12.30",
    ],
)
def test_what_is_no_time_is_told_with_all_that_is_one(said: str) -> None:
    """The message shows every way to write one."""
    with pytest.raises(DecodeError) as caught:
        parse_moment(said)
    assert HOW_TO_SAY in str(caught.value)


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ("#8", "there is no event #8: the last one has the number 7"),
        ("model 21:00 day 3", "the model clock never showed 21:00 day 3 in this session"),
        ("2026-11-25 12:00", "2026-11-25 12:00 lies before this session, which began at 2026-11-25 12:20:00"),
    ],
)
def test_a_time_that_never_was_is_told_with_what_was(log: Path, said: str, why: str) -> None:
    """Nothing is guessed at."""
    with pytest.raises(DecodeError, match=why):
        instants(log, parse_moment(said), zone=ZONE)


def test_nothing_said_stays_nothing(log: Path) -> None:
    """Where no time was written there is none."""
    assert (None, 0) == instants(log, None, parse_moment("+0"))
    assert STARTED.startswith("2026-11-25T10:20")


_FORMS: Final = (
    r" ?([0-9]{4}-[0-9]{2}-[0-9]{2}[ T])?[0-9]{1,2}:[0-6][0-9](:[0-6][0-9](\.[0-9]{1,4})?)? ?",
    r"\+([0-9]{1,3}:){0,3}[0-9]{1,3}(\.[0-9]{1,10})?",
    r"#[0-9]{1,13}",
    r"model +[0-9]{1,2}:[0-6][0-9](:[0-6][0-9])?( day [0-9]{1,5})?",
)
anything = st.text(max_size=30) | st.sampled_from(_FORMS).flatmap(
    lambda form: st.from_regex(form, fullmatch=True)
)


def meant(said: str, by: By) -> Fraction:
    """Return what a time says, as a moment has it: worked out from its digits alone."""
    if by is By.EVENT:
        return Fraction(said.removeprefix("#"))
    if by is By.START:
        return SECOND * sum(
            (Fraction(each) * 60**place for place, each in enumerate(said[1:].split(":")[::-1])), Fraction(0)
        )
    clock = said.split()[1] if by is By.MODEL else said.replace("T", " ").split()[-1]
    hours, minutes, seconds = [*map(Fraction, clock.split(":")), Fraction(0)][:3]
    return (hours * 3600 + minutes * 60 + seconds) * (1000 if by is By.WALL else 1)


@given(anything)
def test_any_text_is_a_time_or_is_refused(text: str) -> None:
    """Nothing else comes of it, and a time has the value that its digits say."""
    try:
        moment = parse_moment(text)
    except DecodeError:
        return
    assert meant(moment.text, moment.by) == moment.value
    assert (
        moment.by in (By.START, By.EVENT) or moment.value < {By.WALL: 86_400_000, By.MODEL: 86_400}[moment.by]
    )
    assert moment == parse_moment(moment.text)
