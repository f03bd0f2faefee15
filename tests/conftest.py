"""What the tests share."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

from tests.support.mosquitto import Mosquitto, StartMosquitto

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


collect_ignore_glob = ["support/*"]
"""What the tests lean on is no test; the example of an adapter there is tried where it is installed."""

# How long an example takes says something of the machine, not of the code.
settings.register_profile("lamproom", deadline=None)
settings.load_profile("lamproom")


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[StartMosquitto]:
    """Start a real Mosquitto: `broker = mosquitto()`; see `tests.support.mosquitto`."""
    started: list[Mosquitto] = []

    def start(*settings: str) -> Mosquitto:
        broker = Mosquitto(tmp_path, settings)
        started.append(broker)
        broker.start()
        return broker

    yield start
    for broker in started:
        broker.stop()
