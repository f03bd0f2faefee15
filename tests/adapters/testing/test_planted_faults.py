"""The contract suite fails with a plain sentence for each fault that is planted in a source that has none."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress

import pytest

from adapters.contract import EventSource, Options, Raw, SourceHost
from adapters.testing import LineServer, SourceBench, SourceContract
from bridge.errors import DecodeError, LinkError
from bridge.events import Event, Instant, LinkState
from tests.support.bellwire.lamproom_bellwire import BellWire, BellWireOptions
from tests.support.dating import KnowsTheDate
from tests.support.napping import Naps
from tests.support.timing import LooksAtItsWatch


class Wire(BellWire):
    """A bell wire that a fault can be planted in."""

    async def connected(self) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
        said = self._options
        return await asyncio.open_connection(said.host, said.port)

    def hand_in(self, line: bytes) -> None:
        self._host.received(Raw("line", line.rstrip(b"\r\n")))


class SaysSoTooEarly(Wire):
    async def listen(self) -> None:
        self._host.link(LinkState.UP, "it will be there")
        await super().listen()


class NeverSaysSo(Wire):
    async def listen(self) -> None:
        reader, writer = await self.connected()
        try:
            while line := await reader.readline():
                self.hand_in(line)
        finally:
            writer.close()


class HandsInNothing(Wire):
    async def _hand_in(self, reader: asyncio.StreamReader) -> None:
        while await reader.readline():
            pass


class WillNotEnd(Wire):
    """It takes every cancellation for a fault of the connection."""

    async def listen(self) -> None:
        self._host.link(LinkState.UP, "it stands")
        while True:
            try:
                await super().listen()
            except asyncio.CancelledError:
                await asyncio.sleep(0)


class EndsAsIfNothingWere(Wire):
    """It ends when it is cancelled, and keeps that to itself."""

    async def listen(self) -> None:
        with suppress(asyncio.CancelledError):
            await super().listen()


class TellsOfItsEnd(Wire):
    async def listen(self) -> None:
        try:
            await super().listen()
        except asyncio.CancelledError:
            raise LinkError("somebody ended it") from None


class HearsOneLine(Wire):
    async def _hand_in(self, reader: asyncio.StreamReader) -> None:
        self.hand_in(await reader.readline())


class LeavesATask(Wire):
    async def listen(self) -> None:
        self.beat = asyncio.create_task(asyncio.Event().wait(), name="heartbeat")
        await super().listen()


class LeavesItsSocket(Wire):
    async def listen(self) -> None:
        reader, self.writer = await self.connected()
        self._host.link(LinkState.UP, "it stands")
        while line := await reader.readline():
            self.hand_in(line)


class TellsItsOwnErrors(Wire):
    async def listen(self) -> None:
        reader, writer = await self.connected()
        self._host.link(LinkState.UP, "it stands")
        try:
            while line := await reader.readline():
                self.hand_in(line)
        finally:
            writer.close()


class ListensOnce(Wire):
    heard = False

    async def listen(self) -> None:
        if self.heard:
            await asyncio.Event().wait()
        self.heard = True
        await super().listen()


class GivesUpOnQuiet(Wire):
    async def _hand_in(self, reader: asyncio.StreamReader) -> None:
        try:
            while True:
                async with self._host.timeout(60):
                    line = await reader.readline()
                if not line:
                    return
                self.hand_in(line)
        except TimeoutError:
            raise LinkError("nothing came for a minute") from None


class TellsOfQuiet(Wire):
    async def listen(self) -> None:
        watching = asyncio.create_task(self._watch())
        try:
            await super().listen()
        finally:
            watching.cancel()

    async def _watch(self) -> None:
        await self._host.sleep(60)
        self._host.link(LinkState.LOST, "nothing came for a minute")


class MakesUpEvents(Wire):
    async def listen(self) -> None:
        making = asyncio.create_task(self._make())
        try:
            await super().listen()
        finally:
            making.cancel()

    async def _make(self) -> None:
        await self._host.sleep(600)
        self.hand_in(b"block yard clear")


class HoldsTheLoop(Wire):
    async def _hand_in(self, reader: asyncio.StreamReader) -> None:
        while line := await reader.readline():
            self.hand_in(line)


class ListensTwice(Wire):
    """It begins again with what it has begun before."""

    times = 0

    async def listen(self) -> None:
        self.times += 1
        await super().listen()

    async def _hand_in(self, reader: asyncio.StreamReader) -> None:
        while line := await reader.readline():
            for _ in range(self.times):
                self.hand_in(line)


class StumblesOverBytes(Wire):
    def decode(self, raw: Raw, at: Instant) -> tuple[Event, ...]:
        raw.payload.decode()
        return super().decode(raw, at)


class StampsAsItLikes(Wire):
    def decode(self, raw: Raw, at: Instant) -> tuple[Event, ...]:
        return super().decode(raw, at + 1)


class Remembers(Wire):
    def __init__(self, name: str, options: Options, host: SourceHost) -> None:
        super().__init__(name, options, host)
        self.seen: set[bytes] = set()

    def decode(self, raw: Raw, at: Instant) -> tuple[Event, ...]:
        events = super().decode(raw, at)
        if raw.payload in self.seen:
            return ()
        self.seen.add(raw.payload)
        return events


class SaysNothingOfIt(Wire):
    def decode(self, raw: Raw, at: Instant) -> tuple[Event, ...]:
        try:
            return super().decode(raw, at)
        except DecodeError:
            raise DecodeError("") from None


class Faulty(SourceContract[LineServer]):
    """The checks of a faulty wire."""

    flood_of = 20_000

    def __init__(self, kind: type[BellWire]) -> None:
        self.kind = kind

    @asynccontextmanager
    async def far_end(self, host: SourceBench) -> AsyncIterator[LineServer]:
        del host
        async with LineServer([b"turnout 61 reverse\n", b"block yard clear\n"]) as box:
            yield box

    def source(self, far_end: LineServer, host: SourceBench) -> EventSource:
        return self.kind("bus", BellWireOptions(port=far_end.port), host)


def checks() -> dict[str, Callable[[Faulty], None]]:
    """Return all checks of the suite."""
    return {name: value for name, value in vars(SourceContract).items() if name.startswith("test_")}


@pytest.mark.parametrize("name", checks())
def test_the_sound_one_passes(name: str) -> None:
    """What the faults are planted in keeps every promise."""
    checks()[name](Faulty(Wire))


HEARD, SAID, CANCELLED, CUT, QUIET, BYTES, PURE, FLOOD, CLOCK = (
    "test_it_says_that_it_can_be_heard_and_not_before",
    "test_what_is_said_comes_in",
    "test_cancelled_it_ends_and_leaves_nothing_behind",
    "test_a_connection_that_is_cut_is_told_and_it_listens_again",
    "test_an_hour_of_quiet_is_no_loss",
    "test_any_bytes_are_events_or_a_decode_error",
    "test_decode_has_no_side_effects",
    "test_a_flood_lets_the_loop_turn",
    "test_it_has_no_clock_of_its_own",
)


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize(
    ("kind", "name", "sentence"),
    [
        (
            SaysSoTooEarly,
            HEARD,
            "it says that it can be heard, and nobody is there: call `link` when it connected",
        ),
        (TellsItsOwnErrors, HEARD, "nobody was there, and `listen` raised ConnectionRefusedError"),
        (WillNotEnd, CANCELLED, "`listen` was cancelled and goes on: let CancelledError through"),
        (EndsAsIfNothingWere, CANCELLED, "`listen` was cancelled (it returned): let CancelledError through"),
        (
            TellsOfItsEnd,
            CANCELLED,
            "`listen` was cancelled (LinkError: somebody ended it): let CancelledError through",
        ),
        (HearsOneLine, CANCELLED, "`listen` ended by itself (LinkError: the bell wire's box at "),
        (LeavesATask, CANCELLED, "left something behind when it was cancelled: the task heartbeat"),
        (LeavesItsSocket, CANCELLED, "left something behind when it was cancelled: 2 open sockets or files"),
        (ListensOnce, CUT, "the bus is up and `listen` has not called `host.link(UP, why)`; it waits"),
        (ListensTwice, CUT, "what is said once is 2 events after it came back, and 1 before"),
        (GivesUpOnQuiet, QUIET, "`listen` ended (LinkError: nothing came for a minute): quiet is no loss"),
        (
            TellsOfQuiet,
            QUIET,
            "and it told LOST (nothing came for a minute): quiet is no loss; ask the other",
        ),
        (MakesUpEvents, QUIET, "and it gave an event of its own: BlockReported("),
        (HoldsTheLoop, FLOOD, "inputs without letting the event loop turn, and 100 are the most"),
        (StumblesOverBytes, BYTES, "raised UnicodeDecodeError"),
        (StampsAsItLikes, BYTES, "gave an event at 5000000001 of 'bus': stamp it with what it was given"),
        (SaysNothingOfIt, BYTES, "is no short printable sentence"),
        (NeverSaysSo, SAID, "the bus is up and `listen` has not called `host.link(UP, why)`; it waits"),
        (HandsInNothing, SAID, "something was said on the bus, and nothing came in"),
        (Remembers, PURE, "gives another result the second time: keep no state"),
        (LooksAtItsWatch, CLOCK, "it has a clock of its own (timing.py, line "),
        (
            Naps,
            CLOCK,
            (
                "(napping.py, line 17: nap(0.001); napping.py, line 18: loops.sleep(0.001);"
                " napping.py, line 19: timeout(3))"
            ),
        ),
        (
            KnowsTheDate,
            CLOCK,
            "(dating.py, line 16: dt.datetime.now(UTC); dating.py, line 16: moment.now(UTC))",
        ),
    ],
)
def test_a_planted_fault_is_found(
    kind: type[BellWire], name: str, sentence: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By the check that is about it, with one sentence that names the adapter and what to do."""
    monkeypatch.setattr("adapters.testing.hosts.PATIENCE", 0.5)
    monkeypatch.setattr("adapters.testing.sources.ENDS_WITHIN", 0.3)
    with pytest.raises(pytest.fail.Exception) as found:
        checks()[name](Faulty(kind))
    said = str(found.value)
    assert said.startswith(f"{kind.__name__}: ")
    assert sentence in said
    assert "\n" not in said
