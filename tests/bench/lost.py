"""How long a signal shows what it was told after whoever told it has gone, for each way in which a source can go."""

from __future__ import annotations

import asyncio
import tempfile
import time
from pathlib import Path
from statistics import median
from typing import Any, Final

from tests.support.daemon import Daemon
from tests.support.losing import GREEN, RED, Light
from tests.support.mosquitto import Mosquitto
from tests.support.waiting import until
from tests.support.ways_to_lose import WAYS

QUICK: Final = ("lcc: gateway gone",)


async def once(way: str, folder: Path) -> tuple[float, float]:
    """Lose a source and have it back; return the seconds until the lamps are red, and until what stands is shown."""
    broker = Mosquitto(folder, WAYS[way].settings(folder))
    broker.start()
    light, end = Light(folder / "frames.txt"), WAYS[way](folder, broker)
    await end.open()
    daemon = await asyncio.to_thread(Daemon, folder, end.layout(light.path), broker.port, "--page", end.page)
    try:
        await until(lambda: "events from bus come in" in daemon.output, lambda: daemon.output)
        await light.until(*end.first)
        await end.order(61)
        await end.prove()
        await light.until(GREEN, GREEN)
        began = time.monotonic()
        await end.lose()
        await light.until(RED, RED)
        lost = time.monotonic() - began
        await until(lambda: "events from bus do not come in" in daemon.output, lambda: daemon.output)
        began = time.monotonic()
        await end.back()
        await light.until(RED, GREEN)
        return lost, time.monotonic() - began
    finally:
        await end.close()
        await asyncio.to_thread(daemon.stop)
        broker.stop()


def lost(quick: bool) -> list[dict[str, Any]]:
    """Measure each way a few times."""
    rows = []
    for way in QUICK if quick else WAYS:
        found = []
        for _ in range(1 if quick else 5):
            with tempfile.TemporaryDirectory() as folder:
                found.append(asyncio.run(once(way, Path(folder))))
        rows.append(
            {
                "way": way,
                "set s": f"{WAYS[way].limit:g}" if WAYS[way].limit else "at once",
                "stop after s": median(each for each, _back in found),
                "worst s": max(each for each, _back in found),
                "back after s": median(back for _each, back in found),
            }
        )
    return rows
