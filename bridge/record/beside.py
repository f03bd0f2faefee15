"""Replaying the parts of a session side by side, each in a process of its own.

What comes of it is only taken where all is well. Anything else, down to a note, is found again by a replay in order,
which says it as it always does.
"""

from __future__ import annotations

import os
import signal
import threading
import warnings
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from itertools import count
from multiprocessing import get_context
from multiprocessing.connection import Connection, wait
from typing import Final, TypeAlias

from bridge.events import Instant
from bridge.record.digests import sum_of_digests
from bridge.record.following import Opened
from bridge.record.parts import Part, parts_of
from bridge.record.result import ReplayResult

Progress: TypeAlias = Callable[[Instant], None]
ReplayPart: TypeAlias = Callable[[Part, Progress], ReplayResult]

_FORK: Final = get_context("fork")
"""How processes begin: what was loaded so far is there at once."""

TOLD_EVERY: Final = 2_000
"""Lines between two words of how far a part has come."""


def replay_beside(session: Opened, replay: ReplayPart, progress: Progress) -> ReplayResult | None:
    """Replay a session in as many parts as there are processors for it.

    Args:
        session: the whole of it, opened; none of its lines is taken.
        replay: replays a part, and calls what it is given with how far it has come.
        progress: called with how much of the session was replayed, all parts together.

    Returns:
        What came of the whole, where every part came out as recorded and there is nothing more to say; else None.
    """
    if threading.active_count() > 1:
        return None  # a process that is forked has none of them, and all that they hold stays held
    if session.resumes or not session.tells_states:
        return None
    parts = parts_of(session.path, len(os.sched_getaffinity(0)))
    if len(parts) < 2:
        return None
    workers: list[Worker] = []
    try:
        for part in parts:
            workers.append(Worker(replay, part, workers))
        results = _wait_for(workers, progress)
    except OSError:
        return None  # there is no room for another process
    finally:
        for worker in workers:
            worker.end()
    return None if results is None else _joined(str(session.path), results)


class Worker:
    """A process that replays a part. It ends by itself when nobody hears it any more.

    Attributes:
        says: where it tells how far it has come, and at last its result.
        done: how much of the session it has replayed.

    Raises:
        OSError: there is no room for it.
    """

    def __init__(self, replay: ReplayPart, part: Part, others: list[Worker]) -> None:
        self.says, far = _FORK.Pipe(duplex=False)
        ours = [self.says, *(each.says for each in others)]
        self._process = _FORK.Process(target=_work, args=(ours, far, replay, part), daemon=True)
        with warnings.catch_warnings():
            # The threads that are warned of are those of numpy's linear algebra, and nobody here asks for any.
            warnings.simplefilter("ignore", DeprecationWarning)
            self._process.start()
        far.close()
        self.done: Instant = 0
        self._began: Instant | None = None

    def reached(self, at: Instant) -> None:
        """Take it that it has come to an instant."""
        self._began = at if self._began is None else self._began
        self.done = at - self._began

    def end(self) -> None:
        """End it, wherever it is."""
        self._process.terminate()
        self._process.join()
        self.says.close()


def _work(ours: list[Connection], far: Connection, replay: ReplayPart, part: Part) -> None:
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, signal.SIG_DFL)
    for each in ours:
        each.close()  # as long as anybody has these, whoever speaks believes that somebody hears
    lines = count()

    def tell(at: Instant) -> None:
        if next(lines) % TOLD_EVERY == 0:
            far.send(at)

    with suppress(Exception):  # a replay in order meets it again, and says so
        far.send(replay(part, tell))


def _wait_for(workers: list[Worker], progress: Progress) -> list[ReplayResult] | None:
    """Return the results, in the order of the parts; None as soon as one of them is not as it should be."""
    results: dict[int, ReplayResult] = {}
    while len(results) < len(workers):
        ready = wait([worker.says for number, worker in enumerate(workers) if number not in results])
        for number, worker in enumerate(workers):
            if worker.says not in ready:
                continue
            try:
                said: ReplayResult | Instant = worker.says.recv()
            except EOFError:
                return None  # it failed, or was killed
            if isinstance(said, int):
                worker.reached(said)
                progress(sum(each.done for each in workers))
            elif said.same and said.whole and not said.notes:
                results[number] = said
            else:
                return None
    return [results[number] for number in range(len(workers))]


def _joined(file: str, results: list[ReplayResult]) -> ReplayResult:
    """Return what came of a whole of which each part came out as recorded. Events are counted through all of them."""
    return replace(
        results[-1],
        file=file,
        started=results[0].started,
        skipped=results[0].skipped,
        refused=sum(each.refused for each in results),
        decisions=sum(each.decisions for each in results),
        frames=sum(each.frames for each in results),
        instants=sum(each.instants for each in results),
        digest=sum_of_digests([each.digest for each in results]),
    )
