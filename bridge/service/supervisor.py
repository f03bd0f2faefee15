"""The life of one event source: listening, lost, a back-off, and listening again; and how it is.

Nothing that a source does in `listen` ends this: it counts as lost, and is tried again. Only the end of the bridge
ends it, and then whatever it still does.
"""

from __future__ import annotations

import asyncio
import sys
import traceback
from dataclasses import dataclass
from pathlib import Path
from random import Random
from time import strftime
from typing import Final, Protocol

from adapters.contract import EventSource
from bridge.errors import LinkError
from bridge.events import SECOND, Instant, LinkState
from bridge.layout.connections import Source
from bridge.service.broker import LONGEST_DELAY, backoff

STOOD: Final = LONGEST_DELAY
"""Seconds after which a source that was heard counts as one that stands: the back-off begins anew after it."""

MOST_FALLS: Final = 3
"""How often it is told that a source came and went before it stood; from then on that is only counted."""

MOST_REASONS: Final = 20
"""Different reasons that are told of a source that stays lost."""


@dataclass(slots=True)
class Health:
    """How a source is.

    Attributes:
        state: `unheard` so far, `up`, `lost`, or `failing` where it is lost by a fault of its own.
        why: the reason in plain words.
        since: the time of day, for people.
        restarts: how often it was called again since the start.
        events: what it told that was understood.
        refused: what meant nothing.
        repeats: orders that it gave again by itself, by its repeat window or its refreshes.
    """

    state: str = "unheard"
    why: str = "it has not been heard yet"
    since: str = "start"
    restarts: int = 0
    events: int = 0
    refused: int = 0
    repeats: int = 0

    def in_words(self) -> str:
        """Return why, since when, and what was counted where it is not nought."""
        counted = [
            _counted(self.events, "event", "events"),
            _counted(self.refused, "not understood", "not understood"),
            _counted(self.repeats, "repeat", "repeats"),
            _counted(self.restarts, "restart", "restarts"),
        ]
        return ", ".join([f"{self.why} (since {self.since})", *filter(None, counted)])


def _counted(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}" if number else ""


class Desk(Protocol):
    """The part of the runner that is told of a source."""

    def now(self) -> Instant:
        """Return the present instant."""
        ...

    def source_changed(self) -> None:
        """How a source is has changed; its counts alone are no change."""
        ...

    def source_link(self, name: str, state: LinkState, why: str, say: Say | None) -> None:
        """A source can be heard, or no longer; `say` what came of it, or nothing where that was told before."""
        ...


class Say(Protocol):
    """Writes down a note."""

    def __call__(self, text: str, level: str = ..., **facts: object) -> None:
        """Write it down."""
        ...


