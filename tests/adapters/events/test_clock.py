"""A model clock of our own tells once what time it is, and takes only what is a clock."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from adapters.contract import Raw
from adapters.events.clock import ClockOptions, ModelClockSource
from adapters.testing.hosts import VirtualTime
from bridge.check import check_text
from bridge.errors import DecodeError
from bridge.events import Authority, ClockReported
from bridge.service.plugins import Adapters
from tests.support.hosts import listening
from tests.support.lit import street


class Host(VirtualTime):
    """Takes what the source tells."""

    broker: Any = None
    door: Any = None

    def __init__(self) -> None:
        super().__init__()
        self.raws: list[Raw] = []

    def received(self, raw: Raw) -> None:
        self.raws.append(raw)

    def link(self, state: Any, why: str) -> None:
        raise AssertionError((state, why))


async def told(**said: Any) -> list[ClockReported]:
    """Start and stop a clock; return what it told."""
    host = Host()
    source = ModelClockSource("own", ClockOptions.model_validate(said), host)
    async with listening(source):
        pass
    [events] = [source.decode(raw, 7) for raw in host.raws]
    return [event for event in events if isinstance(event, ClockReported)]


@pytest.mark.parametrize(
    ("said", "seconds", "quarters", "running"),
    [
        ({}, 6 * 3600, 4, True),
        ({"start": "18:05:30", "rate": 2.5}, 18 * 3600 + 330, 10, True),
        ({"rate": 12, "running": False}, 6 * 3600, 48, False),
        ({"rate": 511.75}, 6 * 3600, 2047, True),
    ],
)
async def test_the_clock_tells_once_what_its_options_say(
    said: dict[str, Any], seconds: int, quarters: int, running: bool
) -> None:
    """It is told as a copy: whoever else tells the clock counts against it."""
    [event] = await told(**said)
    assert (
        ClockReported(
            at=7,
            source="own",
            seconds=seconds,
            rate_quarters=quarters,
            running=running,
            authority=Authority.STATE,
        )
        == event
    )


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"start": "25:00"}, 'the time is not a time of day like "06:45"'),
        ({"rate": 0}, "the rate is not a number from 0.25 to 511.75 in steps of a quarter"),
        ({"rate": 0.3}, "in steps of a quarter (a clock that stands says `running: false`)"),
        ({"rate": 1e300}, "the rate is not a number from 0.25 to 511.75"),
        ({"rate": "fast"}, "fast is no rate: write a number, such as 4 or 2.5"),
        ({"rate": True}, "True is no rate"),
        ({"speed": 4}, "Extra inputs are not permitted"),
    ],
)
def test_what_is_no_clock_is_refused_in_words_for_the_owner(said: dict[str, Any], words: str) -> None:
    """A time or a rate that cannot be is told when the file is read."""
    with pytest.raises(ValidationError) as problem:
        ClockOptions.model_validate(said)
    assert words in str(problem.value)


@pytest.mark.parametrize("payload", [b"", b"\xff", b"6", b'{"time": "noon"}'])
def test_a_message_that_is_no_clock_means_nothing(payload: bytes) -> None:
    """Only the messages of a model clock are understood."""
    with pytest.raises(DecodeError):
        ModelClockSource("own", ClockOptions(), Host()).decode(Raw("start", payload), 0)


def test_a_layout_file_names_it_by_its_kind() -> None:
    """The source comes in by its entry point, and a mistake in its keys has its line."""
    text = street("always").replace("tower: {kind: mqtt}", "own: {kind: model-clock, start: 05:30, rate: 4}")
    checked = check_text(text)
    assert checked.layout is not None
    assert () == Adapters().look_at(checked.layout, text).findings
    wrong = text.replace("rate: 4", "rate: 4.1")
    layout = check_text(wrong).layout
    assert layout is not None
    [found] = Adapters().look_at(layout, wrong).findings
    assert (3, "the rate is not a number from 0.25") == (found.mark.line, found.message[:34])
