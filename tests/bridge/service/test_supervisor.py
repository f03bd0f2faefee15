"""A source is kept listening, whatever it does; what is told of that is told once, and the light is the same again."""

from __future__ import annotations

import asyncio
import json
from itertools import pairwise
from pathlib import Path
from random import Random
from typing import Any

import pytest

from bridge.errors import LinkError
from bridge.events import LinkState
from bridge.record.replay import replay
from bridge.service.broker import FIRST_DELAY, LONGEST_DELAY, backoff
from bridge.service.screen import Screen
from bridge.service.supervisor import Health
from tests.support.adapters import Ran, for_ever, furnished, ran
from tests.support.driving import FERNHOLLOW
from tests.support.memory_broker import turns
from tests.support.waiting import until


@pytest.fixture
def pauses(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Take no time for the pauses between two attempts; return which attempt each was behind."""
    found: list[int] = []

    def pause(attempt: int, random: Random) -> float:
        del random
        found.append(attempt)
        return 0.0

    monkeypatch.setattr("bridge.service.supervisor.backoff", pause)
    return found


def of_panel(found: Ran) -> list[str]:
    """Return what was told of the source `panel`."""
    return [text for text in found.told() if "events from panel" in text]


class Bus:
    """What a source listens to in these tests: each attempt does the next of a list of things, the last for ever."""

    def __init__(self, found: Ran, *attempts: str | BaseException | None) -> None:
        self.attempts = list(attempts)
        self.tried = 0
        self._source = found.sources["panel"]
        self._source.listening = self._listen

    async def _listen(self) -> None:
        self.tried += 1
        while self.attempts:
            step = self.attempts.pop(0)
            if isinstance(step, BaseException):
                raise step
            if step is None:
                return
            self._source.host.link(LinkState.UP, step)
        await for_ever()


async def test_a_source_that_is_cut_off_is_lost_and_listens_again(tmp_path: Path, pauses: list[int]) -> None:
    """Lost and found are events of the log, and the devices that go by it are named."""
    found = furnished(tmp_path)
    bus = Bus(found, "it answers", LinkError("the cable was pulled: put it in again"), "it answers again")
    await found.runner.start()
    await until(lambda: bus.tried == 2)
    health = found.runner.sources["panel"].health
    assert ("up", "it answers again", 1) == (health.state, health.why, health.restarts)
    await found.runner.stop()
    lost = "events from panel do not come in: the cable was pulled: put it in again"
    assert [
        "events from panel come in: it answers",
        f"{lost}; no signal or light changes by it; trying again, at least every 10 s",
        "events from panel come in: it answers again",
    ] == of_panel(found)
    assert [0] == pauses
    assert replay(found.log).same


async def test_what_a_source_told_is_unknown_when_it_is_lost_and_the_signals_are_named(
    tmp_path: Path, pauses: list[int]
) -> None:
    """A signal that had a better aspect by it falls to its most restrictive one."""
    del pauses
    async with ran(tmp_path) as found:
        source = found.sources["panel"]
        source.order("61 reverse")
        before = {name: choice.aspect for name, choice in found.runner.engine.choices().items()}
        source.host.link(LinkState.LOST, "the plug is out")
        after = {name: choice.aspect for name, choice in found.runner.engine.choices().items()}
        fell = [f"{name} shows {aspect}" for name, aspect in after.items() if before[name] != aspect]
        assert fell
        assert [f"events from panel do not come in: the plug is out; {', '.join(fell)}"] == of_panel(found)
    assert replay(found.log).same


async def test_what_stays_lost_is_told_once_for_each_reason(tmp_path: Path, pauses: list[int]) -> None:
    """Fifty attempts that are refused are two sentences, one event, and a number."""
    found = furnished(tmp_path)
    refused = [LinkError("nobody listens there") for _ in range(25)]
    bus = Bus(found, *refused, *[LinkError("no such host") for _ in range(25)], "at last")
    await found.runner.start()
    await until(lambda: bus.tried == 51)
    await found.runner.stop()
    assert list(range(50)) == pauses
    assert 50 == found.runner.sources["panel"].health.restarts
    assert 2 == found.runner.tally.counts["events"]
    lost, still, up = of_panel(found)
    assert lost.startswith("events from panel do not come in: nobody listens there;")
    assert "events from panel still do not come in: no such host; trying again, at least every 10 s" == still
    assert "events from panel come in: at last" == up


async def test_what_comes_and_goes_is_told_three_times_and_then_counted(
    tmp_path: Path, pauses: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every change is an event; when it has stood for a while that is told, and the next trouble is a new one."""
    monkeypatch.setattr("bridge.service.supervisor.STOOD", 0.05)
    found = furnished(tmp_path)
    attempts: list[str | BaseException | None] = []
    for _ in range(20):
        attempts += ["it answers", None]
    bus = Bus(found, *attempts, "it answers")
    await found.runner.start()
    await until(lambda: bus.tried == 21)
    assert 41 == found.runner.tally.counts["events"]
    await until(lambda: len(of_panel(found)) == 7)
    told = of_panel(found)
    assert told[5].endswith("; it comes and goes, which is only counted until it has stood for 0 s")
    assert "events from panel have come in for 0 s again: it answers" == of_panel(found)[-1]
    assert list(range(20)) == pauses
    await found.runner.stop()
    assert replay(found.log).same


async def test_what_toggles_while_it_listens_is_counted_as_well(tmp_path: Path) -> None:
    """A heartbeat that stops and comes back ends no connection; it is told three times all the same."""
    found = furnished(tmp_path)
    Bus(found)
    await found.runner.start()
    source = found.sources["panel"]
    await until(lambda: source.host is not None)
    await turns(5)
    for _ in range(20):
        source.host.link(LinkState.UP, "it beats")
        source.host.link(LinkState.LOST, "its heart has stopped")
    assert 40 == found.runner.tally.counts["events"]
    assert 6 <= len(of_panel(found)) <= 7
    await found.runner.stop()


async def test_a_new_reason_is_told_also_of_what_comes_and_goes(tmp_path: Path, pauses: list[int]) -> None:
    """It is news, however often it was lost for the other one."""
    del pauses
    found = furnished(tmp_path)
    attempts: list[str | BaseException | None] = []
    for _ in range(9):
        attempts += ["it answers", None]
    bus = Bus(found, *attempts, "it answers", LinkError("it speaks another language"), "it answers")
    await found.runner.start()
    await until(lambda: bus.tried == 11)
    await found.runner.stop()
    assert "events from panel do not come in: it speaks another language;" in of_panel(found)[-1]
    assert 7 == len(of_panel(found))


def test_the_pause_doubles_to_ten_seconds_and_is_never_quite_the_same() -> None:
    """Half to all of it, so that not all sources of a layout knock at once."""
    random = Random(3)  # noqa: S311 - jitter
    for attempt in range(2000):
        full = min(LONGEST_DELAY, FIRST_DELAY * 2.0 ** min(attempt, 20))
        assert full / 2 <= backoff(attempt, random) <= full
    assert 10.0 == LONGEST_DELAY
    assert 100 == len({backoff(30, random) for _ in range(100)})


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        (KeyError("x"), "a fault of the source itself, KeyError: 'x' in adapters.py, line "),
        (SystemExit(3), "a fault of the source itself, SystemExit: 3 in "),
        (asyncio.CancelledError(), "a fault of the source itself, CancelledError in "),
        (ExceptionGroup("tasks", [LinkError("the bus is off")]), "come in: the bus is off; no signal"),
        (ExceptionGroup("tasks", [LinkError("off"), ValueError("y")]), "a fault of the source itself"),
        (None, "the connection ended"),
        (LinkError(""), "the source does not say why"),
    ],
)
async def test_however_a_source_ends_it_is_tried_again(
    tmp_path: Path, pauses: list[int], fault: BaseException | None, said: str
) -> None:
    """A fault of its own is told with its type and place; that it was the connection needs no traceback."""
    del pauses
    found = furnished(tmp_path)
    bus = Bus(found, "it answers", fault, "it answers again")
    await found.runner.start()
    await until(lambda: bus.tried == 2)
    assert said in of_panel(found)[1]
    assert "up" == found.runner.sources["panel"].health.state
    found.sources["panel"].order("61 reverse")
    assert 1 == found.runner.sources["panel"].health.events
    await found.runner.stop()
    assert replay(found.log).same