class Supervisor:
    """Keeps one source listening.

    Attributes:
        name: the source's name in the layout file.
        source: the source, from when it is made.
        health: how it is.
    """

    def __init__(self, said: Source, desk: Desk, say: Say, random: Random) -> None:
        self.name = said.name
        self.health = Health()
        self._said = said
        self._desk = desk
        self._say = say
        self._random = random
        self.source: EventSource | None = None
        self._task: asyncio.Task[None] | None = None
        self._listening = False
        self._stopping = False
        self._failure: BaseException | None = None  # of a source that was already told to end
        self._state: LinkState | None = None
        self._standing: asyncio.TimerHandle | None = None  # until it has stood for a while
        self._attempt = 0  # how often it has ended since it stood last
        self._falls = 0  # how often it could be heard before that
        self._reasons: set[str] = set()  # why it was lost since then
        self._heard_at: Instant = 0
        self._quiet = False  # it is lost because its owner's limit is over, and for no other reason
        self._limit: asyncio.TimerHandle | None = None

    # ---- life ----------------------------------------------------------------------------------------------

    def start(self) -> None:
        """Begin to listen, in the next turn of the loop."""
        if self.source is not None:
            listening = self._keep_listening(self.source)
            self._task = asyncio.create_task(listening, name=f"source {self.name}")

    async def stop(self) -> None:
        """End it. Cancelled, this cancels the source once more.

        Raises:
            Exception: what the source raised when it was cancelled.
        """
        self._stopping = True
        self._fell()
        if self._task is None:
            return
        self._task.cancel()
        await asyncio.gather(self._task, return_exceptions=True)
        if self._failure is not None:
            raise RuntimeError(_short(self._failure)) from self._failure

    async def _keep_listening(self, source: EventSource) -> None:
        while not self._ends():
            self._listening = True
            self._start_limit()
            problem: BaseException | None = None
            try:
                await source.listen()
            except (Exception, SystemExit, asyncio.CancelledError) as raised:  # noqa: BLE001 - it must not end us
                problem = raised
            self._listening = False
            if self._ends():
                self._failure = None if isinstance(problem, asyncio.CancelledError) else problem
                return
            task = asyncio.current_task()
            if isinstance(problem, asyncio.CancelledError) and task is not None and task.cancelling():
                raise problem
            self._ended(problem)
            await asyncio.sleep(backoff(self._attempt - 1, self._random))
            self.health.restarts += 1

    def _ends(self) -> bool:
        return self._stopping

    def _ended(self, problem: BaseException | None) -> None:
        """Take note that `listen` has ended."""
        self._attempt += 1
        self._quiet = False
        self._fell()
        link = _link_error(problem)
        if problem is None:
            self._lost("the connection ended")
        elif link is not None:
            self._lost(str(link) or "the connection failed, and the source does not say why")
        else:
            self._lost(f"a fault of the source itself, {_short(problem)} {self._place(problem)}", problem)

    def _fell(self) -> None:
        """It can no longer be heard: nothing is waited for; how often that happens is counted."""
        self._falls += self._standing is not None
        for timer in (self._standing, self._limit):
            if timer is not None:
                timer.cancel()
        self._standing = self._limit = None

    def _place(self, problem: BaseException) -> str:
        """Return where in the source's own file something was raised, or else where it was raised at all."""
        frames = traceback.extract_tb(problem.__traceback__)
        if not frames:
            return "from nowhere"
        own = getattr(sys.modules.get(type(self.source).__module__), "__file__", None)
        frame = next((each for each in reversed(frames) if each.filename == own), frames[-1])
        return f"in {Path(frame.filename).name}, line {frame.lineno}"

    # ---- what it is told -----------------------------------------------------------------------------------

    def heard(self) -> None:
        """Something came from it. On the way of each message: this costs next to nothing."""
        self._heard_at = self._desk.now()
        if self._state is None and self.health.state == "unheard":
            self._note("up", "something came from it")  # it has no link of which it could tell
        if self._quiet:
            self._quiet = False
            self._tell(LinkState.UP, "it is heard again")
            self._start_limit()

    def link(self, state: LinkState, why: str) -> None:
        """The source says whether it can be heard."""
        if self._stopping or (state is LinkState.UP and not self._listening):
            return
        self._quiet = False
        if state is LinkState.UP:
            if self._standing is None:
                self._standing = asyncio.get_running_loop().call_later(STOOD, self._stood)
            self._tell(state, why)
            self._start_limit()
        else:
            self._fell()
            self._lost(why)

    def _lost(self, why: str, fault: BaseException | None = None) -> None:
        self._tell(LinkState.LOST, why, fault)

    def _tell(self, state: LinkState, why: str, fault: BaseException | None = None) -> None:
        """Tell of a new state, and of one that stays only a reason that was not told before."""
        changed = self._state is not state
        if changed or self.health.why != why:
            self._note("failing" if fault is not None else state.value, why)
        new = state is LinkState.LOST and why not in self._reasons and len(self._reasons) < MOST_REASONS
        if new:
            self._reasons.add(why)
        say = self._saying(state, fault)
        if changed:
            self._state = state
            told = new or self._falls < MOST_FALLS + (state is LinkState.LOST)
            self._desk.source_link(self.name, state, why, say if told else None)
        elif new:
            say(f"events from {self.name} still do not come in: {why}", "warning")

    def _note(self, state: str, why: str) -> None:
        """Take note of how it is, for whoever asks."""
        health = self.health
        if state != health.state:
            health.since = strftime("%H:%M:%S")
        health.state, health.why = state, why
        self._desk.source_changed()

    def _saying(self, state: LinkState, fault: BaseException | None) -> Say:
        """Return how a sentence about this is written down: a fault with its traceback, a loss with what is done."""
        more = ""
        if state is LinkState.LOST and not self._listening:
            more = f"; trying again, at least every {LONGEST_DELAY:.0f} s"
            if self._falls == MOST_FALLS:
                more = (
                    f"{more}; it comes and goes, which is only counted until it has stood for {STOOD:.0f} s"
                )

        def say(text: str, level: str = "info", **facts: object) -> None:
            if fault is not None:
                level, facts = "error", {**facts, "exc_info": fault}
            self._say(f"{text}{more}", level, **facts)

        return say

    def _stood(self) -> None:
        """It has stood for a while: whatever ends it now is a new trouble."""
        if self._falls >= MOST_FALLS:
            self._say(f"events from {self.name} have come in for {STOOD:.0f} s again: {self.health.why}")
        self._attempt = self._falls = 0
        self._reasons.clear()

    # ---- the owner's limit ---------------------------------------------------------------------------------

    def _start_limit(self) -> None:
        self._heard_at = self._desk.now()
        if self._said.lost_after and self._limit is None and not self._stopping:
            self._wait_for_limit(self._said.lost_after)

    def _wait_for_limit(self, left: int) -> None:
        self._limit = asyncio.get_running_loop().call_later(left / SECOND, self._look_at_limit)

    def _look_at_limit(self) -> None:
        limit = self._said.lost_after
        left = self._heard_at + limit - self._desk.now()
        if left > 0:
            self._wait_for_limit(left)
            return
        self._limit = None
        if self._state is not LinkState.LOST:
            self._quiet = True
            self._lost(f"nothing came from it for {limit / SECOND:g} s (its `lost-after`)")


def _link_error(problem: BaseException | None) -> LinkError | None:
    """Return the LinkError that something raised is: also one that came out of a group of tasks."""
    if isinstance(problem, LinkError):
        return problem
    if isinstance(problem, BaseExceptionGroup):
        found = [_link_error(each) for each in problem.exceptions]
        return None if None in found else found[0]
    return None


def _short(problem: BaseException) -> str:
    """Return an exception as one short line with its type."""
    if isinstance(problem, BaseExceptionGroup):
        problem = problem.exceptions[0]
    text = " ".join(str(problem).split())[:200]
    kind = type(problem).__name__
    return f"{kind}: {text}" if text else kind
