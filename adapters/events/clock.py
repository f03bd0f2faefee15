"""A model clock of our own: it says once, at the start, what time it is and how the clock runs from then on."""

from __future__ import annotations

import asyncio
import json
from decimal import Decimal
from typing import Any, ClassVar, Final, cast

from pydantic import Field, field_validator

from adapters.contract import Options, Raw, SourceHost
from adapters.cut import cut
from adapters.events.model_clock import EXPECTED, read_model_clock
from bridge.errors import DecodeError
from bridge.events import Authority, ClockReported, Event, Instant

CHANNEL: Final = "start"


class ClockOptions(Options):
    """The keys of a model clock in the layout file.

    Attributes:
        start: what it shows when it begins; after a restart it goes on from where it was.
        rate: how fast it runs, 1 for the time of the world.
        running: or it stands until somebody lets it run.
    """

    start: str = "06:00"
    rate: Any = Field(default=1)
    running: bool = True

    @field_validator("start")
    @classmethod
    def _time(cls, start: str) -> str:
        _read(start, 1)
        return start

    @field_validator("rate")
    @classmethod
    def _rate(cls, rate: Any) -> Any:
        if isinstance(rate, bool) or not isinstance(rate, int | float):
            raise ValueError(f"{cut(str(rate), 30)} is no rate: write a number, such as 4 or 2.5")  # noqa: TRY004 - pydantic reads these
        _read("00:00", rate)
        return rate


def _read(start: str, rate: float) -> None:
    """Look at a time and a rate; raise ValueError in words for the owner."""
    try:
        read_model_clock(_message(start, rate, running=True))
    except DecodeError as problem:
        text = (
            str(problem)
            .replace('the clock\'s `"time"`', "the time")
            .replace('the clock\'s `"rate"`', "the rate")
        )
        raise ValueError(text.replace('"running": false', "running: false")) from None


def _message(start: str, rate: float, *, running: bool) -> str:
    exact = Decimal(str(rate))
    told = json.dumps({"time": start, "running": running})
    return f'{told[:-1]}, "rate": {exact:f}}}'


class ModelClockSource:
    """An event source that runs the model clock: it tells it once, and the bridge reckons on from there.

    It is told as a copy of something older, so that whatever else tells the clock counts against it, and the time
    that was kept over a restart as well.
    """

    options: ClassVar[type[Options]] = ClockOptions

    def __init__(self, name: str, options: Options, host: SourceHost) -> None:
        """Make a clock that has not begun.

        Args:
            name: the source's name in the layout file; its events carry it.
            options: a `ClockOptions`.
            host: what the bridge offers.
        """
        self.name = name
        self._options = cast("ClockOptions", options)
        self._host = host

    async def listen(self) -> None:
        """Say what time it is, and leave the clock to run."""
        said = self._options
        message = _message(said.start, said.rate, running=said.running)
        self._host.received(Raw(CHANNEL, message.encode(), retained=True))
        await asyncio.Event().wait()

    def decode(self, raw: Raw, at: Instant) -> tuple[Event, ...]:
        """Return what a message says of the clock, stamped `at`.

        Raises:
            DecodeError: it is no such message.
        """
        try:
            text = raw.payload.decode()
        except UnicodeDecodeError:
            raise DecodeError("the clock's message is not UTF-8 text", expected=EXPECTED) from None
        said = read_model_clock(text)
        authority = Authority.STATE if raw.retained else Authority.FEEDBACK
        return (ClockReported(at=at, source=self.name, **said._asdict(), authority=authority),)
