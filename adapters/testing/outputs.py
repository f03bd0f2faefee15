"""What the contract promises of a frame output, one check for each promise."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from contextlib import AbstractAsyncContextManager
from random import Random
from typing import ClassVar, Final, Generic, TypeVar

from adapters.contract import ChainPlace, ChipRun, FrameOutput, Options
from adapters.testing import hosts
from adapters.testing.hosts import STEP, OutputBench
from adapters.testing.inputs import arbitrary
from adapters.testing.trying import ENDS_WITHIN, broken, in_words, run
from adapters.testing.watch import Before, before, clocks
from bridge.events import SECOND, Instant

PLACES: Final = (
    ChainPlace("tarn", "throat", (ChipRun("ws2812b", 3, 2),)),
    ChainPlace("tarn", "shed", (ChipRun("sk6812-rgbw", 4, 1),)),
)
"""Two chains of one node: six bytes and four."""

IDLE: Final = 30 * SECOND
"""How long nothing changes, to see what an output does then."""

MOST_WAKES: Final = 10
"""Calls of `wake` in a second in which nothing changes."""

MOST_REPEATS: Final = 5
"""Frames of one chain in such a second: keep-alives, and the repeats that a protocol asks for."""

BURST: Final = 50


class Controller:
    """The other end of an output: what the lamps of its chains are sent."""

    def taken(self) -> list[tuple[int, bytes]]:
        """Return the frames that came since the last call: which of the places, and the levels."""
        raise NotImplementedError

    def hold(self) -> None:
        """Take nothing from now on, where the wire can be held up."""

    def let_go(self) -> None:
        """Take frames again."""


End = TypeVar("End", bound=Controller)


class Trial(Generic[End]):
    """One output with its host and its controller, on a clock that is turned."""

    def __init__(self, output: FrameOutput, far_end: End, host: OutputBench) -> None:
        self.output = output
        self.kind = type(output)
        self.far_end = far_end
        self.host = host
        self.wakes = 0
        self.frames: list[tuple[int, bytes]] = []
        self._due: Instant | None = None

    def pass_by(self, nanoseconds: Instant) -> None:
        """Let time pass, and call `wake` when the output asked for it and when it said."""
        until = self.host.clock + nanoseconds
        self._wake_if_asked()
        while self._due is not None and self._due <= until:
            if self._due <= self.host.clock:
                broken(self.kind, "`wake` wants to be called again in the same instant: the loop would spin")
            self.host.clock = self._due
            self._wake()
            self._wake_if_asked()
        self.host.clock = until

    def _wake_if_asked(self) -> None:
        if self.host.asked:
            self._wake()
            if self.host.asked:
                broken(self.kind, "it asks for `wake` from within `wake`: return the instant")

    def _wake(self) -> None:
        self.host.asked = False
        self.wakes += 1
        self._due = self.output.wake(self.host.clock)

    async def until(self, holds: Callable[[], bool], within: float | None = None) -> bool:
        """Let time pass until a condition holds, and return whether it came to that."""
        loop = asyncio.get_running_loop()
        deadline = loop.time() + (hosts.PATIENCE if within is None else within)
        while not holds():
            if loop.time() > deadline:
                return False
            self.pass_by(STEP)
            await asyncio.sleep(0.001)
        return True

    def look(self) -> list[tuple[int, bytes]]:
        """Return all frames that came since the trial was told to forget them."""
        self.frames += self.far_end.taken()
        return self.frames

    def newest(self, index: int) -> bytes | None:
        """Return the newest frame of a chain."""
        return next((levels for place, levels in reversed(self.look()) if place == index), None)

    async def shows(self, index: int, levels: bytes, when: str) -> None:
        """Wait until a frame has come."""
        if not await self.until(lambda: self.newest(index) == levels):
            last = self.newest(index)
            came = "nothing came" if last is None else f"{last.hex()} came last"
            broken(self.kind, f"{when}, chain {index} was shown {levels.hex()}, and {came}")

    async def end(self, last: tuple[bytes, ...] | None, was: Before) -> None:
        """Stop it, and look at what it leaves behind."""
        stopping = asyncio.create_task(self.output.stop(last), name="stop")
        _done, late = await asyncio.wait([stopping], timeout=ENDS_WITHIN)
        if late:
            broken(self.kind, "`stop` does not end: the bridge gives it 0.3 s, and ends without it")
        if stopping.exception() is not None:
            broken(self.kind, f"`stop` raised {in_words(stopping.exception() or ValueError())}")
        await self.until(lambda: not was.left(), ENDS_WITHIN)
        if was.left():
            broken(self.kind, f"`stop` left something behind: {was.left()}")


class OutputContract(Generic[End]):
    """The checks for one kind of frame output. A test class inherits them and has the two methods below.

    Attributes:
        places: the chains that it is made for.
        on_the_way: how many frames may be on their way when newer ones are shown.
    """

    places: ClassVar[tuple[ChainPlace, ...]] = PLACES
    on_the_way: ClassVar[int] = 1

    def far_end(self, host: OutputBench) -> AbstractAsyncContextManager[End]:
        """Give the controller, which takes frames at once."""
        raise NotImplementedError

    def output(self, far_end: End, host: OutputBench) -> FrameOutput:
        """Return a new output to that controller for `places`, called `out`."""
        raise NotImplementedError

    # ---- the promises --------------------------------------------------------------------------------------

    def test_it_does_nothing_before_its_start(self) -> None:
        """Making one opens nothing and sends nothing; and it can be stopped as it is."""

        async def check(trial: Trial[End], was: Before) -> None:
            if was.left():
                broken(trial.kind, f"making it left something behind: {was.left()}; open it in `start`")
            options = getattr(trial.kind, "options", None)
            if not (isinstance(options, type) and issubclass(options, Options)):
                broken(trial.kind, "`options` is no class of Options: the layout file could not be checked")
            await trial.end(self._frames(7), was)
            if trial.look():
                broken(trial.kind, "it sent a frame, and was never started")

        self._run(check, start=False)

    def test_what_was_shown_before_the_start_goes_out_then(self) -> None:
        """The first picture may come before there is a link."""

        async def check(trial: Trial[End], was: Before) -> None:
            del was
            frames = self._frames(1)
            for index, levels in enumerate(frames):
                trial.output.show(index, levels)
            await trial.output.start()
            for index, levels in enumerate(frames):
                await trial.shows(index, levels, "before `start`")

        self._run(check, start=False)

    def test_any_frame_comes_as_it_is(self) -> None:
        """Dark, full and by chance, each on its own chain."""

        async def check(trial: Trial[End], was: Before) -> None:
            del was
            random = Random(2)  # noqa: S311 - the same in every run
            for number in range(12):
                for index, place in enumerate(self.places):
                    odd = (bytes(place.length), b"\xff" * place.length, bytes(range(place.length)))
                    levels = odd[number] if number < 3 else random.randbytes(place.length)
                    trial.output.show(index, levels)
                    await trial.shows(index, levels, "in its turn")
            lengths = {(index, len(levels)) for index, levels in trial.look()}
            if lengths != {(index, place.length) for index, place in enumerate(self.places)}:
                broken(trial.kind, f"frames have another length than their chains: {sorted(lengths)}")

        self._run(check)

    def test_the_newest_frame_wins(self) -> None:
        """However many were shown while it could not send: the newest goes out next, and no queue before it."""

        async def check(trial: Trial[End], was: Before) -> None:
            del was
            length = self.places[0].length
            trial.output.show(0, bytes(length))
            await trial.shows(0, bytes(length), "at first")
            burst = [bytes([number + 1]) * length for number in range(BURST)]
            trial.frames.clear()
            trial.far_end.hold()
            for levels in burst:
                trial.output.show(0, levels)
            await asyncio.sleep(0)
            at_once = len([levels for index, levels in trial.look() if index == 0])
            trial.far_end.let_go()
            await trial.shows(0, burst[-1], f"as the last of {BURST} at once")
            came = [levels for index, levels in trial.look() if index == 0]
            places = [burst.index(levels) if levels in burst else -1 for levels in came]
            if places != sorted(places):
                broken(trial.kind, "an older frame came after a newer one")
            older = [levels for levels in came[at_once:] if levels != burst[-1]]
            if len(older) > self.on_the_way:
                broken(
                    trial.kind,
                    f"{len(older)} older frames went out before the newest: keep the newest alone, and no queue",
                )

        self._run(check)

    def test_stop_sends_the_last_frames(self) -> None:
        """One a chain, in the order of the places; what is shown after that goes nowhere."""

        async def check(trial: Trial[End], was: Before) -> None:
            last = self._frames(9)
            for index, levels in enumerate(self._frames(3)):
                trial.output.show(index, levels)
                await trial.shows(index, levels, "before its end")
            trial.output.show(0, self._frames(4)[0])
            await trial.end(last, was)
            for index, levels in enumerate(last):
                if trial.newest(index) != levels:
                    broken(
                        trial.kind,
                        f"`stop` was given {levels.hex()} for chain {index}, and it did not come last",
                    )
            await self._stays_still(trial)

        self._run(check)

    def test_stop_without_frames_leaves_everything_as_it_is(self) -> None:
        """Nothing more is sent."""

        async def check(trial: Trial[End], was: Before) -> None:
            for index, levels in enumerate(self._frames(3)):
                trial.output.show(index, levels)
                await trial.shows(index, levels, "before its end")
            trial.pass_by(5 * SECOND)
            for _ in range(20):  # what became due goes on its way
                await asyncio.sleep(0.001)
                trial.pass_by(0)
            trial.look()
            trial.frames.clear()
            await trial.end(None, was)
            if trial.look():
                broken(
                    trial.kind, "it sent a frame when `stop` was given none: leave everything lit as it is"
                )
            await self._stays_still(trial)

        self._run(check)

    def test_idle_it_is_silent(self) -> None:
        """Nothing changes: it is woken seldom, and sends no more than keep-alives."""

        async def check(trial: Trial[End], was: Before) -> None:
            del was
            for index, levels in enumerate(self._frames(3)):
                trial.output.show(index, levels)
                await trial.shows(index, levels, "before it was idle")
            trial.pass_by(5 * SECOND)
            trial.look()
            trial.frames.clear()
            trial.wakes = 0
            for _ in range(IDLE // SECOND):
                trial.pass_by(SECOND)
                await asyncio.sleep(0.001)
            seconds = IDLE // SECOND
            if trial.wakes > MOST_WAKES * seconds:
                broken(
                    trial.kind,
                    f"`wake` was called {trial.wakes} times in {seconds} s in which nothing changed",
                )
            repeats = len(trial.look())
            if repeats > MOST_REPEATS * seconds * len(self.places):
                broken(trial.kind, f"{repeats} frames went out in {seconds} s in which nothing changed")
            for index, levels in trial.look():
                if levels != self._frames(3)[index]:
                    broken(trial.kind, f"idle, it sent {levels.hex()} on chain {index}, which nobody showed")

        self._run(check)

    def test_whatever_comes_back_is_taken_or_refused(self) -> None:
        """Arbitrary bytes on every topic that it listens to raise nothing, and frames go on."""

        async def check(trial: Trial[End], was: Before) -> None:
            del was
            node, chain = self.places[0].node, self.places[0].chain
            topics = [
                topic_filter.replace("+", node, 1).replace("+", chain).replace("#", chain)
                for topic_filter in trial.host.broker.filters
            ]
            random = Random(3)  # noqa: S311 - the same in every run
            for raw in arbitrary([], random)[:400] if topics else ():
                topic = random.choice(topics)
                try:
                    trial.host.broker.hand(topic, raw.payload, retained=raw.retained)
                except Exception as problem:  # noqa: BLE001 - that is what is looked for
                    what = f"{raw.payload[:40]!r} on {topic}"
                    broken(trial.kind, f"{what} made it raise {in_words(problem)}: tell `host.refused`")
            trial.output.show(0, b"\x05" * self.places[0].length)
            await trial.shows(0, b"\x05" * self.places[0].length, "after what means nothing")

        self._run(check)

    def test_it_has_no_clock_of_its_own(self) -> None:
        """Time is what `host.now` and `wake` say: so a test can turn it."""

        async def check(trial: Trial[End], was: Before) -> None:
            del was
            await asyncio.sleep(0)
            found = clocks(trial.kind, waits=False)
            if found:
                broken(
                    trial.kind, f"it has a clock of its own ({'; '.join(found)}): use `host.now` and `wake`"
                )

        self._run(check, start=False)

    # ---- how they are looked at ----------------------------------------------------------------------------

    def _frames(self, level: int) -> tuple[bytes, ...]:
        """Return a frame for each chain, all different."""
        return tuple(bytes([level + 16 * index]) * place.length for index, place in enumerate(self.places))

    async def _stays_still(self, trial: Trial[End]) -> None:
        trial.look()
        trial.frames.clear()
        trial.output.show(0, b"\x77" * self.places[0].length)
        for _ in range(20):
            trial.pass_by(SECOND // 4)
            await asyncio.sleep(0.001)
        if trial.look():
            broken(trial.kind, "it went on to send after `stop`")

    def _run(self, check: Callable[[Trial[End], Before], Awaitable[None]], *, start: bool = True) -> None:
        async def tried() -> None:
            host = OutputBench()
            async with self.far_end(host) as far_end:
                was = before()
                trial = Trial(self.output(far_end, host), far_end, host)
                try:
                    if start:
                        await trial.output.start()
                    await check(trial, was)
                finally:
                    await asyncio.wait([asyncio.create_task(trial.output.stop(None))], timeout=ENDS_WITHIN)

        run(tried())
