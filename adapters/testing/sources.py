"""What the contract promises of an event source, one check for each promise."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from contextlib import AbstractAsyncContextManager
from functools import partial
from random import Random
from typing import ClassVar, Final, Generic, TypeVar

from adapters.contract import AT_ONCE, EventSource, Options, Raw
from adapters.testing.far_ends import FarEnd
from adapters.testing.hosts import SourceBench
from adapters.testing.inputs import arbitrary
from adapters.testing.trying import ENDS_WITHIN, broken, in_words, is_sentence, run
from adapters.testing.watch import Before, before, clocks
from bridge.errors import DecodeError, LinkError
from bridge.events import SECOND, Event, Instant, LinkState, event_from_data, event_to_data

End = TypeVar("End", bound=FarEnd)

OF_THE_BRIDGE: Final = frozenset({"kind", "repeat-window", "refresh-every", "lost-after"})
"""Keys that every source has in the layout file, and that are not its own."""

AWHILE: Final = 50
"""Looks for which something is waited for that should not come."""

TURNS: Final = 40
"""The turns of the loop after each of which a source is cancelled: more than connecting takes on this machine."""

BEAT: Final = 0.05
"""Seconds of the world after which the other end beats again, if it has a heartbeat."""

QUIET: Final = 3600 * SECOND
LOOK: Final = 3 * SECOND
"""How long nothing is said, and how much of that passes at a time."""

_AT: Final = 5_000_000_000


class Trial(Generic[End]):
    """One source with its host and the other end of its bus."""

    def __init__(self, source: EventSource, far_end: End, host: SourceBench) -> None:
        self.source = source
        self.kind = type(source)
        self.far_end = far_end
        self.host = host
        self.task: asyncio.Task[None] | None = None

    def begin(self) -> asyncio.Task[None]:
        """Have the source listen, as the bridge does."""
        self.task = asyncio.create_task(self.source.listen(), name="listen")
        return self.task

    async def come_up(self) -> None:
        """Bring the bus up and have the source say so."""
        await self.far_end.come_up()
        if self.task is None or self.task.done():
            self.begin()
        task = self.task
        if not await self.host.until(lambda: self.host.up or task is None or task.done(), BEAT):
            await self.far_end.live()  # it has beaten before anybody listened, and does so again
            await self.host.until(lambda: self.host.up or task is None or task.done())
        if not self.host.up:
            ended = f"it ended: {self.outcome()}" if task is not None and task.done() else "it waits"
            broken(self.kind, f"the bus is up and `listen` has not called `host.link(UP, why)`; {ended}")

    def outcome(self) -> str:
        """Return how `listen` has ended, in words."""
        if self.task is None or not self.task.done():
            return "it has not ended"
        if self.task.cancelled():
            return "it was cancelled"
        problem = self.task.exception()
        return "it returned" if problem is None else in_words(problem)

    def must_be_told(self, what: str) -> None:
        """Look at how `listen` has ended by itself: by returning, or by LinkError in words for the owner."""
        problem = None if self.task is None or self.task.cancelled() else self.task.exception()
        if isinstance(problem, LinkError):
            if not is_sentence(str(problem)):
                broken(self.kind, f"{what}, and its LinkError says {str(problem)!r}: say why, and the remedy")
        elif problem is not None:
            raised = f"{what}, and `listen` raised {in_words(problem)}"
            broken(self.kind, f"{raised}: raise LinkError with the reason and the remedy")

    async def say(self) -> list[Event]:
        """Have the other end say something once; return what that is in events."""
        start = seen = len(self.host.raws)
        await self.far_end.say()
        found: list[Event] = []
        while not found:
            if not await self.host.until(partial(self.host.more, seen)):
                came = "nothing came in" if seen == start else "what came in is no event"
                broken(self.kind, f"something was said on the bus, and {came}: hand it in by `host.received`")
            for _ in range(AWHILE):
                await asyncio.sleep(0)
            found = self.events(seen)
            seen = len(self.host.raws)
        return found

    def events(self, start: int) -> list[Event]:
        """Return the events of what came in from a place on; what is refused is none."""
        found: list[Event] = []
        for raw in self.host.raws[start:]:
            try:
                found += self.source.decode(raw, _AT)
            except DecodeError:
                continue
        return found

    async def cancel(self, was: Before) -> None:
        """Cancel it, and look at what it leaves behind."""
        task = self.task
        if task is None:
            return
        if task.done():
            broken(self.kind, f"`listen` ended by itself ({self.outcome()}): go on while the bus is there")
        task.cancel()
        if not await self.host.until(task.done, ENDS_WITHIN):
            broken(
                self.kind,
                "`listen` was cancelled and goes on: let CancelledError through, and end within 0.3 s",
            )
        if not task.cancelled():
            broken(self.kind, f"`listen` was cancelled ({self.outcome()}): let CancelledError through")
        await self.leaves_nothing(was, "it was cancelled")

    async def leaves_nothing(self, was: Before, when: str) -> None:
        """Look whether something is left of it."""
        await self.host.until(lambda: not was.left(), ENDS_WITHIN)
        left = was.left()
        if left:
            broken(self.kind, f"`listen` left something behind when {when}: {left}; end it in a `finally`")


class SourceContract(Generic[End]):
    """The checks for one kind of event source. A test class inherits them and has the two methods below.

    Attributes:
        has_bus: there is another end that can come and say something; a clock has none.
        can_go: it can go as well. Whoever is spoken to by anyone, at a port of its own, cannot see that.
        flood_of: how many inputs are sent at once to see that the loop still turns; 0 where a bus can have no flood.
    """

    has_bus: ClassVar[bool] = True
    can_go: ClassVar[bool] = True
    flood_of: ClassVar[int] = 100_000

    def far_end(self, host: SourceBench) -> AbstractAsyncContextManager[End]:
        """Give the other end of the bus, which is down at first: nobody can connect to it."""
        raise NotImplementedError

    def source(self, far_end: End, host: SourceBench) -> EventSource:
        """Return a new source for that other end, called `bus`."""
        raise NotImplementedError

    # ---- the promises --------------------------------------------------------------------------------------

    def test_it_does_nothing_before_it_listens(self) -> None:
        """Making one opens nothing, starts nothing and says nothing; it has its name and its options."""

        async def check(trial: Trial[End]) -> None:
            was = before()
            made = self.source(trial.far_end, trial.host)
            if was.left():
                broken(trial.kind, f"making it left something behind: {was.left()}; connect in `listen`")
            if trial.host.raws or trial.host.links:
                broken(trial.kind, "it spoke to its host before `listen`")
            options = getattr(type(made), "options", None)
            if not (isinstance(options, type) and issubclass(options, Options)):
                broken(trial.kind, "`options` is no class of Options: the layout file could not be checked")
            own = {field.replace("_", "-") for field in options.model_fields} & OF_THE_BRIDGE
            if own:
                broken(
                    trial.kind, f"its option `{min(own)}` is a key that every source has: call it otherwise"
                )

        self._run(check)

    def test_it_says_that_it_can_be_heard_and_not_before(self) -> None:
        """While nobody is there it waits or ends with a reason; when the bus is up it says so."""

        async def check(trial: Trial[End]) -> None:
            if not self.has_bus:
                return
            task = trial.begin()
            looks = iter(range(AWHILE))
            await trial.host.until(lambda: task.done() or trial.host.up or next(looks, None) is None)
            if trial.host.up:
                broken(
                    trial.kind,
                    "it says that it can be heard, and nobody is there: call `link` when it connected",
                )
            if task.done():
                trial.must_be_told("nobody was there")
            await trial.come_up()
            for state, why in trial.host.links:
                if not is_sentence(why):
                    broken(
                        trial.kind,
                        f"it says of its link {state.value}, why: {why!r}; write a reason in words",
                    )

        self._run(check)

    def test_what_is_said_comes_in(self) -> None:
        """What the other end says becomes an event."""

        async def check(trial: Trial[End]) -> None:
            if self.has_bus:
                await trial.come_up()
                await trial.say()

        self._run(check)

    def test_cancelled_it_ends_and_leaves_nothing_behind(self) -> None:
        """In the midst of its work, and at whatever point of connecting."""

        async def check(trial: Trial[End]) -> None:
            was = before()
            if self.has_bus:
                await trial.far_end.come_up()
                was = before()
                await trial.come_up()
                await trial.say()
            else:
                trial.begin()
                await asyncio.sleep(0)
            await trial.cancel(was)
            for turns in range(TURNS):
                again = Trial(self.source(trial.far_end, trial.host), trial.far_end, trial.host)
                again.begin()
                for _ in range(turns):
                    await asyncio.sleep(0)
                await again.cancel(was)

        self._run(check)

    def test_a_connection_that_is_cut_is_told_and_it_listens_again(self) -> None:
        """However the other end goes: what is said after its return comes in, and once."""

        async def check(trial: Trial[End]) -> None:
            if not (self.has_bus and self.can_go):
                return
            await trial.far_end.come_up()
            was = before()
            await trial.come_up()
            first = await trial.say()
            for hard in (False, True, False):
                await trial.far_end.cut(hard=hard)
                task = trial.task
                await trial.host.until(lambda task=task: not trial.host.up or task is None or task.done())  # type: ignore[misc]
                if task is not None and not task.done() and trial.host.up:
                    broken(trial.kind, "the connection was cut, and `listen` neither ended nor told LOST")
                if task is not None and task.done():
                    trial.must_be_told("the connection was cut")
                    await trial.leaves_nothing(was, "its connection was cut")
                    trial.host.links.clear()  # the bridge tells that it is lost
                await trial.come_up()
                again = await trial.say()
                if len(again) != len(first):
                    broken(
                        trial.kind,
                        f"what is said once is {len(again)} events after it came back, and {len(first)} before",
                    )

        self._run(check)

    def test_an_hour_of_quiet_is_no_loss(self) -> None:
        """While nothing happens on the layout nothing is told, and what is said afterwards comes in."""

        async def check(trial: Trial[End]) -> None:
            if self.has_bus:
                await trial.come_up()
                await trial.say()
            else:
                trial.begin()
                await trial.host.until(lambda: bool(trial.host.raws), 1)
            seen, told = len(trial.host.raws), len(trial.host.links)
            for _ in range(QUIET // LOOK):
                await trial.far_end.live()
                await asyncio.sleep(0.001)  # what it asks the other end is answered in the time of the world
                trial.host.pass_by(LOOK)
            for state, why in trial.host.links[told:]:
                if state is LinkState.LOST:
                    broken(
                        trial.kind,
                        f"nothing was said for an hour, and it told LOST ({why}): quiet is no loss; ask the other end",
                    )
            if trial.task is not None and trial.task.done():
                broken(
                    trial.kind,
                    f"nothing was said for an hour, and `listen` ended ({trial.outcome()}): quiet is no loss",
                )
            events = trial.events(seen)
            if events:
                broken(
                    trial.kind, f"nothing was said for an hour, and it gave an event of its own: {events[0]}"
                )
            if self.has_bus:
                await trial.say()

        self._run(check)

    def test_any_bytes_are_events_or_a_decode_error(self) -> None:
        """Nothing else comes out of `decode`; events are stamped, and the session log takes them back."""

        async def check(trial: Trial[End]) -> None:
            for raw in await self._inputs(trial):
                decoded(trial.source, raw, _AT)

        self._run(check)

    def test_decode_has_no_side_effects(self) -> None:
        """The same again means the same, whatever came in between, and at another instant only that differs."""

        async def check(trial: Trial[End]) -> None:
            raws = await self._inputs(trial)
            told = (len(trial.host.raws), len(trial.host.links))
            first = [decoded(trial.source, raw, _AT) for raw in raws]
            again = [decoded(trial.source, raw, _AT) for raw in reversed(raws)]
            for raw, one, other in zip(raws, first, reversed(again), strict=True):
                if one != other:
                    broken(
                        trial.kind,
                        f"`decode` of {_shown(raw)} gives another result the second time: keep no state",
                    )
            for raw, one in zip(raws, first, strict=True):
                later = decoded(trial.source, raw, _AT + 1)
                if isinstance(one, tuple) and _unstamped(one) != _unstamped(later):
                    broken(trial.kind, f"`decode` of {_shown(raw)} depends on when it came")
            if told != (len(trial.host.raws), len(trial.host.links)):
                broken(trial.kind, "`decode` spoke to the host: it only returns events")

        self._run(check)

    def test_a_flood_lets_the_loop_turn(self) -> None:
        """However much is there at once, the lights get their turn after every hundred inputs."""

        async def check(trial: Trial[End]) -> None:
            if not (self.has_bus and self.flood_of):
                return
            await trial.come_up()
            start, most = len(trial.host.raws), self.flood_of
            await trial.far_end.flood(most)
            await trial.host.until_quiet(start + most)
            if trial.host.longest > AT_ONCE:
                broken(
                    trial.kind,
                    f"it handed in {trial.host.longest} inputs without letting the event loop turn, and {AT_ONCE} are"
                    " the most: `await host.sleep(0)` between",
                )
            came = len(trial.host.raws) - start
            if came < most:
                broken(trial.kind, f"of {most} inputs at once {came} came in; {trial.outcome()}")

        self._run(check)

    def test_it_has_no_clock_of_its_own(self) -> None:
        """It waits by `host.sleep` and `host.timeout`, and asks `host.now`: so a test can turn its time."""

        async def check(trial: Trial[End]) -> None:
            found = clocks(trial.kind, waits=True)
            if found:
                broken(
                    trial.kind,
                    f"it has a clock of its own ({'; '.join(found)}): use `host.now`, `host.sleep`, `host.timeout`",
                )

        self._run(check)

    # ---- how they are looked at ----------------------------------------------------------------------------

    def _run(self, check: Callable[[Trial[End]], Awaitable[None]]) -> None:
        async def tried() -> None:
            host = SourceBench()
            async with self.far_end(host) as far_end:
                trial = Trial(self.source(far_end, host), far_end, host)
                try:
                    await check(trial)
                finally:
                    if trial.task is not None:
                        trial.task.cancel()
                        await asyncio.wait([trial.task], timeout=ENDS_WITHIN)

        run(tried())

    async def _inputs(self, trial: Trial[End]) -> list[Raw]:
        """Return what the other end says, and that spoiled in every way."""
        if self.has_bus:
            await trial.come_up()
            await trial.say()
        else:
            trial.begin()
            await trial.host.until(lambda: bool(trial.host.raws), 1)
        return arbitrary(trial.host.raws, Random(1))  # noqa: S311 - the same in every run


def decoded(source: EventSource, raw: Raw, at: Instant) -> tuple[Event, ...] | str:
    """Return the events of an input of the source `bus`, or what is said of one that is refused."""
    try:
        events = source.decode(raw, at)
    except DecodeError as error:
        said = f"{error} {error.received} {error.expected}"
        if not (str(error) and said.isprintable() and len(said) < 3000):
            broken(
                type(source),
                f"what its DecodeError says of {_shown(raw)} is no short printable sentence: {said[:200]!r}",
            )
        return said
    except Exception as problem:  # noqa: BLE001 - that is what is looked for
        broken(type(source), f"`decode` of {_shown(raw)} raised {in_words(problem)}: raise DecodeError")
    if type(events) is not tuple:
        broken(type(source), f"`decode` gave {type(events).__name__}, and not a tuple")
    for event in events:
        if not isinstance(event, Event):
            broken(type(source), f"`decode` gave {event!r}, which is no event")
        if event.at != at or event.source != "bus":
            broken(
                type(source),
                f"`decode` at {at} for the source 'bus' gave an event at {event.at} of {event.source!r}:"
                " stamp it with what it was given",
            )
        try:
            same = event_from_data(event_to_data(event)) == event
        except DecodeError as problem:
            broken(
                type(source), f"`decode` of {_shown(raw)} gave what the session log cannot take: {problem}"
            )
        if not same:
            broken(
                type(source),
                f"`decode` of {_shown(raw)} gave an event with a value of the wrong sort: {event}",
            )
    return events


def _unstamped(events: tuple[Event, ...] | str) -> object:
    if isinstance(events, str):
        return events
    return [{**event_to_data(event), "at": 0} for event in events]


def _shown(raw: Raw) -> str:
    return f"{raw.payload[:40]!r} from {raw.channel[:40]!r}"
