"""A rehearsal without trains: a recorded session is shown by the real nodes, at its own speed or another.

Nothing but the log is heard, and nothing but frames and a bridge of the name `rehearsal` is told to the world: no
aspect, no lock and no gate, since whoever hears these would take them for real. No session log is written.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable, Coroutine
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Final

from adapters.contract import Raw
from bridge.commands import Cause, Command, PublishFrame
from bridge.errors import DecodeError, LinkError
from bridge.events import SECOND, Instant, LinkState
from bridge.record.following import Ahead, Opened, Player
from bridge.record.words import instant_text
from bridge.service.app import stop_signal
from bridge.service.broker import BrokerAddress, BrokerLink
from bridge.service.calls import call_all
from bridge.service.hosts import OutputHost
from bridge.service.notes import Notes
from bridge.service.outputs import Outputs
from bridge.service.plugins import Adapters
from bridge.service.runner import START_WITHIN, STOP_WITHIN
from bridge.service.state import StateFile
from bridge.service.status import Status
from bridge.service.term import BRIDGE_FILTER, BRIDGE_TOPIC, Term
from bridge.service.term_notes import tell_of_terms
from bridge.service.visitor import HEAR_WITHIN, Visitor, json_object

NAME: Final = "rehearsal"
"""What it is called on the broker."""

SETTLED: Final = 0.3
"""Seconds in which the link begins to be made anew, as it is where the term is higher than was thought."""

NODES_WITHIN: Final = 1.0
"""Seconds for which the first picture stands before the session begins to move."""

SPEEDS: Final = (0.1, 100.0)

TURN: Final = 0.02
"""Seconds after which the event loop turns even where the session is late: the link has to be served."""

BEHIND: Final = 1.0
"""Seconds by which it is late before that is told."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What a rehearsal is told.

    Attributes:
        session: what is played.
        since: from where on.
        until: up to where; to its end if left out.
        speed: how many seconds of it pass in one of ours.
        place: the broker.
        state: where the last term is kept.
    """

    session: Opened
    since: Instant
    until: Instant | None
    speed: float
    place: BrokerAddress
    state: Path


async def rehearse(
    plan: Plan, adapters: Adapters, say: Callable[[str], None], progress: Callable[[Instant], None]
) -> None:
    """Show a session on the nodes, until it is over or somebody ends it; then everything is put to rest.

    Raises:
        LinkError: the broker cannot be reached, or a bridge drives its nodes.
        LayoutError: an output of the layout is not installed.
    """
    stopped = stop_signal()
    await _look_for_bridges(plan.place)
    rehearsal = Rehearsal(plan, adapters)
    try:
        await _first_of(rehearsal.begin(), stopped, rehearsal.outdone)
        if not stopped.is_set() and not rehearsal.outdone.is_set():
            say("the rehearsal begins: what the nodes show now is this session, whatever is on the track")
            await _first_of(rehearsal.play(progress), stopped, rehearsal.outdone)
    finally:
        await rehearsal.end()
    for note in rehearsal.remarks():
        say(note)
    if rehearsal.outdone.is_set():
        raise LinkError(rehearsal.why, peer=NAME)


async def _first_of(work: Coroutine[None, None, None], *events: asyncio.Event) -> None:
    """Wait until the work is done or one of the events is set, and leave the work then."""
    task = asyncio.create_task(work)
    waiting = [asyncio.create_task(event.wait()) for event in events]
    await asyncio.wait([task, *waiting], return_when=asyncio.FIRST_COMPLETED)
    for each in waiting:
        each.cancel()
    if task.done():
        task.result()
    else:
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task


async def _look_for_bridges(place: BrokerAddress) -> None:
    """Refuse where a bridge runs on this broker: its nodes would obey us, and no longer what happens.

    Raises:
        LinkError: one runs, or the broker cannot be reached, so that nobody knows.
    """
    found: dict[str, str] = {}

    def heard(raw: Raw) -> None:
        layout = _drives(raw)
        if layout is not None:
            found[raw.channel.removeprefix(BRIDGE_TOPIC)] = layout

    visitor = Visitor(place, "looks")
    visitor.link.subscribe(BRIDGE_FILTER, heard)
    try:
        await visitor.enter("without it nobody knows whether a bridge drives the nodes")
        await asyncio.sleep(HEAR_WITHIN)
    finally:
        await visitor.leave()
    for name, layout in found.items():
        raise LinkError(
            f"the bridge {name} drives {layout} on the broker at {place}: its trains go by its signals, so nothing is "
            "rehearsed there. End it first. If there is no such bridge any more, clear what the broker keeps of it, "
            f"with an empty retained message on {BRIDGE_TOPIC}{name}",
            peer=name,
        )


def _drives(raw: Raw) -> str | None:
    """Return the name of the layout that a bridge says it drives, or None where it does not."""
    said = json_object(raw.payload)
    return str(said.get("layout")) if said is not None and said.get("state") == "up" else None


class Rehearsal:
    """One session on its way to the nodes.

    Attributes:
        outdone: set when a bridge has begun to run beside us.
        why: what has come between, in a sentence.
    """

    def __init__(self, plan: Plan, adapters: Adapters) -> None:
        self._plan = plan
        self._player = Player(plan.session)
        self.notes = Notes()
        self.figures: dict[str, dict[str, int]] = {}
        self.outdone = asyncio.Event()
        self.why = ""
        self._began = time.monotonic_ns()
        self._behind = 0.0
        layout = plan.session.layout
        state = StateFile(plan.state)
        self.link = BrokerLink(
            plan.place,
            client_id=f"lamproom-{NAME}",
            notes=self.notes.say,
            random=Random(),  # noqa: S311 - for the jitter of reconnecting
        )
        self._term = Term(self.link, state, name=NAME, number=0)
        self._status = Status(self.link, self._term, name=NAME, layout=layout.name)
        self._settled = asyncio.Event()
        self._up = asyncio.Event()
        self._outputs = Outputs(
            layout,
            adapters,
            lambda number: OutputHost(self, self._term, number, state.identity()),
            self,
            self.notes,
        )
        self._late: list[asyncio.Task[None]] = []

    # ---- life ----------------------------------------------------------------------------------------------

    async def begin(self) -> None:
        """Connect, become the bridge that the nodes obey, and show the picture with which it begins."""
        tell_of_terms(self._term, self._status, self.notes)
        self._term.changed = self._new_term
        self.link.watch(self._link_changed)
        self.link.subscribe(BRIDGE_FILTER, self._bridge_said)
        await self._call(self._outputs.starting(), "start", START_WITHIN)
        await self.link.start()
        await self._settled.wait()
        await asyncio.sleep(SETTLED)
        await self._up.wait()

    async def play(self, progress: Callable[[Instant], None]) -> None:
        """Show everything at its time.

        Raises:
            DecodeError: there is nothing to show.
        """
        plan, player = self._plan, self._player
        began: float | None = None
        begun = False  # the engine has started already, which nobody was shown
        loop = asyncio.get_running_loop()
        turned = loop.time()
        for each in player.ahead(plan.until):
            if each.at >= plan.since:
                if began is None:
                    began = await self._first_picture(begun=begun)
                await self._render_until(each, began)
                await self._until(each.at, began)
            elif loop.time() - turned > TURN:
                await asyncio.sleep(0)
                turned = loop.time()
            step, begun = each.take(), True
            if step is not None and began is not None:
                self._show(step.commands)
                progress(each.at)
        if began is None:
            end = instant_text(player.length)
            raise DecodeError(
                f"{plan.session.path}: the session was over before that, after {end}; look at --from"
            )
        if plan.until is not None and player.goes_on:
            await self._until(plan.until, began)

    async def _first_picture(self, *, begun: bool) -> float:
        """Show how things stand where it begins, and return when that is.

        The very first step is the start of the engine, whose frames are this picture.
        """
        if begun:
            self._outputs.show(self._player.engine.all_frames(Cause.START))
            await asyncio.sleep(NODES_WITHIN)
        return asyncio.get_running_loop().time()

    async def _render_until(self, each: Ahead, began: float) -> None:
        """Render what moves under another layout file: the log has the instants of its own one alone."""
        engine = self._player.engine
        if self._plan.session.own:
            return
        while (wake := engine.next_wake()) is not None and wake < each.at:
            await self._until(wake, began)
            self._show(engine.advance(wake))

    async def _until(self, at: Instant, began: float) -> None:
        """Wait for an instant of the session; where it is over already let others have their turn."""
        loop = asyncio.get_running_loop()
        left = began + (at - self._plan.since) / SECOND / self._plan.speed - loop.time()
        self._behind = max(self._behind, -left)
        await asyncio.sleep(max(left, 0))

    def _show(self, commands: list[Command]) -> None:
        # The last frames of the session come at the end of the rehearsal, whenever that is.
        self._outputs.show(
            each for each in commands if isinstance(each, PublishFrame) and each.cause is not Cause.LAST
        )

    async def end(self) -> None:
        """Put every device to rest, signals restrictive and lights dark, and say goodbye."""
        engine = self._player.engine
        # What a bridge shows that has come between is not to be touched.
        closing = None if self.outdone.is_set() else engine.closing(engine.now)
        await self._call(self._outputs.stopping(closing), "stop", STOP_WITHIN)
        for task in self._late:
            task.cancel()
        self._status.close()
        await self.link.stop()

    def remarks(self) -> list[str]:
        """Return what an owner should know of the log, and of how it went."""
        remarks = [f"note: {note}" for note in self._player.notes]
        if self._behind > BEHIND:
            remarks.append(
                f"note: it was up to {self._behind:.1f} s late, because this machine could not keep up with that speed"
            )
        return remarks

    async def _call(self, calls: dict[str, Callable[[], Awaitable[None]]], doing: str, within: float) -> None:
        named = {f"the output {name}": call for name, call in calls.items()}
        self._late += await call_all(named, doing, within, self.notes)

    # ---- what the outputs meet -----------------------------------------------------------------------------

    def now(self) -> Instant:
        """Return the present instant: of the outputs, which go by real time at any speed."""
        return time.monotonic_ns() - self._began

    def may_begin(self, step: Callable[[], None]) -> bool:
        """Return that an output may be called: nothing here is ever in the midst of anything."""
        del step
        return True

    def release(self) -> None:
        """Have nothing waiting."""

    def refuse(self, source: str, raw: Raw, problem: DecodeError, at: Instant) -> None:
        """Note once what a node said and cannot be understood."""
        del at
        key = f"{source} {raw.channel[:200]} {problem}"
        self.notes.once(key, f"what {source} sent means nothing here: {problem}", received=problem.received)

    def node_link(self, name: str, state: LinkState, why: str) -> None:
        """A node acknowledges, or no longer: that is told, and changes no signal of the session."""
        word = "answers" if state is LinkState.UP else "does not answer"
        self.notes.say(f"node {name} {word}: {why}", "info" if state is LinkState.UP else "warning")

    def node_board(self, name: str, board: str) -> None:
        """A node has said which board it runs on: whether that was swapped is for the bridge to tell."""

    def output_link(self, number: int, state: LinkState, why: str, keys: tuple[str | int, ...]) -> None:
        """Frames of an output can go out, or no longer."""
        del keys
        up = state is LinkState.UP
        word = "go out" if up else "no longer go out"
        self.notes.say(
            f"frames of the output {self._outputs.names[number]} {word}: {why}", "info" if up else "warning"
        )

    def wake_output_soon(self, number: int) -> None:
        """Call an output's `wake` when this turn is over."""
        self._outputs.wake_soon(number)

    # ---- the link and the term -----------------------------------------------------------------------------

    def _link_changed(self, state: LinkState) -> None:
        (self._up.set if state is LinkState.UP else self._up.clear)()
        self._term.link_changed(state)
        self._status.link_changed(state)
        self._outputs.wake_all_soon()

    def _new_term(self, term: int) -> None:
        self.notes.say(f"this rehearsal drives the nodes under term {term}")
        self._status.everything()
        self._outputs.wake_all_soon()
        self._settled.set()

    def _bridge_said(self, raw: Raw) -> None:
        """Give way to a bridge that has begun: it drives the nodes now."""
        name = raw.channel.removeprefix(BRIDGE_TOPIC)
        layout = _drives(raw)
        if name != NAME and layout is not None:
            self.why = f"the bridge {name} has begun to drive {layout}, and the rehearsal has ended for it"
            self.outdone.set()