LIMITED = FERNHOLLOW.replace("  booster:", "  wire: {kind: mqtt, lost-after: 100 ms}\n  booster:", 1)


async def test_quiet_alone_never_loses_a_source(tmp_path: Path) -> None:
    """Unless its owner has set a limit: then nothing for so long is a loss, and the next message the end of it."""
    async with ran(tmp_path, LIMITED) as found:
        wire = found.sources["wire"]
        await until(lambda: found.runner.sources["wire"].health.state == "lost")
        loop = asyncio.get_running_loop()
        heard = [loop.time()]
        wire.order("61 reverse")
        assert "up" == found.runner.sources["wire"].health.state
        assert 3 == found.runner.tally.counts["events"]
        assert "clear" == found.runner.engine.choices()["T2"].aspect
        for _ in range(10):
            await asyncio.sleep(0.02)
            heard.append(loop.time())
            wire.order("61 reverse")
        lost = sum("events from wire do not come in" in text for text in found.told())
        # A machine that is held up for as long as the limit has had nothing from it for as long.
        assert 1 == lost or any(later - earlier >= 0.1 for earlier, later in pairwise(heard))
        await until(lambda: found.runner.sources["wire"].health.state == "lost")
        assert "unheard" == found.runner.sources["booster"].health.state
    told = [text for text in found.told() if "events from wire" in text]
    assert "events from wire do not come in: nothing came from it for 0.1 s (its `lost-after`)" in told[0]
    assert "events from wire come in: it is heard again" == told[1]
    assert replay(found.log).same


