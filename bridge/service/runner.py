"""The runner: events in from the sources, through the engine, frames out to the outputs.

Everything between a message and its frame is done at once, on the event loop: no queue, no task, no log. The
session log, the reports and the page are served from what was gathered, afterwards.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable, Iterable, Mapping
from dataclasses import asdict, replace
from functools import partial
from random import Random
from typing import Final
from uuid import UUID

from adapters.contract import Broker, Raw
from bridge.commands import Command, Report, Told
from bridge.commands import Note as EngineNote
from bridge.engine import Engine
from bridge.errors import DecodeError
from bridge.events import SECOND, Event, Instant, LinkState, NodeReported, SourceReported
from bridge.layout.findings import nearest
from bridge.record.writer import SessionLog
from bridge.service.boards import Boards
from bridge.service.calls import call_all
from bridge.service.complaints import Complaints
from bridge.service.doors import Doors
from bridge.service.hosts import OutputHost, SourceHost, look_at_events
from bridge.service.making import make_source
from bridge.service.notes import Notes, changes_in_words
from bridge.service.outputs import Outputs
from bridge.service.plugins import Adapters
from bridge.service.status import Status
from bridge.service.supervisor import Say, Supervisor
from bridge.service.tally import Tally
from bridge.service.term import Term
from bridge.service.term_notes import tell_of_terms
from bridge.service.unheard import unheard

FLUSH: Final = 0.1
"""Seconds between two writes of the session log: after a kill it is at most that much, and a write, short."""

TELL_AFTER: Final = 0.01
"""Seconds for which what happened is gathered before it is counted, reported and shown on the page. Done at once
it would keep the next event waiting, which often comes close behind."""

START_WITHIN: Final = 3.0
"""Seconds that the adapters of one kind have to start; whoever takes longer goes on, and nobody waits for it."""

STOP_WITHIN: Final = 0.3
"""Seconds that they have to stop: an owner who ends the bridge, or a service manager, does not wait long."""

LEFT_OUT: Final = (
    "the session log cannot keep up with what happens: some is left out, and a replay goes on behind that"
)

NODES: Final = "nodes"
"""The source of events that tell of nodes."""


class Runner:
    """Drives one layout on one broker link.

    Attributes:
        engine: the pure core.
        tally: what has happened since the start.
        nodes: for each node, whether it acknowledges, and why we think so.
        boards: which board each node runs on; whoever has a state file puts one here that remembers.
        figures: counters of each chain by its key.
        sources: who keeps each source listening, and knows how it is.
        changed: called when there is something new to show.
        decided: called soon after the engine has decided something, when nothing else waits.
    """

    def __init__(
        self,
        engine: Engine,
        link: Broker,
        term: Term,
        status: Status,
        log: SessionLog | None,
        notes: Notes,
    ) -> None:
        self.engine = engine
        self.link = link
        self.notes = notes
        self.tally = Tally(status, notes)
        self.nodes: dict[str, tuple[str, str]] = {
            chain.node: ("unheard", "has not acknowledged anything yet") for chain in engine.layout.chains
        }
        self.boards = Boards(None, notes)
        self.figures: dict[str, dict[str, int]] = {}
        self.changed: Callable[[], None] = lambda: None
        self.decided: Callable[[], None] = lambda: None
        jitter = Random()  # noqa: S311 - for the pauses before a source is tried again
        self.sources = {
            said.name: Supervisor(said, self, notes.say, jitter) for said in engine.layout.sources
        }
        self.doors = Doors(engine, self.now)
        status.sources = lambda: {name: asdict(each.health) for name, each in self.sources.items()}
        self._complaints = Complaints(notes)
        self._term = term
        self._status = status
        self._log = log
        self._began = time.monotonic_ns()
        self._outputs: Outputs
        self._untold: list[Command] = []
        self._teller: asyncio.TimerHandle | None = None
        self._tick: asyncio.TimerHandle | None = None
        self._tick_at: Instant | None = None
        self._flusher: asyncio.Task[None] | None = None
        self._late: list[asyncio.Task[None]] = []  # calls of adapters that go on
        self._busy = True  # a step of the engine is being done: the first is its start
        self._waiting: list[Callable[[], None]] = []  # steps that came up in the midst of one
        self._running = False

    def now(self) -> Instant:
        """Return the present instant of the session."""
        return time.monotonic_ns() - self._began

    # ---- life ----------------------------------------------------------------------------------------------

    def furnish(self, adapters: Adapters, identity: UUID) -> None:
        """Make the sources and outputs that the layout names; `identity` says who this bridge is in a network."""
        layout = self.engine.layout
        for source in layout.sources:
            kind = adapters.source(source.kind)
            host = SourceHost(self, self.sources[source.name])
            options = adapters.options(kind, source.options)
            self.sources[source.name].source = make_source(kind, source.name, options, host)
        term = self._term
        self._outputs = Outputs(
            layout, adapters, lambda number: OutputHost(self, term, number, identity), self, self.notes
        )

    async def start(self, first: Iterable[Event] = ()) -> None:
        """Show the first picture and begin to listen. The link is started after this, by whoever owns it.

        Args:
            first: what is told before any source may say something.
        """
        self._running = True
        self._term.changed = self._new_term
        tell_of_terms(self._term, self._status, self.notes)
        self.link.watch(self._link_changed)
        self._status.report(self.tally.lamp_test)
        await self._call(self._outputs.starting(), "output", "start")
        commands = self.engine.start()
        self._outputs.show(commands)
        self._afterwards(commands, 0)
        self.release()
        for event in first:
            self.tell_again(event)
        for each in self.sources.values():
            each.start()
        await asyncio.sleep(0)  # what a source has to say at once comes before what its owner kept
        self._flusher = asyncio.create_task(self._keep_writing(), name="session log")

    async def stop(self) -> None:
        """Send the last frames, whatever the adapters do, and end. What comes in from now on changes nothing."""
        if not self._running:
            return
        self._running = False
        if self._tick is not None:
            self._tick.cancel()
        closing = self.engine.closing(max(self.now(), self.engine.now))
        await self._say_last(closing)
        await self._call({name: source.stop for name, source in self.sources.items()}, "source", "stop")
        for task in self._late:
            task.cancel()
        if self._flusher is not None:
            self._flusher.cancel()
            await asyncio.gather(self._flusher, return_exceptions=True)
        if self._log is not None:
            self._log.commands(closing)
            self._log.end(self.engine.now)
            failure = await asyncio.to_thread(self._log.close)
            if failure is not None:
                self.notes.say(failure, "error")

    async def _say_last(self, closing: list[Command]) -> None:
        await self._call(self._outputs.stopping(closing), "output", "stop")
        self._tell_world()
        for command in closing:
            if isinstance(command, Report | Told):
                self._status.report(command)
        self._status.close()

    async def _call(self, calls: Mapping[str, Callable[[], Awaitable[None]]], what: str, doing: str) -> None:
        named = {f"the {what} {name}": call for name, call in calls.items()}
        self._late += await call_all(
            named, doing, STOP_WITHIN if doing == "stop" else START_WITHIN, self.notes
        )

    # ---- in ------------------------------------------------------------------------------------------------

    def receive(self, source: str, decode: Callable[[Raw, Instant], tuple[Event, ...]], raw: Raw) -> None:
        """Take what came in: decode, decide, send, and only then write down."""
        if not self.may_begin(partial(self.receive, source, decode, raw)):
            return
        engine = self.engine
        at = max(time.monotonic_ns() - self._began, engine.now)
        try:
            events = decode(raw, at)
            look_at_events(events, at, source)
        except DecodeError as problem:
            self.release()
            self.refuse(source, raw, problem, at)
            return
        except Exception as problem:  # noqa: BLE001 - a fault of an adapter's decoder must not touch the others
            self.release()
            self.refuse(source, raw, DecodeError(f"the source itself failed on it: {problem!r}"), at)
            return
        commands = self._handle(at, source, raw, events)
        health = self.sources[source].health
        health.events += len(events)
        if not commands:
            self._look_for_listeners(source, raw, events, at)
        else:
            health.repeats += sum(type(command) is EngineNote for command in commands)

    def _handle(self, at: Instant, source: str, raw: Raw | None, events: tuple[Event, ...]) -> list[Command]:
        """Handle what came in at once, and write it down behind the frames: what was handled, and no more."""
        engine = self.engine
        first = engine.events + 1
        commands: list[Command] = []
        try:
            for event in events:
                followed = engine.handle(event)
                self._outputs.show(followed)
                commands += followed
        finally:
            handled = engine.events + 1 - first
            if self._log is not None:
                self._log.input(first, at, source, raw, events[:handled], max(self.now() - at, 0))
            self._afterwards(commands, handled)
            self.release()
        return commands

    def may_begin(self, step: Callable[[], None]) -> bool:
        """Return whether a step of the engine may begin now; from here on none may until `release`.

        An adapter that is called in the midst of one (it is shown a frame, say) may have something to tell at
        once. The log has its steps in the order of the engine, so this one waits for the end of the first.
        """
        if self._busy:
            self._waiting.append(step)
            return False
        self._busy = self._running
        return self._running

    def release(self) -> None:
        """Know that the step is over: the next one may begin."""
        self._busy = False
        if self._waiting:
            loop = asyncio.get_running_loop()
            for step in self._waiting:
                loop.call_soon(step)
            self._waiting.clear()

    def _look_for_listeners(self, source: str, raw: Raw, events: tuple[Event, ...], at: Instant) -> None:
        """Note once, and count, what nothing in the layout listens to: a slip, perhaps."""
        for event in events:
            if not self.engine.listens(event):
                self.tally.counts["unheard"] += 1
                key = f"{source} unheard {raw.channel[:200]}"
                received = f"{raw.channel[:200]} {raw.payload[:80].decode(errors='replace')}"
                text = partial(self._nobody_listens, event, source)  # near names are looked for once
                self._complaints.tell(source, key, text, at, received, "info")

    def _nobody_listens(self, event: Event, source: str) -> str:
        return f"{unheard(self.engine, event)} (from {source})"

    def tell(
        self,
        make: Callable[[Instant], Event],
        then: Callable[[list[Command]], None] = lambda _commands: None,
    ) -> None:
        """Take an event that comes from the bridge itself: a source or a node was heard, or lost, or an order kept.

        `then` is called with what followed from it, when the frames are out.
        """
        if self.may_begin(partial(self.tell, make, then)):
            event = make(max(self.now(), self.engine.now))
            then(self._handle(event.at, event.source, None, (event,)))

    def tell_again(self, event: Event) -> None:
        """Take an event that was kept over a restart, as of now."""
        self.tell(lambda at: replace(event, at=at))

    def refuse(self, source: str, raw: Raw, problem: DecodeError, at: Instant) -> None:
        """Note once, and count, what cannot be understood."""
        if self._busy:
            self._waiting.append(partial(self.refuse, source, raw, problem, at))
            return
        self.tally.counts["refused"] += 1
        if source in self.sources:
            self.sources[source].health.refused += 1
        expected = f"; understood would be: {problem.expected}" if problem.expected else ""
        text = f"what {source} sent means nothing here and changes nothing: {problem}{expected}"
        key = f"{source} {raw.channel[:200]} {problem}"
        if self._complaints.tell(source, key, text, at, problem.received) and self._log is not None:
            self._log.refused(at, source, raw, str(problem))
        self.changed()

    def source_link(self, name: str, state: LinkState, why: str, say: Say | None) -> None:
        """A source can be heard, or no longer; `say` with what follows from it for the devices."""

        def then(commands: list[Command]) -> None:
            if say is not None and state is LinkState.UP:
                say(f"events from {name} come in: {why}", "info")
            elif say is not None:
                say(f"events from {name} do not come in: {why}; {changes_in_words(commands)}", "warning")

        self.tell(lambda at: SourceReported(at=at, source=name, state=state, why=why), then)

    def source_changed(self) -> None:
        """What a source is like has changed."""
        self._status.tell_sources()
        self.changed()

    def node_link(self, name: str, state: LinkState, why: str) -> None:
        """A node acknowledges, or no longer."""
        self.nodes[name] = (state.value, why)
        word = "answers" if state is LinkState.UP else "does not answer"
        self.notes.say(f"node {name} {word}: {why}", "info" if state is LinkState.UP else "warning")
        self.tell(partial(_node_reported, name, state, why))

    def node_board(self, name: str, board: str) -> None:
        """A node has said which board it runs on."""
        self.boards.heard(name, board)
        self.changed()

    def output_link(self, number: int, state: LinkState, why: str, keys: tuple[str | int, ...]) -> None:
        """Frames of an output can go out, or no longer; its nodes have no other way to be known."""
        name = self._outputs.names[number]
        said = self.engine.layout.output(name)
        up = state is LinkState.UP
        place = "" if up else f" (line {nearest(said.marks, keys, said.mark).line} of the layout file)"
        text = f"frames of the output {name} {'go out' if up else 'no longer go out'}: {why}{place}"
        self.notes.say(text, "info" if up else "warning")
        for node in {chain.node: None for chain in self.engine.layout.chains if chain.output == name}:
            self.nodes[node] = ("unheard" if up else state.value, why)
            self.tell(partial(_node_reported, node, state, why))
        self.changed()

    # ---- through -------------------------------------------------------------------------------------------

    def _afterwards(self, commands: list[Command], events: int) -> None:
        """Write down what came of an event, now that the frames are out; tell the rest of the world soon."""
        self.tally.counts["events"] += events
        if commands and self._log is not None:
            self._log.commands(commands)
        self._tell_soon(commands)

    def _tell_soon(self, commands: list[Command]) -> None:
        self._untold += commands
        self._arm_tick()
        if self._teller is None and self._running:
            self._teller = asyncio.get_running_loop().call_later(TELL_AFTER, self._tell_world)

    def _tell_world(self) -> None:
        """Count, report and show on the page what has happened, with no event waiting behind it."""
        if self._teller is not None:
            self._teller.cancel()
            self._teller = None
        commands, self._untold = self._untold, []
        self.tally.take(commands)
        self.decided()
        self.changed()

    # ---- time ----------------------------------------------------------------------------------------------

    def _arm_tick(self) -> None:
        """Have `_advance` called when the engine wants it next: an event may have made that earlier, or needless."""
        due = self.engine.next_wake() if self._running else None
        if due == self._tick_at:
            return
        if self._tick is not None:
            self._tick.cancel()
            self._tick = None
        self._tick_at = due
        if due is not None:
            delay = max(due - self.now(), 0) / SECOND
            self._tick = asyncio.get_running_loop().call_later(delay, self._advance)

    def _advance(self) -> None:
        """Perform what is due and render; frames of the grid that were missed are left out."""
        self._tick = self._tick_at = None
        instant = self.engine.wake_at(self.now())
        if instant is None:
            self._arm_tick()
            return
        if not self.may_begin(self._advance):
            return
        try:
            commands = self.engine.advance(instant)
            self._outputs.show(commands)
            if self._log is not None:
                self._log.rendered(instant, commands)
            self._tell_soon(commands)
        finally:
            self.release()

    def wake_output_soon(self, number: int) -> None:
        """Call an output's `wake` when this turn of the loop is over."""
        self._outputs.wake_soon(number)

    # ---- the link, the term, the log -----------------------------------------------------------------------

    def _link_changed(self, state: LinkState) -> None:
        self._term.link_changed(state)
        self._status.link_changed(state)
        self._outputs.wake_all_soon()
        self.changed()

    def _new_term(self, term: int) -> None:
        self.notes.say(f"this bridge drives the nodes under term {term}")
        self._status.everything()
        self._outputs.wake_all_soon()

    async def _keep_writing(self) -> None:
        while self._log is not None:
            await asyncio.sleep(FLUSH)
            self._take_snapshot()
            failure = await asyncio.to_thread(self._log.flush)
            if self._log.left_out:
                self.notes.once(LEFT_OUT, LEFT_OUT)
            if failure is not None:
                self.notes.say(failure, "error")
                self._log = None

    def _take_snapshot(self) -> None:
        """Put the whole state into the log where that is wanted; of a step that is being done it would have half."""
        if self._log is not None and not self._busy and self._log.wants_snapshot(self.engine.now):
            self._log.snapshot(self.engine.now, self.engine.snapshot())


def _node_reported(node: str, state: LinkState, why: str, at: Instant) -> Event:
    return NodeReported(at=at, source=NODES, node=node, state=state, why=why)
