"""Waiting for what has to come: by condition, and never without a limit."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from typing import Final

PATIENCE: Final = 20.0
"""Seconds after which something that was waited for will not come, on the busiest machine."""


def _nobody_knows() -> str:
    return "it did not come to that"


def wait(
    holds: Callable[[], object], otherwise: Callable[[], str] = _nobody_knows, *, within: float = PATIENCE
) -> None:
    """Wait until a condition holds; fail with what `otherwise` says of what stands in its place."""
    deadline = time.monotonic() + within
    while not holds():
        assert time.monotonic() < deadline, otherwise()
        time.sleep(0.01)


async def until(
    holds: Callable[[], object], otherwise: Callable[[], str] = _nobody_knows, *, within: float = PATIENCE
) -> None:
    """Wait until a condition holds, while the loop runs on; fail with what `otherwise` says."""
    deadline = time.monotonic() + within
    while not holds():
        assert time.monotonic() < deadline, otherwise()
        await asyncio.sleep(0.002)
