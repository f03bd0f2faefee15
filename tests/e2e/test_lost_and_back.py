"""Each source is lost in its own way, and comes back, through the real bridge to the byte."""

from __future__ import annotations

import asyncio
import re
from pathlib import Path

import pytest

from bridge.record.replay import replay
from tests.support.daemon import Daemon
from tests.support.losing import GREEN, RED, Light
from tests.support.mosquitto import StartMosquitto
from tests.support.waiting import until
from tests.support.ways_to_lose import WAYS


@pytest.mark.parametrize("way", WAYS)
async def test_a_lost_source_stops_trains_and_no_old_order_clears_a_signal(
    way: str, mosquitto: StartMosquitto, tmp_path: Path
) -> None:
    """What goes by it shows stop and is named; back, a signal by positions follows what stands, one by its last
    command waits for the next. The session replays byte for byte."""
    light, broker = Light(tmp_path / "frames.txt"), mosquitto(*WAYS[way].settings(tmp_path))
    end = WAYS[way](tmp_path, broker)
    await end.open()
    text = end.layout(light.path)
    daemon = await asyncio.to_thread(Daemon, tmp_path, text, broker.port, "--page", end.page)
    try:
        await until(lambda: "events from bus come in" in daemon.output, lambda: daemon.output)
        await light.until(*end.first)
        await end.order(61)
        await end.prove()
        await light.until(GREEN, GREEN)

        await end.lose()
        await light.until(RED, RED)
        await until(lambda: "events from bus do not come in" in daemon.output, lambda: daemon.output)
        (told,) = [line for line in daemon.output.splitlines() if "bus do not come in" in line]
        assert re.search(end.why, told)
        assert "L1 shows stop, T1 shows stop" in told

        await end.back()
        await until(lambda: daemon.output.count("events from bus come in") == 2, lambda: daemon.output)
        await light.until(RED, GREEN)
        await end.order(61)
        await light.until(GREEN, GREEN)
        seen = light.levels()
        assert f"{GREEN}{GREEN}" not in seen[seen.index(f"{RED}{GREEN}", seen.index(f"{GREEN}{GREEN}")) : -1]
    finally:
        await end.close()
        await asyncio.to_thread(daemon.stop)
    assert replay(daemon.log()).same
