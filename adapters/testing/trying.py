"""Running a check on a loop of its own, and failing with a sentence."""

from __future__ import annotations

import asyncio
import gc
from collections.abc import Coroutine
from typing import Any, Final, NoReturn

import pytest

ENDS_WITHIN: Final = 3.0
"""Seconds of the world within which what has to end has to end. The bridge gives it 0.3; a test machine is busier."""


def broken(kind: type, sentence: str) -> NoReturn:
    """Fail with a sentence and no traceback: it says all there is to know."""
    pytest.fail(f"{kind.__name__}: {sentence}", pytrace=False)


def run(check: Coroutine[Any, Any, None]) -> None:
    """Run a check to its end on a loop of its own, also where an adapter leaves something behind that will not end."""
    loop = asyncio.new_event_loop()
    loop.set_exception_handler(lambda _loop, _context: None)  # a check says itself what is wrong
    try:
        loop.run_until_complete(check)
    finally:
        left = asyncio.all_tasks(loop)
        for task in left:
            task.cancel()
        if left:
            loop.run_until_complete(asyncio.wait(left, timeout=0.2))
        loop.run_until_complete(loop.shutdown_asyncgens())
        loop.run_until_complete(loop.shutdown_default_executor())
        loop.close()
        if left:
            gc.collect()  # of what would not end, here and not in the midst of another test


def in_words(problem: BaseException) -> str:
    """Return an exception with its type."""
    return f"{type(problem).__name__}: {problem}" if str(problem) else type(problem).__name__


def is_sentence(text: str) -> bool:
    """Return whether this can be told: something, on one line, printable, and not without end."""
    return bool(text.strip()) and text.isprintable() and len(text) <= 1000