async def test_health_counts_by_source(tmp_path: Path) -> None:
    """What was understood, what was not, and what was said again within the window."""
    async with ran(tmp_path) as found:
        for _ in range(3):
            found.sources["booster"].order("61 reverse")
        found.sources["booster"].order("what")
        found.sources["panel"].order("61 normal")
        await turns()
        health = {name: each.health for name, each in found.runner.sources.items()}
    assert (3, 1, 2) == (health["booster"].events, health["booster"].refused, health["booster"].repeats)
    assert (1, 0, 0) == (health["panel"].events, health["panel"].refused, health["panel"].repeats)


async def test_health_is_published_with_the_bridge_and_shown_on_the_page(tmp_path: Path) -> None:
    """A change of state at once; a clock, which has no link, is up as soon as it has said something."""
    async with ran(tmp_path) as found:
        screen = Screen(found.runner, found.notes, bridge="main", broker="127.0.0.1:1883")
        kept = found.broker.kept

        def said() -> Any:
            return json.loads(kept["lamproom/bridge/main"])["sources"]

        assert "unheard" == said()["panel"]["state"]
        found.sources["panel"].host.link(LinkState.UP, "the cable is in")
        found.sources["booster"].order("61 reverse")
        await until(lambda: said()["panel"]["state"] == "up")
        assert ("up", "something came from it", 1) == tuple(
            said()["booster"][key] for key in ("state", "why", "events")
        )
        found.sources["panel"].host.link(LinkState.LOST, "the plug is out")
        await until(lambda: ("lost", "the plug is out") == (said()["panel"]["state"], said()["panel"]["why"]))
        assert {"panel", "booster"} == set(screen.description()["sources"])
        shown = screen.picture()["sources"]["panel"]
        assert "lost" == shown["state"]
        assert shown["text"].startswith("the plug is out (since ")
        assert shown["text"] != screen.picture()["sources"]["booster"]["text"]


def test_health_in_words_leaves_out_what_is_nought() -> None:
    """And has the number right."""
    assert "it has not been heard yet (since start)" == Health().in_words()
    told = Health("up", "it answers", "15:31:07", restarts=1, events=2, refused=3, repeats=1).in_words()
    assert "it answers (since 15:31:07), 2 events, 3 not understood, 1 repeat, 1 restart" == told
