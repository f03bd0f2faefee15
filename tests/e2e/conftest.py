"""What the tests of whole bridges share."""

from __future__ import annotations

import pytest

from tests.support.mosquitto import Mosquitto, StartMosquitto


@pytest.fixture
def broker(mosquitto: StartMosquitto) -> Mosquitto:
    """A broker."""
    return mosquitto()
