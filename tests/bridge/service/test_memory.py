"""What was ordered before a restart, and when it counts again."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import pytest

from bridge.engine import Engine
from bridge.events import SECOND, Authority, Event
from bridge.logic.clock import ClockTime
from bridge.service.memory import Memory
from bridge.service.state import STATE_FILE, StateFile
from tests.support.driving import FERNHOLLOW, NORMAL, REVERSE, copy, layout, order
from tests.support.lit import clock

RESTORED: Final = FERNHOLLOW.replace("  T2:\n", "  T2:\n    at-start: restored\n", 1)
HOUR: Final = 3600.0
SUMMER: Final = 1_780_000_000.0


def engine(text: str = RESTORED) -> Engine:
    """Return a fresh engine."""
    fresh = Engine(layout(text))
    fresh.start()
    return fresh


def ordered(directory: Path) -> None:
    """Let a session order T2 to clear, then to approach, hear a copy, and end in summer."""
    before = engine()
    for number, event in enumerate(
        (order(61, REVERSE), order(62, NORMAL), order(65, REVERSE), copy(67, REVERSE))
    ):
        before.handle(event)
        assert number + 1 == before.events
    Memory(StateFile(directory), before, lambda: SUMMER).save()


def started(directory: Path, now: float, text: str = RESTORED) -> dict[str, str]:
    """Start again at a wall time; return the aspects."""
    after = engine(text)
    for event in Memory(StateFile(directory), after, lambda: now).recall(0):
        after.handle(event)
    return {name: choice.aspect for name, choice in after.choices().items()}


def test_the_layout_of_these_tests_wants_one_signal_restored() -> None:
    """The word stands in the file, at one signal."""
    assert ["T2"] == [signal.name for signal in layout(RESTORED).signals if signal.restores]


def test_an_hour_later_the_last_order_counts_again(tmp_path: Path) -> None:
    """T2 shows what was ordered last; Y1, which was ordered too, begins anew."""
    ordered(tmp_path)
    shown = started(tmp_path, SUMMER + HOUR)
    assert ("approach", "stop") == (shown["T2"], shown["Y1"])


@pytest.mark.parametrize("later", [12 * HOUR + 1, 180 * 24 * HOUR, -1.0])
def test_an_order_from_last_season_or_from_the_future_does_not(tmp_path: Path, later: float) -> None:
    """Older than `restore-within`, or kept by a clock that was wrong: the signal is at its most restrictive."""
    ordered(tmp_path)
    assert "stop" == started(tmp_path, SUMMER + later)["T2"]


def test_the_owner_says_how_old_an_order_may_be(tmp_path: Path) -> None:
    """With `restore-within: 30 min` an hour is too long, with 2 h it is not."""
    ordered(tmp_path)
    for within, aspect in (("30 min", "stop"), ("2 h", "approach")):
        text = RESTORED.replace("frames-per-second: 30", f"frames-per-second: 30\nrestore-within: {within}")
        assert aspect == started(tmp_path, SUMMER + HOUR, text)["T2"]


def test_a_second_restart_brings_the_same(tmp_path: Path) -> None:
    """What was restored is kept on, in its order."""
    ordered(tmp_path)
    again = engine()
    for event in Memory(StateFile(tmp_path), again, lambda: SUMMER + HOUR).recall(SECOND):
        again.handle(event)
    Memory(StateFile(tmp_path), again, lambda: SUMMER + 2 * HOUR).save()
    assert "approach" == started(tmp_path, SUMMER + 3 * HOUR)["T2"]


@pytest.mark.parametrize(
    "text",
    [
        "{}",
        "[]",
        '{"orders": 5}',
        '{"orders": {"at": "noon", "orders": []}}',
        '{"orders": {"at": 1780000000, "orders": [[], 7, ["accessory", 61], ["accessory", 0, "normal", "x"]]}}',
        '{"orders": {"at": 1780000000, "orders": [["accessory", 61, "moving", "x"], ["block", 1, "clear", "x"]]}}',
    ],
)
def test_a_file_that_makes_no_sense_brings_nothing(tmp_path: Path, text: str) -> None:
    """Whatever stands in the file, every device begins anew and nothing is raised."""
    (tmp_path / STATE_FILE).write_text(text, encoding="utf-8")
    assert "stop" == started(tmp_path, SUMMER + HOUR)["T2"]


def test_a_layout_that_wants_nothing_back_keeps_nothing(tmp_path: Path) -> None:
    """Without the word in the file nothing is written."""
    plain = engine(FERNHOLLOW)
    plain.handle(order(61, REVERSE))
    Memory(StateFile(tmp_path), plain, lambda: SUMMER).save()
    assert not (tmp_path / STATE_FILE).exists()


def kept_clock(directory: Path, *events: Event) -> None:
    """Let a session hear of the model clock, run for an hour, and end."""
    before = engine(FERNHOLLOW)
    for event in events:
        before.handle(event)
    before.advance(3600 * SECOND)
    Memory(StateFile(directory), before, lambda: SUMMER).save()


def clock_after(directory: Path, *first: Event) -> Engine:
    """Start again half a year later, with what our own sources said before; return the engine."""
    after = engine(FERNHOLLOW)
    for event in (*first, *Memory(StateFile(directory), after, lambda: SUMMER + 180 * 24 * HOUR).recall(0)):
        after.handle(event)
    return after


def test_the_model_day_goes_on_where_it_was(tmp_path: Path) -> None:
    """However long ago that is, the clock shows what it showed; it stands until its source tells more."""
    kept_clock(tmp_path, clock("23:30", rate=8))
    after = clock_after(tmp_path)
    stands = ClockTime(90 * 60, 8, running=False, source="panel")
    assert (stands, stands) == (after.clock(0), after.clock(3600 * SECOND))
    after.handle(clock("12:00", rate=8, authority=Authority.STATE))
    assert ClockTime(13 * 3600, 8, running=True, source="panel") == after.clock(1800 * SECOND)


def test_our_own_clock_runs_on_from_there(tmp_path: Path) -> None:
    """It has said at its start how it runs, and the time that was kept counts against the one that it begins with."""
    own = clock("06:00", rate=16, source="own", authority=Authority.STATE)
    kept_clock(tmp_path, own)
    after = clock_after(tmp_path, own)
    assert ClockTime(10 * 3600 + 240, 16, running=True, source="own") == after.clock(60 * SECOND)


@pytest.mark.parametrize("kept", ["7", "{}", '{"seconds": 90000, "rate_quarters": 4, "source": "x"}'])
def test_a_clock_that_makes_no_sense_is_not_told(tmp_path: Path, kept: str) -> None:
    """Whatever stands in the file, nothing is raised and the clock is as if never told."""
    (tmp_path / STATE_FILE).write_text(f'{{"clock": {kept}}}', encoding="utf-8")
    assert clock_after(tmp_path).clock(0) is None


def test_a_running_clock_is_kept_once_a_minute(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Looked at every ten seconds, a clock that runs is written at the first look and every sixth, and at the end."""
    puts: list[str] = []
    monkeypatch.setattr(StateFile, "put_all", lambda _self, values: puts.extend(values))
    run = engine(FERNHOLLOW)
    run.handle(clock("12:00"))
    now = [0]
    memory = Memory(StateFile(tmp_path), run, lambda: SUMMER, lambda: now[0])
    for look in range(18):
        now[0] = look * 10 * SECOND
        memory._write(memory._seen())
    assert ["clock"] * 3 == puts
    memory.save()
    assert ["clock"] * 4 == puts
