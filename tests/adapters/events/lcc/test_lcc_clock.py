"""Broadcast Time is the model clock: NMRA S-9.7.4.5 (25 April 2021), from frames to the lamps that go by it."""

from __future__ import annotations

from typing import Any, Final

import pytest

from adapters.contract import Raw
from adapters.events.lcc.options import LccOptions
from adapters.events.lcc.source import LccSource
from adapters.events.lcc.times import START, STOP
from bridge.engine import Engine
from bridge.events import SECOND
from tests.support.broadcast_time import ROLL_OVER, rate_code, time_code
from tests.support.driving import decisions
from tests.support.lit import driven, lamp, tell

MINUTE: Final = 60 * SECOND
SENT, VALID = "5B4", "544"


class Bus:
    """A layout with a lamp by the clock, and what comes over the bus; the time is that of the session."""

    def __init__(self, when: str = "{clock: 18:00 to 23:30}") -> None:
        host: Any = None
        said = {"host": "gateway", "node-id": "01.02.03.04.05.06"}
        self.source = LccSource("bus", LccOptions.model_validate(said), host)
        self.engine: Engine = driven(when)

    def say(self, at: int, *codes: int, mti: str = SENT) -> None:
        """Have the clock of the bus tell something."""
        for code in codes:
            frame = f":X19{mti}123N010100000100{code:04X};"
            tell(self.engine, *self.source.decode(Raw("05.01.01.01.9A.3C", frame.encode()), at))

    def time(self, at: int) -> str:
        """Return what the model clock shows."""
        shown = self.engine.clock(at)
        assert shown is not None
        return f"{shown.seconds // 3600:02}:{shown.seconds // 60 % 60:02}:{shown.seconds % 60:02}"


def test_the_answer_to_our_question_sets_the_clock() -> None:
    """Section 6.3: start, rate, year, date and time as identified, then the next minute when it begins."""
    bus = Bus()
    bus.say(0, START, rate_code(16), 0x37A1, 0x2A03, time_code(17, 58), mti=VALID)
    assert ("17:58:00", "17:59:00", "off") == (bus.time(0), bus.time(15 * SECOND), lamp(bus.engine))
    bus.say(10 * SECOND, time_code(17, 59))  # it was twenty seconds into that minute when it answered
    assert "17:59:00" == bus.time(10 * SECOND)
    bus.engine.advance(25 * SECOND - 1)
    assert "off" == lamp(bus.engine)
    bus.engine.advance(25 * SECOND)
    assert "on" == lamp(bus.engine)


def test_the_day_rolls_over() -> None:
    """Section 6.2: the roll-over is told just before midnight, year and date three seconds later."""
    bus = Bus("{clock: 22:00 to 05:00}")
    bus.say(0, START, rate_code(4), time_code(23, 59))
    bus.say(59 * SECOND, ROLL_OVER)
    bus.say(60 * SECOND, time_code(0, 0))
    bus.say(63 * SECOND, 0x37A2, 0x2A04)
    assert ("00:00:03", "on") == (bus.time(63 * SECOND), lamp(bus.engine))
    bus.engine.advance((60 + 5 * 3600) * SECOND)
    assert "off" == lamp(bus.engine)


@pytest.mark.parametrize(
    ("quarters", "time"),
    [
        (4, "12:01:00"),
        (10, "12:02:30"),
        (1, "12:00:15"),
        (48, "12:12:00"),
        (2047, "20:31:45"),
        (0, "12:00:00"),
    ],
)
def test_the_clock_goes_on_between_reports_by_its_rate(quarters: int, time: str) -> None:
    """Section 6.2: consumers reckon on; in quarters, and a rate of 0 is a clock that stands (note, 2.4.4)."""
    bus = Bus()
    bus.say(0, START, rate_code(quarters), time_code(12, 0))
    assert time == bus.time(MINUTE)


def test_a_clock_that_runs_backwards_passes_midnight_and_hours_backwards() -> None:
    """Rates are signed: -0.5 here, from just after midnight into the evening before."""
    bus = Bus()
    bus.say(0, START, rate_code(-2), time_code(0, 1))
    bus.say(2 * MINUTE, ROLL_OVER)
    assert "23:59:30" == bus.time(3 * MINUTE)
    made = decisions(bus.engine.advance(64 * MINUTE))
    assert [(62 * MINUTE + 1, "on")] == [(each.at, each.aspect) for each in made]


def test_a_clock_that_is_stopped_stands_until_it_is_started() -> None:
    """Also between two reports, and whatever rate is told meanwhile."""
    bus = Bus()
    bus.say(0, START, rate_code(16), time_code(17, 59))
    bus.say(10 * SECOND, STOP)
    bus.say(20 * SECOND, rate_code(4), time_code(17, 59))
    assert ("17:59:40", None) == (bus.time(10 * MINUTE), bus.engine.next_wake())
    bus.say(10 * MINUTE, START)
    bus.engine.advance(10 * MINUTE + 20 * SECOND)
    assert ("18:00:00", "on") == (bus.time(10 * MINUTE + 20 * SECOND), lamp(bus.engine))


def test_a_rate_that_changes_counts_from_its_instant() -> None:
    """What has passed before has passed at the old rate."""
    bus = Bus()
    bus.say(0, START, rate_code(4), time_code(12, 0))
    bus.say(30 * SECOND, rate_code(40))
    assert "12:05:30" == bus.time(MINUTE)


def test_times_that_are_repeated_change_nothing() -> None:
    """Note, 2.6: the same time may come more than once. The clock does not go back, and no lamp goes on and off."""
    bus = Bus("{clock: 12:00:30 to 13:00}")
    bus.say(0, START, rate_code(4), time_code(12, 0))
    made = []
    for second in range(0, 60, 10):
        for mti in (SENT, VALID, SENT):
            made += decisions(bus.engine.advance(second * SECOND))
            bus.say(second * SECOND, time_code(12, 0), mti=mti)
    assert ["on"] == [each.aspect for each in made]
    assert "12:00:59" == bus.time(59 * SECOND)


def test_a_clock_that_is_set_is_believed_when_it_reports() -> None:
    """What somebody wants set is no time yet; then the clock jumps, forwards or back."""
    bus = Bus()
    bus.say(0, START, rate_code(4), time_code(12, 0))
    bus.say(SECOND, 0x8000 | time_code(19, 0), 0xC000 | 0x10)
    assert ("12:00:01", "off") == (bus.time(SECOND), lamp(bus.engine))
    bus.say(2 * SECOND, time_code(19, 0))
    assert ("19:00:00", "on") == (bus.time(2 * SECOND), lamp(bus.engine))
    bus.say(3 * SECOND, time_code(12, 0))
    assert "off" == lamp(bus.engine)
