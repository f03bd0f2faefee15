"""The model clock over a restart of the whole bridge, with its state on the disk."""

from __future__ import annotations

import gc
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Final

from bridge.logic.clock import ClockTime
from bridge.service.app import Bridge, Settings
from bridge.service.broker import BrokerAddress
from bridge.service.files import read_file
from bridge.service.plugins import Adapters
from tests.support.lit import street
from tests.support.waiting import until

OWN: Final = street("{clock: 19:40 to 23:30}").replace(
    "tower: {kind: mqtt}", "own: {kind: model-clock, start: '19:39', rate: 511.75}"
)
QUARTER_TO: Final = 19 * 3600 + 45 * 60


@asynccontextmanager
async def running(directory: Path) -> AsyncIterator[Bridge]:
    """Run a bridge with a clock of its own, and without a broker: nobody listens at port 9 (discard, RFC 863)."""
    file = directory / "street.yaml"
    file.write_text(OWN, encoding="utf-8")
    adapters = Adapters()
    looked = read_file(str(file), adapters)
    assert looked.layout is not None, looked.findings
    settings = Settings(looked, looked.layout, BrokerAddress("127.0.0.1", 9), directory / "state", None)
    bridge = Bridge(settings, adapters)
    try:
        await bridge.start()
        yield bridge
    finally:
        await bridge.stop()
        gc.unfreeze()


def time_of(bridge: Bridge) -> ClockTime:
    """Return what the clock of a bridge shows now."""
    engine = bridge.runner.engine
    time = engine.clock(max(bridge.runner.now(), engine.now))
    assert time is not None
    return time


async def test_the_model_day_goes_on_after_a_restart(tmp_path: Path) -> None:
    """A light that the clock has lit is lit again from the first moment, and the clock runs on from where it was."""
    async with running(tmp_path) as bridge:
        assert time_of(bridge).seconds < QUARTER_TO
        await until(lambda: bridge.runner.engine.choices()["H1"].aspect == "on")
        await until(lambda: time_of(bridge).seconds > QUARTER_TO)
        stopped = time_of(bridge)
    async with running(tmp_path) as bridge:
        again = time_of(bridge)
        await until(lambda: bridge.runner.engine.choices()["H1"].aspect == "on")
        assert stopped.seconds <= again.seconds
        assert ("own", 2047, True) == (again.source, again.rate_quarters, again.running)
        await until(lambda: time_of(bridge).seconds > again.seconds)
