"""A controller to send to, and the end of whatever a test has begun."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator

import pytest

from tests.adapters.outputs.listener import Listener, Turned


@pytest.fixture
async def ended() -> AsyncIterator[None]:
    """End the outputs whose clock the test turned, so that no socket stays open."""
    yield
    for turned in Turned.made:
        await turned.output.stop(None)
    Turned.made.clear()


@pytest.fixture
def listener(ended: None) -> Iterator[Listener]:
    """Give a socket that takes whatever comes."""
    del ended
    made = Listener()
    yield made
    made.close()
