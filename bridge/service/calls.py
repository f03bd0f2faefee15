"""Calling adapters: each beside the others, for so long and no longer, and with its faults kept to itself."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Mapping
from functools import partial

from bridge.service.notes import Notes


async def call_all(
    calls: Mapping[str, Callable[[], Awaitable[None]]], doing: str, within: float, notes: Notes
) -> list[asyncio.Task[None]]:
    """Call adapters, all at once, and wait until each has done it or the time is over.

    Args:
        calls: what to call, by what it is called in a sentence (`the source panel`).
        doing: what is asked of it, as in "did not stop".
        within: seconds that they have together.
        notes: is told, by name, of those that fail, also later on, and of those that are late.

    Returns:
        The calls that go on; whether they are to be cancelled is for the caller to say.
    """
    tasks = {name: asyncio.create_task(_called(call), name=name) for name, call in calls.items()}
    if tasks:
        await asyncio.wait(tasks.values(), timeout=within)
    late = []
    for name, task in tasks.items():
        if not task.done():
            late.append(task)
            notes.say(f"{name} did not {doing} within {within:g} s: the rest goes on without it", "error")
        task.add_done_callback(partial(_tell_failure, f"{name} failed to {doing}", notes))
    await asyncio.sleep(0)  # lets those that failed be told now
    return late


async def _called(call: Callable[[], Awaitable[None]]) -> None:
    await call()


def _tell_failure(text: str, notes: Notes, task: asyncio.Task[None]) -> None:
    problem = None if task.cancelled() else task.exception()
    if problem is not None:
        notes.say(f"{text}: {problem}", "error", exc_info=problem)
